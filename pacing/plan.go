package pacing

import (
	"context"
	"errors"
	"math"
	"slices"
	"sync"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
)

// Request is everything a plan needs to know.
type Request struct {
	World        World
	ReserveShare float64 // of W′ to keep back
	ReserveJ     float64 // J; overrides the share if ≥ 0; −1 for none given
	Floor        float64 // W, least the rig can hold; 0 is coasting
	Ceiling      float64 // W, most the rig can hold or the rider should be asked for
	ChanceLimit  float64 // highest chance of running empty; 0: plan for the mean
	CuesPerHour  float64 // 0: the usual number
	Given        []Piece // a plan to be judged instead of made; nil for none
	ByGradient   bool    // also make rules by gradient for a known course
	Draws        int
	Seed         uint64
	Workers      int
	Progress     func(stage string) // may be nil
}

// Result is the plan with all that the brief says of it.
type Result struct {
	Problem   Problem // the rider it was made for
	ForZ      float64 // standard deviations below the mean that rider stands
	Duration  float64 // s, by which long rides fade
	Optimum   Optimum
	EvenWatts float64
	Even      Outcome
	Plan      Rideable
	Rules     []Rule // one where EvenRules
	Ruled     Ruled
	EvenRules bool   // one even effort everywhere is as good as any rules found
	Orders    Orders // what the forecast rode
	Forecast  Forecast
	Long      int  // road sections of at least a minute
	Missed    bool // even the most careful plan runs empty more often than allowed

	// OptimumTime and EvenTime are in s; for a sketch both are means over the
	// plausible shapes, and the optimum knows each shape beforehand.
	OptimumTime, EvenTime float64
	Plausible             []course.Profile
	FiveWatts, DragArea   float64 // s saved by 5 W more, by 0.01 m² less
	OneKg                 float64 // s lost by 1 kg more
}

// feltApart is the least share of CP by which efforts held by feel differ, so
// that a rider can tell them apart: half a step of the exertion scale. Our
// judgement.
const feltApart = 0.05

// Numbers of the search by chance.
const (
	trialDraws = 250 // draws while searching; the final plan is judged on all
	trialStep  = 25  // m, steps of those rides at least; TestTrialRidesRunEmptyAlike holds what that costs
	shapeDraws = 10  // plausible shapes that rules are made for
	knownDraws = 4   // of those, how many the optimum's gain is computed on
	mostZ      = 3.0
	margin     = 0.10 // in normal quantiles: the final cues should not fail for a handful of draws
)

// Make plans and forecasts. With a ChanceLimit the plan is made for a rider
// some standard deviations below the mean, as few as keep the chance of
// running empty over the draws at or below the limit.
func Make(ctx context.Context, q Request) (Result, error) {
	m := &maker{Request: q, ctx: ctx}
	if q.Progress == nil {
		m.Progress = func(string) {}
	}
	m.shapes()
	return m.run()
}

type maker struct {
	Request
	ctx       context.Context
	profiles  []course.Profile
	cutShapes []*shape
	pace      float64 // s, last known duration
	excess    float64 // W, taken off critical power to stay on the power-duration curve
	forCP     float64 // W, critical power that the last problem's watts are shares of
}

// shapes draws the plausible profiles of a sketch, from streams of their own.
func (m *maker) shapes() {
	m.profiles = []course.Profile{m.World.Profile}
	if m.World.Sketch != nil {
		m.profiles = m.profiles[:0]
		for i := range shapeDraws {
			m.profiles = append(m.profiles, m.World.Sketch(estimate.Stream(m.Seed^0x5ba9e5, i)))
		}
	}
	for _, p := range m.profiles {
		m.cutShapes = append(m.cutShapes, cut(p, []float64{p.Length()}, math.Max(25, forecastStep(p.Length()))))
	}
}

