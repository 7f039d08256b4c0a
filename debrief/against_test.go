package debrief

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"chainline/brief"
	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
	"chainline/recording"
	"chainline/rig"
)

// hill is a brief for a regular rider over 6 km with two climbs.
var hill = sync.OnceValues(func() (Planned, error) {
	b, from, err := brief.MakeRide(context.Background(), brief.Request{
		Rider: capacity.Rider{Name: "sample", Mass: 70, Age: 36, Level: capacity.Regular, Screened: true,
			Evidence: []capacity.Evidence{{Kind: capacity.StatedThreshold, Watts: 231, From: "20-minute test", Source: "hub"}}},
		Rig: rig.Rig{Source: rig.PowerSource{Name: "hub", Kind: rig.SourceTrainer, Accuracy: 0.02}},
		Road: brief.RoadKnown{Name: "open road", BikeSD: 0.2, DragAreaSD: 0.01, CrrSD: 0.0003,
			Road: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334, WheelInertia: 0.14,
				WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.2}},
		Way: brief.Way{Name: "hill", Known: "survey", Laps: 1, Profile: course.Profile{Distance: []float64{0, 1500, 3000, 4000, 5000, 6000},
			Elevation: []float64{0, 0, 75, 0, 40, 0}}},
		ReserveJ: -1, Draws: 40, Seed: 1, Workers: 2,
	})
	return Planned{b, from}, err
})

func planned(t *testing.T) Planned {
	t.Helper()
	p, err := hill()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// ridden simulates the ride of watts shown by place: 20 steps a second, one
// reading a second. The road may be another than planned.
func ridden(t *testing.T, p Planned, road physics.Road, watts func(m float64) float64, until float64) recording.Recording {
	t.Helper()
	world := p.From.Ask.World
	m := road.Motion(world.RiderMass)
	profile := world.Profile
	gradient := func(x float64) float64 {
		for i := 1; i < len(profile.Distance)-1; i++ {
			if x < profile.Distance[i] {
				return profile.Gradient(i - 1)
			}
		}
		return profile.Gradient(len(profile.Distance) - 2)
	}
	var power, place []float64
	x, v := 0.0, road.StartSpeed
	for x < until && len(power) < 20000 {
		w := watts(x)
		power = append(power, w)
		for range 20 {
			force := m.Efficiency*w/math.Max(v, 0.5) - m.Resistance(v, gradient(x), 0)
			v = math.Max(0, v+0.05*force/m.Inertial)
			x += 0.05 * v
		}
		place = append(place, x)
	}
	return record(t, map[recording.Quantity][]float64{recording.Power: power, recording.Position: place})
}

func compared(t *testing.T, p Planned, r recording.Recording, a Actual, outdoors bool) *Against {
	t.Helper()
	s, err := read(&r, "")
	if err != nil {
		t.Fatal(err)
	}
	out, err := against(context.Background(), p, a, s, outdoors)
	if err != nil {
		t.Fatal(err)
	}
	if out.Split != nil {
		sum := 0.0
		for _, part := range out.Split.Parts {
			sum += part.Seconds
			if part.Why == "" || part.Name == "" {
				t.Errorf("a part without words: %+v", part)
			}
		}
		near(t, "sum of the parts", sum, out.OffS, 1e-9)
	}
	if _, err := json.Marshal(out); err != nil {
		t.Error(err)
	}
	return out
}

func (s *Split) of(name string) float64 {
	for _, p := range s.Parts {
		if p.Name == name {
			return p.Seconds
		}
	}
	return math.NaN()
}

func asPlanned(p Planned, times float64) func(m float64) float64 {
	return func(m float64) float64 { return times * wattsAt(p.From.Result.Plan.Plan, m) }
}

func TestRideAsPlanned(t *testing.T) {
	p := planned(t)
	length := p.From.Ask.World.Profile.Length()
	out := compared(t, p, ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1), length), Actual{}, false)
	if !out.Finished || len(out.Cues) != len(p.Brief.Plan.Cues) || len(out.Line) < 100 {
		t.Fatalf("%+v", out)
	}
	near(t, "time", out.RiddenS, out.PlanS, 2)
	near(t, "rider", out.Split.of(PartRiderSource), 0, 2)
	near(t, "start", out.Split.of(PartStart), 0, 0.5)
	near(t, "rest", out.Split.of(PartRest), 0, 2)
	near(t, "watts", out.MeanOffW, 0, 1)
	for _, c := range out.Cues {
		near(t, "cue "+c.Name, c.OffW, 0, 0.05*c.PlannedW+3)
		near(t, "cue "+c.Name, c.OffS, 0, 2)
	}
}

