package checksim

import (
	"math"
	"reflect"
	"testing"

	"chainline/estimate"
	"chainline/recording"
	"chainline/rig"
)

func mean(c recording.Channel, from, to float64) float64 {
	sum, n := 0.0, 0.0
	for i, s := range c.Seconds {
		if s >= from && s < to {
			sum, n = sum+c.Values[i], n+1
		}
	}
	return sum / n
}

func channel(t *testing.T, in rig.CheckInput, q recording.Quantity, source string) recording.Channel {
	t.Helper()
	c, ok := in.Recording.Signal(q, source)
	if !ok {
		t.Fatalf("no %s of %q", q, source)
	}
	return c
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.5g, want %.5g ± %g", what, got, want, tolerance)
	}
}

// twins are a healthy check and the same one with a fault, of the first
// stream in which the fault is as wanted.
func twins(t *testing.T, c Case, ok func(Truth) bool) (healthy, wrong rig.CheckInput, truth Truth) {
	t.Helper()
	for i := range 50 {
		if wrong, truth = Ride(c, estimate.Stream(7, i)); ok(truth) {
			healthy, _ = Ride(Case{Setup: c.Setup}, estimate.Stream(7, i))
			return healthy, wrong, truth
		}
	}
	t.Fatal("no such fault in fifty streams")
	return healthy, wrong, truth
}

func TestEveryCellIsAValidRecording(t *testing.T) {
	for i, c := range Cells() {
		if c.Step != 2 {
			continue
		}
		in, truth := Ride(c.Case, estimate.Stream(3, i))
		if err := in.Recording.Validate(); err != nil {
			t.Errorf("%s on %s: %v", c.Subject, c.Setup, err)
		}
		if end := in.Recording.End(); end < 29*60 || end > 34*60 {
			t.Errorf("%s on %s lasts %.0f s", c.Subject, c.Setup, end)
		}
		if truth.Healthy() || truth.Finds(rig.Finding{Subject: "no such"}) || !truth.Finds(rig.Finding{Subject: c.Subject, Source: truth.Source}) {
			t.Errorf("%s on %s: truth %+v does not know its fault", c.Subject, c.Setup, truth)
		}
	}
}

func TestSameStreamSameCheck(t *testing.T) {
	for _, s := range Setups {
		a, _ := Ride(Case{Setup: s}, estimate.Stream(1, 5))
		b, _ := Ride(Case{Setup: s}, estimate.Stream(1, 5))
		if !reflect.DeepEqual(a.Recording, b.Recording) {
			t.Errorf("%s: two recordings of one stream differ", s)
		}
	}
}

// The healthy sources of one check differ by the drivetrain and by what
// healthy sources may; and watts asked are watts held.
func TestHealthySourcesAgree(t *testing.T) {
	for i := range 10 {
		in, _ := Ride(Case{Setup: Crank}, estimate.Stream(2, i))
		a, b := channel(t, in, recording.Power, "meter"), channel(t, in, recording.Power, "pedals")
		near(t, "meter over pedals", mean(a, 780, 1400)/mean(b, 780, 1400), 1, 0.012)
		in, _ = Ride(Case{Setup: Both}, estimate.Stream(2, i))
		a, b = channel(t, in, recording.Power, "trainer"), channel(t, in, recording.Power, "meter")
		near(t, "trainer over meter", mean(a, 780, 1400)/mean(b, 780, 1400), 1-lossMean, 0.045)
		asked := channel(t, in, recording.Target, "ride")
		near(t, "held over asked", mean(a, 60, 700)/mean(asked, 60, 700), 1, 0.02)
	}
}

// Work is neither made nor lost but in the drivetrain: before it and behind it
// differ by its efficiency.
func TestDrivetrainTakesItsShare(t *testing.T) {
	random := estimate.Stream(5, 1)
	r, m := drawRider(random), drawMachine(Hub, random)
	trace := ride(r, m, protocol(r, random), nil, random)
	before, behind := 0.0, 0.0
	for i := range trace.crank {
		before, behind = before+trace.crank[i], behind+trace.wheel[i]
	}
	near(t, "efficiency", behind/before, m.efficiency, 1e-9)
}

// Every fault of size does what its size says, against its healthy twin.
func TestFaultsAreAsLargeAsTheySay(t *testing.T) {
	onMeter := func(x Truth) bool { return x.Source == "meter" }
	power := func(in rig.CheckInput) recording.Channel { return channel(t, in, recording.Power, "meter") }
	h, w, x := twins(t, Case{Crank, rig.Gain, 0.04}, onMeter)
	near(t, "gain", mean(power(w), 780, 1400)/mean(power(h), 780, 1400)-1, x.size, 0.002)
	h, w, x = twins(t, Case{Crank, rig.Offset, 12}, onMeter)
	near(t, "offset", mean(power(w), 780, 1400)-mean(power(h), 780, 1400), x.size, 0.3)
	h, w, x = twins(t, Case{Crank, rig.WarmUpDrift, 0.06}, onMeter)
	near(t, "drift, cold", mean(power(w), 10, 60)/mean(power(h), 10, 60)-1, -x.size, 0.015)
	near(t, "drift, warm", mean(power(w), 1200, 1400)/mean(power(h), 1200, 1400)-1, 0, 0.003)
	h, w, x = twins(t, Case{Crank, rig.CadenceBias, 0.06}, onMeter)
	low, high := phaseOf(w, 60), phaseOf(w, 100)
	bias := mean(power(w), high.From+10, high.To)/mean(power(h), high.From+10, high.To) - mean(power(w), low.From+10, low.To)/mean(power(h), low.From+10, low.To)
	near(t, "cadence bias", bias, x.size, 0.012) // the gear at hand is not always that of the cadence asked
	h, w, x = twins(t, Case{Crank, rig.ZeroOffset, 2}, func(x Truth) bool { return onMeter(x) && x.size > 0 })
	near(t, "cranks turned backwards", mean(power(w), 760, 779)-mean(power(h), 760, 779), x.size*60*math.Pi/30, 1.5)
	h, w, x = twins(t, Case{Crank, rig.Delay, 3}, onMeter)
	near(t, "delay", power(w).Seconds[100]-power(h).Seconds[100], x.size, 1e-9)
	_, w, x = twins(t, Case{Both, rig.ControlError, 0.1}, func(Truth) bool { return true })
	near(t, "control error", mean(channel(t, w, recording.Power, "trainer"), 60, 700)/mean(channel(t, w, recording.Target, "ride"), 60, 700)-1, x.size, 0.02)
	h, w, x = twins(t, Case{Both, rig.Circumference, 0.06}, func(Truth) bool { return true })
	speed := func(in rig.CheckInput) float64 {
		return mean(channel(t, in, recording.WheelSpeed, "speed"), 60, 700) / mean(channel(t, in, recording.MachineSpeed, "trainer"), 60, 700)
	}
	near(t, "circumference", speed(w)/speed(h)-1, x.size, 0.006)
	h, w, x = twins(t, Case{Both, rig.TyreSlip, 0.08}, func(Truth) bool { return true })
	share := mean(channel(t, w, recording.Power, "trainer"), 60, 700) / w.Threshold
	near(t, "slip at threshold", (1-speed(h)/speed(w))/share, x.size, 0.012)
}

