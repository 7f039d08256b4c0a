package pacing

import "math"

// spared is how many seconds a plan may lose to one with more cues and still
// be preferred: one second, but no more than a thousandth of a short ride and
// no less than a two-thousandth of a long one. Nobody holds a plan that well.
// Our judgement; the only place where it stands.
func spared(seconds float64) float64 {
	return math.Max(5e-4*seconds, math.Min(1, 1e-3*seconds))
}

// mostMerged is up to how many cues fewer are tried for: each trial is a ride,
// and on a thousand kilometres a ride takes a second.
const mostMerged = 30

// simpler is the plan with as few cues as lose no more than spared: one number
// for the whole ride, or an even plan that changes step less often, or cues
// that nobody can tell apart joined to one. Only the one number may be slower
// than the best even power, by the watts that are missing to the next step.
func (p Problem) simpler(r Rideable, evenWatts float64, even Outcome) (Rideable, error) {
	limit := r.Outcome.Time + spared(r.Outcome.Time)
	fits := func(o Outcome, limit float64) bool { return o.BalanceMin >= p.Reserve-1e-6 && o.Time <= limit }
	flat := even.Time <= limit // else no even plan can do as well
	if flat && len(r.Plan) > 1 {
		plan, out, err := p.evenSteps(evenWatts, 1)
		if err == nil && fits(out, limit) {
			r.Plan, r.Outcome, r.Even = plan, out, true
		}
	}
	limit = math.Min(limit, math.Max(even.Time, r.Outcome.Time+0.1))
	for cues := 2; flat && cues < len(r.Plan) && len(r.Plan) <= mostMerged && !p.halted(); cues *= 2 {
		plan, out, err := p.evenSteps(evenWatts, cues)
		if err == nil && len(plan) < len(r.Plan) && fits(out, limit) {
			r.Plan, r.Outcome, r.Even = plan, out, true
		}
	}
	for !r.Even && len(r.Plan) > 1 && len(r.Plan) <= mostMerged && !p.halted() {
		plan, out := p.joined(r.Plan)
		if plan == nil || !fits(out, limit) {
			break
		}
		r.Plan, r.Outcome = plan, out
	}
	return r, p.cause()
}

// joined is the fastest plan that makes one cue of two neighbours which differ
// by less than a rider can tell apart, at the power of either; nil if there
// are none that keep the reserve.
func (p Problem) joined(plan []Piece) (best []Piece, out Outcome) {
	out.Time = math.Inf(1)
	for i := 1; i < len(plan); i++ {
		if math.Abs(plan[i].Watts-plan[i-1].Watts) > feltApart*p.Balance.CriticalPower {
			continue
		}
		for _, watts := range []float64{plan[i-1].Watts, plan[i].Watts} {
			one := append([]Piece(nil), plan[:i]...)
			one[i-1].To, one[i-1].Watts = plan[i].To, watts
			one = merge(append(one, plan[i+1:]...))
			o, err := p.Score(one)
			if err == nil && o.BalanceMin >= p.Reserve-1e-6 && o.Time < out.Time && len(tooShort(one, o)) == 0 {
				best, out = one, o
			}
		}
	}
	return best, out
}

// evenSteps is the best even power in 5 W steps: the step above and the step
// below in turn, with as much of the upper one as keeps the reserve; one cue
// if a single step does, or if only one is allowed.
func (p Problem) evenSteps(watts float64, n int) ([]Piece, Outcome, error) {
	total := p.Profile.Length()
	low := math.Max(math.Ceil(p.Floor/WattStep)*WattStep, WattStep*math.Floor(watts/WattStep+1e-9))
	high := math.Min(low+WattStep, math.Floor(p.Ceiling/WattStep)*WattStep)
	best := []Piece{{0, total, low}}
	out, err := p.Score(best)
	if err != nil || n < 2 || high <= low {
		return best, out, err
	}
	turns := float64(max(1, p.turns(0.5, out.Time, n)))
	at := func(share float64) []Piece {
		var plan []Piece
		for k := range int(turns) {
			from, to := total*float64(k)/turns, total*float64(k+1)/turns
			plan = append(plan, Piece{from, from + share*(to-from), high}, Piece{from + share*(to-from), to, low})
		}
		plan[len(plan)-1].To = total
		return plan
	}
	lo, hi := 0.0, 1.0
	for range 14 {
		if err := p.cause(); err != nil {
			return nil, Outcome{}, err
		}
		share := 0.5 * (lo + hi)
		o, err := p.Score(at(share))
		if err == nil && o.BalanceMin >= p.Reserve-1e-6 {
			lo = share
			if o.Time < out.Time && len(tooShort(at(share), o)) == 0 {
				best, out = at(share), o
			}
		} else {
			hi = share
		}
	}
	return best, out, nil
}
