package rig

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The rate of the other file's clock is found with an interval that holds the
// truth, from none at all to what a bad clock does. Rates are fractions.
func TestClockRate(t *testing.T) {
	held, n := 0, 0
	for i, rate := range []float64{0, 0, 20e-6, -50e-6, 100e-6, -200e-6, 400e-6, 1e-3} {
		for seed := range 2 {
			m := twoMeters{gain: 0.02, delay: 0.4, other: true, clock: 137.4, rate: rate, every: [2]float64{1, 1}, minutes: 40}
			c, err := ClockOf(m.ride(rand.New(rand.NewPCG(uint64(100*i+seed), 12))))
			if err != nil || c.Fast.SD == 0 {
				t.Errorf("%g: %+v, %v", rate, c, err)
				continue
			}
			n++
			if math.Abs(c.Fast.Mean-rate) <= z95*c.Fast.SD {
				held++
			}
			if c.Fast.SD > 160e-6 {
				t.Errorf("%g: an sd of %.0f ppm in forty minutes", rate, 1e6*c.Fast.SD)
			}
			near(t, "late", c.LateS, 137.4-0.4, 0.25)
		}
	}
	if held < n-2 {
		t.Errorf("%d of %d intervals of the rate hold it", held, n)
	}
	// A fast clock no longer spoils the comparison.
	m := twoMeters{gain: 0.03, other: true, clock: -20, rate: 8e-4, every: [2]float64{1, 1}, minutes: 40}
	fs, _ := ComparePairs(m.ride(rand.New(rand.NewPCG(5, 12))))
	if f, ok := find(fs, Gain); !ok || f.Low95 > 0.03 || f.High95 < 0.03 || len(fs) != 1 {
		t.Errorf("gain by a clock that is fast by 800 ppm: %+v", fs)
	}
	if _, err := ClockOf(twoMeters{}.ride(rand.New(rand.NewPCG(1, 1)))); err == nil {
		t.Error("one recording has two clocks")
	}
}
