package cli

import (
	"bytes"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/recording"
)

var updateCheck = flag.Bool("update-check", false, "write the golden report of a rig check anew")

// checked runs 'chainline check'.
func checked(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = Run(t.Context(), append([]string{"check"}, args...), Streams{Out: &o, Err: &e, Workers: 2, Now: func() time.Time { return time.Date(2026, 12, 3, 19, 0, 0, 0, time.UTC) }})
	return code, o.String(), e.String()
}

var racer = []string{"--rider", "../../demo/racer.yaml", "--rig", "../../demo/racer-rig.yaml"}

// A meter that reads 4 % too high is found on the simulated rig, as text and
// as JSON; the recording that was kept says the same.
func TestCheckOnTheBench(t *testing.T) {
	keep := filepath.Join(t.TempDir(), "check.recording")
	code, out, errs := checked(t, append(racer, "--fault", "gain=4", "--keep", keep)...)
	if code != 0 || errs != "" || !strings.HasPrefix(out, "RIG CHECK\n") || !strings.Contains(out, "the power meter reads too high, 4 %; seed 1") || !strings.Contains(out, "CANNOT SAY") {
		t.Fatalf("%d: %s%s", code, out, errs)
	}
	for line := range strings.Lines(out) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > checkWide {
			t.Errorf("a line of %d characters: %s", n, line)
		}
	}
	code, out, errs = checked(t, append(racer, "--json", keep)...)
	var sheet service.CheckSheet
	if err := json.Unmarshal([]byte(out), &sheet); code != 0 || err != nil || strings.Count(out, "\n") != 1 {
		t.Fatalf("%d %v: %s%s", code, err, out, errs)
	}
	if sheet.Schema != service.CheckSchema || !sheet.Guided || sheet.Minutes < 25 || len(sheet.Verdicts) != 2 || sheet.From[0] != "check.recording" {
		t.Errorf("%+v", sheet)
	}
	if code, out, errs := checked(t, keep, keep); code != 0 || strings.Count(out, "from check.recording") != 2 {
		t.Errorf("without rider and rig: %d %s%s", code, out, errs)
	}
}