func TestRideHarderThanPlanned(t *testing.T) {
	p := planned(t)
	length := p.From.Ask.World.Profile.Length()
	out := compared(t, p, ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1.05), length), Actual{}, false)
	if s := out.Split.of(PartRiderSource); !(s < -5) {
		t.Errorf("5 %% harder saves %.1f s", -s)
	}
	near(t, "rest", out.Split.of(PartRest), 0, 2)
	for _, c := range out.Cues {
		if c.PlannedW > 100 && !(c.OffW > 0 && c.OffS < 1) {
			t.Errorf("cue %s: %+.0f W, %+.1f s", c.Name, c.OffW, c.OffS)
		}
	}
	for _, part := range out.Split.Parts {
		if part.Name == PartRiderSource && !(part.Merged && part.CouldBeS > 0) {
			t.Errorf("%+v", part)
		}
	}
}

func TestSplitTellsSourceFromLegs(t *testing.T) {
	p := planned(t)
	length := p.From.Ask.World.Profile.Length()
	r := ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1), length)
	out := compared(t, p, r, Actual{Gain: 1.05, GainFrom: "rig check"}, false)
	legs, source := out.Split.of(PartRider), out.Split.of(PartSource)
	if !(legs > 5 && source < -5) {
		t.Errorf("shown watts as planned of a source that shows 5 %% too much: rider %+.1f s, source %+.1f s", legs, source)
	}
	near(t, "together", legs+source, 0, 2)

	// Outdoors the legs move the rider: shown as planned by a source that shows
	// too much is less than planned.
	r = ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1/1.05), length)
	for i := range r.Channels {
		if r.Channels[i].Quantity == recording.Power {
			for k := range r.Channels[i].Values {
				r.Channels[i].Values[k] *= 1.05
			}
		}
	}
	out = compared(t, p, r, Actual{Gain: 1.05, GainFrom: "rig check"}, true)
	near(t, "rider outdoors", out.Split.of(PartRider), 0, 2)
	near(t, "source outdoors", out.Split.of(PartSource), out.RiddenS-out.PlanS, 2)
	near(t, "left over", out.Split.of("road and course"), 0, 2)
}

func TestSplitOfTheRoad(t *testing.T) {
	p := planned(t)
	length := p.From.Ask.World.Profile.Length()
	heavy := p.From.Ask.World.Road
	heavy.CdA *= 1.15
	r := ridden(t, p, heavy, asPlanned(p, 1), length)
	known := compared(t, p, r, Actual{Road: &heavy, Gain: 1}, true)
	slower := known.RiddenS - known.PlanS
	if !(slower > 8) {
		t.Fatalf("15 %% more drag cost %.1f s", slower)
	}
	near(t, "road, fitted", known.Split.of(PartRoad), slower, 2)
	unknown := compared(t, p, r, Actual{}, true)
	merged := unknown.Split.Parts[len(unknown.Split.Parts)-1]
	near(t, "merged", unknown.Split.of("power source, road and course"), slower, 2)
	if !merged.Merged || !(merged.CouldBeS > 1) {
		t.Errorf("%+v", merged)
	}
	calibrated := compared(t, p, r, Actual{Gain: 1}, true)
	near(t, "merged", calibrated.Split.of("road and course"), slower, 2)
	other := p.From.Ask.World.Profile
	surveyed := compared(t, p, r, Actual{Road: &heavy, Profile: &other, Gain: 1}, true)
	near(t, "course as planned", surveyed.Split.of(PartCourse), 0, 1e-6)
	near(t, "nothing left over", surveyed.Split.of(PartRest), 0, 2)
	again := compared(t, p, r, Actual{Road: &heavy, MassKg: 74, Gain: 1}, true)
	if again.Split.of(PartRider) <= known.Split.of(PartRider) {
		t.Error("four kilograms more cost nothing")
	}
}

