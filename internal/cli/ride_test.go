package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// rideNow runs 'chainline ride' with the demo's racer.
func rideNow(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	all := append([]string{"ride", "--rider", "../../demo/racer.yaml", "--rig", "../../demo/racer-rig.yaml", "--data", t.TempDir()}, args...)
	code = Run(t.Context(), all, Streams{Out: &o, Err: &e, Workers: 2, Now: func() time.Time { return time.Date(2026, 12, 3, 19, 0, 0, 0, time.UTC) }})
	return code, o.String(), e.String()
}

func TestRideASessionFast(t *testing.T) {
	code, out, errs := rideNow(t, "--session", "openers", "--fast", "--json")
	if code != 0 {
		t.Fatalf("%d: %s", code, errs)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var live struct {
		Schema string `json:"schema"`
		Stage  string `json:"stage"`
	}
	if err := json.Unmarshal([]byte(lines[1]), &live); err != nil || live.Schema != "chainline.live/1" || live.Stage != "riding" {
		t.Errorf("%v: %s", err, lines[1])
	}
	var sum struct {
		Schema string            `json:"schema"`
		Whole  bool              `json:"whole"`
		Files  map[string]string `json:"files"`
		Totals struct {
			Moving float64 `json:"moving_s"`
			WorkJ  float64 `json:"work_j"`
		}
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &sum); err != nil {
		t.Fatal(err)
	}
	if sum.Schema != "chainline.ride/1" || !sum.Whole || sum.Totals.Moving < 600 || sum.Totals.WorkJ < 50000 {
		t.Errorf("%+v", sum)
	}
	for _, kind := range []string{"fit", "csv", "recording", "journal"} {
		if info, err := os.Stat(sum.Files[kind]); err != nil || info.Size() < 1000 {
			t.Errorf("%s: %v", kind, err)
		}
	}
	again, second, _ := rideNow(t, "--replay", sum.Files["recording"], "--fast")
	if again != 2 || second != "" {
		t.Errorf("a recording was ridden faster than time: %d, %s", again, second)
	}
}

func TestRideACourseFast(t *testing.T) {
	code, out, errs := rideNow(t, "--course", "../../demo/two-mills.csv", "--fast")
	if code != 0 || !strings.Contains(out, "km") || !strings.Contains(out, ".fit") {
		t.Fatalf("%d: %s%s", code, out, errs)
	}
}

func TestRideASessionFromAFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "own.txt")
	if err := os.WriteFile(file, []byte("ride 2 min at 150 W\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := rideNow(t, "--session", file, "--fast", "--devices", "bench")
	if code != 0 || !strings.Contains(out, "0:02:0") {
		t.Fatalf("%d: %s%s", code, out, errs)
	}
	if err := os.WriteFile(file, []byte("ride fast\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := rideNow(t, "--session", file, "--fast"); code != 2 || !strings.Contains(errs, "1") || strings.Count(errs, "\n") > 2 {
		t.Errorf("a session nobody can read: %d %s", code, errs)
	}
}

func TestRideMisuse(t *testing.T) {
	for _, x := range []struct{ args, says string }{
		{"--session nothing", "no session \"nothing\""},
		{"--devices radar", "expected bench"},
		{"--way flying", "controlling, showing or listening"},
		{"--advance soon", "position, time, key or distance"},
		{"--fast --devices radio", "faster than time"},
		{"--devices replay", "--replay FILE"},
		{"--session tempo --course ../../demo/two-mills.csv", "a session or a course"},
		{"--course nowhere.gpx", "there is no such file"},
	} {
		code, _, errs := rideNow(t, strings.Fields(x.args)...)
		if code != 2 || !strings.Contains(errs, x.says) {
			t.Errorf("%s: %d %s", x.args, code, errs)
		}
	}
}

func TestSessionsAreListed(t *testing.T) {
	_, out, _ := rideNow(t, "--sessions")
	if !strings.Contains(out, "threshold-twice") || strings.Count(out, "\n") < 15 {
		t.Error(out)
	}
}

// A session goes out as a FIT workout and comes back the same.
func TestSessionToFITAndBack(t *testing.T) {
	call := func(args ...string) (int, string, string) {
		var o, e bytes.Buffer
		code := Run(t.Context(), append([]string{"session"}, args...), Streams{Out: &o, Err: &e, Now: time.Now})
		return code, o.String(), e.String()
	}
	file := filepath.Join(t.TempDir(), "tempo.fit")
	code, want, errs := call("tempo", "--fit", file)
	if code != 0 {
		t.Fatal(errs)
	}
	code, got, errs := call(file)
	if code != 0 {
		t.Fatal(errs)
	}
	steps := func(text string) string {
		var out []string
		for line := range strings.Lines(text) {
			if line = strings.TrimSpace(line); strings.HasPrefix(line, "ride") || strings.HasPrefix(line, "warm") || strings.HasPrefix(line, "easy") || strings.HasPrefix(line, "cool") {
				out = append(out, line)
			}
		}
		return strings.Join(out, "; ")
	}
	if steps(got) != steps(want) || steps(got) == "" {
		t.Errorf("it came back as %q, went as %q", steps(got), steps(want))
	}
	if code, _, _ := call("no such session"); code != 2 {
		t.Errorf("nothing of that name: %d", code)
	}
	if code, _, errs := call("../../demo/harbour-ridge.gpx"); code != 2 || strings.Count(errs, "\n") > 2 {
		t.Errorf("a course as a session: %d %s", code, errs)
	}
}
