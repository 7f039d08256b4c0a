package service_test

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"chainline/estimate"
	"chainline/internal/service"
	"chainline/physics"
	"chainline/recording"
)

// worldRide is an hour indoors on a hilly road that another program reckons
// with a drag area and rolling resistance of its own.
func worldRide(t *testing.T, daysAgo int, mass, cda, crr float64) *recording.Recording {
	t.Helper()
	rng := estimate.Stream(5, daysAgo)
	road := physics.Road{BikeMass: 9, CdA: cda, Crr: crr, Efficiency: 0.976, WheelRadius: 0.334, WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.225}
	m := road.Motion(mass)
	b := recording.NewBuilder("Alone", float64(debriefToday.AddDate(0, 0, -daysAgo).Unix()), 0, "indoor cycling")
	v, x, height, watts, next := 8.0, 0.0, 100.0, 200.0, 0
	for s := 1; s <= 3600; s++ {
		if s > next {
			watts, next = 120+180*rng.Float64(), s+20+int(60*rng.Float64())
		}
		const dt = 0.05
		for range int(1 / dt) {
			gradient := 0.03*math.Sin(x/700) + 0.02*math.Sin(x/260)
			v = math.Max(1.5, v+dt*(m.Efficiency*watts/v-m.Resistance(v, gradient, 0))/m.Inertial)
			x += v * dt
			height += gradient * v * dt
		}
		for q, value := range map[recording.Quantity]float64{recording.Power: math.Round(watts), recording.Speed: v, recording.Position: x, recording.Altitude: height} {
			if err := b.Add(q, "world", float64(s), value); err != nil {
				t.Fatal(err)
			}
		}
	}
	r := b.Recording(true)
	return &r
}

// Rides alone on a road that another program reckons give that road back, with
// its doubt; it is used on purpose, once, and said to be alone first.
func TestAFittedRoadIsOffered(t *testing.T) {
	a, db := library(t, t.TempDir(), nil)
	rides := t.TempDir()
	const mass, cda, crr = 61.5, 0.27, 0.0038
	rider, err := db.Object(t.Context(), "ada")
	if err != nil || !strings.Contains(rider.Text, fmt.Sprintf("mass_kg: %g", mass)) {
		t.Fatalf("the rider of this test has %g kg: %v %s", mass, err, rider.Text)
	}
	for i := range 3 {
		writeFIT(t, filepath.Join(rides, fmt.Sprintf("%d.fit", i)), worldRide(t, 3+5*i, mass, cda, crr))
	}
	imported(t, a, service.ImportRequest{Paths: []string{rides}, RiderID: "ada", RigID: "cellar"})
	if o, err := a.FittedRoad(t.Context(), "ada"); err != nil || o.Text != "" || o.Fit.CdA.Unsaid == "" {
		t.Fatalf("before it is said that they were alone: %v %+v", err, o)
	}
	yes := true
	for _, r := range rideRows(t, a, "ada") {
		if err := a.AssignRide(t.Context(), r.ID, service.Assignment{Alone: &yes}); err != nil {
			t.Fatal(err)
		}
		if _, err := a.RideDebrief(t.Context(), r.ID); err != nil {
			t.Fatal(err)
		}
	}
	o, err := a.FittedRoad(t.Context(), "ada")
	if err != nil || len(o.Rides) != 3 || o.Text == "" {
		t.Fatalf("%v %+v", err, o)
	}
	if f := o.Fit.CdA; math.Abs(f.Mean/cda-1) > 0.02 || !(f.SD > 0 && f.SD < 0.01) { // as near as one ride's fit is asked to be
		t.Errorf("%+v", f)
	}
	id, err := a.UseFittedRoad(t.Context(), "ada")
	if err != nil {
		t.Fatal(err)
	}
	if err := service.Check("road", o.Text, nil); err != nil {
		t.Error(err)
	}
	if again, err := a.UseFittedRoad(t.Context(), "ada"); err != nil || again != id {
		t.Errorf("%v %s %s", err, again, id)
	}
	if err := db.Delete(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	if o, err = a.FittedRoad(t.Context(), "ada"); err != nil || o.Used != "" {
		t.Errorf("taken back: %v %+v", err, o)
	}
}
