package service_test

import (
	"context"
	"encoding/json"
	"log/slog"
	"math"
	"net"
	"strings"
	"testing"
	"time"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/recording"
	"chainline/rig"
	"chainline/session"
)

var checkDay = time.Date(2026, 12, 3, 19, 0, 0, 0, time.UTC)

func checkFiles() service.BriefRequest {
	return service.BriefRequest{Rider: "../../demo/racer.yaml", Rig: "../../demo/racer-rig.yaml", Today: checkDay, Seed: 1, Draws: 1, Workers: 2}
}

// ridden is a guided check on a bench rig, ridden as fast as it can be.
func ridden(t *testing.T, kind string, faults ...string) (ride.Read, []service.CheckDevice) {
	t.Helper()
	q := service.RideRequest{Brief: checkFiles(), Begun: checkDay, Bench: true}
	if kind == "plain bench" {
		q.Brief.Rig = "../../demo/newcomer-rig.yaml"
	}
	text, err := service.CheckSession(q, false)
	if err != nil {
		t.Fatal(err)
	}
	q.Session = text
	riding, err := service.Ride(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	change, _, err := service.ChosenFaults(faults, kind == "plain bench")
	if err != nil {
		t.Fatal(err)
	}
	m := live.New(live.Config{Folder: t.TempDir(), Now: func() time.Time { return checkDay }, Log: slog.New(slog.DiscardHandler)})
	defer m.Close()
	var devices []service.CheckDevice
	sum, err := m.Fast(t.Context(), riding, live.Choice{Kind: kind, Seed: 7, Tweak: change}, func(c *ride.Core) {
		devices = devices[:0]
		for _, d := range c.Seen() {
			devices = append(devices, service.CheckDevice{ID: d.ID, Name: d.Name, Firmware: d.Firmware})
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	path, err := m.File(sum.ID, "journal")
	if err != nil {
		t.Fatal(err)
	}
	read, err := ride.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return read, devices
}

// A guided check on the bench has all its parts where they were ridden, its
// sources called by name, and a sheet that is JSON to the end.
func TestCheckOfABenchRide(t *testing.T) {
	read, devices := ridden(t, "bench")
	look := service.CheckOfRide(read)
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{look}, Devices: devices, Bench: true, From: []string{"a ride"}}
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	if !sheet.Guided || sheet.Rider == "" || sheet.ThresholdW < 100 || sheet.Minutes < 25 || sheet.ThresholdGuessed || len(sheet.Devices) < 3 {
		t.Errorf("%+v", sheet)
	}
	if _, err := json.Marshal(sheet); err != nil {
		t.Error(err)
	}
	in := service.CheckInputOf(t, q)
	count, last := map[rig.PhaseKind]int{}, 0.0
	for _, p := range in.Phases {
		count[p.Kind]++
		if p.From < last-1e-9 || p.To <= p.From {
			t.Errorf("%s from %.0f to %.0f after %.0f", p.Kind, p.From, p.To, last)
		}
		last = p.To
		if p.Kind == rig.Cadences && math.Abs(p.Cadence-60) > 41 || p.Kind == rig.Steps && (p.Watts < 80 || p.Watts > 300) {
			t.Errorf("%+v", p)
		}
	}
	if count[rig.Steps] < 16 || count[rig.Cadences] < 4 || count[rig.Easy] < 16 || count[rig.Zero] != 2 || count[rig.Coast] != 1 || count[rig.QuietRest] != 1 {
		t.Errorf("%v", count)
	}
	names := in.Recording.Sources(recording.Power)
	if len(names) != 2 || !strings.HasPrefix(names[0], "Bench ") || in.Side["Bench trainer"] != rig.SourceTrainer || in.Side["Bench crank meter"] != rig.SourceCrank {
		t.Errorf("sources %q, sides %v", names, in.Side)
	}
	if len(sheet.Coasts) != 1 || sheet.Coasts[0].Seconds < 1 {
		t.Errorf("coast-downs %+v", sheet.Coasts)
	}
	again := q // the recording alone, as a file, has the same parts
	alone := read.Recording
	again.Looks = []service.CheckLook{{Recording: &alone}}
	if got := service.CheckInputOf(t, again); len(got.Phases) != len(in.Phases) {
		t.Errorf("the recording alone has %d parts, want %d", len(got.Phases), len(in.Phases))
	}
}

// A plain trainer's check is led by wheel speed, and nothing in it needs watts.
func TestCheckSessionOfAPlainTrainer(t *testing.T) {
	q := service.RideRequest{Brief: checkFiles()}
	q.Brief.Rig = "../../demo/newcomer-rig.yaml"
	text, err := service.CheckSession(q, false)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text, "Hold the wheel near") || strings.Contains(text, "% of threshold") {
		t.Error(text)
	}
	if _, err := session.Parse(text); err != nil {
		t.Error(err)
	}
	q.Brief.Rider = "../../demo/regular.yaml" // not screened
	if _, err := service.CheckSession(q, true); err == nil || !strings.Contains(err.Error(), "all out") {
		t.Errorf("a sprint for who did not answer the health questions: %v", err)
	}
}

// A plain trainer's check has wheel speed, by this rig's wheel, and watts by a
// curve.
func TestCheckOfAPlainTrainer(t *testing.T) {
	read, devices := ridden(t, "plain bench")
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{service.CheckOfRide(read)}, Devices: devices, Bench: true}
	q.Brief.Rig = "../../demo/newcomer-rig.yaml"
	in := service.CheckInputOf(t, q)
	if c, ok := in.Recording.Signal(recording.WheelSpeed, ""); !ok || len(c.Values) < 1000 || c.Source != "Bench speed and cadence" {
		t.Errorf("no wheel speed: %v, %d readings of %q", ok, len(c.Values), c.Source)
	}
	if in.Side["wheel speed and curve"] != rig.SourceCurve || in.Circumference != 2.13 {
		t.Errorf("sides %v, wheel %g m", in.Side, in.Circumference)
	}
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil || !sheet.Guided || len(sheet.Coasts) != 4 || sheet.Rig != "newcomer-rig" {
		t.Errorf("%v: %+v", err, sheet.Coasts)
	}
}

func TestChosenFaults(t *testing.T) {
	for text, says := range map[string]string{"": "there is no fault", "rust": "expected one of", "gain=lots": "such as gain=4", "delay=-1": "such as", "spikes=0": "such as", "circumference=3": "cannot have"} {
		if _, _, err := service.ChosenFaults([]string{text}, false); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, words, err := service.ChosenFaults([]string{"circumference", "gain"}, true); err == nil {
		t.Errorf("a plain trainer with a power meter's fault: %v", words)
	}
	for _, f := range service.BenchFaults {
		_, one, err := service.ChosenFaults([]string{f.Name}, f.Name == "circumference")
		if err != nil || len(one) != 1 || f.Says == "" {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	for says, q := range map[string]service.CheckRequest{
		"found 0": {Brief: checkFiles()},
		"tape":    {Brief: checkFiles(), Looks: []service.CheckLook{{Recording: &recording.Recording{}}}, TrueCircumference: 9},
	} {
		if _, err := service.CheckRig(t.Context(), q); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", says, err)
		}
	}
	// Nothing recorded is no error: it cannot be said.
	sheet, err := service.CheckRig(t.Context(), service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{{Recording: &recording.Recording{}}}})
	if err != nil || len(sheet.Unsaid) == 0 || len(sheet.Findings) > 0 {
		t.Errorf("%v: %+v", err, sheet)
	}
}

// Round trips are timed to the host that was named, and to nothing else.
func TestMeasureLink(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			c.Close()
		}
	}()
	rounds, err := service.MeasureLink(t.Context(), l.Addr().String())
	l.Close()
	if err != nil || len(rounds) != 20 {
		t.Fatalf("%v: %v", err, rounds)
	}
	for _, r := range rounds {
		if r.Took < 0 || r.Took > 1 {
			t.Errorf("%+v", r)
		}
	}
	for _, at := range []string{"", "nothing", ":80", "host:"} {
		if _, err := service.MeasureLink(t.Context(), at); err == nil {
			t.Errorf("%q was taken", at)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := service.MeasureLink(ctx, "127.0.0.1:9"); err == nil {
		t.Error("went on after it was stopped")
	}
}

func TestReadRecordingRefuses(t *testing.T) {
	for _, data := range []string{"", "seconds,power_w\n", "\x1f\x8bnothing", "0123456\x00.FIT and then nothing"} {
		_, _, err := service.ReadRecording("x/ride.bin", []byte(data))
		if msg, _ := problem.ForPerson(err); err == nil || !strings.Contains(msg, "ride.bin") {
			t.Errorf("%q: %v", data, err)
		}
	}
}