// problem is the task for a rider z standard deviations below the mean; the
// duration by which the rider fades is that of the best even ride, which is
// the longest of those compared.
func (m *maker) problem(z float64) Problem {
	w := m.World
	p := Problem{Motion: w.Road.Motion(w.RiderMass), Profile: m.profiles[0], StartSpeed: w.Road.StartSpeed,
		Floor: m.Floor, Ceiling: m.Ceiling, ctx: m.ctx}
	if w.ByFeel {
		p.Apart = feltApart
	}
	if m.pace == 0 {
		m.pace = m.profiles[0].Length() / 8
	}
	for range 6 {
		c, own := w.atRisk(z, m.pace)
		m.forCP = c.SustainableCP(m.pace)
		p.Balance = capacity.Balance{CriticalPower: own*m.forCP - m.excess, WPrime: c.WPrime, Form: w.Form, Speed: w.RecoveryMedian}
		p.Reserve = m.ReserveShare * c.WPrime
		if m.ReserveJ >= 0 {
			p.Reserve = math.Min(m.ReserveJ, 0.9*c.WPrime)
		}
		_, seconds := p.evenOver(m.cutShapes)
		if math.Abs(seconds-m.pace) < 2e-3*m.pace {
			break
		}
		m.pace = seconds
	}
	if c := w.Capacity; !c.Exact {
		p.Ceiling = math.Max(p.Floor+WattStep, math.Min(p.Ceiling, c.Power(HardestFor(m.pace))))
	}
	return p
}

// HardestFor is the duration in seconds whose best power no cue of a ride of
// the given duration (s) asks for more than: a twelfth of it, from half a
// minute to three minutes. What W′ alone would allow for the seconds of a
// little rise leaves no rider fit for the rest. Our judgement.
func HardestFor(duration float64) float64 { return math.Min(180, math.Max(30, duration/12)) }

// atRisk is the rider to plan for when things go z standard deviations badly,
// and the factor on critical power for what is not the rider's capacity: how
// a plan is held, and the scale between two power sources. Capacity and the
// rest share z in proportion to their variances in the power that can be held
// for the duration (first-order reliability, as capacity.AtRisk).
func (w World) atRisk(z, duration float64) (capacity.Capacity, float64) {
	if w.ByFeel {
		// A share of one's own power is held whatever that power is: only the
		// feeling itself can be off.
		return w.Capacity, math.Exp(-z * FeelSD)
	}
	rest := holdSD
	if w.Steady {
		rest = 0
	}
	power := func(c capacity.Capacity) float64 { return c.SustainableCP(duration) + c.WPrime/duration }
	own := (power(w.Capacity) - power(w.Capacity.AtRisk(1, duration))) / power(w.Capacity)
	total := math.Hypot(own, rest)
	if total == 0 {
		return w.Capacity, 1
	}
	return w.Capacity.AtRisk(z*own/total, duration), math.Exp(-z * rest / total * rest)
}

func (m *maker) run() (Result, error) {
	z := 0.0
	if m.ChanceLimit > 0 && m.Given == nil {
		m.Progress("looking for the plan's safe level")
		var err error
		if z, err = m.level(); err != nil {
			return Result{}, err
		}
	}
	for try := 0; ; try++ {
		m.Progress("finding the fastest ride")
		r, err := m.at(z)
		if err != nil {
			return Result{}, err
		}
		m.Progress("riding it with other luck, many times")
		r.Orders = m.orders(r)
		r.Forecast, err = m.World.Forecast(m.ctx, r.Orders, m.Seed, m.Draws, m.Workers)
		if err != nil {
			return Result{}, err
		}
		over := m.ChanceLimit > 0 && m.Given == nil && r.Forecast.ChanceEmpty > m.ChanceLimit
		if !over || try == 5 || z >= mostZ {
			r.ForZ, r.Missed = z, over
			if m.World.Sketch != nil {
				if err := m.known(&r); err != nil {
					return Result{}, err
				}
			}
			m.sensitivities(&r)
			r.Problem.ctx = nil
			return r, m.ctx.Err()
		}
		z = math.Min(mostZ, z+math.Max(0.05, probit(r.Forecast.ChanceEmpty)-probit(m.ChanceLimit)))
	}
}

func (m *maker) orders(r Result) Orders {
	o := Orders{Plan: r.Plan.Plan, ForCP: m.forCP, Duration: m.pace}
	if m.World.Sketch != nil && m.Given == nil {
		o.Plan, o.Rules = nil, r.Rules
	}
	return o
}

// at makes the whole plan for one rider. Some forms of recovery give W′ back
// so generously that a plan would average more than the power-duration curve
// holds for as long as it takes; then critical power is lowered by the excess
// and all is done again.
func (m *maker) at(z float64) (Result, error) {
	for try := 0; ; try++ {
		r, err := m.once(z)
		if err != nil || m.World.Capacity.Exact || m.Given != nil || try == 8 {
			return r, err
		}
		over := m.over(r)
		if over <= 0.02 {
			return r, nil
		}
		m.excess += 1.1*over + 0.01
	}
}

