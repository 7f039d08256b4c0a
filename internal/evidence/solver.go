package evidence

import (
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"

	"chainline/capacity"
	"chainline/course"
	"chainline/pacing"
	"chainline/physics"
)

// Fixture is a course solved by a general nonlinear solver: SLSQP of scipy
// 1.10.1, 40 equal pieces of constant power, by generate.py beside the files.
// Computed, not published.
type Fixture struct {
	Name   string
	Course [][2]float64
	Powers []float64 `json:"powers"`
	TimeS  float64   `json:"time_s"`
	WallS  float64   `json:"wall_s"`
}

//go:embed slsqp/*.json
var slsqp embed.FS

// Fixtures reads the committed ones, by name.
func Fixtures() ([]Fixture, error) {
	names, err := fs.Glob(slsqp, "slsqp/*.json")
	if err != nil {
		return nil, err
	}
	var all []Fixture
	for _, name := range names {
		raw, err := slsqp.ReadFile(name)
		if err != nil {
			return nil, err
		}
		var f Fixture
		if err := json.Unmarshal(raw, &f); err != nil {
			return nil, fmt.Errorf("%s: %w", path.Base(name), err)
		}
		all = append(all, f)
	}
	return all, nil
}

// Problem is the fixture's task: 77.1 kg, CP 240 W, W′ 18 kJ, power from 0 to
// 1000 W, from rest, nothing kept back.
func (f Fixture) Problem() pacing.Problem {
	p := pacing.Problem{
		Motion: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19}.Motion(68.5),
		Balance: capacity.Balance{CriticalPower: 240, WPrime: 18000}, Ceiling: 1000}
	for _, point := range f.Course {
		p.Profile.Distance = append(p.Profile.Distance, point[0])
		p.Profile.Elevation = append(p.Profile.Elevation, point[1])
	}
	return p
}

// Plan is the general solver's.
func (f Fixture) Plan() []pacing.Piece {
	length := f.Course[len(f.Course)-1][0] / float64(len(f.Powers))
	var plan []pacing.Piece
	for i, w := range f.Powers {
		plan = append(plan, pacing.Piece{From: float64(i) * length, To: float64(i+1) * length, Watts: w})
	}
	return plan
}

// Comparison is a fixture beside our plan, scored by the same integrator.
type Comparison struct {
	Name                          string
	General, Optimum, Even, Cues  float64 // s
	EvenWatts                     float64
	Allowed, Used, Long, Sections int
	Rides                         int
	Status                        pacing.Status
	BalanceMin, CuesBalanceMin    float64 // J
	GeneralBalance                float64 // J
}

// Compare solves a fixture with our own method.
func Compare(f Fixture) (Comparison, error) {
	p := f.Problem()
	general, err := p.Score(f.Plan())
	if err != nil {
		return Comparison{}, err
	}
	o, err := p.Optimum(context.Background())
	if err != nil {
		return Comparison{}, err
	}
	watts, even, err := p.Even(context.Background())
	if err != nil {
		return Comparison{}, err
	}
	long := pacing.LongSections(p.Profile, o.Outcome)
	n := pacing.Allowed(o.Outcome.Time, long, 0)
	r, err := p.Rideable(context.Background(), o, n, watts, even)
	if err != nil {
		return Comparison{}, err
	}
	return Comparison{Name: f.Name, General: general.Time, Optimum: o.Outcome.Time, Even: even.Time, Cues: r.Outcome.Time, EvenWatts: watts,
		Allowed: n, Used: len(r.Plan), Long: long, Sections: len(course.Sections(p.Profile)), Rides: o.Rides, Status: o.Status,
		BalanceMin: o.Outcome.BalanceMin, CuesBalanceMin: r.Outcome.BalanceMin, GeneralBalance: general.BalanceMin}, nil
}
