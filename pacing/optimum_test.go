package pacing

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

// fixture is a course solved by a general nonlinear solver: SLSQP of scipy
// 1.10.1 with 40 equal pieces of constant power, by the script beside the
// files. Computed, not published.
type fixture struct {
	Name   string
	Course [][2]float64
	Powers []float64 `json:"powers"`
	TimeS  float64   `json:"time_s"`
	WallS  float64   `json:"wall_s"`
}

func fixtures(tb testing.TB) []fixture {
	tb.Helper()
	names, _ := filepath.Glob("testdata/slsqp/*.json")
	var all []fixture
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			tb.Fatal(err)
		}
		var f fixture
		if err := json.Unmarshal(raw, &f); err != nil {
			tb.Fatalf("%s: %v", name, err)
		}
		all = append(all, f)
	}
	return all
}

func (f fixture) problem() Problem {
	p := hillProblem()
	p.Profile = course.Profile{}
	for _, point := range f.Course {
		p.Profile.Distance = append(p.Profile.Distance, point[0])
		p.Profile.Elevation = append(p.Profile.Elevation, point[1])
	}
	return p
}

func hillProblem() Problem {
	return Problem{
		Motion: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19}.Motion(68.5),
		Profile: course.Profile{Distance: []float64{0, 2000, 4000, 5000, 7000, 8000, 9000, 10000},
			Elevation: []float64{0, 0, 100, 100, 0, 0, 60, 0}},
		Balance: capacity.Balance{CriticalPower: 240, WPrime: 18000},
		Ceiling: 1000,
	}
}

func TestOptimumAgainstGeneralSolver(t *testing.T) {
	for _, f := range fixtures(t) {
		p := f.problem()
		length := p.Profile.Length() / float64(len(f.Powers))
		var plan []Piece
		for i, w := range f.Powers {
			plan = append(plan, Piece{From: float64(i) * length, To: float64(i+1) * length, Watts: w})
		}
		general, err := p.Score(plan)
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		o, err := p.Optimum()
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		t.Logf("%-16s general solver %.2f s (balance %.0f J, %.0f s of computing), ours %.2f s, %+.3f %%, %s, %d rides",
			f.Name, general.Time, general.BalanceMin, f.WallS, o.Outcome.Time, 100*(o.Outcome.Time/general.Time-1), o.Status, o.Rides)
		if o.Outcome.BalanceMin < -1e-6 {
			t.Errorf("%s: balance falls to %.3f J", f.Name, o.Outcome.BalanceMin)
		}
		if o.Outcome.Time > 1.002*general.Time {
			t.Errorf("%s: %.3f s, the general solver needs %.3f s", f.Name, o.Outcome.Time, general.Time)
		}
		if o.Rides > 1500 {
			t.Errorf("%s: %d course integrations", f.Name, o.Rides)
		}
	}
}

func TestRideable(t *testing.T) {
	for _, f := range fixtures(t) {
		p := f.problem()
		o, err := p.Optimum()
		if err != nil {
			t.Fatal(err)
		}
		w, even, err := p.Even()
		if err != nil {
			t.Fatal(err)
		}
		long := LongSections(p.Profile, o.Outcome)
		n := Allowed(o.Outcome.Time, long, 0)
		r, err := p.Rideable(o, n, w, even)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%-16s even %.2f (%.1f W) optimum %.2f plan %.2f %+.3f %% in %d of %d cues, %d long sections, balance %.0f, %d rides", f.Name, even.Time, w, o.Outcome.Time, r.Outcome.Time,
			100*(r.Outcome.Time/o.Outcome.Time-1), len(r.Plan), n, long, r.Outcome.BalanceMin, r.Rides)
		t.Log(r.Plan)
	}
}
