package pacing

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/physics"
)

// sampleWorld is a rider known from three tests on the 10 km hill.
func sampleWorld() World {
	learnt, _ := capacity.Infer(capacity.Rider{Name: "sample", Mass: 68.5, Age: 37, Level: capacity.Regular, Evidence: []capacity.Evidence{
		{Kind: capacity.MaximalTest, Duration: 180, Watts: 330}, {Kind: capacity.MaximalTest, Duration: 420, Watts: 280}, {Kind: capacity.MaximalTest, Duration: 720, Watts: 262}}}, capacity.Source{}, estimate.Stream(1, 0))
	c := learnt.Displayed
	median, sd := capacity.RecoverySpread(capacity.Differential)
	return World{Capacity: c, RecoveryMedian: median, RecoverySD: sd,
		Road: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19},
		RiderMass: 68.5, RiderSD: 0.5, BikeSD: 0.2, DragAreaSD: 0.01, CrrSD: 0.0003,
		Profile: hillProblem().Profile}
}

func sampleRequest(w World, limit float64) Request {
	return Request{World: w, ReserveShare: 0.1, ReserveJ: -1, Ceiling: w.Capacity.Power(60), ChanceLimit: limit, Draws: 300, Seed: 1, Workers: 2}
}

func TestPlannedByChance(t *testing.T) {
	w := sampleWorld()
	before := 0.0
	for _, limit := range []float64{0.35, 0.15, 0.05} {
		r, err := Make(context.Background(), sampleRequest(w, limit))
		if err != nil {
			t.Fatal(err)
		}
		if r.Missed || r.Forecast.ChanceEmpty > limit {
			t.Errorf("limit %.2f: the plan runs empty in %.3f of draws", limit, r.Forecast.ChanceEmpty)
		}
		if r.Forecast.ChanceEmpty < limit/3 && r.ForZ > 0.05 {
			t.Errorf("limit %.2f: %.3f is far too careful", limit, r.Forecast.ChanceEmpty)
		}
		if r.Plan.Outcome.Time < before {
			t.Errorf("limit %.2f: %.1f s, faster than a bolder plan's %.1f", limit, r.Plan.Outcome.Time, before)
		}
		before = r.Plan.Outcome.Time
		checkRideable(t, "chance", r.Problem, r.Plan, r.OptimumTime, r.EvenTime)
	}
}

// No plan's mean exceeds what the capacity holds for its duration, however
// long and however W′ is said to recover.
func TestMeanStaysOnThePowerDurationCurve(t *testing.T) {
	for _, form := range []capacity.Recovery{capacity.Differential, capacity.Integral, capacity.Elite} {
		for _, km := range []float64{5, 40, 100} {
			w := sampleWorld()
			w.Form = form
			w.RecoveryMedian, w.RecoverySD = capacity.RecoverySpread(form)
			w.Profile = rolling(km * 1000)
			q := sampleRequest(w, 0)
			q.ReserveShare, q.Draws = 0, 20
			r, err := Make(context.Background(), q)
			if err != nil {
				t.Fatal(err)
			}
			for name, o := range map[string]Outcome{"plan": r.Plan.Outcome, "optimum": r.Optimum.Outcome, "even": r.Even} {
				if hold := w.Capacity.Power(o.Time); o.MeanWatts > hold+0.05 {
					t.Errorf("form %d, %.0f km: the %s averages %.2f W over %.0f s; the curve holds %.2f W", form, km, name, o.MeanWatts, o.Time, hold)
				}
			}
		}
	}
}

// rolling is a course of gentle waves in 50 m points.
func rolling(length float64) course.Profile {
	var p course.Profile
	for x := 0.0; x <= length; x += 50 {
		p.Distance = append(p.Distance, x)
		p.Elevation = append(p.Elevation, 100+25*math.Sin(x/900)+40*math.Sin(x/4000))
	}
	return p
}

func TestForecastIsTheSameForAnyNumberOfWorkers(t *testing.T) {
	w := sampleWorld()
	orders := Orders{Plan: []Piece{{0, 4000, 250}, {4000, 10000, 235}}, ForCP: 235, Duration: 1150}
	want, err := w.Forecast(context.Background(), orders, 9, 203, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, workers := range []int{2, 3, 16} {
		got, err := w.Forecast(context.Background(), orders, 9, 203, workers)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%d workers give another forecast than one", workers)
		}
	}
	other, _ := w.Forecast(context.Background(), orders, 10, 203, 1)
	if other.Median == want.Median {
		t.Error("another seed gives the same median")
	}
}

func TestForecastStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := sampleWorld().Forecast(ctx, Orders{Plan: []Piece{{0, 10000, 235}}, ForCP: 235, Duration: 1150}, 1, 100000, 2)
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("got %v", err)
	}
	if _, err := Make(ctx, sampleRequest(sampleWorld(), 0.15)); !errors.Is(err, context.Canceled) {
		t.Fatalf("Make: got %v", err)
	}
}