// over is by how many watts a plan's mean exceeds the curve, at most.
func (m *maker) over(r Result) float64 {
	hold := m.World.Capacity.Power
	if m.World.Sketch != nil {
		return math.Max(r.Ruled.MeanWatts-hold(r.Ruled.Time), r.EvenWatts-hold(r.EvenTime))
	}
	over := math.Inf(-1)
	for _, o := range []Outcome{r.Plan.Outcome, r.Optimum.Outcome, r.Even} {
		over = math.Max(over, o.MeanWatts-hold(o.Time))
	}
	return over
}

func (m *maker) once(z float64) (Result, error) {
	if err := m.ctx.Err(); err != nil {
		return Result{}, err
	}
	p := m.problem(z)
	r := Result{Problem: p, Duration: m.pace}
	if m.World.Sketch != nil {
		return m.sketched(r)
	}
	var err, evenErr error
	var group sync.WaitGroup
	group.Go(func() { r.EvenWatts, r.Even, evenErr = p.Even(m.ctx) })
	r.Optimum, err = p.Optimum(m.ctx)
	group.Wait()
	if err == nil {
		err = evenErr
	}
	if err != nil {
		return r, err
	}
	r.OptimumTime, r.EvenTime = r.Optimum.Outcome.Time, r.Even.Time
	r.Long = LongSections(p.Profile, r.Optimum.Outcome)
	if m.Given != nil {
		r.Plan = Rideable{Plan: m.Given}
		r.Plan.Outcome, err = p.Score(m.Given)
		return r, err
	}
	n := Allowed(r.OptimumTime, r.Long, m.CuesPerHour)
	if r.Plan, err = p.Rideable(m.ctx, r.Optimum, n, r.EvenWatts, r.Even); err != nil {
		return r, err
	}
	if r.Plan.Outcome.Time < r.OptimumTime {
		// The search was caught in a worse place than the cues: go on from them.
		if r.Optimum, err = p.onward(r.Optimum, r.Plan); err != nil {
			return r, err
		}
		r.OptimumTime = math.Min(r.Optimum.Outcome.Time, r.Plan.Outcome.Time)
	}
	if m.ByGradient {
		r.Rules, r.Ruled, _, err = p.byGradient(m.ctx, m.profiles, r.EvenWatts)
		r.EvenRules = len(r.Rules) == 1
	}
	return r, err
}

// sketched is at for a course whose shape is not known: rules instead of cues.
func (m *maker) sketched(r Result) (Result, error) {
	p := r.Problem
	var err error
	var even Ruled
	r.EvenWatts, r.EvenTime = p.evenOver(m.cutShapes)
	if r.Rules, r.Ruled, even, err = p.byGradient(m.ctx, m.profiles, r.EvenWatts); err != nil {
		return r, err
	}
	r.EvenRules = len(r.Rules) == 1
	if even.BalanceMin >= 0 {
		r.EvenWatts, r.EvenTime = even.MeanWatts, even.Time // in whole watts, like the rule
	}
	r.Plausible = m.profiles
	return r, nil
}

// known sets the optimum's time of a sketch: even power less what knowing the
// shape and riding it best gains over it, mean over a few plausible shapes,
// never less than nothing.
func (m *maker) known(r *Result) error {
	shapes := m.profiles[:min(knownDraws, len(m.profiles))]
	gains, errs := make([]float64, len(shapes)), make([]error, len(shapes))
	next := make(chan int, len(shapes))
	for i := range shapes {
		next <- i
	}
	close(next)
	var group sync.WaitGroup
	for range max(1, m.Workers) {
		group.Go(func() {
			for i := range next {
				p := r.Problem
				p.Profile = shapes[i]
				var o Optimum
				if o, errs[i] = p.Optimum(m.ctx); errs[i] != nil {
					continue
				}
				var even Outcome
				_, even, errs[i] = p.Even(m.ctx)
				gains[i] = math.Max(0, even.Time-o.Outcome.Time)
			}
		})
	}
	group.Wait()
	gain := 0.0
	for _, g := range gains {
		gain += g / float64(len(gains))
	}
	r.OptimumTime = math.Min(r.EvenTime-gain, r.Ruled.Time)
	return errors.Join(errs...)
}

