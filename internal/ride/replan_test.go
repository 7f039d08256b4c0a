package ride_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/pacing"
	"chainline/physics"
)

// The courses of the comparison, all invented.
func replanCourses() map[string]course.Profile {
	build := func(pieces ...[2]float64) course.Profile {
		p := course.Profile{Distance: []float64{0}, Elevation: []float64{50}}
		for i, x := range pieces {
			p.Distance = append(p.Distance, p.Distance[i]+x[0])
			p.Elevation = append(p.Elevation, p.Elevation[i]+x[0]*x[1])
		}
		return p
	}
	return map[string]course.Profile{
		"two hills":  build([2]float64{2000, 0.002}, [2]float64{2200, 0.055}, [2]float64{2000, -0.045}, [2]float64{1500, 0.005}, [2]float64{1200, 0.06}, [2]float64{1100, -0.05}),
		"rolling":    build([2]float64{800, 0.03}, [2]float64{800, -0.03}, [2]float64{1000, 0.045}, [2]float64{1000, -0.035}, [2]float64{1200, 0.02}, [2]float64{1200, -0.02}, [2]float64{900, 0.05}, [2]float64{900, -0.05}, [2]float64{1200, 0.01}),
		"to the top": build([2]float64{4000, 0.004}, [2]float64{1500, 0.03}, [2]float64{3500, 0.065}),
	}
}

// compared is one rider on one course, by the fixed plan and by the one that
// is made anew.
type compared struct {
	fixed, anew       float64 // s
	fixedOut, anewOut bool    // ran empty
	changes           int
}

// TestReplannedAgainstFixed: on average over riders whose true capacity
// differs from the brief's, a plan made anew on the way finishes no later than
// the fixed one, and they run empty less often. In full it is two hundred.
func TestReplannedAgainstFixed(t *testing.T) {
	riders := 12
	if *all {
		riders = 200
	}
	world, request, learnt := briefed(t)
	var rows []compared
	for name, profile := range replanCourses() {
		w := world
		w.Profile = profile
		q := request
		q.World = w
		plan, err := pacing.Make(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		var some []compared
		for i := range riders / 3 {
			some = append(some, compareOne(t, w, plan, learnt, i))
		}
		report(t, name, some)
		rows = append(rows, some...)
	}
	later, se, fixedOut, anewOut := report(t, "all", rows)
	if later > 2*se && later > 0 {
		t.Errorf("made anew they finish %.1f s later (standard error %.1f)", later, se)
	}
	if anewOut > fixedOut {
		t.Errorf("made anew %d run empty, by the fixed plan %d", anewOut, fixedOut)
	}
}

func report(t *testing.T, name string, rows []compared) (later, se float64, fixedOut, anewOut int) {
	t.Helper()
	var sum, squares, fixed float64
	changes := 0
	for _, r := range rows {
		d := r.anew - r.fixed
		sum, squares, fixed, changes = sum+d, squares+d*d, fixed+r.fixed, changes+r.changes
		if r.fixedOut {
			fixedOut++
		}
		if r.anewOut {
			anewOut++
		}
	}
	n := float64(len(rows))
	later = sum / n
	se = math.Sqrt(math.Max(0, squares/n-later*later) / n)
	t.Logf("%-11s %3d riders: fixed %.0f s on average; made anew %+.1f s (standard error %.1f); ran empty %d by the fixed plan, %d made anew; %.1f changes an hour",
		name, len(rows), fixed/n, later, se, fixedOut, anewOut, float64(changes)/(fixed/3600))
	return later, se, fixedOut, anewOut
}

// briefed is a rider as a brief knows them, from three tests.
func briefed(t *testing.T) (pacing.World, pacing.Request, capacity.Learnt) {
	t.Helper()
	rider := capacity.Rider{Mass: 72, Age: 34, Sex: capacity.Male, Level: capacity.Club, MaxHeartRate: 188, Screened: true, Evidence: []capacity.Evidence{
		{Kind: capacity.MaximalTest, Duration: 180, Watts: 360, Age: 20, Source: "crank"}, {Kind: capacity.MaximalTest, Duration: 720, Watts: 275, Age: 24, Source: "crank"}}}
	learnt, _ := capacity.Infer(rider, capacity.Source{Name: "crank", SD: 0.032}, estimate.Stream(1, 1<<30))
	median, sd := capacity.RecoverySpread(capacity.Differential)
	w := pacing.World{Capacity: learnt.Displayed, RecoveryMedian: median, RecoverySD: sd, RiderMass: 72, RiderSD: 0.5,
		Road: physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2, WheelInertia: 0.14, WheelRadius: 0.335}}
	q := pacing.Request{ReserveShare: 0.1, ReserveJ: -1, Ceiling: learnt.Displayed.MaxPower, ChanceLimit: 0.15, Draws: 200, Seed: 1, Workers: 2}
	return w, q, learnt
}

