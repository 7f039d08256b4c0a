package pacing

import (
	"context"
	"math"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

// A rider who rides above plan on climbs is forecast faster there, by what the
// physics says; habits that nobody has leave the forecast to the bit.
func TestHabitsShiftTheForecast(t *testing.T) {
	profile := course.Profile{Distance: []float64{0, 3000, 6000}, Elevation: []float64{0, 0, 180}}
	road := physics.Road{BikeMass: 9, CdA: 0.32, Crr: 0.0045, Efficiency: 0.976, AirDensity: 1.2, WheelRadius: 0.334, StartSpeed: 8}
	w := World{Capacity: capacity.Fixed(300, 20000, 1000), Road: road, RiderMass: 70, Profile: profile}
	o := Orders{Plan: []Piece{{To: 6000, Watts: 220}}, Duration: 1200}
	median := func(h Holding) float64 {
		t.Helper()
		x := w
		x.Holding = h
		f, err := x.Forecast(context.Background(), o, 1, 400, 2)
		if err != nil {
			t.Fatal(err)
		}
		return f.Median
	}
	plain := median(Holding{})
	if same := median(Holding{SD: holdSD}); same != plain {
		t.Errorf("%.6f s, without habits %.6f s", same, plain)
	}
	climb := Habit{GradientFrom: 0.05, GradientTo: 1, IntoTo: 2, Mean: 0.05, SD: 1e-9}
	faster := median(Holding{Habits: []Habit{climb}})
	// The climb is half of the way; at 6 % nearly all power lifts, so that its
	// time falls by nearly 5 % of it.
	if gain := plain - faster; gain < 20 || gain > 40 {
		t.Errorf("%.1f s won of %.1f s", gain, plain)
	}
	flat := climb
	flat.GradientFrom, flat.GradientTo, flat.IntoFrom = -0.02, 0.02, 0.6 // no flat so late
	if elsewhere := median(Holding{Habits: []Habit{flat}}); math.Abs(elsewhere-plain) > 2 {
		t.Errorf("%.3f s, without habits %.3f s", elsewhere, plain)
	}
	wide, err := func() (Forecast, error) {
		x := w
		x.Holding = Holding{SD: 0.05}
		return x.Forecast(context.Background(), o, 1, 400, 2)
	}()
	narrow, err2 := w.Forecast(context.Background(), o, 1, 400, 2)
	if err != nil || err2 != nil || wide.High80-wide.Low80 < 1.5*(narrow.High80-narrow.Low80) {
		t.Errorf("%.1f s wide, usually %.1f s", wide.High80-wide.Low80, narrow.High80-narrow.Low80)
	}
}
