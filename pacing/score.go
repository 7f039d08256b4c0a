package pacing

import (
	"context"
	"errors"
	"fmt"
	"math"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

// Outcome is what a plan comes to on the road it was made for, integrated to
// the error that physics.Ride states.
type Outcome struct {
	Time       float64 // s
	BalanceMin float64 // J, lowest W′ balance; negative if the plan asks for more than there is
	MeanWatts  float64 // W, mean over time
	// At, Seconds, Speed, Balance and Watts describe the ends of the stretches
	// that were ridden: metres, s, m/s, J, W on the stretch.
	At, Seconds, Speed, Balance, Watts []float64
	Energy                             physics.Energy
	TimeError                          float64 // s, the integrator's own estimate
}

// ErrStall wraps a *physics.StallError: the plan brings the rider to a
// standstill.
var ErrStall = errors.New("the plan stalls")

// legs splits a plan at every change of gradient.
func legs(p course.Profile, plan []Piece) []physics.Leg {
	out := make([]physics.Leg, 0, len(p.Distance)+len(plan))
	k := 0
	for i := 0; i+1 < len(p.Distance); i++ {
		at, gradient := p.Distance[i], p.Gradient(i)
		for at < p.Distance[i+1]-1e-9 {
			for k < len(plan)-1 && plan[k].To <= at+1e-9 {
				k++
			}
			to := p.Distance[i+1]
			if k < len(plan)-1 {
				to = math.Min(to, plan[k].To)
			}
			out = append(out, physics.Leg{Length: to - at, Gradient: gradient, Watts: plan[k].Watts})
			at = to
		}
	}
	return out
}

// Score rides a plan that covers the course. The balance is exact for the
// given times, for power is constant on each stretch and the balance moves
// one way while it is.
func (p Problem) Score(plan []Piece) (Outcome, error) {
	route := legs(p.Profile, plan)
	res, err := p.Motion.Ride(p.StartSpeed, route)
	if err != nil {
		return Outcome{}, fmt.Errorf("%w: %w", ErrStall, err)
	}
	o := Outcome{Time: res.Time(), Energy: res.Energy, TimeError: res.TimeError, Seconds: res.Times, Speed: res.Speeds,
		MeanWatts: res.Energy.Crank / res.Time(), BalanceMin: p.Balance.WPrime,
		At: make([]float64, len(route)), Balance: make([]float64, len(route)), Watts: make([]float64, len(route))}
	balance := p.Balance
	if balance.Form == capacity.Integral {
		balance.MeanDeficit = meanDeficit(balance.CriticalPower, route, res.Times)
	}
	at, w, before := 0.0, balance.WPrime, 0.0
	for i, leg := range route {
		at += leg.Length
		w = balance.Step(w, leg.Watts, res.Times[i]-before)
		before = res.Times[i]
		o.At[i], o.Balance[i], o.Watts[i] = at, w, leg.Watts
		o.BalanceMin = math.Min(o.BalanceMin, w)
	}
	return o, nil
}

// scoreMoving is Score for a plan found on the fast grid: where the full
// profile brings the rider to a standstill, power there is raised towards CP.
func (p Problem) scoreMoving(plan []Piece) ([]Piece, Outcome, error) {
	for range 200 {
		out, err := p.Score(plan)
		stall, ok := errors.AsType[*physics.StallError](err)
		if !ok || p.halted() {
			return plan, out, err
		}
		plan = append([]Piece(nil), plan...)
		for i := range plan {
			if plan[i].To >= stall.At {
				// The piece, and the one before it, whose momentum was missing.
				for j := max(0, i-1); j <= i; j++ {
					plan[j].Watts = math.Max(plan[j].Watts, math.Min(p.Ceiling, 0.25*plan[j].Watts+0.75*p.Balance.CriticalPower))
				}
				break
			}
		}
	}
	out, err := p.Score(plan)
	return plan, out, err
}

// meanDeficit is CP minus the time mean of the power below CP (W), as the
// integral form needs it; 0 if power is never below CP.
func meanDeficit(criticalPower float64, route []physics.Leg, times []float64) float64 {
	sum, time, before := 0.0, 0.0, 0.0
	for i, leg := range route {
		dt := times[i] - before
		before = times[i]
		if leg.Watts < criticalPower {
			sum += (criticalPower - leg.Watts) * dt
			time += dt
		}
	}
	if time == 0 {
		return 0
	}
	return sum / time
}

// Even is the highest constant power that keeps the reserve, between floor
// and ceiling, by a safeguarded secant on rides of the adaptive integrator, to
// half a joule of W′ or a ten-thousandth of a watt. It returns ctx's error if
// cancelled.
func (p Problem) Even(ctx context.Context) (watts float64, out Outcome, err error) {
	score := func(w float64) (Outcome, error) {
		return p.Score([]Piece{{To: p.Profile.Length(), Watts: w}})
	}
	lo, hi := math.Max(p.Floor, 1), p.Ceiling
	if o, err := score(hi); err == nil && o.BalanceMin >= p.Reserve {
		return hi, o, nil
	}
	// The balance of an even ride falls at (P − CP) for as long as it lasts:
	// a secant in power converges in a handful of rides.
	w := math.Min(hi, math.Max(lo, p.Balance.CriticalPower))
	best, found := Outcome{}, false
	for range 60 {
		if err := ctx.Err(); err != nil {
			return 0, Outcome{}, err
		}
		o, err := score(w)
		if err != nil {
			lo = w // too little to get up a climb
			w = 0.5 * (lo + hi)
			if hi-lo < 0.01 {
				return 0, Outcome{}, err
			}
			continue
		}
		slack := o.BalanceMin - p.Reserve
		if slack >= -1e-6 {
			lo, watts, best, found = w, w, o, true
		} else {
			hi = w
		}
		if hi-lo < 1e-4 || (found && slack >= 0 && slack < 0.5) {
			break
		}
		next := w + slack/o.Time*1.02
		if !(next > lo && next < hi) {
			next = 0.5 * (lo + hi)
		}
		w = next
	}
	if !found {
		w = math.Max(p.Floor, 1)
		o, err := score(w)
		return w, o, err
	}
	return watts, best, nil
}
