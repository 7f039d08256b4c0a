package brief

import (
	"context"
	"errors"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/pacing"
	"chainline/physics"
	"chainline/rig"
)

// sample is a regular rider on the 10 km hill with a controllable trainer.
func sample() Request {
	return Request{
		Rider: capacity.Rider{Name: "sample", Mass: 70, Age: 36, Level: capacity.Regular, MaxHeartRate: 184, Screened: true,
			Evidence: []capacity.Evidence{{Kind: capacity.StatedThreshold, Watts: 231, From: "20-minute test", Source: "hub"}}},
		Rig: rig.Rig{Source: rig.PowerSource{Name: "hub", Kind: rig.SourceTrainer, Accuracy: 0.02}, HeartRate: true},
		Road: RoadKnown{Name: "open road", BikeSD: 0.2, DragAreaSD: 0.01, CrrSD: 0.0003,
			Road: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334, WheelInertia: 0.14,
				WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.2}},
		Way: Way{Name: "hill", Known: "survey", Laps: 1, Profile: course.Profile{Distance: []float64{0, 2000, 4000, 5000, 7000, 8000, 9000, 10000},
			Elevation: []float64{0, 0, 100, 100, 0, 0, 60, 0}}},
		ReserveJ: -1, Draws: 60, Seed: 1, Workers: 2,
	}
}

