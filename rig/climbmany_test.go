package rig

import (
	"math"
	"math/rand/v2"
	"testing"
)

// manyClimbs are climbs of one meter that shows gain over the truth: scale,
// drag area, rolling and drivetrain are off by the same on all of them, ascent
// and wind by another amount each time.
func manyClimbs(n int, gain float64, r *rand.Rand) []Climbed {
	mass, drag, rolling, efficiency := r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), crankEfficiency+lossSD*r.NormFloat64()
	var out []Climbed
	for i := range n {
		c := steep()
		c.AtCrank = true
		c.MassSD, c.AscentSD, c.CrrSD = 1.2, 5, 0.001
		c.AscentM += 20 * float64(i%5)
		c.Seconds += 60 * float64(i%4)
		true := c
		true.MassKg += c.MassSD * mass
		true.CdA += c.CdASD * drag
		true.Crr += c.CrrSD * rolling
		true.AscentM += c.AscentSD * r.NormFloat64()
		watts, _ := climbWatts(true, c.WindSD*r.NormFloat64(), efficiency)
		c.MeanWatts = watts * (1 + gain)
		out = append(out, c)
	}
	return out
}

// What all climbs share does not average out: one climb or eight, the interval
// holds the truth as often as it says. As if each stood alone, that of eight
// would hold it in not much more than half.
func TestClimbsShareTheirErrors(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 1))
	for _, n := range []int{1, 3, 8} {
		const times = 1500
		held, alone, narrow := 0, 0, 0.0
		for range times {
			gain := 0.02 * r.NormFloat64()
			climbs := manyClimbs(n, gain, r)
			ratio, doubt, used, why := climbRatio(climbs, "meter")
			if used != n {
				t.Fatalf("%d of %d climbs judge: %s", used, n, why)
			}
			_, single, _, _ := climbRatio(climbs[:1], "meter")
			if math.Abs(ratio-gain) <= z95*doubt {
				held++
			}
			if math.Abs(ratio-gain) <= z95*single/math.Sqrt(float64(n)) {
				alone++
			}
			narrow += doubt / single / times
		}
		share, naive := float64(held)/times, float64(alone)/times
		t.Logf("%d climbs: %.1f %% hold, %.1f %% as if independent, doubt %.2f of one climb's", n, 100*share, 100*naive, narrow)
		if share < 0.93 || share > 0.97 {
			t.Errorf("%d climbs: intervals hold the truth in %.1f %%", n, 100*share)
		}
		if n == 8 && (naive > 0.8 || narrow < 0.6) {
			t.Errorf("eight climbs as if independent: %.1f %%, doubt %.2f of one's", 100*naive, narrow)
		}
	}
}
