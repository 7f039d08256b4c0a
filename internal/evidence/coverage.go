// Package evidence computes the tables of docs/evidence.md: how the plan
// compares with a general solver's, and how often the intervals hold for
// simulated riders whose truth is known.
package evidence

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"chainline/brief"
	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
)

// Strata are the kinds of evidence that simulated riders have.
var Strata = []string{"nothing", "one threshold", "2 to 4 tests", "3 to 6 bests", "mixed"}

// Positions in Strata.
const (
	nothing = iota
	threshold
	tests
	bests
	mixed
)

// RidersPerStratum is how many `make evidence` simulates.
const RidersPerStratum = 200

// draws of a forecast.
const draws = 200

// Row is what came of one simulated rider.
type Row struct {
	Stratum, Rider    int
	Low, Median, High float64 // s, forecast
	Actual            float64 // s
	Chance            float64 // forecast chance of running empty
	Empty             bool    // whether the ride did
	CP, Threshold     Interval
}

// Interval is an 80 % interval in watts, its mean, and the truth.
type Interval struct{ Low, Mean, High, Truth float64 }

func interval(e estimate.Estimate, truth float64) Interval {
	return Interval{e.Low80, e.Mean, e.High80, truth}
}

// Holds tells whether the truth lies inside; equality does.
func (i Interval) Holds() bool { return i.Truth >= i.Low && i.Truth <= i.High }

// HalfWidth is half the interval over the mean.
func (i Interval) HalfWidth() float64 { return (i.High - i.Low) / 2 / i.Mean }

// String is the row of the file the test compares with.
func (r Row) String() string {
	empty := 0
	if r.Empty {
		empty = 1
	}
	return fmt.Sprintf("%d,%d,%.1f,%.1f,%.1f,%.1f,%.3f,%d,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f", r.Stratum, r.Rider, r.Low, r.Median, r.High, r.Actual,
		r.Chance, empty, r.CP.Low, r.CP.Mean, r.CP.High, r.CP.Truth, r.Threshold.Low, r.Threshold.Mean, r.Threshold.High, r.Threshold.Truth)
}

// RowHeader names the columns of the rows.
const RowHeader = "stratum,rider,low80_s,median_s,high80_s,actual_s,chance_empty,empty," +
	"cp_low80_w,cp_mean_w,cp_high80_w,cp_true_w,threshold_low80_w,threshold_mean_w,threshold_high80_w,threshold_true_w"

// hill is the course that is ridden: 10 km with two climbs.
func hill() course.Profile {
	return course.Profile{Distance: []float64{0, 2000, 4000, 5000, 7000, 8000, 9000, 10000},
		Elevation: []float64{0, 0, 100, 100, 0, 0, 60, 0}}
}

// meter is the power source of evidence and ride.
var meter = capacity.Source{Name: "meter", SD: 0.02}

// body is what is known of a rider before any evidence.
func body(r *rand.Rand) capacity.Rider {
	return capacity.Rider{Name: "simulated", Mass: 55 + 35*r.Float64(), Age: 20 + math.Floor(40*r.Float64()),
		Sex: capacity.Sex(1 + r.IntN(2)), Level: capacity.Level(1 + r.IntN(4))}
}

// longestAgo is how old simulated evidence is at most, days.
const longestAgo = 60

// evidenceOf is what is known of a simulated rider of a stratum: durations of
// tests from 2 to 20 min, of bests from 2 min to an hour, evenly by their
// logarithm, each on a day of the last two months.
func evidenceOf(s *capacity.Simulated, stratum int, r *rand.Rand) []capacity.Evidence {
	ago := func() int { return 1 + r.IntN(longestAgo) }
	test := func() capacity.Evidence { return s.Test(120*math.Pow(10, r.Float64()), ago()) }
	best := func() capacity.Evidence { return s.Best(120*math.Pow(30, r.Float64()), ago()) }
	var out []capacity.Evidence
	switch stratum {
	case threshold:
		out = append(out, s.Threshold(ago()))
	case tests:
		for range 2 + r.IntN(3) {
			out = append(out, test())
		}
	case bests:
		for range 3 + r.IntN(4) {
			out = append(out, best())
		}
	case mixed:
		out = append(out, s.Threshold(ago()), test(), best(), best())
	}
	return out
}

// Simulate makes one rider's truth and evidence from seeded draws, the brief's
// plan and forecast from the evidence alone, and then lets the truth ride the
// plan once. Truth comes from the same distributions that inference and
// forecast assume: this checks that the arithmetic of uncertainty is right, not
// that the assumptions are.
func Simulate(ctx context.Context, stratum, rider int) (Row, error) {
	r := estimate.Stream(20261125, stratum*100000+rider)
	s := capacity.Simulate(body(r), meter, r)
	known := s.Body
	known.Evidence = evidenceOf(s, stratum, r)
	learnt, _ := capacity.Infer(known, meter, r)
	median, spread := capacity.RecoverySpread(capacity.Differential)
	world := pacing.World{Capacity: learnt.Displayed, RecoveryMedian: median, RecoverySD: spread, Profile: hill(),
		Road: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.2},
		RiderMass: known.Mass, RiderSD: 0.5, BikeSD: 0.2, DragAreaSD: 0.01, CrrSD: 0.0003}
	res, err := pacing.Make(ctx, pacing.Request{World: world, ReserveShare: brief.ReserveShare, ReserveJ: -1,
		Ceiling: learnt.Displayed.MaxPower, ChanceLimit: brief.Normal.ChanceLimit(), Draws: draws, Seed: 1, Workers: 1})
	if err != nil {
		return Row{}, fmt.Errorf("stratum %d, rider %d: %w", stratum, rider, err)
	}
	orders := pacing.Orders{Plan: res.Plan.Plan, ForCP: res.Problem.Balance.CriticalPower, Duration: res.Duration}
	truth := s.Displayed()
	world.Capacity = truth
	ridden, err := world.Forecast(ctx, orders, r.Uint64(), 1, 1)
	if err != nil {
		return Row{}, err
	}
	cp, _, _, _ := learnt.Displayed.Estimates("")
	return Row{Stratum: stratum, Rider: rider, Low: res.Forecast.Low80, Median: res.Forecast.Median, High: res.Forecast.High80,
		Actual: ridden.Median, Chance: res.Forecast.ChanceEmpty, Empty: ridden.ChanceEmpty > 0,
		CP: interval(cp, truth.CriticalPower), Threshold: interval(learnt.Displayed.ThresholdEstimate(""), truth.Threshold())}, nil
}