func made(t *testing.T, q Request) Brief {
	t.Helper()
	b, err := Make(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestCuesSayWhereTheyAre(t *testing.T) {
	b := made(t, sample())
	names := map[string]bool{}
	for i, c := range b.Plan.Cues {
		names[strings.Split(c.Name, ",")[0]] = true
		if c.Number != i+1 || c.Exertion < 6 || c.Exertion > 20 || c.Feel == "" {
			t.Errorf("cue %d: %+v", i+1, c)
		}
		if (c.HeartLow > 0) != (c.LastS >= capacity.HeartBandFrom && c.Watts > 0) {
			t.Errorf("cue %d lasts %.0f s and has a heart band from %.0f", i+1, c.LastS, c.HeartLow)
		}
		if c.Watts > b.Rider.MaxPower.Mean {
			t.Errorf("cue %d asks for %.0f W", i+1, c.Watts)
		}
	}
	for _, want := range []string{"Settle in", "Climb 1", "Climb 2", "Home"} {
		if !names[want] {
			t.Errorf("no cue is called %q: %v", want, names)
		}
	}
	before := TracePoint{M: -1}
	for _, p := range b.Plan.Trace {
		if p.M <= before.M || p.Seconds < before.Seconds {
			t.Fatalf("the trace goes back: %+v after %+v", p, before)
		}
		before = p
	}
	if last := b.Plan.Trace[len(b.Plan.Trace)-1]; last.M != 10000 || last.Seconds < b.Plan.Time-1e-6 {
		t.Errorf("the trace ends at %.0f m, %.2f s", last.M, last.Seconds)
	}
}

func TestCautions(t *testing.T) {
	has := func(b Brief, words string) bool {
		return strings.Contains(strings.Join(b.Cautions, " "), words)
	}
	plain := made(t, sample())
	if !has(plain, "chest pain") || !has(plain, "no medical device") || has(plain, "Ask a doctor") || has(plain, "Under 18") {
		t.Errorf("cautions of a screened adult: %q", plain.Cautions)
	}
	q := sample()
	q.Rider.Screened, q.Rider.Age = false, 16
	young := made(t, q)
	if !has(young, "Ask a doctor") || !has(young, "Under 18") {
		t.Errorf("cautions of an unscreened youngster: %q", young.Cautions)
	}
	q = sample()
	q.Rig.HeartRate = false
	if b := made(t, q); b.Rider.HeartRateMax != 0 || has(b, "heart rate") {
		t.Error("heart rate is spoken of without a strap")
	}
}

func TestCategories(t *testing.T) {
	q := sample()
	q.Occasion = Occasion{Kind: MassStart, Categories: []Category{{Name: "easy", Max: 2.5, Over: 1200}, {Name: "middle", Min: 2.5, Max: 4.5, Over: 1200}}}
	b := made(t, q)
	all := strings.Join(b.Warnings, "\n")
	if !b.Forecast.Alone || !strings.Contains(all, "alone") || !strings.Contains(all, "'middle'") || strings.Contains(all, "'easy'") {
		t.Errorf("warnings: %q", b.Warnings)
	}
	q.Rider.Age = 15
	if all := strings.Join(made(t, q).Warnings, "\n"); strings.Contains(all, "class") {
		t.Error("no classes by power over mass for the young")
	}
}

func TestAnotherSourceWidens(t *testing.T) {
	q := sample()
	q.Draws = 600
	same := made(t, q)
	q.Rider.Evidence[0].Source = "an old meter"
	other := made(t, q)
	if !strings.Contains(strings.Join(other.Warnings, " "), "does not come from the power source") || other.Plan.ForCP >= same.Plan.ForCP {
		t.Errorf("planned for %.1f W with the same source (chance %.3f), %.1f W (%.3f) with another", same.Plan.ForCP, same.Forecast.ChanceEmpty, other.Plan.ForCP, other.Forecast.ChanceEmpty)
	}
}

func TestGradientNames(t *testing.T) {
	inf := func(sign int) float64 {
		var zero float64
		return float64(sign) / zero
	}
	for _, c := range []struct {
		from, to float64
		want     string
	}{{inf(-1), inf(1), "everywhere"}, {inf(-1), 0.015, "down or level"}, {inf(-1), -0.02, "downhill"}, {-0.02, 0.015, "level"},
		{0.015, 0.04, "gently up"}, {0.015, inf(1), "uphill"}, {0.04, 0.07, "uphill"}, {0.07, inf(1), "steep"}} {
		if got := gradientName(c.from, c.to); got != c.want {
			t.Errorf("%g to %g is %q, want %q", c.from, c.to, got, c.want)
		}
	}
}

func TestPartsOfAClimb(t *testing.T) {
	climbs := []course.Climb{{Start: 1000, Length: 1500}, {Start: 4000, Length: 500}}
	p := course.Profile{Distance: []float64{0, 1000, 2500, 4000, 4500, 6000}, Elevation: []float64{0, 0, 90, 0, 30, 30}}
	cues := []Cue{
		{FromM: 0, ToM: 1000, Share: 0.9, LastS: 100}, {FromM: 1000, ToM: 1500, Share: 1.1}, {FromM: 1500, ToM: 2000, Share: 1.1}, {FromM: 2000, ToM: 2500, Share: 1.1},
		{FromM: 2500, ToM: 2800, Share: 0.9, Watts: 200}, {FromM: 2800, ToM: 4000, Share: 0.2, Watts: 50}, {FromM: 4000, ToM: 4500, Share: 1.1}, {FromM: 4500, ToM: 6000, Share: 0.9, Watts: 200},
	}
	nameCues(cues, climbs, p)
	for i, want := range []string{"Settle in", "Climb 1, foot", "Climb 1, middle", "Climb 1, top", "Down, keep on it", "Down, easy, drink", "Climb 2", "Home, hold on"} {
		if cues[i].Name != want {
			t.Errorf("cue %d is %q, want %q", i+1, cues[i].Name, want)
		}
	}
	one := []Cue{{FromM: 0, ToM: 1000, Watts: 200, Share: 0.9, LastS: 100}}
	if nameCues(one, nil, p); one[0].Name != "Settle in" {
		t.Errorf("a single cue is %q", one[0].Name)
	}
}

// A stated capacity is exact: nothing is planned by chance, nobody is put in a class.
func TestStatedCapacityIsTakenAsItStands(t *testing.T) {
	q := sample()
	q.Stated = &Stated{CriticalPower: 240, WPrime: 18000, PowerLimit: 600}
	q.Occasion = Occasion{Kind: TimeTrial, Categories: []Category{{Name: "middle", Min: 0, Max: 9, Over: 1200}}}
	b := made(t, q)
	if b.Plan.Style != "stated" || b.Plan.ChanceLimit != 0 || b.Plan.Reserve != 0 || b.Plan.ForCP != 240 || b.Plan.ForWPrime != 18000 || b.Rider.CriticalPower.SD != 0 {
		t.Errorf("%+v", b.Plan)
	}
	if b.Forecast.Alone || strings.Contains(strings.Join(b.Warnings, " "), "class") {
		t.Error("a time trial is ridden alone as it is, and stated watts are no class")
	}
	for _, c := range b.Plan.Cues {
		if c.Watts > 600 {
			t.Errorf("%.0f W beyond the limit", c.Watts)
		}
	}
}

// Trouble comes as sentences, never as numbers that look usable.
func TestWhatCannotBeIsSaid(t *testing.T) {
	q := sample()
	q.Stated = &Stated{CriticalPower: 240, WPrime: 5000, PowerLimit: 600}
	q.Given = []pacing.Piece{{From: 0, To: 10000, Watts: 300}}
	if b := made(t, q); b.Plan.Style != "given" || b.Plan.BalanceMin >= 0 || !strings.Contains(strings.Join(b.Warnings, " "), "Nobody can ride it") {
		t.Errorf("style %s, balance %.0f J, warnings %q", b.Plan.Style, b.Plan.BalanceMin, b.Warnings)
	}
	q.Given[0].Watts = 0
	if _, err := Make(context.Background(), q); !errors.Is(err, pacing.ErrStall) {
		t.Errorf("a plan of nothing: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Make(ctx, sample()); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
