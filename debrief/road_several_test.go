package debrief

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Equal errors give the plain mean; what rides differ by more than their
// errors widens the interval for the next one.
func TestJoinRoads(t *testing.T) {
	fit := func(means ...float64) (out []RoadFit) {
		for _, m := range means {
			out = append(out, RoadFit{CdA: said(m, 0.004, ""), Crr: Fitted{Unsaid: "steady"}, Shelter: Fitted{Unsaid: "alone"}, Seconds: 1000})
		}
		return out
	}
	close := JoinRoads(fit(0.300, 0.302, 0.298, 0.300))
	if math.Abs(close.CdA.Mean-0.3) > 1e-12 || math.Abs(close.CdA.SD-0.002) > 1e-12 || close.Crr.Unsaid == "" || close.Seconds != 4000 {
		t.Errorf("%+v", close)
	}
	far := JoinRoads(fit(0.28, 0.32))
	// Q = 2·(0.02/0.004)² = 50, w = 2/0.004², Σw²/w = w/2: τ² = 49/(w/2) = 49·0.004²
	if tau2 := 49 * 0.004 * 0.004; math.Abs(far.CdA.SD-math.Sqrt((0.004*0.004+tau2)/2+tau2)) > 1e-12 {
		t.Errorf("%+v", far.CdA)
	}
	if one := JoinRoads(fit(0.3)); one.CdA.Unsaid == "" {
		t.Errorf("%+v", one)
	}
}

// Over many seeded riders whose rides differ, the 95 % interval holds the next
// ride's drag about as often as it says.
func TestJoinedRoadsHoldTheNext(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	held, n := 0, 2000
	for range n {
		truth := 0.3
		var rides []RoadFit
		for range 12 {
			rides = append(rides, RoadFit{CdA: said(truth+0.01*rng.NormFloat64()+0.004*rng.NormFloat64(), 0.004, "")})
		}
		f := JoinRoads(rides).CdA
		if next := truth + 0.01*rng.NormFloat64(); f.Low95 <= next && next <= f.High95 {
			held++
		}
	}
	if share := float64(held) / float64(n); share < 0.88 || share > 0.97 {
		t.Errorf("%.3f of the next rides are held", share)
	}
}

// Habits go into a forecast once: what all parts of a ride have in common is
// the gradients'.
func TestHoldingOfStrays(t *testing.T) {
	ride := func(off float64) (out []Held) {
		for i := range 10 {
			out = append(out, Held{Gradient: 0.06, Into: (float64(i) + 0.5) / 10, Seconds: 120, PlannedW: 250, RiddenW: 250 * (1 + off)})
		}
		return out
	}
	var rides [][]Held
	for range 30 {
		rides = append(rides, ride(0.05))
	}
	h := LearnStrays(rides).Holding()
	total := 0.0
	for _, x := range h.Habits {
		if x.IntoFrom == 0 && x.IntoTo == 2 && 0.06 >= x.GradientFrom && 0.06 < x.GradientTo || x.GradientFrom == -1 && x.GradientTo == 1 && 0.5 >= x.IntoFrom && 0.5 < x.IntoTo {
			total += x.Mean
		}
	}
	if math.Abs(total-math.Log(1.05)) > 0.004 || h.SD <= 0 {
		t.Errorf("%.4f in the middle of a climb, wanted about %.4f: %+v", total, math.Log(1.05), h)
	}
	if none := LearnStrays(nil).Holding(); len(none.Habits) != 0 || none.SD != 0 {
		t.Errorf("%+v", none)
	}
}
