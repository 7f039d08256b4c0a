package ride_test

import (
	"math"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/sensor/bench"
)

// TestTargetsAreHeld: with the bench trainer's first-order lag of 1.5 s its
// true power, from 5 s into each step of a minute and more to the step's end,
// is within 1 % of the target, and the energy of whole steps within 2 %.
func TestTargetsAreHeld(t *testing.T) {
	for _, trusted := range []bool{false, true} {
		s := setup(scaled(t, `warm up 5 min at 50 % of threshold
three times:
  ride 3 min at 100 % of threshold
  easy 1 min
end
twice:
  ride 1 min at 115 % of threshold
  ride 1 min at 60 % of threshold
end
ride 5 min at 88 % of threshold
`))
		s.Rig.DeadTime, s.Rig.Lag = 0.3, 1.5
		cfg := standard(3)
		if trusted {
			s.Rig.Trusted = "bench-3-meter/1818"
			cfg.Meter.Unit.Bias = 0
		}
		check := &steps{t: t, legs: trusted}
		run(t, s, cfg, check.tick)
		check.judge(trusted)
	}
}

// steps measures the trainer's true work in each step.
type steps struct {
	t     *testing.T
	legs  bool // judge the legs' work, which a crank meter sees, not the trainer's
	index int
	begun bool
	now   stepWork
	done  []stepWork
}

type stepWork struct {
	target         float64
	at0, at5       time.Time
	work0, work5   float64
	seconds, after float64 // of the whole, and from 5 s on
	whole, late    float64 // J
}

func (k *steps) tick(c *ride.Core, w *bench.World) error {
	s, truth := c.Snapshot(), w.Truth()
	if s.Step == nil || s.Stage != ride.Riding {
		return nil
	}
	work := truth.TrainerWork()
	if k.legs {
		work = truth.Work
	}
	if !k.begun || s.Step.Index != k.index {
		k.close(truth)
		k.begun, k.index = true, s.Step.Index
		k.now = stepWork{target: s.Now.Watts, at0: truth.At, work0: work}
	}
	if k.now.at5.IsZero() && truth.At.Sub(k.now.at0) >= 5*time.Second {
		k.now.at5, k.now.work5 = truth.At, work
	}
	k.now.seconds = truth.At.Sub(k.now.at0).Seconds()
	k.now.whole, k.now.late = work-k.now.work0, work-k.now.work5
	k.now.after = truth.At.Sub(k.now.at5).Seconds()
	return nil
}

func (k *steps) close(truth bench.Truth) {
	if k.begun {
		k.done = append(k.done, k.now)
	}
}

func (k *steps) judge(trusted bool) {
	k.t.Helper()
	k.done = append(k.done, k.now)
	for i, s := range k.done {
		late, whole := s.late/s.after/s.target-1, s.whole/s.seconds/s.target-1
		k.t.Logf("trusted meter %v, step %2d: target %3.0f W, after 5 s %+.2f %%, whole %+.2f %%", trusted, i+1, s.target, 100*late, 100*whole)
		if i == 0 {
			continue // the ride begins with a trainer that has to be told 'easy' first
		}
		if trusted && s.seconds < 150 {
			continue // a meter is followed slowly: short steps are the trainer's own
		}
		if math.Abs(late) > 0.01 {
			k.t.Errorf("step %d: %.2f %% off after 5 s", i+1, 100*late)
		}
		if math.Abs(whole) > 0.02 {
			k.t.Errorf("step %d: %.2f %% off in all", i+1, 100*whole)
		}
	}
}
