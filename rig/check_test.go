package rig_test

import (
	"math"
	"strings"
	"testing"

	"chainline/estimate"
	"chainline/internal/checksim"
	"chainline/recording"
	"chainline/rig"
)

func found(r rig.Report, s rig.Subject) (rig.Finding, bool) {
	for _, f := range r.Findings {
		if f.Subject == s {
			return f, true
		}
	}
	return rig.Finding{}, false
}

func TestHealthyChecksFindNothing(t *testing.T) {
	for _, s := range checksim.Setups {
		for i := range 2 {
			in, _ := checksim.Ride(checksim.Case{Setup: s}, estimate.Stream(41, i))
			r := rig.Check(in)
			for _, f := range r.Findings {
				t.Errorf("%s %d: %s of %s: %s", s, i, f.Subject, f.Source, f.What)
			}
			if len(r.Clear) < 4 || !r.Warm || len(r.Verdicts) == 0 {
				t.Errorf("%s %d: clear %v, warm %v, %d verdicts", s, i, r.Clear, r.Warm, len(r.Verdicts))
			}
		}
	}
}

// Every fault of one source, of the brake, the radio and the wheel at its
// largest: found, of about the right size, with all that a finding must say.
func TestLargeFaultsAreFound(t *testing.T) {
	for _, c := range []struct {
		setup   checksim.Setup
		subject rig.Subject
		size    float64
		within  float64 // of the size
	}{
		{checksim.Alone, rig.Smoothing, 10, 0.05}, {checksim.Curve, rig.LostSamples, 0.10, 0.35}, {checksim.Hub, rig.Stuck, 60, 0.05},
		{checksim.Alone, rig.Spikes, 10, 0.21}, {checksim.Crank, rig.ZeroOffset, 2, 0.1}, {checksim.Curve, rig.LockedHeart, 1, 0.03},
		{checksim.Alone, rig.BrakeLag, 8, 0.05}, {checksim.Alone, rig.ControlError, 0.10, 0.1}, {checksim.Alone, rig.IgnoredCommands, 0.5, 0.5},
		{checksim.Hub, rig.Interference, 0.2, 0.35}, {checksim.Alone, rig.Quantisation, 25, 1e-9}, {checksim.Curve, rig.Circumference, 0.06, 0.12},
		{checksim.Both, rig.Circumference, 0.06, 0.12}, {checksim.Both, rig.TyreSlip, 0.08, 0.1},
	} {
		in, truth := checksim.Ride(checksim.Case{Setup: c.setup, Subject: c.subject, Size: c.size}, estimate.Stream(43, 1))
		if ok, why := rig.CanShow(in, c.subject); !ok {
			t.Errorf("%s on %s cannot show: %s", c.subject, c.setup, why)
		}
		f, ok := found(rig.Check(in), c.subject)
		if !ok || !truth.Finds(f) {
			t.Errorf("%s on %s is not found", c.subject, c.setup)
			continue
		}
		if really := truth.Size(f); math.Abs(f.Size.Mean-really) > c.within*math.Abs(really) {
			t.Errorf("%s on %s: size %.4g, truth %.4g", c.subject, c.setup, f.Size.Mean, really)
		}
		if f.Low95 > f.Size.Mean+1e-9 || f.High95 < f.Size.Mean-1e-9 || f.What == "" || len(f.Do) == 0 || f.Sure < 0.9 || !strings.Contains(f.What, "W") && c.subject != rig.Interference && c.subject != rig.LostSamples {
			t.Errorf("%s on %s says too little: %+v", c.subject, c.setup, f)
		}
		if len(f.Plot.Points)+len(f.Plot.Lines) == 0 || len(f.Plot.Points) > 600 {
			t.Errorf("%s on %s: a plot of %d points and %d lines", c.subject, c.setup, len(f.Plot.Points), len(f.Plot.Lines))
		}
	}
}

func TestWhatARigCannotShow(t *testing.T) {
	in, _ := checksim.Ride(checksim.Case{Setup: checksim.Curve}, estimate.Stream(3, 3))
	for _, s := range []rig.Subject{rig.Gain, rig.Stuck, rig.BrakeLag, rig.TyreSlip, rig.AgainstHistory, rig.LinkLatency} {
		if ok, why := rig.CanShow(in, s); ok || why == "" {
			t.Errorf("a plain trainer with its curve shows %s: %v %q", s, ok, why)
		}
	}
	if ok, _ := rig.CanShow(rig.CheckInput{}, rig.LostSamples); ok {
		t.Error("nothing shows lost samples")
	}
}