func phaseOf(in rig.CheckInput, cadence float64) rig.Phase {
	for _, p := range in.Phases {
		if p.Kind == rig.Cadences && p.Cadence == cadence {
			return p
		}
	}
	return rig.Phase{}
}

// Faults that are counted.
func TestFaultsThatAreCounted(t *testing.T) {
	any := func(Truth) bool { return true }
	readings := func(in rig.CheckInput, source string) float64 {
		return float64(len(channel(t, in, recording.Power, source).Values))
	}
	h, w, x := twins(t, Case{Alone, rig.LostSamples, 0.10}, any)
	near(t, "lost", 1-readings(w, "trainer")/readings(h, "trainer"), x.size, 0.03)
	h, w, x = twins(t, Case{Crank, rig.Interference, 0.20}, any)
	near(t, "lost by the meter", 1-readings(w, "meter")/readings(h, "meter"), x.size, 0.06)
	near(t, "lost by the pedals", 1-readings(w, "pedals")/readings(h, "pedals"), x.size, 0.06)
	h, w, x = twins(t, Case{Alone, rig.Spikes, 10}, any)
	differ := 0.0
	a, b := channel(t, h, recording.Power, "trainer"), channel(t, w, recording.Power, "trainer")
	for i := range a.Values {
		if b.Values[i]-a.Values[i] >= 100 {
			differ++
		}
	}
	near(t, "spikes", differ, x.size, 0)
	_, w, _ = twins(t, Case{Alone, rig.Quantisation, 25}, any)
	for _, v := range channel(t, w, recording.Power, "trainer").Values {
		near(t, "steps of 25 W", math.Mod(v, 25), 0, 0)
	}
	_, w, x = twins(t, Case{Alone, rig.Stuck, 60}, any)
	near(t, "stuck", longest(channel(t, w, recording.Power, "trainer")), x.size, 3)
	_, w, x = twins(t, Case{Curve, rig.LockedHeart, 1}, any)
	near(t, "locked", mean(channel(t, w, recording.HeartRate, "belt"), 100, 700), mean(channel(t, w, recording.Cadence, "cadence"), 100, 700), 0.3)
	near(t, "share locked", x.size, 1, 0)
}

// longest is the longest stretch of one value while riding, s.
func longest(c recording.Channel) float64 {
	best, from := 0.0, 0
	for i := range c.Values {
		if c.Values[i] != c.Values[from] {
			from = i
		}
		if c.Values[i] > 0 {
			best = max(best, c.Seconds[i]-c.Seconds[from])
		}
	}
	return best
}

// A slow brake and ignored commands show in what the trainer holds.
func TestBrakeFaults(t *testing.T) {
	any := func(Truth) bool { return true }
	h, w, _ := twins(t, Case{Alone, rig.BrakeLag, 8}, any)
	in := h.Phases
	var step rig.Phase
	for i, p := range in {
		if p.Kind == rig.Steps && i > 0 && p.Watts > in[i-1].Watts && in[i-1].Kind == rig.Steps {
			step = p
			break
		}
	}
	at := func(in rig.CheckInput) float64 {
		return mean(channel(t, in, recording.Power, "trainer"), step.From+4, step.From+6)
	}
	if !(at(w) < at(h)-5) {
		t.Errorf("five seconds after a command a slow brake holds %.0f W, a healthy one %.0f W", at(w), at(h))
	}
	_, w, _ = twins(t, Case{Alone, rig.IgnoredCommands, 0.5}, any)
	wrong, all := 0, 0
	for _, p := range w.Phases {
		if p.Kind == rig.Steps || p.Kind == rig.Easy {
			all++
			if held := mean(channel(t, w, recording.Power, "trainer"), p.From+10, p.To); math.Abs(held-p.Watts) > 0.06*w.Threshold {
				wrong++
			}
		}
	}
	if wrong < all/5 || wrong > 4*all/5 {
		t.Errorf("%d of %d steps not held with half of the commands ignored", wrong, all)
	}
}

func BenchmarkRide(b *testing.B) {
	for i := range b.N {
		Ride(Case{Setup: Setups[i%len(Setups)]}, estimate.Stream(1, i))
	}
}
