package bench

import (
	"math"
	"math/rand/v2"
)

// heart follows the effort with a first-order lag and drifts upwards over a
// long ride.
//
// First-order on-kinetics with a time constant of 56 to 60 s: measured on a
// treadmill, Biomed Eng Online 2015 (PMC4687158), known from its abstract.
// The slower way down, the steady state by a line from rest to 92 % of the
// heart-rate reserve at critical power, and the drift (about 6 % of the
// reserve after an hour near three quarters of critical power) are our
// judgement.
type heart struct {
	rest, most float64
	atCP       float64 // share of the reserve at critical power
	drifts     float64 // multiplies the drift
	rate       float64 // beats per minute
	drift      float64 // fraction of the reserve
	phase      float64 // of the current beat
	since      float64 // s since the last beat
	beats      []float64
	sway       float64 // breathing, radians
}

func newHeart(r Rider) *heart {
	k := &heart{rest: r.HeartRest, most: r.HeartMax, rate: r.HeartRest + 12, atCP: r.HeartAtCP, drifts: r.HeartCreep}
	if k.atCP == 0 {
		k.atCP = 0.92
	}
	if k.drifts == 0 {
		k.drifts = 1
	}
	return k
}

const (
	onset    = 56.0   // s
	recovery = 75.0   // s
	drifting = 2400.0 // s
)

// step moves the heart by h seconds at an effort (fraction of critical power).
func (k *heart) step(h, effort float64, r *rand.Rand) {
	steady := math.Min(effort, 1.08) * k.atCP
	k.drift += (0.17*k.drifts*math.Max(0, math.Min(effort, 1.1)-0.4) - k.drift) * h / drifting
	want := math.Min(k.most, k.rest+10*(1-math.Min(effort, 1))+(k.most-k.rest)*(steady+k.drift))
	tau := onset
	if want < k.rate {
		tau = recovery
	}
	k.rate += (want - k.rate) * -math.Expm1(-h/tau)
	k.sway += 2 * math.Pi * 0.3 * h
	// Beat-to-beat variation shrinks as the heart works: our judgement.
	ease := math.Max(0, 1-(k.rate-k.rest)/(k.most-k.rest))
	quick := k.rate / 60 * (1 + 0.04*ease*math.Sin(k.sway) + (0.005+0.03*ease)*r.NormFloat64())
	k.phase += quick * h
	k.since += h
	if k.phase >= 1 {
		over := (k.phase - 1) / quick // s since the beat
		k.beats = append(k.beats, k.since-over)
		if len(k.beats) > 16 {
			k.beats = k.beats[1:] // nobody listens
		}
		k.phase, k.since = k.phase-1, over
	}
}

// take hands over the intervals since the last call, oldest first.
func (k *heart) take() []float64 {
	b := k.beats
	k.beats = nil
	return b
}
