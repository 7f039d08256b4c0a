package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/internal/store"
)

// keptCurve puts a report with a fitted curve into the store.
func keptCurve(t *testing.T, db *store.Store, rig string, bench bool) string {
	t.Helper()
	sheet := service.CheckSheet{Schema: service.CheckSchema, Made: time.Now(), Begun: time.Now(), Minutes: 40, Warm: true, Bench: bench, CurveSD: 0.034,
		Curve: []service.CheckPoint{{WheelMS: 4, Watts: 61.04}, {WheelMS: 6, Watts: 104}, {WheelMS: 8.05, Watts: 163}}}
	b, err := json.Marshal(sheet)
	if err != nil {
		t.Fatal(err)
	}
	c, err := db.PutRigCheck(t.Context(), store.RigCheck{Title: "Check", RiderID: "r1", RigID: rig, Report: b})
	if err != nil {
		t.Fatal(err)
	}
	return c.ID
}

const oldCurve = "trainer:\n  kind: plain\n  power_curve:\n    - {wheel_speed_km_h: 10, watts: 40}\n    - {wheel_speed_km_h: 20, watts: 100}\n    - {wheel_speed_km_h: 30, watts: 200}\n    - {wheel_speed_km_h: 40, watts: 350}\nsensors: [speed]\n"

// A fitted curve is written into the rig on purpose and taken back to what
// stood there; what else the rig says stays, and a curve that was changed by
// hand since is left alone.
func TestFittedCurveInTheRig(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	o, err := db.Put(t.Context(), store.Object{Kind: store.Rig, Name: "Spare room", Text: oldCurve})
	if err != nil {
		t.Fatal(err)
	}
	at := "/check/" + keptCurve(t, db, o.ID, false)
	rig := func() input.RigFile {
		t.Helper()
		o, err := db.Object(t.Context(), o.ID)
		if err != nil {
			t.Fatal(err)
		}
		f, err := input.ReadRig("rig", strings.NewReader(o.Text))
		if err != nil {
			t.Fatalf("%v in\n%s", err, o.Text)
		}
		return f
	}
	press := func(what string, want int) {
		t.Helper()
		if status, _, body := v.sendRig(t, at+"/curve/"+what, nil); status != want {
			t.Fatalf("%s: %d, want %d: %.300s", what, status, want, body)
		}
	}
	before := rig()
	press("take-back", http.StatusConflict)
	_, _, body := v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "Use this curve in this rig")
	press("use", http.StatusSeeOther)
	f := rig()
	rows := f.Rig.Trainer.Curve.Points()
	if len(rows) != 3 || rows[0].Watts != 61 || rows[2].WheelSpeed != 28.98/3.6 || f.Rig.Trainer.Curve.SD != 0.034 || !f.Rig.SpeedSensor || f.Rig.HeartRate {
		t.Errorf("%v, sd %g, %+v", rows, f.Rig.Trainer.Curve.SD, f.Rig)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "The rig has this curve from now on.", "In this rig since", "Take it back")
	press("take-back", http.StatusSeeOther)
	if got := rig().Rig.Trainer.Curve; len(got.Points()) != 4 || got.Watts(20/3.6) != 100 || got.SD != before.Rig.Trainer.Curve.SD {
		t.Errorf("taken back, it is %v ± %g", got.Points(), got.SD)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "Taken back", "Use this curve in this rig")
	press("use", http.StatusSeeOther)
	byHand, _ := db.Object(t.Context(), o.ID)
	byHand.Text = strings.Replace(oldCurve, "watts: 350", "watts: 360", 1)
	if _, err := db.Put(t.Context(), byHand); err != nil {
		t.Fatal(err)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "curve was changed since by hand")
	press("take-back", http.StatusSeeOther)
	if got := rig().Rig.Trainer.Curve.Watts(40 / 3.6); got != 360 {
		t.Errorf("what was written by hand is gone: %g W", got)
	}
}

// The curve of a simulated rig, or one for a rig that has none, is not written.
func TestFittedCurveRefused(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	text := func() string { return onlyOne(t, db, store.Rig).Text }
	before := text()
	at := "/check/" + keptCurve(t, db, "g1", true)
	_, _, body := v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "The rig was simulated, so its curve is not one")
	if strings.Contains(body, "Use this curve") {
		t.Error("a simulated rig's curve is offered")
	}
	if status, _, _ := v.sendRig(t, at+"/curve/use", nil); status != http.StatusBadRequest {
		t.Errorf("simulated: %d", status)
	}
	at = "/check/" + keptCurve(t, db, "g1", false)
	if status, _, body := v.sendRig(t, at+"/curve/use", nil); status != http.StatusConflict || !strings.Contains(body, "Only a plain trainer or rollers") {
		t.Errorf("a controllable trainer: %d", status)
	}
	if text() != before {
		t.Error("the rig was changed")
	}
}

// A brief's doubt about a curve is that of its last check until the fitted
// curve stands in the rig: then it is the fitted one's own.
func TestBriefsAfterTheCurveIsUsed(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	o, err := db.Object(t.Context(), "g1")
	if err != nil {
		t.Fatal(err)
	}
	o.Text = oldCurve + "power_source: {kind: curve}\n"
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	id := keptCurve(t, db, "g1", false)
	c, err := db.RigCheck(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	c.Report = []byte(strings.Replace(string(c.Report), `"verdicts":null`, `"verdicts":[{"source":"wheel speed and curve","key":"curve","verdict":"do not use","error":{"mean":0,"low95":-0.4,"high95":0.4,"unit":"fraction"},"error_sd":0.2}]`, 1))
	if _, err := db.PutRigCheck(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	accuracy := func() float64 {
		t.Helper()
		at := v.made(t, "/briefs/new", asked)
		b, err := db.Brief(t.Context(), strings.TrimPrefix(at, "/briefs/"))
		if err != nil {
			t.Fatal(err)
		}
		var r struct {
			Rig struct {
				Accuracy float64 `json:"accuracy_fraction"`
			} `json:"rig"`
		}
		if err := json.Unmarshal(b.Result, &r); err != nil {
			t.Fatal(err)
		}
		return r.Rig.Accuracy
	}
	before := accuracy()
	if status, _, body := v.sendRig(t, "/check/"+id+"/curve/use", nil); status != http.StatusSeeOther {
		t.Fatalf("%d %.300s", status, body)
	}
	if after := accuracy(); before < 0.19 || before > 0.21 || after > 0.1 {
		t.Errorf("the doubt was %g, and with the fitted curve in use is %g", before, after)
	}
}
