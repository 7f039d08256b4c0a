package service_test

import (
	"math"
	"strings"
	"testing"

	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/recording"
)

// plainRide is a warm ride on a plain trainer with a borrowed meter: watts are
// 12 v + 0.2 v³ of wheel speed.
func plainRide() *recording.Recording {
	r := &recording.Recording{Title: "Evening", StartUnix: 1.7e9, Sport: "indoor cycling", Whole: true}
	p := recording.Channel{Quantity: recording.Power, Source: "recorded"}
	v := recording.Channel{Quantity: recording.WheelSpeed, Source: "recorded"}
	c := recording.Channel{Quantity: recording.Cadence, Source: "recorded"}
	for i := range 2700 {
		s := float64(i)
		speed := 5 + float64(i/120%8)*0.7
		p.Seconds, p.Values = append(p.Seconds, s), append(p.Values, math.Round(12*speed+0.2*speed*speed*speed+float64(i*7%5-2)))
		v.Seconds, v.Values = append(v.Seconds, s), append(v.Values, speed+0.01*float64(i%3-1))
		c.Seconds, c.Values = append(c.Seconds, s), append(c.Values, 80+float64(i%3))
	}
	r.Channels = append(r.Channels, p, v, c)
	return r
}

// The fitted curve is written as a rig's file takes it, and read from there it
// gives the same watts.
func TestCurveYAML(t *testing.T) {
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{{Recording: plainRide()}}}
	q.Brief.Rider, q.Brief.Rig = "", "../../demo/newcomer-rig.yaml"
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	text, err := service.CurveYAML(sheet)
	if err != nil {
		t.Fatal(err)
	}
	file, err := input.ReadRig("r", strings.NewReader("trainer:\n  kind: plain\n"+text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	curve := file.Rig.Trainer.Curve
	for _, v := range []float64{6, 8, 9.5} {
		want := 12*v + 0.2*v*v*v
		if got := curve.Watts(v); math.Abs(got/want-1) > 0.03 {
			t.Errorf("at %g m/s %.1f W, want %.1f", v, got, want)
		}
	}
	if math.Abs(curve.SD-sheet.CurveSD) > 0.0006 || !strings.HasPrefix(text, "# Fitted by a rig check of 2023-11-14,") {
		t.Errorf("sd %g, want %g\n%s", curve.SD, sheet.CurveSD, text)
	}
	sheet.Bench = true
	if text, _ := service.CurveYAML(sheet); !strings.Contains(text, "simulated rig") {
		t.Errorf("a simulated rig's curve does not say so:\n%s", text)
	}
}

func TestCurveYAMLSaysWhyThereIsNone(t *testing.T) {
	c := service.CheckSheet{Unsaid: []service.CheckUnsaid{{Subjects: []string{"watts from a curve"}, Because: "no wheel speed was recorded"}}}
	if _, err := service.CurveYAML(c); err == nil || !strings.Contains(err.Error(), "fitted no power curve, because no wheel speed was recorded") {
		t.Error(err)
	}
	c.Curve = []service.CheckPoint{{WheelMS: 5, Watts: 80}, {WheelMS: 5.001, Watts: 80.01}}
	if _, err := service.CurveYAML(c); err == nil || !strings.Contains(err.Error(), "fewer than the two rising rows") {
		t.Error(err)
	}
}
