package service

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chainline/course"
	"chainline/internal/input"
	"chainline/internal/problem"
)

func TestRoadFillsGapsAndSaysSo(t *testing.T) {
	level := profile{Distance: []float64{0, 1000, 3000}, Elevation: []float64{100, 300, 300}}
	k := roadOf(input.RoadFile{}, input.RiderFile{Mass: 75}, level)
	if k.Road.BikeMass != bikeMass || k.BikeSD != bikeMassSD || k.DragAreaSD != dragAreaSD || k.CrrSD != rollingSD {
		t.Errorf("priors: %+v", k)
	}
	for _, from := range []string{k.BikeFrom, k.DragFrom, k.CrrFrom} {
		if !strings.HasPrefix(from, "not known") {
			t.Errorf("left out, but %q", from)
		}
	}
	// 800/3 m: the mean over distance, not over points.
	if !strings.Contains(k.AirFrom, "267 m") || k.Road.AirDensity >= 1.225 {
		t.Errorf("%g kg/m³ %s", k.Road.AirDensity, k.AirFrom)
	}
	known := func(x float64) input.Optional[float64] { return input.Optional[float64]{Known: true, Value: x} }
	typed := roadOf(input.RoadFile{BikeMass: known(8), CdA: known(0.3), Crr: known(0.004), AirDensity: known(1.1)}, input.RiderFile{Mass: 75}, level)
	if typed.Road.CdA != 0.3 || typed.DragFrom != "typed" || typed.Road.AirDensity != 1.1 || !(typed.DragAreaSD < k.DragAreaSD && typed.CrrSD < k.CrrSD && typed.BikeSD < k.BikeSD) {
		t.Errorf("typed: %+v", typed)
	}
}

func TestFrostWarns(t *testing.T) {
	at := func(celsius float64) []string {
		return roadOf(input.RoadFile{Temperature: input.Optional[float64]{Known: true, Value: celsius}}, input.RiderFile{Mass: 75}, profile{}).Warnings
	}
	if len(at(15)) != 0 || len(at(-20)) == 0 {
		t.Errorf("15 °C: %q; -20 °C: %q", at(15), at(-20))
	}
}

func TestWayKnowsContentLapsAndLeadIn(t *testing.T) {
	name := filepath.Join(t.TempDir(), "old_mill-loop.gpx")
	if err := os.WriteFile(name, []byte("distance_m,elevation_m\n0,10\n1000,40\n2000,10\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	w, err := BriefRequest{Course: name, Laps: 3, Sketch: SketchRequest{LeadIn: 500}}.way(input.EventFile{})
	if err != nil {
		t.Fatal(err)
	}
	if w.Known != "survey" || w.Name != "Old mill loop" || w.Laps != 3 || w.Profile.Length() != 6500 || math.Abs(w.Profile.Ascent()-90) > 1e-9 || len(w.Notes) == 0 {
		t.Errorf("%s %q, %d laps, %g m, %g m up, %q", w.Known, w.Name, w.Laps, w.Profile.Length(), w.Profile.Ascent(), w.Notes)
	}
	event := input.EventFile{Laps: input.Optional[int]{Known: true, Value: 2}}
	if w, err = (BriefRequest{Course: name}).way(event); err != nil || w.Profile.Length() != 4000 {
		t.Errorf("the event's laps: %g m, %v", w.Profile.Length(), err)
	}
	if w, err = (BriefRequest{Course: name, Laps: 1}).way(event); err != nil || w.Profile.Length() != 2000 {
		t.Errorf("laps asked for come before the event's: %g m, %v", w.Profile.Length(), err)
	}
}

func TestSketchKeepsWhatWasTyped(t *testing.T) {
	distance, ascent := 21400.0, 310.0
	q := BriefRequest{Sketch: SketchRequest{Distance: &distance, Ascent: &ascent, MainClimb: &input.SketchClimb{Length: 3200, Ascent: 176}}}
	w, err := q.way(input.EventFile{})
	if err != nil {
		t.Fatal(err)
	}
	if d, a := w.Sketch.Totals(); d != distance || a != ascent || w.Sketch.Climb.Start != course.UnknownStart {
		t.Errorf("%g m, %g m up, climb at %g m", d, a, w.Sketch.Climb.Start)
	}
	low := 100.0
	q.Sketch.Ascent = &low // less than its climb
	if _, err := q.way(input.EventFile{}); problem.ExitCode(err) != 2 {
		t.Errorf("a climb higher than the course: %v", err)
	}
}
