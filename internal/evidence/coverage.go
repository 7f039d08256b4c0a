// Package evidence computes the tables of docs/evidence.md: how the plan
// compares with a general solver's, and how often the intervals hold for
// simulated riders whose truth is known.
package evidence

import (
	"context"
	"fmt"
	"math"

	"chainline/brief"
	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
)

// Stratum is a kind of evidence that simulated riders have.
type Stratum struct {
	Name  string
	tests []float64 // s, durations of maximal tests
	// threshold: also a stated threshold from a 20-minute test.
	threshold bool
}

// Strata of the simulated riders.
var Strata = []Stratum{
	{Name: "no evidence"},
	{Name: "20-minute threshold", threshold: true},
	{Name: "one test", tests: []float64{420}},
	{Name: "three tests", tests: []float64{180, 420, 900}},
	{Name: "five tests", tests: []float64{120, 210, 360, 600, 1080}},
}

// RidersPerStratum is how many `make evidence` simulates.
const RidersPerStratum = 200

// Row is what came of one simulated rider.
type Row struct {
	Stratum, Rider    int
	Low, Median, High float64 // s, forecast
	Actual            float64 // s
	Chance            float64 // forecast chance of running empty
	Empty             bool    // whether the ride did
	CPLow, CPHigh, CP float64 // W, 80 % interval and truth
	PriorWidth        float64 // W, width of the interval without evidence
}

// String is the row of the file the test compares with.
func (r Row) String() string {
	empty := 0
	if r.Empty {
		empty = 1
	}
	return fmt.Sprintf("%d,%d,%.1f,%.1f,%.1f,%.1f,%.3f,%d,%.1f,%.1f,%.1f,%.1f", r.Stratum, r.Rider, r.Low, r.Median, r.High, r.Actual,
		r.Chance, empty, r.CPLow, r.CPHigh, r.CP, r.PriorWidth)
}

// RowHeader names the columns of the rows.
const RowHeader = "stratum,rider,low80_s,median_s,high80_s,actual_s,chance_empty,empty,cp_low80_w,cp_high80_w,cp_true_w,cp_prior_width_w"

// testError is the repeat error of a simulated test, as Infer expects it
// (fraction); thresholdError that of a 20-minute test against critical power.
const (
	testError      = 0.03
	thresholdError = 0.052
)

// hill is the course that is ridden: 10 km with two climbs.
func hill() course.Profile {
	return course.Profile{Distance: []float64{0, 2000, 4000, 5000, 7000, 8000, 9000, 10000},
		Elevation: []float64{0, 0, 100, 100, 0, 0, 60, 0}}
}

// Simulate makes one rider's truth and evidence from seeded draws, the brief's
// plan and forecast from the evidence alone, and then lets the truth ride the
// plan once. Truth comes from the same distributions that the forecast
// assumes: this checks that the arithmetic of uncertainty is right, not that
// the assumptions are.
func Simulate(ctx context.Context, stratum, rider int) (Row, error) {
	r := estimate.Stream(20261125, stratum*100000+rider)
	s := Strata[stratum]
	body := capacity.Rider{Name: "simulated", Mass: 55 + 35*r.Float64(), Age: 20 + math.Floor(40*r.Float64()),
		Sex: capacity.Sex(1 + r.IntN(2)), Level: capacity.Level(1 + r.IntN(4))}
	prior, _ := capacity.Infer(body)
	truth := prior.Draw(r)
	truth.Sigma = [4][4]float64{}
	for _, t := range s.tests {
		body.Evidence = append(body.Evidence, capacity.Evidence{Kind: capacity.MaximalTest, Duration: t,
			Watts: truth.Power(t) * (1 + testError*r.NormFloat64()), Source: "meter"})
	}
	if s.threshold {
		// A 20-minute threshold lies about 3 % below critical power.
		body.Evidence = append(body.Evidence, capacity.Evidence{Kind: capacity.StatedThreshold, From: "20-minute test",
			Watts: truth.CriticalPower / 1.028 * (1 + thresholdError*r.NormFloat64()), Source: "meter"})
	}
	known, _ := capacity.Infer(body)
	median, spread := capacity.RecoverySpread(capacity.Differential)
	world := pacing.World{Capacity: known, RecoveryMedian: median, RecoverySD: spread, Profile: hill(),
		Road: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.2},
		RiderMass: body.Mass, RiderSD: 0.5, BikeSD: 0.2, DragAreaSD: 0.01, CrrSD: 0.0003, SourceSD: 0.02, SameSource: true}
	res, err := pacing.Make(ctx, pacing.Request{World: world, ReserveShare: brief.ReserveShare, ReserveJ: -1,
		Ceiling: known.MaxPower, ChanceLimit: brief.Normal.ChanceLimit(), Draws: 400, Seed: 1, Workers: 1})
	if err != nil {
		return Row{}, fmt.Errorf("stratum %d, rider %d: %w", stratum, rider, err)
	}
	orders := pacing.Orders{Plan: res.Plan.Plan, ForCP: res.Problem.Balance.CriticalPower, Duration: res.Duration}
	world.Capacity = truth
	ridden, err := world.Forecast(ctx, orders, r.Uint64(), 1, 1)
	if err != nil {
		return Row{}, err
	}
	cp, _, _, _ := known.Estimates("")
	before, _, _, _ := prior.Estimates("")
	return Row{Stratum: stratum, Rider: rider, Low: res.Forecast.Low80, Median: res.Forecast.Median, High: res.Forecast.High80,
		Actual: ridden.Median, Chance: res.Forecast.ChanceEmpty, Empty: ridden.ChanceEmpty > 0,
		CPLow: cp.Low80, CPHigh: cp.High80, CP: truth.CriticalPower, PriorWidth: before.High80 - before.Low80}, nil
}

// Summary is a stratum in one line.
type Summary struct {
	Riders        int
	Time, CP      float64 // coverage of the 80 % intervals
	TimeWidth     float64 // mean width of the time interval over its median
	CPWidth       float64 // mean width of the CP interval over the prior's
	Chance, Empty float64 // mean forecast chance of running empty, and how many did
}

// Summarise the rows of one stratum, or of all (stratum −1).
func Summarise(rows []Row, stratum int) Summary {
	var s Summary
	for _, r := range rows {
		if stratum >= 0 && r.Stratum != stratum {
			continue
		}
		s.Riders++
		if r.Actual >= r.Low && r.Actual <= r.High {
			s.Time++
		}
		if r.CP >= r.CPLow && r.CP <= r.CPHigh {
			s.CP++
		}
		s.TimeWidth += (r.High - r.Low) / r.Median
		s.CPWidth += (r.CPHigh - r.CPLow) / r.PriorWidth
		s.Chance += r.Chance
		if r.Empty {
			s.Empty++
		}
	}
	n := float64(s.Riders)
	s.Time, s.CP, s.TimeWidth, s.CPWidth, s.Chance, s.Empty = s.Time/n, s.CP/n, s.TimeWidth/n, s.CPWidth/n, s.Chance/n, s.Empty/n
	return s
}
