package pacing

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/physics"
)

// Execution of a plan. Clark, Paton and O'Brien 2014, J Sci Cycling 3(3)
// (abstract): a simulated 20 km time trial repeated after 7 days varies by
// 2.0 % in mean power (1.1 % in time). How much of that is the rider's day and
// how much the holding of the effort is not published; half the variance each
// is our judgement.
const (
	RepeatPower = 0.020
	formSD      = RepeatPower / math.Sqrt2 // the day: capacity and power alike
	holdSD      = RepeatPower / math.Sqrt2 // holding the plan: power alone
	// FeelSD is how far an effort held by feel alone strays from its share of
	// the rider's own critical power. Our judgement.
	FeelSD = 0.06
)

// back is the share of W′ that has to be there again before a rider who ran
// empty returns to the plan; until then the lesser of plan and CP is held.
// Our judgement.
const back = 0.05

// World is everything about a ride that is not certain.
type World struct {
	Capacity capacity.Capacity
	Form     capacity.Recovery
	// RecoveryMedian and RecoverySD describe the log-normal factor on the time
	// constants of W′ recovery; 0 and 0 mean the published form as it stands.
	RecoveryMedian, RecoverySD float64

	Road       physics.Road
	RiderMass  float64 // kg
	RiderSD    float64 // kg
	BikeSD     float64 // kg
	DragAreaSD float64 // m²
	CrrSD      float64

	// ByFeel: effort is held as a share of the rider's own critical power by
	// feel. Then Capacity is in true watts, and what the source displays of them,
	// with an error of SourceSD (sd of its logarithm), drives the virtual rider.
	// Otherwise Capacity is in displayed watts and knows the source's error.
	ByFeel   bool
	SourceSD float64
	// Holding is how the rider holds plans, if that was learnt. It is not read
	// ByFeel or Steady.
	Holding Holding
	// Steady leaves out the rider's day and how a plan is held, so that the
	// rest can be checked alone.
	Steady bool

	Profile course.Profile                    // the course, if its shape is known
	Sketch  func(r *rand.Rand) course.Profile `json:"-"` // else one plausible shape
}

// Orders is what the rider intends: cues, or rules by gradient.
type Orders struct {
	Plan     []Piece
	Rules    []Rule
	ForCP    float64 // W, critical power that watts by feel are shares of
	Duration float64 // s, planned, for the fade
}

// draw is one possible ride.
type draw struct {
	motion  physics.Motion
	balance capacity.Balance
	power   float64 // executed displayed watts over planned
	counted float64 // watts as the capacity counts them over executed displayed
	habits  []float64
}

// sample draws one world. Every draw takes the same number of variates in the
// same order, so that plans can be compared draw by draw.
func (w World) sample(r *rand.Rand, o Orders) draw {
	c := w.Capacity.Draw(r)
	var z [8]float64
	for i := range z {
		z[i] = r.NormFloat64()
	}
	road := w.Road.Changed(w.BikeSD*z[0], w.DragAreaSD*z[1], w.CrrSD*z[2])
	mass := math.Max(0.7*w.RiderMass, w.RiderMass+w.RiderSD*z[3])
	form, hold := math.Exp(formSD*z[5]), math.Exp(w.Holding.sd()*z[6])
	if w.Steady {
		form, hold = 1, 1
	}
	speed := 1.0
	if w.RecoveryMedian > 0 {
		speed = w.RecoveryMedian * math.Exp(w.RecoverySD*z[7])
	}
	d := draw{motion: road.Motion(mass), power: form * hold, counted: 1}
	cp := c.SustainableCP(o.Duration) * form
	d.balance = capacity.Balance{CriticalPower: cp, WPrime: c.WPrime * form, Form: w.Form, Speed: speed}
	if !w.ByFeel && !w.Steady {
		d.habits = w.Holding.draw(r)
	}
	if w.ByFeel {
		// The same sensation asks this rider for this share of their own CP.
		source := math.Exp(w.SourceSD * z[4])
		d.power = cp / o.ForCP * math.Exp(FeelSD*z[6]) * source
		d.counted = 1 / source
	}
	return d
}

// ridden is what came of one draw.
type ridden struct {
	seconds float64
	emptyAt float64 // m; −1 if W′ lasted
}

// ride goes over the shape at the given watts per step; the rider who runs
// out of W′ holds the lesser of plan and CP until a little of it is back.
func (d draw) ride(s *shape, watts []float64, start float64) ridden {
	y, spent, at := start*start, 0.0, 0.0
	out := ridden{emptyAt: -1}
	empty := false
	cp, wPrime := d.balance.CriticalPower, d.balance.WPrime
	weight := d.motion.Mass * physics.Gravity
	for i, h := range s.length {
		display := watts[i] * d.power
		felt := display * d.counted
		if empty && felt > cp {
			felt, display = cp, cp/d.counted
		}
		force := weight*s.cos[i]*(s.gradient[i]+d.motion.Crr) + d.motion.Bearing0
		next, dt, ok := d.motion.Advance(y, h, force, display, nil)
		if !ok {
			next, dt = d.creep(y, h, force, display, cp/d.counted)
		}
		spent = wPrime - d.balance.Step(wPrime-spent, felt, dt)
		y, at = next, at+h
		out.seconds += dt
		switch {
		case spent >= wPrime && !empty && at < s.total-1:
			empty = true
			if out.emptyAt < 0 {
				out.emptyAt = at
			}
		case spent <= (1-back)*wPrime:
			empty = false
		}
	}
	return out
}

