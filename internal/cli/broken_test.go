package cli

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// TestBrokenInputs: every one is answered by one clear line (and at most a
// hint) and exit code 2, and nothing is written.
func TestBrokenInputs(t *testing.T) {
	rider, rig, course := demo+"regular.yaml", demo+"regular-rig.yaml", demo+"two-mills.csv"
	who := []string{"--rider", rider, "--rig", rig}
	with := func(more ...string) []string { return append(append([]string{}, who...), more...) }
	on := func(more ...string) []string { return with(append([]string{"--course", course}, more...)...) }
	bomb := `<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><gpx version="1.1"><trk><name>&b;</name></trk></gpx>`
	flatGPX := `<gpx version="1.1"><trk><trkseg><trkpt lat="1" lon="1"/><trkpt lat="1" lon="1.01"/></trkseg></trk></gpx>`
	for _, c := range []struct {
		name string
		args []string
		want string // what the line must say
	}{
		{"nothing asked", nil, "expected --rider FILE and --rig FILE"},
		{"no rig", []string{"--rider", rider, "--course", course}, "expected --rider FILE and --rig FILE"},
		{"no course", who, "expected --course FILE, or --distance and --ascent"},
		{"argument", on("extra"), `found "extra"`},
		{"unknown option", on("--colour", "red"), "colour"},
		{"rider missing", []string{"--rider", "nobody.yaml", "--rig", rig, "--course", course}, "nobody.yaml: there is no such file"},
		{"rider is a folder", []string{"--rider", t.TempDir(), "--rig", rig, "--course", course}, "is a folder"},
		{"rider empty", []string{"--rider", file(t, "e.yaml", ""), "--rig", rig, "--course", course}, "e.yaml:1:1"},
		{"rider binary", []string{"--rider", file(t, "b.yaml", "\x00\x01\xff\xfe"), "--rig", rig, "--course", course}, "b.yaml"},
		{"rider without mass", []string{"--rider", file(t, "r.yaml", "name: x\n"), "--rig", rig, "--course", course}, "mass_kg: missing"},
		{"rider mass in pounds", []string{"--rider", file(t, "r.yaml", "mass_kg: 400\n"), "--rig", rig, "--course", course}, "r.yaml:1:10: mass_kg"},
		{"rider unknown key", []string{"--rider", file(t, "r.yaml", "mass_kg: 70\nweigth: 3\n"), "--rig", rig, "--course", course}, "r.yaml:2:1: weigth: unknown key"},
		{"rider twice a key", []string{"--rider", file(t, "r.yaml", "mass_kg: 70\nmass_kg: 71\n"), "--rig", rig, "--course", course}, "r.yaml:2:1"},
		{"rider alias bomb", []string{"--rider", file(t, "r.yaml", "a: &a [x,x,x]\nb: &b [*a,*a,*a]\nmass_kg: 70\n"), "--rig", rig, "--course", course}, "r.yaml:1"},
		{"rig wrong kind", []string{"--rider", rider, "--rig", file(t, "g.yaml", "trainer: {kind: magic}\n"), "--course", course}, "g.yaml:1:17: trainer.kind"},
		{"rig falling curve", []string{"--rider", rider, "--rig", file(t, "g.yaml", "trainer:\n  kind: plain\n  power_curve:\n    - {wheel_speed_km_h: 20, watts: 150}\n    - {wheel_speed_km_h: 30, watts: 120}\n"), "--course", course}, "g.yaml:5"},
		{"road without air", on("--road", file(t, "d.yaml", "air_density_kg_m3: 0\n")), "d.yaml:1:20: air_density_kg_m3"},
		{"event nowhere", on("--event", file(t, "v.yaml", "start: 2026-12-03T19:30\ntime_zone: Mars/Olympus\n")), "v.yaml:2:12: time_zone"},
		{"course missing", with("--course", "none.gpx"), "none.gpx: there is no such file"},
		{"course empty", with("--course", file(t, "c.gpx", "")), "c.gpx"},
		{"course binary", with("--course", file(t, "c.gpx", "\x89PNG\r\n\x1a\n\x00\x00")), "c.gpx"},
		{"course cut", with("--course", file(t, "c.gpx", "<gpx version=\"1.1\"><trk><trkseg><trkpt lat=\"1\" lon=\"1\">")), "c.gpx: line"},
		{"course flat of one place", with("--course", file(t, "c.gpx", strings.ReplaceAll(flatGPX, "1.01", "1"))), "c.gpx"},
		{"course without elevations", with("--course", file(t, "c.gpx", flatGPX)), "c.gpx"},
		{"course off the globe", with("--course", file(t, "c.gpx", strings.Replace(flatGPX, `lat="1"`, `lat="91"`, 1))), "latitude"},
		{"course entity bomb", with("--course", file(t, "c.gpx", bomb)), "c.gpx: line 1"},
		{"course nested", with("--course", file(t, "c.gpx", "<gpx>"+strings.Repeat("<a>", 100000))), "c.gpx: line 1"},
		{"survey header", with("--course", file(t, "c.csv", "km,m\n0,0\n")), "distance_m,elevation_m"},
		{"survey backwards", with("--course", file(t, "c.csv", "distance_m,elevation_m\n0,0\n500,1\n400,2\n")), "c.csv: line 4"},
		{"survey of words", with("--course", file(t, "c.csv", "distance_m,elevation_m\n0,high\n")), "elevation_m"},
		{"survey too short", with("--course", file(t, "c.csv", "distance_m,elevation_m\n0,0\n50,1\n")), "expected at least 200 m"},
		{"laps that do not close", with("--course", file(t, "c.csv", "distance_m,elevation_m\n0,0\n3000,90\n"), "--laps", "3"), "c.csv"},
		{"course and sketch", on("--distance", "20km", "--ascent", "300m"), "--course: found beside a sketch"},
		{"half a sketch", with("--distance", "20km"), "expected --distance and --ascent together"},
		{"sketch impossible", with("--distance", "10km", "--ascent", "3000m"), "the sketch does not work out"},
		{"sketch without unit", with("--distance", "20", "--ascent", "300m"), "--distance"},
		{"sketch reversed", with("--distance", "20km", "--ascent", "300m", "--reverse"), "a sketch has no direction"},
		{"sketch climb", with("--distance", "20km", "--ascent", "300m", "--main-climb", "steep"), "--main-climb"},
		{"style", on("--style", "heroic"), "expected careful, normal or bold"},
		{"recovery", on("--recovery", "fast"), "expected differential, integral or elite"},
		{"date", on("--date", "3.12.2026"), "expected a date like 2026-12-03"},
		{"draws", on("--draws", "0"), "--draws: found 0"},
		{"draws of words", on("--draws", "many"), "draws"},
		{"cues", on("--cues", "60"), "expected 1 to 30 cues per hour"},
		{"reserve", on("--reserve", "-5"), "--reserve"},
		{"reserve not a number", on("--reserve", "NaN"), "expected a number"},
		{"format", on("--format", "pdf"), "expected text, json, html or card"},
		{"two formats", on("--format", "html", "--json"), "--json: found beside"},
		{"half a capacity", on("--critical-power", "250"), "--critical-power W and --w-prime J together"},
		{"capacity in kilojoules", on("--critical-power", "250", "--w-prime", "20"), "--w-prime: found 20"},
		{"limit below capacity", on("--critical-power", "250", "--w-prime", "20000", "--power-limit", "200"), "--power-limit"},
		{"capacity with another recovery", on("--critical-power", "250", "--w-prime", "20000", "--recovery", "elite"), "--recovery elite"},
		{"plan with a gap", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,1000,200\n1100,10000,200\n")), "p.csv:3"},
		{"plan too short", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,1000,200\n")), "expected the end of the course"},
		{"plan of negative watts", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,10000,-5\n")), "p.csv:2"},
		{"plan that stalls", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,10000,0\n")), "the plan stalls"},
		{"plan for a sketch", with("--distance", "20km", "--ascent", "300m", "--plan", file(t, "p.csv", "from_m,to_m,watts\n0,20000,200\n")), "--plan: a sketch"},
		{"plan that overlaps", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,1000,200\n900,10000,200\n")), "p.csv:3"},
		{"plan beyond the end", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,10000.2,200\n10000.2,10000.9,200\n")), "expected it to begin before the end"},
		{"plan empty", on("--plan", file(t, "p.csv", "")), "p.csv:1"},
		{"plan of words", on("--plan", file(t, "p.csv", "from_m,to_m,watts\n0,10000,hard\n")), "p.csv:2"},
		{"plan missing", on("--plan", "none.csv"), "none.csv: there is no such file"},
		{"rig missing", []string{"--rider", rider, "--rig", "none.yaml", "--course", course}, "none.yaml: there is no such file"},
		{"road unknown key", on("--road", file(t, "d.yaml", "crr: 0.004\ncda: 0.3\n")), "d.yaml:2:1: cda: unknown key"},
		{"road speed of sound", on("--road", file(t, "d.yaml", "start_speed_m_s: 340\n")), "d.yaml:1:18: start_speed_m_s"},
		{"event of another day", on("--event", file(t, "v.yaml", "start: yesterday\n")), "v.yaml:1:8: start"},
		{"event without laps", on("--event", file(t, "v.yaml", "laps: 0\n")), "v.yaml:1:7: laps"},
		{"rider nested", []string{"--rider", file(t, "r.yaml", "name: "+strings.Repeat("[", 5000)), "--rig", rig, "--course", course}, "r.yaml:1"},
		{"course is a folder", with("--course", t.TempDir()), "is a folder"},
		{"survey not a number", with("--course", file(t, "c.csv", "distance_m,elevation_m\n0,0\n500,NaN\n")), "c.csv: line 3"},
		{"laps of words", on("--laps", "many"), `--laps: found "many"; expected a whole number`},
		{"laps below none", on("--laps", "-2"), "--laps: found -2"},
		{"laps without end", on("--laps", "100000"), "expected at most 2000 km"},
		{"seed below none", on("--seed", "-1"), `--seed: found "-1"; expected a whole number from 0 on`},
		{"draws without end", on("--draws", "1000000000"), "--draws: found 1000000000"},
		{"cues not a number", on("--cues", "NaN"), "--cues: found NaN"},
		{"date of no month", on("--date", "2026-02-30"), "expected a date like 2026-12-03"},
		{"reverse of words", on("--reverse=back"), "--reverse: found \"back\"; expected true or false"},
		{"option without its value", on("--seed"), "--out"},
		{"limit alone", on("--power-limit", "500"), "--critical-power W and --w-prime J together"},
		{"capacity not a number", on("--critical-power", "NaN", "--w-prime", "20000"), "--critical-power"},
		{"reserve of everything", on("--critical-power", "250", "--w-prime", "20000", "--reserve", "20000"), "expected less than the W′"},
		{"sketch of laps", with("--distance", "20km", "--ascent", "300m", "--laps", "3", "--lap-length", "8km"), "expected them to agree"},
		{"sketch climb too long", with("--distance", "20km", "--ascent", "2000m", "--main-climb", "30km@5%"), "longer than the course"},
		{"sketch below level", with("--distance", "20km", "--ascent=-5m"), "--ascent"},
		{"unknown command", nil, "chainless"},
	} {
		t.Run(c.name, func(t *testing.T) { refuse(t, c.name, c.args, c.want) })
	}
}

// refuse runs a broken command with --out, and looks for traces: where no file
// was, and where one was.
func refuse(t *testing.T, name string, args []string, want string) {
	t.Helper()
	empty := t.TempDir()
	if r := run(append(append([]string{"brief"}, args...), "--out", filepath.Join(empty, "brief.json"))...); name != "unknown command" && r.code != 2 {
		t.Errorf("exit %d", r.code)
	}
	if left, _ := os.ReadDir(empty); len(left) != 0 {
		t.Errorf("%d files made of nothing", len(left))
	}
	dir := t.TempDir()
	out := filepath.Join(dir, "brief.html")
	if err := os.WriteFile(out, []byte("what was there"), 0o600); err != nil {
		t.Fatal(err)
	}
	all := append([]string{"brief"}, append(args, "--out", out)...)
	if name == "unknown command" {
		all = []string{"chainless"}
	}
	r := run(all...)
	if r.code != 2 || r.out != "" {
		t.Errorf("exit %d, printed %q", r.code, r.out)
	}
	lines := strings.Split(strings.TrimRight(r.err, "\n"), "\n")
	if !strings.HasPrefix(lines[0], "chainline: ") || len(lines) > 2 || len(lines) == 2 && !strings.HasPrefix(lines[1], "  ") {
		t.Errorf("not one clear line: %q", r.err)
	}
	if !strings.Contains(lines[0], want) {
		t.Errorf("said %q, want %q in it", lines[0], want)
	}
	if kept, err := os.ReadFile(out); err != nil || string(kept) != "what was there" {
		t.Errorf("the file that was there is now %q (%v)", kept, err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("%d files left behind", len(left))
	}
}

// A file of 200 MB of blanks is refused without being read into memory: all that
// is allocated, freed or not, stays below what a whole brief may take.
func TestHugeFiles(t *testing.T) {
	for _, c := range []struct{ name, head, flag string }{
		{"c.gpx", "<gpx version=\"1.1\">", "--course"}, {"c.csv", "distance_m,elevation_m\n", "--course"},
		{"r.yaml", "name: x\n", "--rider"}, {"p.csv", "from_m,to_m,watts\n", "--plan"},
	} {
		path := file(t, c.name, c.head)
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			t.Fatal(err)
		}
		block := []byte(strings.Repeat(" ", 1<<20))
		for range 200 {
			if _, err := f.Write(block); err != nil {
				t.Fatal(err)
			}
		}
		_ = f.Close()
		args := []string{"brief", "--rider", demo + "regular.yaml", "--rig", demo + "regular-rig.yaml", "--course", demo + "two-mills.csv"}
		args = append(args, c.flag, path) // the last one counts
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r := run(args...)
		runtime.ReadMemStats(&after)
		if r.code != 2 || !strings.Contains(r.err, c.name) || strings.Count(r.err, "\n") > 2 {
			t.Errorf("%s: exit %d: %q", c.name, r.code, r.err)
		}
		if grown := after.TotalAlloc - before.TotalAlloc; grown > 150<<20 {
			t.Errorf("%s: %d MB allocated", c.name, grown>>20)
		}
	}
}