func compareOne(t *testing.T, w pacing.World, plan pacing.Result, learnt capacity.Learnt, i int) compared {
	t.Helper()
	r := rand.New(rand.NewPCG(77, uint64(i)))
	true_ := learnt.Displayed.Draw(r)
	form := math.Exp(pacing.RepeatPower / math.Sqrt2 * r.NormFloat64())
	cfg := standard(uint64(1000 + i))
	cfg.Rider.Mass, cfg.Rider.CriticalPower, cfg.Rider.WPrime = 72, true_.SustainableCP(plan.Duration)*form, true_.WPrime*form
	cfg.Rider.MaxPower, cfg.Rider.RecoverySpeed = true_.MaxPower, w.RecoveryMedian*math.Exp(w.RecoverySD*r.NormFloat64())
	cfg.Rider.HeartMax = 188 * (1 + 0.03*r.NormFloat64())
	cfg.Meter.Unit.Bias = 0 // displayed watts are what the capacity is in
	var out compared
	out.fixed, out.fixedOut, _ = rideOnce(t, w, plan, learnt, cfg, false)
	out.anew, out.anewOut, out.changes = rideOnce(t, w, plan, learnt, cfg, true)
	return out
}

func rideOnce(t *testing.T, w pacing.World, plan pacing.Result, learnt capacity.Learnt, cfg bench.Config, replan bool) (seconds float64, empty bool, changes int) {
	t.Helper()
	k := &ride.Course{Name: "x", Profile: w.Profile, Motion: w.Road.Motion(72), Advance: ride.ByPosition, PlannedS: plan.Forecast.Median, Replan: replan}
	for n, p := range plan.Plan.Plan {
		k.Cues = append(k.Cues, ride.Cue{FromM: p.From, ToM: p.To, Watts: p.Watts, Name: fmt.Sprintf("Cue %d", n+1)})
	}
	c := learnt.Displayed
	s := ride.Setup{ID: "x", Title: "x", Begun: start, Way: ride.Controlling, Bench: true, Course: k, Rig: ride.Rig{Gradient: true},
		Rider: ride.Rider{Mass: 72, MaxPower: c.MaxPower, HeartMax: 188, Balance: capacity.Balance{CriticalPower: c.SustainableCP(plan.Duration), WPrime: c.WPrime, Speed: w.RecoveryMedian}}}
	core, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	var solver ride.Replanner
	if replan {
		solver = ride.NewReplanner(w, plan.Orders, 0, c.MaxPower, 0.15, k, 188, 5)
	}
	world := bench.New(cfg)
	err = ride.Headless(context.Background(), core, world, 2*time.Hour, solver, nil, func(c *ride.Core) error {
		if x := c.Snapshot(); x.Stage == ride.Riding {
			seconds, changes = x.ClockS, x.Plan
			left := x.Course.LengthM - x.Course.AtM
			empty = empty || world.Truth().Emptied && left > 50
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return seconds, empty, changes
}
