package service_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"chainline/internal/service"
	"chainline/rig"
)

// The rider on the bench turns the cranks backwards at the zero step, so that
// the zero of a meter is looked at: right on a sound bench, found where it is
// off, with its size.
func TestZeroOffsetOnTheBench(t *testing.T) {
	for _, fault := range []string{"", "zero-offset=2"} {
		var faults []string
		if fault != "" {
			faults = []string{fault}
		}
		read, devices := ridden(t, "bench", faults...)
		sheet, err := service.CheckRig(t.Context(), service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{service.CheckOfRide(read)}, Devices: devices, Bench: true, From: []string{"a ride"}})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(sheet.Findings, func(f service.CheckFinding) bool { return f.Subject == string(rig.ZeroOffset) })
		right := slices.Contains(sheet.Clear, string(rig.ZeroOffset))
		switch {
		case fault == "" && (i >= 0 || !right):
			t.Errorf("a sound bench: zero right %v, finding %d; unsaid %+v", right, i, sheet.Unsaid)
		case fault != "" && i < 0:
			t.Errorf("a zero off by 2 N m is not found: %+v", sheet.Findings)
		case fault != "":
			if f := sheet.Findings[i]; !strings.Contains(f.Source, "meter") || f.Size.Low > 2 || f.Size.High < 2 {
				t.Errorf("%s: %+v", f.Source, f.Size)
			}
		}
	}
}

// A plain trainer's own coast-downs make its curve where its flywheel is known:
// that of the bench within the doubt it states, and that is no worse than a
// maker's table and a bit.
func TestCurveFromCoastsOnTheBench(t *testing.T) {
	read, devices := ridden(t, "plain bench")
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{service.CheckOfRide(read)}, Devices: devices, Bench: true, From: []string{"a ride"}}
	q.Brief.Rig = "../../demo/newcomer-rig.yaml"
	trainer := service.PlainBench()
	q.FlywheelKg = trainer.Inertia
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	if len(sheet.Curve) < 3 {
		t.Fatalf("no curve: %+v", sheet.Unsaid)
	}
	for _, p := range sheet.Curve {
		if want := trainer.A*p.WheelMS + trainer.B*math.Pow(p.WheelMS, 3); math.Abs(p.Watts/want-1) > 2*sheet.CurveSD {
			t.Errorf("at %.1f m/s %.1f W, the bench takes %.1f W", p.WheelMS, p.Watts, want)
		}
	}
	t.Logf("sd %.3f, %.1f to %.1f m/s", sheet.CurveSD, sheet.Curve[0].WheelMS, sheet.Curve[len(sheet.Curve)-1].WheelMS)
	if sheet.CurveSD > 0.13 {
		t.Errorf("the curve is doubtful by %.0f %%", 100*sheet.CurveSD)
	}
	if len(sheet.Coasts) != 4 || sheet.Minutes > 40 {
		t.Errorf("%d coast-downs in %.0f min: %+v", len(sheet.Coasts), sheet.Minutes, sheet.Coasts)
	}
}

// Two recordings of one ride: the report says how their clocks go.
func TestClocksOfTwoRecordings(t *testing.T) {
	read, devices := ridden(t, "bench")
	other := read.Recording
	other.Channels = slices.Clone(other.Channels)
	for i, c := range other.Channels {
		c.Seconds = slices.Clone(c.Seconds)
		for k := range c.Seconds {
			c.Seconds[k] = c.Seconds[k]*1.0005 + 40
		}
		other.Channels[i] = c
	}
	other.Marks = nil
	q := service.CheckRequest{Brief: checkFiles(), Devices: devices, Bench: true, From: []string{"one", "two"},
		Looks: []service.CheckLook{service.CheckOfRide(read), {Recording: &other, Name: "two"}}}
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	says := sheet.From[len(sheet.From)-1]
	if len(sheet.From) != 3 || !strings.Contains(says, "clock stands 40.") && !strings.Contains(says, "clock stands 39.") || !strings.Contains(says, "parts in a million") {
		t.Errorf("%q", sheet.From)
	}
	t.Log(says)
}