// What is told of a source goes into the check; what is told of one that is not
// there is an error, and so is a climb's file that is wrong, with its place.
func TestCheckTold(t *testing.T) {
	dir := t.TempDir()
	keep := filepath.Join(dir, "check.recording")
	if code, _, errs := checked(t, append(racer, "--keep", keep)...); code != 0 {
		t.Fatal(errs)
	}
	climb := filepath.Join(dir, "climb.yaml")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(climb, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	const good = "source: meter\nmass_kg: 80\nmass_doubt_kg: 0.4\nascent_m: 400\nlength_km: 4\ntime_s: 1500\nwatts: 270\ntemperature_c: 15\nheight_m: 500\nwind: calm\n"
	write(good)
	code, out, errs := checked(t, append(racer, keep, "--climb", climb, "--one-leg", "meter", "--flywheel", "12", "--flywheel-doubt", "1", "--json")...)
	if code != 0 || !strings.Contains(out, "Uphill outdoors, ") || !strings.Contains(out, "a climb by mass, ascent and time") {
		t.Fatalf("%d %s%.3000s", code, errs, out)
	}
	write(strings.Replace(good, "mass_kg: 80", "mass_kg: eighty", 1))
	code, out, errs = checked(t, append(racer, keep, "--climb", climb)...)
	if code != 2 || out != "" || !strings.Contains(errs, "climb.yaml:2:10: mass_kg: ") {
		t.Errorf("%d %s%s", code, out, errs)
	}
	for says, args := range map[string][]string{
		"no such source of watts here; there are: ": {"--one-leg", "pedals"},
		"expected 0.1 to 200":                       {"--flywheel", "0.01"},
	} {
		if code, out, errs := checked(t, append(append(racer, keep), args...)...); code != 2 || out != "" || !strings.Contains(errs, says) {
			t.Errorf("%v: %d %s%s", args, code, out, errs)
		}
	}
}

// A curve fitted from a borrowed meter is written as a rig file takes it, once;
// where there is none, the report is printed and the reason said.
func TestCheckCurveOut(t *testing.T) {
	dir := t.TempDir()
	r := &recording.Recording{Title: "Evening", StartUnix: 1.7e9, Sport: "indoor cycling", Whole: true}
	p, v := recording.Channel{Quantity: recording.Power, Source: "borrowed"}, recording.Channel{Quantity: recording.WheelSpeed, Source: "wheel"}
	for i := range 2700 {
		speed := 5 + float64(i/120%8)*0.7
		p.Seconds, p.Values = append(p.Seconds, float64(i)), append(p.Values, math.Round(12*speed+0.2*speed*speed*speed+float64(i*7%5-2)))
		v.Seconds, v.Values = append(v.Seconds, float64(i)), append(v.Values, speed+0.01*float64(i%3-1))
	}
	r.Channels = append(r.Channels, p, v)
	ridden := filepath.Join(dir, "ride.recording")
	if err := (&checkRequest{keep: ridden}).keepRecording(r); err != nil {
		t.Fatal(err)
	}
	curve := filepath.Join(dir, "curve.yaml")
	args := []string{ridden, "--rig", "../../demo/newcomer-rig.yaml", "--curve-out", curve}
	if code, _, errs := checked(t, args...); code != 0 {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(curve)
	if err != nil {
		t.Fatal(err)
	}
	if f, err := input.ReadRig("r", strings.NewReader("trainer:\n  kind: plain\n"+string(text))); err != nil || math.Abs(f.Rig.Trainer.Curve.Watts(8)/198.4-1) > 0.03 {
		t.Errorf("%v\n%s", err, text)
	}
	if code, out, errs := checked(t, args...); code != 2 || !strings.HasPrefix(out, "RIG CHECK") || !strings.Contains(errs, "expected a file that is not there yet") {
		t.Errorf("%d %s", code, errs)
	}
	args[2], args[4] = "../../demo/racer-rig.yaml", filepath.Join(dir, "none.yaml")
	if code, out, errs := checked(t, args...); code != 2 || !strings.HasPrefix(out, "RIG CHECK") || !strings.Contains(errs, "--curve-out: nothing was written: this check fitted no power curve") {
		t.Errorf("%d %s", code, errs)
	}
}

func TestCheckMisuse(t *testing.T) {
	diary := filepath.Join(t.TempDir(), "diary.fit")
	if err := os.WriteFile(diary, []byte("Dear diary"), 0o600); err != nil {
		t.Fatal(err)
	}
	for says, args := range map[string][]string{
		"a check needs a recording":                            {},
		"found 3 recordings":                                   {"a", "b", "c"},
		"there is no such file":                                {"nothing.fit"},
		"diary.fit: line 1: \"Dear diary\"; expected a header": {diary},
		"without a recording":                                  {diary, "--fault", "gain"},
		"there is no fault \"rust\"":                           append([]string{"--fault", "rust"}, racer...),
		"300 to 5000 mm":                                       {diary, "--wheel", "2.1"},
		"expected bench or plain-bench":                        append([]string{"--devices", "radio"}, racer...),
		"a host and a port":                                    append([]string{"--host", "example"}, racer...),
	} {
		code, out, errs := checked(t, args...)
		if code != 2 || out != "" || !strings.Contains(errs, says) || strings.Count(errs, "\n") > 2 {
			t.Errorf("%v: %d %s%s", args, code, out, errs)
		}
	}
}

// TestCheckText holds the report's form: verdicts first, then what was found,
// what is right, and what cannot be said.
func TestCheckText(t *testing.T) {
	got := checkText(service.CheckSheet{Begun: time.Date(2026, 12, 3, 19, 5, 0, 0, time.UTC), Rider: "Ilse Verdonk", Rig: "racer-rig", From: []string{"trainer.fit", "watch.fit"},
		ThresholdW: 238, Minutes: 29.4, Warm: true,
		Verdicts: []service.CheckVerdict{{Source: "crank", Verdict: "use corrected", Sentence: "Use the watts of crank corrected: uncorrected, the error at threshold is 3.6 % too high, give or take 1.5 (19 times in 20).",
			Because: "a climb outdoors told", Error: &service.CheckValue{Mean: 0.036}, Correction: &service.CheckCorrection{Gain: 1.031, OffsetW: 1.2, SD: 0.0075}},
			{Source: "trainer", Verdict: "cannot say", Sentence: "What the watts of trainer are worth cannot be said, because six minutes are too short.", Because: "six minutes are too short"}},
		Findings: []service.CheckFinding{{Subject: "gain", Source: "crank", Against: "trainer", What: "crank shows 3.1 % more than trainer.", Sure: 0.93, Size: service.CheckValue{Mean: 0.031, Low: 0.019, High: 0.043, Unit: "fraction"},
			Watts: &service.CheckValue{Mean: 7.4, Low: 4.5, High: 10.2, Unit: "W"}, Readings: []string{"the drivetrain loses more than usual"}, Do: []string{"set the zero again", "climb outdoors"}, Prior: "drivetrain loss 2.4 ± 1 %"}},
		Clear: []string{"delay", "stuck"}, Unsaid: []service.CheckUnsaid{{Subjects: []string{"link"}, Because: "no host was named"}}})
	const golden = "testdata/check.txt"
	if *updateCheck {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