// A rider without doubts who rides a plan forecasts its own time; one who asks
// for too much runs empty where the balance says, and is slower than asked.
func TestForecastWithoutDoubtIsTheScore(t *testing.T) {
	w := sampleWorld()
	w.Capacity = capacity.Fixed(240, 18000, 1000)
	w.RecoveryMedian, w.RecoverySD, w.Steady = 0, 0, true
	w.RiderSD, w.BikeSD, w.DragAreaSD, w.CrrSD = 0, 0, 0, 0
	p := hillProblem()
	plan := []Piece{{0, 10000, 250}}
	out, err := p.Score(plan)
	if err != nil {
		t.Fatal(err)
	}
	f, err := w.Forecast(context.Background(), Orders{Plan: plan, ForCP: 240, Duration: 1150}, 1, 5, 1)
	if err != nil {
		t.Fatal(err)
	}
	if f.High80 != f.Low80 || math.Abs(f.Median/out.Time-1) > 1e-4 || f.ChanceEmpty != 0 {
		t.Errorf("forecast %.2f to %.2f s, chance %.2f; the plan takes %.2f s", f.Low80, f.High80, f.ChanceEmpty, out.Time)
	}
	plan[0].Watts = 300
	out, err = p.Score(plan)
	if err != nil {
		t.Fatal(err)
	}
	f, err = w.Forecast(context.Background(), Orders{Plan: plan, ForCP: 240, Duration: 1150}, 1, 5, 1)
	if err != nil {
		t.Fatal(err)
	}
	emptyAt := 0.0
	for i, b := range out.Balance {
		if b <= 0 {
			emptyAt = out.At[i]
			break
		}
	}
	if f.ChanceEmpty != 1 || f.EmptyAt > emptyAt+1e-6 || f.EmptyCue != 1 {
		t.Errorf("chance %.2f of running empty at %.0f m in cue %d; the balance is gone before %.0f m", f.ChanceEmpty, f.EmptyAt, f.EmptyCue, emptyAt)
	}
	if f.Median <= out.Time {
		t.Errorf("a rider who runs empty takes %.1f s, not more than the %.1f s asked for", f.Median, out.Time)
	}
}

// By feel the share of one's own power is held: how much power that is does
// not change the chance of running empty, only the time.
func TestByFeelHoldsAShare(t *testing.T) {
	w := sampleWorld()
	w.ByFeel, w.SourceSD = true, 0.02
	w.RecoverySD = 0
	orders := Orders{Plan: []Piece{{0, 10000, 235}}, ForCP: 235, Duration: 1150}
	small, err := w.Forecast(context.Background(), orders, 1, 400, 2)
	if err != nil {
		t.Fatal(err)
	}
	c := w.Capacity
	w.Capacity = capacity.Capacity{CriticalPower: c.CriticalPower, WPrime: c.WPrime, MaxPower: c.MaxPower, Fade: c.Fade, Sigma: c.Sigma}
	w.Capacity.Sigma[0][0] *= 6
	w.Capacity.Sigma[1][0] = 0
	wide, err := w.Forecast(context.Background(), orders, 1, 400, 2)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(wide.ChanceEmpty-small.ChanceEmpty) > 0.08 {
		t.Errorf("chance %.2f with a wide capacity, %.2f with a narrow one", wide.ChanceEmpty, small.ChanceEmpty)
	}
	if wide.High80-wide.Low80 < 1.3*(small.High80-small.Low80) {
		t.Error("a wide capacity must widen the time")
	}
}

func TestRulesRise(t *testing.T) {
	p := hillProblem()
	p.Reserve, p.Ceiling = 1800, 450
	sketch := course.Sketch{Distance: 20000, Ascent: 300}
	var profiles []course.Profile
	for i := range 6 {
		profiles = append(profiles, sketch.Draw(rand.New(rand.NewPCG(uint64(i), 4))))
	}
	rules, err := p.Rules(context.Background(), profiles)
	if err != nil {
		t.Fatal(err)
	}
	if len(rules) < 3 || len(rules) > 5 {
		t.Fatalf("%d rules", len(rules))
	}
	for k, r := range rules {
		if math.Mod(r.Watts, WattStep) != 0 || k > 0 && (r.Watts < rules[k-1].Watts || r.From != rules[k-1].To) {
			t.Errorf("rule %d: %+v after %+v", k, r, rules[max(0, k-1)])
		}
	}
	score := p.ScoreRules(rules, profiles)
	sum := 0.0
	for _, s := range score.Shares {
		sum += s
	}
	if math.Abs(sum-1) > 1e-9 || score.BalanceMin < 0 {
		t.Errorf("shares sum to %g, balance %g", sum, score.BalanceMin)
	}
	shapes := []*shape{}
	for _, profile := range profiles {
		shapes = append(shapes, cut(profile, []float64{profile.Length()}, 40))
	}
	if _, even := p.evenOver(shapes); score.Time > even*1.002 {
		t.Errorf("rules take %.1f s, even power %.1f", score.Time, even)
	}
}

// Rides in the longer steps of the search for a level run empty as those in
// short ones do: that is all the search asks of them.
func TestTrialRidesRunEmptyAlike(t *testing.T) {
	for seed := range uint64(4) {
		w := sampleWorld()
		w.Profile = randomProfile(seed, 40, 150, 350)
		p := hillProblem()
		p.Profile = w.Profile
		watts, out, err := p.Even(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		o := Orders{Plan: []Piece{{To: w.Profile.Length(), Watts: watts}}, ForCP: p.Balance.CriticalPower, Duration: out.Time}
		coarse := w.known(o, trialStep)
		short := cut(w.Profile, planEnds(o.Plan), 5)
		fine := &prepared{short, o.steps(short)}
		otherwise, empty := 0, 0
		for i := range 200 {
			a, b := w.one(o, fine, 1, i, 0), w.one(o, coarse, 1, i, 0)
			if a.emptyAt >= 0 {
				empty++
			}
			if (a.emptyAt >= 0) != (b.emptyAt >= 0) {
				otherwise++
			}
		}
		if empty < 20 || empty > 180 {
			t.Errorf("seed %d: %d of 200 run empty: nothing is tried here", seed, empty)
		}
		if otherwise > 2 {
			t.Errorf("seed %d: %d of 200 rides run empty in one and not in the other", seed, otherwise)
		}
	}
}