// cut is the first seconds of a check.
func cut(in rig.CheckInput, to float64) rig.CheckInput {
	rec := *in.Recording
	rec.Channels = nil
	for _, c := range in.Recording.Channels {
		n := 0
		for n < len(c.Seconds) && c.Seconds[n] < to {
			n++
		}
		c.Seconds, c.Values = c.Seconds[:n], c.Values[:n]
		rec.Channels = append(rec.Channels, c)
	}
	in.Recording, in.Phases = &rec, nil
	return in
}

// Bad, short, cold or contradictory input is never judged.
func TestNoVerdictWithoutGrounds(t *testing.T) {
	in, _ := checksim.Ride(checksim.Case{Setup: checksim.Both, Subject: rig.Gain, Size: 0.04}, estimate.Stream(4, 4))
	damaged := in
	rec := *in.Recording
	rec.Channels = append([]recording.Channel{{Quantity: recording.Power, Source: "x", Seconds: []float64{2, 1}, Values: []float64{1, 1}}}, rec.Channels...)
	damaged.Recording = &rec
	unit := in
	kilo := *in.Recording
	kilo.Channels = append([]recording.Channel(nil), kilo.Channels...)
	c := kilo.Channels[0]
	c.Values = append([]float64(nil), c.Values...)
	for i := range c.Values {
		c.Values[i] *= 1000
	}
	kilo.Channels[0] = c
	unit.Recording = &kilo
	late := in
	late.Phases = []rig.Phase{{Kind: rig.Zero, From: 9000, To: 9100}}
	odd := in
	odd.Threshold = math.NaN()
	for name, in := range map[string]rig.CheckInput{"nothing": {}, "short": cut(in, 120), "damaged": damaged, "milliwatts": unit, "contradictory": late, "no threshold": odd} {
		r := rig.Check(in)
		if len(r.Findings) > 0 || len(r.Unsaid) < 20 {
			t.Errorf("%s: %d findings, %d unsaid", name, len(r.Findings), len(r.Unsaid))
		}
		for _, u := range r.Unsaid {
			if u.Because == "" {
				t.Errorf("%s: %s is unsaid without a reason", name, u.Subject)
			}
		}
		for _, v := range r.Verdicts {
			if v.Kind != rig.CannotSay || v.Because == "" {
				t.Errorf("%s: verdict %v %q", name, v.Kind, v.Because)
			}
		}
	}
	for _, v := range rig.Check(cut(in, 8*60)).Verdicts {
		if v.Kind != rig.CannotSay || !strings.Contains(v.Because, "warm") {
			t.Errorf("cold: verdict %v %q", v.Kind, v.Because)
		}
	}
}

func TestVerdicts(t *testing.T) {
	in, _ := checksim.Ride(checksim.Case{Setup: checksim.Alone}, estimate.Stream(5, 5))
	if v := rig.Check(in).Verdicts[0]; v.Kind != rig.CannotSay || !strings.Contains(v.Because, "climb") {
		t.Errorf("a trainer that nothing was compared with: %v, %s", v.Kind, v.Because)
	}
	in.Rig.Source.Accuracy = 0.01
	if v := rig.Check(in).Verdicts[0]; v.Kind != rig.UseAsIs || v.Within2 < 0.95 {
		t.Errorf("a trainer good to 1 %%: %v (%.3f), %s", v.Kind, v.Within2, v.Because)
	}
	for i := range 10 {
		in, truth := checksim.Ride(checksim.Case{Setup: checksim.Crank, Subject: rig.ZeroOffset, Size: 2}, estimate.Stream(6, i))
		r := rig.Check(in)
		f, ok := found(r, rig.ZeroOffset)
		if !ok || f.Against != "" {
			continue // the other sign, which its own zero does not show
		}
		for _, v := range r.Verdicts {
			if v.Source != truth.Source {
				continue
			}
			if v.Kind != rig.UseCorrected {
				t.Errorf("a zero off by 2 N m: %v, %s", v.Kind, v.Because)
			}
			if got := v.Correct.Apply(r.Threshold + f.Watts.Mean); math.Abs(got/r.Threshold-1) > 0.03 {
				t.Errorf("corrected: %.0f W of %.0f W", got, r.Threshold)
			}
		}
		return
	}
	t.Error("no check with a zero too high among ten")
}

// A check is the same each time.
func TestCheckIsDeterministic(t *testing.T) {
	in, _ := checksim.Ride(checksim.Case{Setup: checksim.Both, Subject: rig.TyreSlip, Size: 0.03}, estimate.Stream(7, 1))
	a, b := rig.Check(in), rig.Check(in)
	if len(a.Findings) != len(b.Findings) || len(a.Unsaid) != len(b.Unsaid) {
		t.Fatal("two checks of one input differ")
	}
	for i := range a.Findings {
		if a.Findings[i].What != b.Findings[i].What {
			t.Errorf("%q and %q", a.Findings[i].What, b.Findings[i].What)
		}
	}
}