// level searches how many standard deviations below the mean to plan. Chance
// against level is close to a straight line on the scale of the normal
// quantile, with slope about −1.
func (m *maker) level() (z float64, err error) {
	z = 0.8 * -probit(m.ChanceLimit)
	zBefore, qBefore := math.NaN(), math.NaN()
	for range 4 {
		chance, err := m.chance(z)
		if err != nil {
			return 0, err
		}
		off := probit(chance) - probit(m.ChanceLimit) + margin
		if math.Abs(off) < 0.12 || (z <= 0 && off < 0) {
			break
		}
		slope := -1.0
		if !math.IsNaN(zBefore) && math.Abs(z-zBefore) > 0.02 {
			slope = math.Min(-0.3, math.Max(-3, (probit(chance)-qBefore)/(z-zBefore)))
		}
		zBefore, qBefore = z, probit(chance)
		z = math.Min(mostZ, math.Max(0, z-off/slope))
	}
	return z, nil
}

// chance of running empty with a plan for z, judged on a few draws of the
// polished cues.
func (m *maker) chance(z float64) (float64, error) {
	if err := m.ctx.Err(); err != nil {
		return 0, err
	}
	p := m.problem(z)
	r := Result{Problem: p}
	if m.World.Sketch != nil {
		var err error
		watts, _ := p.evenOver(m.cutShapes)
		if r.Rules, _, _, err = p.byGradient(m.ctx, m.profiles, watts); err != nil {
			return 0, err
		}
	} else {
		plan, err := p.quick()
		if err != nil {
			return 0, err
		}
		r.Plan.Plan = plan
	}
	f, err := m.World.forecast(m.ctx, m.orders(r), m.Seed, min(trialDraws, m.Draws), m.Workers, trialStep)
	return f.ChanceEmpty, err
}

// quick is a plan with one power per road section, on the fast grid: near
// enough to the rideable one to judge its risk.
func (p Problem) quick() ([]Piece, error) {
	step, _ := gridLengths(p.Profile.Length())
	var ends []float64
	for _, s := range course.Sections(p.Profile) {
		if len(ends) == 0 || s.To-ends[len(ends)-1] > 150 || s.To == p.Profile.Length() {
			ends = append(ends, s.To)
		}
	}
	g := newGrid(&p.Motion, p.Profile, ends, 2*step)
	rd := newRider(&p, g)
	watts, _, _ := p.searchFrom(rd, true, glancing)
	if err := p.cause(); err != nil {
		return nil, err
	}
	scaled := slices.Clone(watts)
	ride := func(f float64) (float64, error) {
		for i, w := range watts {
			scaled[i] = p.stretched(w, f)
		}
		return rd.slack(scaled)
	}
	if slack, err := ride(1); err == nil {
		factor, _ := p.stretch(slack, ride)
		_, _ = ride(factor)
	}
	return g.pieces(scaled), p.cause()
}

// sensitivities are differences on the mean road.
func (m *maker) sensitivities(r *Result) {
	w := m.World
	time := func(w World, more float64) float64 {
		if m.ctx.Err() != nil {
			return 0 // the caller throws it away
		}
		p := r.Problem
		p.Motion = w.Road.Motion(w.RiderMass)
		if w.Sketch != nil && m.Given == nil {
			rules := append([]Rule(nil), r.Rules...)
			for i := range rules {
				rules[i].Watts += more
			}
			return p.ScoreRules(rules, m.profiles).Time
		}
		plan := append([]Piece(nil), r.Plan.Plan...)
		for i := range plan {
			plan[i].Watts += more
		}
		out, err := p.Score(plan)
		if err != nil {
			return math.NaN()
		}
		return out.Time
	}
	slim, heavy := w, w
	slim.Road.CdA -= 0.01
	heavy.RiderMass++
	var base, five, slimmer, heavier float64
	var group sync.WaitGroup
	group.Go(func() { base = time(w, 0) })
	group.Go(func() { five = time(w, 5) })
	group.Go(func() { slimmer = time(slim, 0) })
	group.Go(func() { heavier = time(heavy, 0) })
	group.Wait()
	r.FiveWatts, r.DragArea, r.OneKg = base-five, base-slimmer, heavier-base
}

// probit is the standard normal quantile, for chances kept off 0 and 1.
func probit(p float64) float64 {
	p = math.Min(0.999, math.Max(0.001, p))
	return math.Sqrt2 * math.Erfinv(2*p-1)
}
