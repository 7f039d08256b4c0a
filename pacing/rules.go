package pacing

import (
	"context"
	"math"

	"chainline/course"
	"chainline/physics"
)

// Rule is effort by gradient: on gradients from From to To (fractions), as
// felt over about 100 m, hold Watts.
type Rule struct {
	From, To float64 // fractions, −Inf and +Inf at the ends
	Watts    float64
}

// The gradients at which effort by gradient may change. Common practice has
// no standard; these are our judgement: downhill, level, and three kinds of up.
var ruleBounds = []float64{-0.02, 0.015, 0.04, 0.07}

// leastShare is the share of the distance below which a rule is not worth
// remembering and is joined to its neighbour.
const leastShare = 0.04

// ruled is the power the rules ask for on every step.
func ruled(rules []Rule, s *shape) []float64 {
	out := make([]float64, len(s.length))
	for i, g := range s.felt {
		k := 0
		for k < len(rules)-1 && g >= rules[k].To {
			k++
		}
		out[i] = rules[k].Watts
	}
	return out
}

// bands cuts the gradients that occur on the courses into three to five rules
// (fewer where a course is all alike).
func bands(shapes []*shape) []Rule {
	bounds := append([]float64(nil), ruleBounds...)
	for {
		share := make([]float64, len(bounds)+1)
		total := 0.0
		for _, s := range shapes {
			for i, g := range s.felt {
				k := 0
				for k < len(bounds) && g >= bounds[k] {
					k++
				}
				share[k] += s.length[i]
				total += s.length[i]
			}
		}
		least := 0
		for k := range share {
			if share[k] < share[least] {
				least = k
			}
		}
		if share[least] >= leastShare*total || len(bounds) == 0 {
			rules := make([]Rule, len(bounds)+1)
			for k := range rules {
				rules[k].From, rules[k].To = math.Inf(-1), math.Inf(1)
				if k > 0 {
					rules[k].From = bounds[k-1]
				}
				if k < len(bounds) {
					rules[k].To = bounds[k]
				}
			}
			return rules
		}
		// Join to the neighbour in the direction of level road.
		drop := least
		if least > 0 && (least == len(bounds) || bounds[least-1] > 0) {
			drop = least - 1
		}
		bounds = append(bounds[:drop], bounds[drop+1:]...)
	}
}

// Rules finds effort by gradient for one course or for several plausible
// ones: the watts, in 5 W steps and rising with the gradient, of least mean
// time plus a penalty (ruleCost) on a mean lowest balance under the reserve and
// on a worst one below zero. It is a penalty, not a limit: a second gained may
// cost up to 20 J of the reserve, or 10 J below zero on the worst course; what
// ScoreRules says of the balance holds. Search by coordinates in shrinking
// steps from about critical power on every gradient; a local optimum. It
// returns ctx's error if cancelled.
func (p Problem) Rules(ctx context.Context, profiles []course.Profile) ([]Rule, error) {
	p.ctx = ctx
	shapes := make([]*shape, len(profiles))
	for i, profile := range profiles {
		shapes[i] = cut(profile, []float64{profile.Length()}, math.Max(40, forecastStep(profile.Length())))
	}
	rules := bands(shapes)
	for p.Apart > 0 && len(rules) > 3 { // by feel, three are enough
		rules[len(rules)-2].To = rules[len(rules)-1].To
		rules = rules[:len(rules)-1]
	}
	low, high := math.Ceil(p.Floor/WattStep)*WattStep, math.Floor(p.Ceiling/WattStep)*WattStep
	for k := range rules {
		share := 0.95 + p.Apart*(float64(k)-0.6*float64(len(rules)-1))
		rules[k].Watts = math.Min(high, math.Max(low, WattStep*math.Round(p.Balance.CriticalPower*share/WattStep)))
	}
	best := p.ruleCost(rules, shapes)
	for _, step := range []float64{40, 20, 10, 5} {
		for improved, rounds := true, 0; improved && rounds < 12; rounds++ {
			improved = false
			for k := range rules {
				if err := ctx.Err(); err != nil {
					return nil, err
				}
				for _, d := range []float64{step, -step} {
					improved = p.tryRules(rules, shapes, &best, low, high, k, k, d, 0) || improved
					for j := range rules {
						if j != k {
							improved = p.tryRules(rules, shapes, &best, low, high, k, j, d, -d/2) || improved
							improved = p.tryRules(rules, shapes, &best, low, high, k, j, d, -d) || improved
						}
					}
				}
			}
		}
	}
	return joinRules(rules), nil
}

// tryRules changes rules k and j and keeps the change if it helps.
func (p Problem) tryRules(rules []Rule, shapes []*shape, best *float64, low, high float64, k, j int, dk, dj float64) bool {
	oldK, oldJ := rules[k].Watts, rules[j].Watts
	rules[k].Watts += dk
	if j != k {
		rules[j].Watts = WattStep * math.Round((rules[j].Watts+dj)/WattStep)
	}
	apart := WattStep * math.Round(p.Apart*p.Balance.CriticalPower/WattStep)
	ok := rules[k].Watts >= low && rules[k].Watts <= high && rules[j].Watts >= low && rules[j].Watts <= high
	for i := 1; i < len(rules) && ok; i++ {
		ok = rules[i].Watts >= rules[i-1].Watts+apart
	}
	if ok {
		if cost := p.ruleCost(rules, shapes); cost < *best-1e-6 {
			*best = cost
			return true
		}
	}
	rules[k].Watts, rules[j].Watts = oldK, oldJ
	return false
}

// joinRules joins neighbours that ask for the same power.
func joinRules(rules []Rule) []Rule {
	for k := 1; k < len(rules); {
		if rules[k].Watts == rules[k-1].Watts {
			rules[k-1].To = rules[k].To
			rules = append(rules[:k], rules[k+1:]...)
		} else {
			k++
		}
	}
	return rules
}

