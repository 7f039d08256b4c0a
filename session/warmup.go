package session

import (
	"math"
)

// PlanWarmUp fits a warm-up, a timeline and a cool-down to a start. It fails,
// with one line that says why, when the request cannot be met: numbers out of
// range, or a rig that cannot be ridden as gently as this rider should.
//
// What is published and what is not stands beside each rule; in short: that
// prior exercise helps, by how much and for how long is published (gain.go),
// that W′ must be back is arithmetic with published recoveries, and the shape
// of the warm-up, its lengths and who gets which is common practice and our
// judgement (shape.go).
func PlanWarmUp(q Request) (WarmUp, error) {
	if err := q.check(); err != nil {
		return WarmUp{}, err
	}
	b := fit(q)
	w := WarmUp{
		Steps:        b.steps,
		BalanceAtGun: q.balanceAtGun(b.steps, q.speed(0)),
		BalanceSlow:  q.balanceAtGun(b.steps, q.speed(1)),
		LastHardS:    b.lastHardS,
		Prior:        b.prior(),
		WaitS:        b.waitS(),
		Gain:         q.gain(b),
		CoolDown:     q.coolDown(),
	}
	w.Timeline = q.timeline(b)
	w.Why, w.Lines = q.words(b, w)
	return w, nil
}

// BalanceAtLeast is the share of W′ that must be back at the gun.
const BalanceAtLeast = 0.95

// The last hard effort ends this long before the gun (s). Eight well-trained
// cyclists left to themselves left 2 to 11 min (Palmer et al. 2009, MSSE
// 41:221, abstract only); five to eight minutes is common practice.
const (
	LastHardMin, LastHardMax = 300.0, 480.0
	lastHardUsual            = 360.0
)

// fit builds the warm-up this rider may have, and takes short efforts away
// until W′ is back at the gun even if it returns slowly. With none left
// nothing lies above critical power, so that the last attempt always holds.
func fit(q Request) built {
	tier := q.tier()
	for n := q.primers(tier); n > 0; n-- {
		for _, seconds := range []float64{30, 20} {
			for _, last := range q.lastHard() {
				b := q.build(tier, n, seconds, last)
				if q.balanceAtGun(b.steps, q.speed(1)) >= BalanceAtLeast {
					return b
				}
			}
		}
	}
	return q.build(min(tier, firm), 0, 0, q.lastHard()[0])
}

// lastHard are the times before the gun (s) at which the last hard effort may
// end, best first. A pen in which nobody rides hard and which is longer than
// LastHardMax leaves only one: before the pen.
func (q Request) lastHard() []float64 {
	var times []float64
	for t := lastHardUsual; t <= LastHardMax; t += 60 {
		if q.Pen == PenFree || t >= q.PenS {
			times = append(times, t)
		}
	}
	if times == nil {
		return []float64{q.PenS + intoPen}
	}
	return times
}

// intoPen is the time from the last effort into the pen, s (our judgement).
const intoPen = 30.0

// speed is the factor on the time constants of recovery: the median for z 0,
// the 90th percentile of slowness for z 1.
func (q Request) speed(z float64) float64 {
	median := q.Recovery.SpeedMedian
	if median == 0 {
		median = 1
	}
	return median * math.Exp(z*z90*q.Recovery.SpeedLogSD)
}

// balanceAtGun is the share of W′ left after the steps, by capacity.Balance.
func (q Request) balanceAtGun(steps []Step, speed float64) float64 {
	b := q.balance(steps, speed)
	w := b.WPrime
	for _, s := range steps {
		w = b.Step(w, s.Watts, s.DurationS)
	}
	return w / b.WPrime
}
