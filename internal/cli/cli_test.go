package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const demo = "../../demo/"

// result is what a command did.
type result struct {
	code     int
	out, err string
}

// chainline runs the command in-process; workers as given.
func chainline(ctx context.Context, workers int, terminal bool, args ...string) result {
	var out, errs bytes.Buffer
	code := Run(ctx, args, Streams{Out: &out, Err: &errs, ErrTerminal: terminal, Version: "test", Workers: workers,
		Now: func() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }})
	return result{code, out.String(), errs.String()}
}

func run(args ...string) result { return chainline(context.Background(), 2, false, args...) }

// sheet runs a brief that has to succeed and gives its JSON.
func sheet(t *testing.T, args ...string) map[string]any {
	t.Helper()
	r := run(append([]string{"brief", "--json"}, args...)...)
	if r.code != 0 {
		t.Fatalf("%v: exit %d: %s", args, r.code, r.err)
	}
	var v map[string]any
	if err := json.Unmarshal([]byte(r.out), &v); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return v
}

// at walks a path of keys.
func at(t *testing.T, v any, path string) any {
	t.Helper()
	for _, key := range strings.Split(path, ".") {
		m, ok := v.(map[string]any)
		if !ok {
			t.Fatalf("%s: nothing at %q", path, key)
		}
		if v, ok = m[key]; !ok {
			t.Fatalf("%s: no key %q", path, key)
		}
	}
	return v
}

func num(t *testing.T, v any, path string) float64 {
	t.Helper()
	x, ok := at(t, v, path).(float64)
	if !ok {
		t.Fatalf("%s is not a number", path)
	}
	return x
}

// file writes a file into a folder of the test.
func file(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

const (
	hillCSV   = "distance_m,elevation_m\n0,0\n2000,0\n4000,100\n5000,100\n7000,0\n8000,0\n9000,60\n10000,0\n"
	riderYAML = "name: check\nmass_kg: 68.5\n"
	rigYAML   = "trainer: {kind: controllable}\npower_source: {name: hub, kind: trainer, accuracy_percent: 2}\n"
	roadYAML  = "bike_mass_kg: 8.6\ncda_m2: 0.32\ncrr: 0.004\ndrivetrain_efficiency: 0.976\nwheel_radius_m: 0.334\nwheel_inertia_kg_m2: 0.14\n" +
		"wheel_drag_area_m2: 0.0044\nbearings: true\nair_density_kg_m3: 1.19\nstart_speed_m_s: 0\n"
)

// reference are the options of the reference hill.
func reference(t *testing.T) []string {
	t.Helper()
	return []string{"--rider", file(t, "rider.yaml", riderYAML), "--rig", file(t, "rig.yaml", rigYAML), "--road", file(t, "road.yaml", roadYAML),
		"--course", file(t, "hill.csv", hillCSV), "--draws", "20"}
}

func demoRider(who string) []string {
	return []string{"--rider", demo + who + ".yaml", "--rig", demo + who + "-rig.yaml", "--date", "2026-12-02", "--draws", "40"}
}

// The bar card is a page of 80 by 50 mm, or seven lines of text.
func TestCard(t *testing.T) {
	for _, who := range []string{"newcomer", "regular", "racer"} {
		for _, way := range [][]string{{"--course", demo + "two-mills.csv"}, {"--distance", "21.4km", "--ascent", "310m"}} {
			args := append(append([]string{"brief", "--format", "card", "--draws", "100"}, demoRider(who)...), way...)
			page := run(args...)
			if page.code != 0 || !strings.HasPrefix(page.out, "<!") || !strings.Contains(page.out, "80mm") || !strings.Contains(page.out, "50mm") ||
				strings.Contains(page.out, "http://") || strings.Contains(page.out, "https://") {
				t.Errorf("%s %v: exit %d, %s, %.60q", who, way, page.code, page.err, page.out)
			}
			out := filepath.Join(t.TempDir(), "card.txt")
			if r := run(append(args, "--out", out)...); r.code != 0 || r.out != "" {
				t.Errorf("%+v", r)
			}
			text, err := os.ReadFile(out)
			if n := strings.Count(string(text), "\n"); err != nil || n < 1 || n > 7 || strings.Contains(string(text), "<") {
				t.Errorf("%s %v: %d lines, %v: %q", who, way, n, err, text)
			}
		}
	}
}
