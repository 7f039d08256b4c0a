package service

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/brief"
	"chainline/internal/problem"
)

const demo = "../../demo/"

func ask() BriefRequest {
	return BriefRequest{Rider: demo + "regular.yaml", Rig: demo + "regular-rig.yaml", Course: demo + "two-mills.csv",
		Today: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), Seed: 1, Draws: 30, Workers: 2}
}

func file(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func request(t *testing.T, q BriefRequest) brief.Request {
	t.Helper()
	r, err := q.request()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What the command line says goes before what the event says, and that before
// the usual.
func TestWhoHasTheLastWord(t *testing.T) {
	q := ask()
	if r := request(t, q); r.Way.Profile.Length() != 10000 || r.Occasion.When != "Wednesday 25 November 2026" || r.ReserveJ != -1 {
		t.Errorf("by itself: %g m, %q, reserve %g", r.Way.Profile.Length(), r.Occasion.When, r.ReserveJ)
	}
	q.Event = demo + "tuesday-hill-race.yaml" // two laps, 1200 m of lead-in
	if r := request(t, q); r.Way.Profile.Length() != 21200 || r.Way.Laps != 2 || r.Occasion.Kind != brief.MassStart || !strings.HasPrefix(r.Occasion.When, "Tuesday 8 December 2026, 19:30") {
		t.Errorf("by the event: %g m, %d laps, %q", r.Way.Profile.Length(), r.Way.Laps, r.Occasion.When)
	}
	q.Laps, q.Sketch.LeadIn = 3, 500
	if r := request(t, q); r.Way.Profile.Length() != 30500 {
		t.Errorf("as typed: %g m", r.Way.Profile.Length())
	}
	q.Event, q.Date = "", "2030-01-02"
	if r := request(t, q); r.Occasion.When != "Wednesday 2 January 2030" || r.Rider.Age != 42 {
		t.Errorf("on another day: %q, %g years old", r.Occasion.When, r.Rider.Age)
	}
}

// A sketch takes laps and lead-in from the event as a file does.
func TestSketchByTheEvent(t *testing.T) {
	q := ask()
	distance, ascent := 21200.0, 520.0
	q.Course, q.Event, q.Sketch = "", demo+"tuesday-hill-race.yaml", SketchRequest{Distance: &distance, Ascent: &ascent}
	r := request(t, q)
	if d, a := r.Way.Sketch.Totals(); d != 21200 || a != 520 || r.Way.Laps != 2 || r.Way.Sketch.LeadIn != 1200 {
		t.Errorf("%g m, %g m up, %d laps, lead-in %g m", d, a, r.Way.Laps, r.Way.Sketch.LeadIn)
	}
}

func TestReversedTwiceIsTheSame(t *testing.T) {
	q := ask()
	there := request(t, q).Way.Profile
	q.Reverse = true
	back := request(t, q).Way.Profile
	for _, x := range []float64{0, 1500, 3300, 7000, 10000} {
		if math.Abs(there.At(x)-back.At(10000-x)) > 1e-9 {
			t.Errorf("%.0f m lies at %.3f m, from the other side at %.3f m", x, there.At(x), back.At(10000-x))
		}
	}
}

// What is typed is taken with a small doubt, what is left out with a wide one.
func TestRoadPriors(t *testing.T) {
	level := file(t, "level.csv", "distance_m,elevation_m\n0,0\n5000,0\n")
	q := ask()
	q.Course = level
	prior := request(t, q).Road
	if math.Abs(prior.Road.AirDensity-1.225) > 0.001 || !strings.HasPrefix(prior.DragFrom, "not known") || prior.DragAreaSD != dragAreaSD {
		t.Errorf("by itself: %+v", prior)
	}
	// DuBois and DuBois 1916: 0.202·78.5^0.425·1.84^0.725 = 2.008 m²; computed.
	if want := 0.32 * 2.008 / averageSurface; math.Abs(prior.Road.CdA-want) > 0.0005 {
		t.Errorf("drag area %.4f m², want %.4f", prior.Road.CdA, want)
	}
	q.Road = file(t, "road.yaml", "bike_mass_kg: 8\ncda_m2: 0.3\ncrr: 0.005\nair_density_kg_m3: 1.1\nstart_speed_m_s: 3\nbearings: false\n")
	typed := request(t, q).Road
	if typed.Road.AirDensity != 1.1 || typed.Road.CdA != 0.3 || typed.Road.Crr != 0.005 || typed.Road.BikeMass != 8 || typed.Road.StartSpeed != 3 || typed.Road.Bearings {
		t.Errorf("typed: %+v", typed.Road)
	}
	if typed.DragAreaSD >= prior.DragAreaSD || typed.CrrSD >= prior.CrrSD || typed.BikeSD >= prior.BikeSD {
		t.Errorf("what is typed is no surer: %+v", typed)
	}
	q.Road = file(t, "thin.yaml", "altitude_m: 2000\n")
	if thin := request(t, q).Road.Road.AirDensity; math.Abs(thin-1.0) > 0.06 || thin >= 1.1 {
		t.Errorf("at 2000 m: %.3f kg/m³", thin)
	}
}

// Evidence without a source is the rig's own.
func TestEvidenceIsTheRigs(t *testing.T) {
	q := ask()
	q.Rider = file(t, "rider.yaml", "mass_kg: 70\nevidence:\n  - {kind: threshold, watts: 220}\n  - {kind: test, duration_s: 300, watts: 300, source: another}\n")
	e := request(t, q).Rider.Evidence
	if len(e) != 2 || e[0].Source != "trainer" || e[1].Source != "another" {
		t.Errorf("%+v", e)
	}
}

// Whatever goes wrong with what was asked is a misuse that names the option
// or the file; a plan that stalls is found only by riding it.
func TestMisuse(t *testing.T) {
	stalls := file(t, "p.csv", "from_m,to_m,watts\n0,10000,0\n")
	negative := -1.0
	for want, change := range map[string]func(*BriefRequest){
		"--style: ":     func(q *BriefRequest) { q.Style = "fast" },
		"--recovery: ":  func(q *BriefRequest) { q.Recovery = "fast" },
		"--draws: ":     func(q *BriefRequest) { q.Draws = 0 },
		"--cues: ":      func(q *BriefRequest) { q.Cues = math.NaN() },
		"--reserve: ":   func(q *BriefRequest) { q.Reserve = &negative },
		"--date: ":      func(q *BriefRequest) { q.Date = "soon" },
		"--laps: ":      func(q *BriefRequest) { q.Laps = -1 },
		"a brief needs": func(q *BriefRequest) { q.Rig = "" },
		"none.gpx: ":    func(q *BriefRequest) { q.Course = "none.gpx" },
		stalls + ": ":   func(q *BriefRequest) { q.Plan = stalls },
	} {
		q := ask()
		change(&q)
		_, err := Brief(context.Background(), q)
		msg, _ := problem.ForPerson(err)
		if problem.ExitCode(err) != 2 || !strings.HasPrefix(msg, want) {
			t.Errorf("%q: exit %d, %q", want, problem.ExitCode(err), msg)
		}
	}
}

// Evidence that a person left out does not reach the model, whatever it says.
func TestLeftOutEvidenceIsNotUsed(t *testing.T) {
	q := ask()
	q.Rider = file(t, "rider.yaml", "mass_kg: 70\nevidence:\n  - {kind: threshold, watts: 250, use: no}\n  - {kind: threshold, watts: 210}\n")
	if e := request(t, q).Rider.Evidence; len(e) != 1 || e[0].Watts != 210 {
		t.Errorf("%+v", e)
	}
}