// ruleCost is the mean time over the shapes with a price of one second on
// every 20 J of the mean that are missing from the reserve, and on every 10 J
// that the worst shape is below zero.
func (p Problem) ruleCost(rules []Rule, shapes []*shape) float64 {
	time, missing, worst := 0.0, 0.0, 0.0
	for _, s := range shapes {
		seconds, least := p.alongShape(s, ruled(rules, s), nil)
		time += seconds
		missing += least - p.Reserve
		worst = math.Min(worst, least)
	}
	n := float64(len(shapes))
	return time/n + math.Max(0, -missing/n)/20 - worst/10
}

// alongShape rides a shape at given watts on the mean road and returns time
// and lowest balance; each, if not nil, sees every step's time.
func (p Problem) alongShape(s *shape, watts []float64, each func(step int, seconds float64)) (seconds, least float64) {
	var d draw
	d.motion = p.Motion
	y, w := p.StartSpeed*p.StartSpeed, p.Balance.WPrime
	least = w
	weight := p.Motion.Mass * physics.Gravity
	for i, h := range s.length {
		force := weight*s.cos[i]*(s.gradient[i]+p.Motion.Crr) + p.Motion.Bearing0
		next, dt, ok := p.Motion.Advance(y, h, force, watts[i], nil)
		if !ok {
			next, dt = d.creep(y, h, force, watts[i], p.Balance.CriticalPower)
		}
		y, seconds = next, seconds+dt
		w = p.Balance.Step(w, watts[i], dt)
		least = math.Min(least, w)
		if each != nil {
			each(i, dt)
		}
	}
	return seconds, least
}

// Ruled is what riding by rules comes to on the mean road.
type Ruled struct {
	Time       float64   // s, mean over the courses
	BalanceMin float64   // J, lowest on any of them
	MeanWatts  float64   // W, over time
	Shares     []float64 // of the time, under each rule
}

// ScoreRules rides the courses by the rules.
func (p Problem) ScoreRules(rules []Rule, profiles []course.Profile) Ruled {
	out := Ruled{Shares: make([]float64, len(rules)), BalanceMin: p.Balance.WPrime}
	for _, profile := range profiles {
		s := cut(profile, []float64{profile.Length()}, forecastStep(profile.Length()))
		watts := ruled(rules, s)
		seconds, least := p.alongShape(s, watts, func(i int, dt float64) {
			out.MeanWatts += watts[i] * dt
			for k, r := range rules {
				if s.felt[i] >= r.From && s.felt[i] < r.To {
					out.Shares[k] += dt
				}
			}
		})
		out.Time += seconds
		out.BalanceMin = math.Min(out.BalanceMin, least)
	}
	for k := range out.Shares {
		out.Shares[k] /= out.Time
	}
	out.MeanWatts /= out.Time
	out.Time /= float64(len(profiles))
	return out
}

// byGradient is the rules for the courses, or one even effort in whole watts
// where rules are no more than spared faster: in 5 W steps, and by feel a
// twentieth of CP apart, three efforts can lose more by their steps than they
// win on the hills. With several courses, one stands for even power as well.
func (p Problem) byGradient(ctx context.Context, profiles []course.Profile, evenWatts float64) (rules []Rule, ruled, even Ruled, err error) {
	p.ctx = ctx
	if rules, err = p.Rules(ctx, profiles); err != nil {
		return nil, Ruled{}, Ruled{}, err
	}
	ruled = p.ScoreRules(rules, profiles)
	one, even := p.evenRule(profiles, evenWatts)
	if even.BalanceMin >= 0 && (ruled.BalanceMin < 0 || even.Time <= ruled.Time+spared(ruled.Time)) {
		rules, ruled = one, even
	}
	return rules, ruled, even, ctx.Err()
}

// evenRule is one effort everywhere in whole watts, the highest up to
// evenWatts that leaves something on every course.
func (p Problem) evenRule(profiles []course.Profile, evenWatts float64) ([]Rule, Ruled) {
	one := []Rule{{From: math.Inf(-1), To: math.Inf(1), Watts: math.Max(math.Ceil(p.Floor), math.Floor(evenWatts+1e-9))}}
	for {
		even := p.ScoreRules(one, profiles)
		lower := one[0].Watts - math.Max(1, math.Floor(-even.BalanceMin/even.Time))
		if even.BalanceMin >= 0 || lower < math.Max(1, p.Floor) || p.halted() {
			return one, even
		}
		one[0].Watts = lower
	}
}

// evenOver is the highest constant power that keeps the reserve on the mean
// of several courses, and its mean time, on the fast scheme.
func (p Problem) evenOver(shapes []*shape) (watts, seconds float64) {
	ride := func(w float64) (time, slack float64) {
		for _, s := range shapes {
			all := make([]float64, len(s.length))
			for i := range all {
				all[i] = w
			}
			t, least := p.alongShape(s, all, nil)
			time += t / float64(len(shapes))
			slack += (least - p.Reserve) / float64(len(shapes))
		}
		return time, slack
	}
	lo, hi := math.Max(p.Floor, 1), p.Ceiling
	w := math.Min(hi, math.Max(lo, p.Balance.CriticalPower))
	for range 40 {
		time, slack := ride(w)
		if p.halted() {
			break
		}
		if slack >= 0 {
			lo = w
		} else {
			hi = w
		}
		seconds = time
		if math.Abs(slack) < 2 || hi-lo < 0.01 {
			break
		}
		next := w + slack/time
		if !(next > lo && next < hi) {
			next = 0.5 * (lo + hi)
		}
		w = next
	}
	return w, seconds
}
