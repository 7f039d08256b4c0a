package debrief

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/estimate"
)

// plannedRides are rides by somebody who climbs 6 % above plan and fades by 3 %
// at the end, scattered by 1.5 % from ride to ride and 3 % from cue to cue.
func plannedRides(r *rand.Rand, n int) (rides [][]Held) {
	for range n {
		day := 0.015 * r.NormFloat64()
		var ride []Held
		for i := range 20 {
			h := Held{Gradient: []float64{0, 0.035, 0.07, -0.04}[i%4], Into: (float64(i) + 0.5) / 20, Seconds: 120, PlannedW: 200}
			bias := day + 0.03*r.NormFloat64()
			if h.Gradient > 0.05 {
				bias += 0.06
			}
			if h.Into > 0.8 {
				bias -= 0.03
			}
			h.RiddenW = h.PlannedW * math.Exp(bias)
			ride = append(ride, h)
		}
		rides = append(rides, ride)
	}
	return rides
}

func TestStrays(t *testing.T) {
	s := LearnStrays(plannedRides(estimate.Stream(6, 0), 12))
	by := map[string]Stray{}
	for _, p := range s.Places {
		by[p.Place] = p
	}
	if c := by["climbs over 5 %"]; math.Abs(c.Bias.Mean-0.05) > 0.015 || !strings.Contains(c.Words, "above plan") {
		t.Errorf("climbs: %+v", c)
	}
	if f := by["the flat"]; math.Abs(f.Bias.Mean) > 0.02 || !strings.Contains(f.Words, "hold the plan") {
		t.Errorf("flat: %+v", f)
	}
	if s.Rides != 12 || s.Scatter.Mean < 0.008 || s.Scatter.Mean > 0.025 {
		t.Errorf("scatter %+v of %d rides", s.Scatter, s.Rides)
	}
	// before any ride: what is believed of anybody
	none := LearnStrays(nil)
	for _, p := range none.Places {
		if p.Bias.Mean != 0 || math.Abs(p.Bias.High80-estimate.Z80*biasSD) > 1e-12 || !strings.Contains(p.Words, "nothing was ridden") {
			t.Errorf("%+v", p)
		}
	}
	// one ride moves the bias by less than it showed
	one := LearnStrays([][]Held{{{Seconds: 600, PlannedW: 200, RiddenW: 210}, {Seconds: 5, PlannedW: 200, RiddenW: 900}}})
	if b := one.Places[1].Bias.Mean; !(b > 0.02 && b < math.Log(1.05)) {
		t.Errorf("after one ride 5 %% above plan the bias is %.3f", b)
	}
}

// Cues become stretches with the gradient of the line below them.
func TestHeldCues(t *testing.T) {
	a := &Against{Line: []LinePoint{{M: 0}, {M: 1000, Elevation: 60}, {M: 3000, Elevation: 60}},
		Cues: []CueRidden{{FromM: 0, ToM: 1000, Ridden: true, PlannedW: 250, RiddenW: 260, RiddenS: 200}, {FromM: 1000, ToM: 3000, Ridden: true, PlannedW: 220, RiddenW: 215, RiddenS: 200}, {FromM: 3000, ToM: 4000}}}
	h := HeldCues(a)
	if len(h) != 2 || math.Abs(h[0].Gradient-0.06) > 1e-12 || h[1].Gradient != 0 || h[0].Into != 0.25 || h[1].Into != 0.75 || h[1].RiddenW != 215 {
		t.Errorf("%+v", h)
	}
	if HeldCues(nil) != nil || len(HeldCues(&Against{})) != 0 {
		t.Error("a ride without cues")
	}
}

// The intervals of the bias hold the truth about as often as stated.
func TestStraysCoverage(t *testing.T) {
	held, n := 0, 200
	for k := range n {
		s := LearnStrays(plannedRides(estimate.Stream(7, k), 6))
		b := s.Places[1].Bias // the flat; one of its five cues lies in the last fifth
		if truth := -0.03 / 5; b.Low80 <= truth && truth <= b.High80 {
			held++
		}
	}
	if share := float64(held) / float64(n); share < 0.72 || share > 0.94 {
		t.Errorf("80 %% intervals hold in %.0f %%", 100*share)
	} else {
		t.Logf("held in %.1f %%", 100*share)
	}
}
