package pacing

import (
	"context"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/physics"
)

func sampleWorld() World {
	c, _ := capacity.Infer(capacity.Rider{Name: "Test", Mass: 68.5, Age: 37, Level: capacity.Regular, Evidence: []capacity.Evidence{
		{Kind: capacity.MaximalTest, Duration: 180, Watts: 330}, {Kind: capacity.MaximalTest, Duration: 420, Watts: 280}, {Kind: capacity.MaximalTest, Duration: 720, Watts: 262}}})
	median, sd := capacity.RecoverySpread(capacity.Differential)
	return World{Capacity: c, RecoveryMedian: median, RecoverySD: sd,
		Road: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19},
		RiderMass: 68.5, RiderSD: 0.5, BikeSD: 0.2, DragAreaSD: 0.01, CrrSD: 0.0003, SourceSD: 0.02, EvidenceSD: 0.02, SameSource: true,
		Profile: hillProblem().Profile}
}

func TestMake(t *testing.T) {
	w := sampleWorld()
	t.Logf("%+v", w.Capacity)
	for _, long := range []bool{false, true} {
		if long {
			w.Profile = longProfile()
		}
		for _, limit := range []float64{0.05, 0.15, 0.35} {
			now := time.Now()
			r, err := Make(context.Background(), Request{World: w, ReserveShare: 0.1, ReserveJ: -1, Ceiling: w.Capacity.Power(60), ChanceLimit: limit, Draws: 1000, Seed: 1, Workers: 2})
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("limit %.2f: z %.2f CP %.1f W' %.0f optimum %.1f even %.1f W %.1f s plan %.1f in %d cues, forecast %.1f (%.1f-%.1f) empty %.3f at %.0f cue %d; 5W %.1f CdA %.1f kg %.1f; %v", limit, r.ForZ, r.Problem.Balance.CriticalPower, r.Problem.Balance.WPrime,
				r.OptimumTime, r.EvenWatts, r.EvenTime, r.Plan.Outcome.Time, len(r.Plan.Plan), r.Forecast.Median, r.Forecast.Low80, r.Forecast.High80, r.Forecast.ChanceEmpty, r.Forecast.EmptyAt, r.Forecast.EmptyCue, r.FiveWatts, r.DragArea, r.OneKg, time.Since(now))
			t.Log(r.Plan.Plan, r.Plan.Outcome.MeanWatts)
		}
	}
}