// creep is a step on which the planned power would bring the bicycle to a
// standstill: the rider does what is needed to stay upright, at walking speed.
func (d draw) creep(y, h, force, display, cp float64) (next, seconds float64) {
	const walking = 1.2 // m/s
	if next, dt, ok := d.motion.Advance(math.Max(y, walking*walking), h, force, math.Max(display, 0.8*cp), nil); ok {
		return next, dt
	}
	return walking * walking, h / walking
}

// Forecast is what the draws say.
type Forecast struct {
	Median, Low80, High80 float64 // s
	ChanceEmpty           float64
	EmptyAt               float64   // m, median place among those who run empty; 0 if none do
	EmptyCue              int       // 1-based cue in which most of them do; 0 if none do
	Times                 []float64 // s, sorted
	ByDraw                []float64 // s, in the order of the draws: orders forecast with one seed are compared draw by draw
}

// forecastStep is the step of forecasts in metres; long courses are ridden in
// longer steps. On 100 km of waves 40 m err by 0.9 s of 3 h 42 min, where the
// 80 % interval of a rider known from three tests is 600 s wide (measured).
func forecastStep(length float64) float64 {
	return math.Min(50, math.Max(10, length/2500))
}

// Forecast rides the orders in n seeded draws, spread over the given number of
// workers; the result is the same for any number of them. It returns ctx's
// error if cancelled.
func (w World) Forecast(ctx context.Context, o Orders, seed uint64, n, workers int) (Forecast, error) {
	return w.forecast(ctx, o, seed, n, workers, 0)
}

// forecast is Forecast in steps of at least so many metres.
func (w World) forecast(ctx context.Context, o Orders, seed uint64, n, workers int, least float64) (Forecast, error) {
	rides := make([]ridden, n)
	known := w.known(o, least)
	var group sync.WaitGroup
	next := make(chan int)
	for range max(1, workers) {
		group.Go(func() {
			for from := range next {
				for i := from; i < min(from+16, n) && ctx.Err() == nil; i++ {
					rides[i] = w.one(o, known, seed, i, least)
				}
			}
		})
	}
	for i := 0; i < n; i += 16 {
		next <- i
	}
	close(next)
	group.Wait()
	if err := ctx.Err(); err != nil {
		return Forecast{}, err
	}
	return summarise(rides, o), nil
}

// prepared is a known course with the orders' power on each step.
type prepared struct {
	shape *shape
	watts []float64
}

func (w World) known(o Orders, least float64) *prepared {
	if w.Sketch != nil {
		return nil
	}
	ends := []float64{w.Profile.Length()}
	if len(o.Plan) > 0 {
		ends = planEnds(o.Plan)
	}
	s := cut(w.Profile, ends, math.Max(least, forecastStep(w.Profile.Length())))
	return &prepared{s, o.steps(s)}
}

// steps is the power the orders ask for on each step of a shape.
func (o Orders) steps(s *shape) []float64 {
	if len(o.Plan) > 0 {
		return s.watts(o.Plan)
	}
	return ruled(o.Rules, s)
}

func (w World) one(o Orders, known *prepared, seed uint64, index int, least float64) ridden {
	r := estimate.Stream(seed, index)
	d := w.sample(r, o)
	if known == nil {
		p := w.Sketch(r)
		s := cut(p, []float64{p.Length()}, math.Max(least, forecastStep(p.Length())))
		known = &prepared{s, o.steps(s)}
	}
	if w.Form == capacity.Integral {
		d.balance.MeanDeficit = deficitOf(known, d)
	}
	return d.ride(known.shape, w.Holding.ridden(known.shape, known.watts, d.habits), w.Road.StartSpeed)
}

// deficitOf is the mean deficit below CP of the intended power, weighted by
// length: near enough for a time constant whose own spread is wide.
func deficitOf(k *prepared, d draw) float64 {
	sum, length := 0.0, 0.0
	for i, h := range k.shape.length {
		if p := k.watts[i] * d.power * d.counted; p < d.balance.CriticalPower {
			sum += (d.balance.CriticalPower - p) * h
			length += h
		}
	}
	if length == 0 {
		return 0
	}
	return sum / length
}

func summarise(rides []ridden, o Orders) Forecast {
	f := Forecast{Times: make([]float64, len(rides))}
	var places []float64
	cues := make([]int, len(o.Plan))
	for i, r := range rides {
		f.Times[i] = r.seconds
		if r.emptyAt >= 0 {
			places = append(places, r.emptyAt)
			for k, piece := range o.Plan {
				if r.emptyAt <= piece.To+1e-6 {
					cues[k]++
					break
				}
			}
		}
	}
	f.ByDraw = slices.Clone(f.Times)
	slices.Sort(f.Times)
	slices.Sort(places)
	f.Median, f.Low80, f.High80 = estimate.Quantile(f.Times, 0.5), estimate.Quantile(f.Times, 0.1), estimate.Quantile(f.Times, 0.9)
	f.ChanceEmpty = float64(len(places)) / float64(len(rides))
	if len(places) > 0 {
		f.EmptyAt = estimate.Quantile(places, 0.5)
	}
	most := 0
	for k, c := range cues {
		if c > most {
			most, f.EmptyCue = c, k+1
		}
	}
	return f
}
