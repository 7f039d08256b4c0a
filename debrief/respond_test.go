package debrief

import (
	"math"
	"testing"

	"chainline/estimate"
)

// A worked example of Banister's model printed by the documentation of an open
// code for fitness-fatigue modelling (read in its output): p* = 400, gains 1
// and 3, time constants 60 and 15 days, initial terms 500 and 250. The columns
// without initial terms are computed from the formula.
func TestPublishedImpulseResponse(t *testing.T) {
	m := ImpulseResponse{Base: 400, FitnessGain: 1, FatigueGain: 3, FitnessDays: 60, FatigueDays: 15}
	loads := []float64{0, 11.97, 0, 13.07, 0, 19.35, 0}
	printed := [][3]float64{ // p, fitness, fatigue of days 1 to 5
		{190.1055, 491.7357, 233.8767}, {205.4062, 495.3802, 229.9913}, {241.7168, 487.1923, 215.1585},
		{251.4656, 491.9937, 213.5094}, {284.6432, 483.8617, 199.7395},
	}
	states := m.Respond(loads, State{Fitness: 500, Fatigue: 250})
	for i, want := range printed {
		s := states[i+1]
		for k, got := range [3]float64{s.Net, s.Fitness, s.Fatigue} {
			if math.Abs(got-want[k]) > 1e-4 {
				t.Errorf("day %d, column %d: %.5f, printed %.4f", i+1, k, got, want[k])
			}
		}
	}
	bare := m.Respond(loads, State{})
	for i, want := range []float64{400, 378.1781, 380.1501, 358.1583, 362.0195, 330.3364} {
		if got := bare[i+1].Net; math.Abs(got-want) > 1e-4 {
			t.Errorf("day %d without initial terms: %.5f, want %.4f", i+1, got, want)
		}
	}
}

// The same documentation's example with a saturating load 100·w²/(10²+w²):
// the model takes whatever load it is given.
func TestPublishedImpulseResponseSaturating(t *testing.T) {
	m := ImpulseResponse{Base: 400, FitnessGain: 1, FatigueGain: 3, FitnessDays: 60, FatigueDays: 15}
	loads, printed := []float64{0}, []float64{58.89525, 0, 63.07577, 0, 78.92174, 0}
	for i, w := range []float64{11.97, 0, 13.07, 0, 19.35, 0} {
		loads = append(loads, 100*w*w/(100+w*w))
		if math.Abs(loads[i+1]-printed[i]) > 1e-5 {
			t.Errorf("load %d: %.6f, printed %.5f", i+1, loads[i+1], printed[i])
		}
	}
	states := m.Respond(loads, State{})
	for i, want := range []float64{400, 292.63104, 302.33378, 196.37458, 215.16949, 88.78043} {
		if got := states[i+1].Net; math.Abs(got-want) > 1e-5 {
			t.Errorf("day %d: %.6f, printed %.5f", i+1, got, want)
		}
	}
}

// Days until a load is recovered from and until its response is highest, and
// what a steady load settles at: closed forms, numbers computed.
func TestAnalyticImpulseResponseTurns(t *testing.T) {
	for _, c := range []struct{ fitness, fatigue, ratio, recovered, highest float64 }{{45, 15, 2, 15.596, 40.315}, {42, 7, 2, 5.822, 20.873}, {50, 11, 2, 9.775, 31.128}} {
		m := ImpulseResponse{FitnessGain: 1, FatigueGain: c.ratio, FitnessDays: c.fitness, FatigueDays: c.fatigue}
		a, b := m.Turns()
		if math.Abs(a-c.recovered) > 1e-3 || math.Abs(b-c.highest) > 1e-3 {
			t.Errorf("%g and %g days: turns at %.4f and %.4f, want %.3f and %.3f", c.fitness, c.fatigue, a, b, c.recovered, c.highest)
		}
	}
	s := ImpulseResponse{FitnessDays: 42, FatigueDays: 7}.Steady()
	q := ImpulseResponse{FitnessDays: 45, FatigueDays: 15}.Steady()
	for i, got := range []float64{s.Fitness, s.Fatigue, q.Fitness, q.Fatigue} {
		if want := []float64{41.50198, 6.51190, 44.50185, 14.50556}[i]; math.Abs(got-want) > 1e-5 {
			t.Errorf("steady state %d: %.6f, want %.5f", i, got, want)
		}
	}
	if a, b := Usual.Turns(); math.Abs(a-19) > 1e-9 || math.Abs(b-43) > 3 {
		t.Errorf("usual constants: %.2f and %.2f days; the study found 19 and 43", a, b)
	}
}

// Bands are wide, balanced at a steady load, and fall with fatigue first.
func TestBands(t *testing.T) {
	loads := make([]float64, 60)
	for i := range loads {
		loads[i] = 0.8
	}
	for i := 40; i < 47; i++ {
		loads[i] = 2
	}
	b := Bands(loads, 0.8, estimate.Stream(3, 1))
	if s := b[40]; math.Abs(s.Fitness.Mean-0.8) > 1e-9 || math.Abs(s.Net.Mean) > 1e-9 {
		t.Errorf("a steady load: %+v", s)
	}
	after := b[47]
	if !(after.Fatigue.Mean > after.Fitness.Mean && after.Net.High80 < 0) {
		t.Errorf("after a hard week: %+v", after)
	}
	if width := after.Fatigue.High80 - after.Fatigue.Low80; width < 0.1 {
		t.Errorf("fatigue's interval is only %.2f th wide", width)
	}
}
