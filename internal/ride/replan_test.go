package ride_test

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/course"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/pacing"
	"chainline/physics"
)

// hilly is a course with its plan for somebody thought to hold a critical
// power, and what its rest is made anew from.
func hilly(t *testing.T, critical float64) ride.Setup {
	t.Helper()
	p := course.Profile{Distance: []float64{0, 1500, 3000, 4500, 6500}, Elevation: []float64{20, 25, 95, 35, 90}}
	c := capacity.Capacity{CriticalPower: critical, WPrime: 18000, MaxPower: 900}
	c.Sigma[0][0], c.Sigma[1][1] = 0.04*critical, 2500
	w := pacing.World{Capacity: c, RecoveryMedian: 1.5, RecoverySD: 0.3, Profile: p, RiderMass: 72, RiderSD: 0.5,
		Road: physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2}}
	made, err := pacing.Make(context.Background(), pacing.Request{World: w, ReserveShare: 0.1, ReserveJ: -1, Ceiling: 900, ChanceLimit: 0.1, Draws: 100, Seed: 1, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	k := &ride.Course{Name: "Hilly", Profile: p, Motion: w.Road.Motion(w.RiderMass), Advance: ride.ByPosition, PlannedS: made.Forecast.Median,
		Basis: ride.NewBasis(w, made, 0, math.Inf(1), 0.1, 188, 1)}
	for _, q := range made.Plan.Plan {
		k.Cues = append(k.Cues, ride.Cue{FromM: q.From, ToM: q.To, Watts: q.Watts, Name: "Cue"})
	}
	return ride.Setup{ID: "hilly", Title: "Hilly", Begun: bench.StandardRig(7).Start, Way: ride.Controlling, Bench: true, Course: k, Rig: ride.Rig{Gradient: true}, Rider: rider()}
}

// New plans come at most once a minute, each with a finish and its interval;
// the plan ends where the course does; every plan stands in the records.
func TestPlanMadeAnewOnTheWay(t *testing.T) {
	s := hilly(t, 215) // the bench rider has 250 W
	core, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	var changed []time.Time
	plan, plans, finish := 0, 0, 0.0
	err = ride.Headless(context.Background(), core, bench.New(bench.StandardRig(7)), time.Hour, s.Course.Solver(), func(b []byte) error {
		if strings.Contains(string(b), `"k":"plan"`) {
			plans++
		}
		return nil
	}, func(c *ride.Core) error {
		x := c.Snapshot()
		if x.Course == nil || x.Stage != ride.Riding {
			return nil
		}
		finish = x.ClockS
		if x.Plan == plan {
			return nil
		}
		plan = x.Plan
		changed = append(changed, x.At)
		cues := c.Setup().Course.Cues
		if cues[0].FromM != 0 || cues[len(cues)-1].ToM != s.Course.Profile.Length() {
			t.Errorf("plan %d goes from %.0f to %.0f m", plan, cues[0].FromM, cues[len(cues)-1].ToM)
		}
		for i := 1; i < len(cues); i++ {
			if math.Abs(cues[i].FromM-cues[i-1].ToM) > 0.01 {
				t.Errorf("plan %d has a hole at %.1f m", plan, cues[i].FromM)
			}
		}
		if !(x.Course.Low80 < x.Course.FinishS && x.Course.FinishS < x.Course.High80) || x.Course.ChanceEmpty < 0 || x.Course.ChanceEmpty > 1 {
			t.Errorf("%+v", *x.Course)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(changed) == 0 || plans != len(changed) || finish > s.Course.PlannedS*1.03 {
		t.Errorf("%d changes, %d in the records, %.0f s of %.0f", len(changed), plans, finish, s.Course.PlannedS)
	}
	for i := 1; i < len(changed); i++ {
		if changed[i].Sub(changed[i-1]) < time.Minute {
			t.Errorf("changes %v apart", changed[i].Sub(changed[i-1]))
		}
	}
}

// What a solver needs stands in the journal: a ride gone on with goes on being
// solved, about as before.
func TestSolverFromTheJournal(t *testing.T) {
	s := hilly(t, 245)
	b, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var back ride.Setup
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	rest := ride.Rest{Sequence: 1, AtM: 1600, Speed: 8, ClockS: 190, Planned: s.Course.Cues}
	before, err := s.Course.Solver().Replan(context.Background(), rest)
	if err != nil {
		t.Fatal(err)
	}
	after, err := back.Course.Solver().Replan(context.Background(), rest)
	if err != nil || math.Abs(after.FinishS/before.FinishS-1) > 0.01 || len(after.Cues) != len(before.Cues) {
		t.Errorf("%+v then %+v, %v", before, after, err)
	}
	s.Course.Basis = nil
	if s.Course.Solver() != nil {
		t.Error("a solver without a basis")
	}
}