func TestLateStart(t *testing.T) {
	p := planned(t)
	length := p.From.Ask.World.Profile.Length()
	r := ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1), length)
	for i := range r.Channels {
		for k := range r.Channels[i].Seconds {
			r.Channels[i].Seconds[k] += 10
		}
	}
	for i := range r.Marks {
		r.Marks[i].Seconds += 10
	}
	out := compared(t, p, r, Actual{GunS: 4}, false)
	near(t, "start", out.Split.of(PartStart), 6, 0.6)
}

func TestUnfinishedAndPlacelessRides(t *testing.T) {
	p := planned(t)
	out := compared(t, p, ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1), 2500), Actual{}, false)
	if out.Finished || out.Split != nil || out.BehindAtM < 2500 || len(out.Unsaid) == 0 || len(out.Cues) == 0 {
		t.Errorf("%+v", out)
	}
	out = compared(t, p, record(t, map[recording.Quantity][]float64{recording.Power: blocks(600, 200)}), Actual{}, false)
	if len(out.Unsaid) == 0 || out.Finished {
		t.Errorf("%+v", out)
	}
}

// The glove game: one holds a left glove, two hold right ones, and a pair is
// worth one. Shapley 1953 (the value of the game worked out by hand from the
// definition): 2/3, 1/6, 1/6.
func TestAnalyticShapley(t *testing.T) {
	values := make([]float64, 8)
	for set := range values {
		if set&1 != 0 && set&6 != 0 {
			values[set] = 1
		}
	}
	for i, want := range []float64{2. / 3, 1. / 6, 1. / 6} {
		near(t, "share", shapley(3, values)[i], want, 1e-12)
	}
	// What adds up is shared as it adds up.
	for set := range values {
		values[set] = float64(set&1)*3 + float64(set>>1&1)*5 + float64(set>>2)*7
	}
	for i, want := range []float64{3, 5, 7} {
		near(t, "sum", shapley(3, values)[i], want, 1e-12)
	}
}

// Constant power P for a time T is what CP + W′/T allows, so that the least
// share of both is P over that: by hand (derivation).
func TestAnalyticCapacityShown(t *testing.T) {
	b := capacity.Balance{CriticalPower: 250, WPrime: 20000}
	for _, x := range []struct{ watts, seconds float64 }{{300, 400}, {280, 400}, {260, 1200}} {
		_, share := shown(b, blocks(x.seconds, x.watts))
		near(t, "share", share, x.watts/(250+20000/x.seconds), 1e-4)
	}
}

func TestBestRideWithWhatWasShown(t *testing.T) {
	p := planned(t)
	length := p.From.Ask.World.Profile.Length()
	// Too hard at first, too easy then.
	uneven := func(m float64) float64 {
		if m < 1500 {
			return 300
		}
		return 210
	}
	out := compared(t, p, ridden(t, p, p.From.Ask.World.Road, uneven, length), Actual{}, false)
	b := out.Best
	if b == nil || !(b.SavedS > 1) || b.TimeS > b.EvenS+0.5 {
		t.Fatalf("%+v", b)
	}
	near(t, "reckoned as ridden", b.RiddenS, out.RiddenS, 2)
	if b.Share < 0.7 || b.Share > 1.4 {
		t.Errorf("share %.2f", b.Share)
	}
}

// What the weighted sum gives is the mean over all orders of setting the
// players one after the other.
func TestShapleyIsTheMeanOverOrders(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	for n := 1; n <= 5; n++ {
		values := make([]float64, 1<<n)
		for i := range values {
			values[i] = r.NormFloat64()
		}
		sums, orders := make([]float64, n), 0.0
		var set func(done uint, each []float64)
		set = func(done uint, each []float64) {
			if done == 1<<n-1 {
				orders++
				for i := range sums {
					sums[i] += each[i]
				}
				return
			}
			for i := range n {
				if done&(1<<i) == 0 {
					each[i] = values[done|1<<i] - values[done]
					set(done|1<<i, each)
				}
			}
		}
		set(0, make([]float64, n))
		for i, got := range shapley(n, values) {
			near(t, "share", got, sums[i]/orders, 1e-12)
		}
	}
}
