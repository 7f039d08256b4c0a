package cli

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"
)

// TestHugeSparseFiles: 200 MB of zeros are refused without being kept. What may
// be read is 1 MB (YAML, plan) and 20 MB (courses); the limits are of all that is
// allocated, freed or not, so that memory held is below them: for courses the
// 150 MB that a whole brief may take.
func TestHugeSparseFiles(t *testing.T) {
	for _, c := range []struct {
		name, head, flag string
		limit            uint64 // MB allocated in all
	}{
		{"c.gpx", "<gpx version=\"1.1\">", "--course", 150}, {"c.csv", "distance_m,elevation_m\n", "--course", 150}, {"c.csv", "distance_m,elevation_m\n0,", "--course", 150},
		{"r.yaml", "name: x\n", "--rider", 30}, {"g.yaml", "", "--rig", 30}, {"d.yaml", "", "--road", 30}, {"v.yaml", "", "--event", 30}, {"p.csv", "from_m,to_m,watts\n", "--plan", 30},
	} {
		path := file(t, c.name, c.head)
		if err := os.Truncate(path, 200<<20); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r := run("brief", "--rider", demo+"regular.yaml", "--rig", demo+"regular-rig.yaml", "--course", demo+"two-mills.csv", c.flag, path)
		runtime.ReadMemStats(&after)
		if r.code != 2 || r.out != "" || !strings.Contains(r.err, c.name) || strings.Count(r.err, "\n") > 2 {
			t.Errorf("%s: exit %d: %q", c.name, r.code, r.err)
		}
		if grown := (after.TotalAlloc - before.TotalAlloc) >> 20; grown > c.limit {
			t.Errorf("%s: %d MB allocated, want at most %d", c.name, grown, c.limit)
		}
	}
}

// Every plan of cues covers the course without gaps, in steps of 5 W, none
// under 20 s, at most 30 an hour; the sheet is of one piece.
func TestEveryDemoPlanCanBeRidden(t *testing.T) {
	for _, who := range []string{"newcomer", "regular", "racer"} {
		for _, where := range []string{"two-mills.csv", "harbour-ridge.gpx"} {
			for _, more := range [][]string{nil, {"--critical-power", "230", "--w-prime", "15000"}} {
				t.Run(fmt.Sprint(who, where, len(more) > 0), func(t *testing.T) {
					v := sheet(t, append(append(demoRider(who), "--course", demo+where), more...)...)
					coversTheCourse(t, v)
					time, even, optimum := num(t, v, "plan.time_s"), num(t, v, "plan.even_time_s"), num(t, v, "plan.optimum_time_s")
					if optimum > time+1e-6 || optimum > even+1e-6 {
						t.Errorf("optimum %.2f s, plan %.2f s, even %.2f s", optimum, time, even)
					}
					if time > even+1e-6 {
						t.Errorf("plan %.2f s is slower than even power, %.2f s", time, even)
					}
					low, mid, high := num(t, v, "forecast.low80_s"), num(t, v, "forecast.median_s"), num(t, v, "forecast.high80_s")
					if !(low < mid && mid < high) {
						t.Errorf("forecast %.1f, %.1f, %.1f s", low, mid, high)
					}
				})
			}
		}
	}
}

func coversTheCourse(t *testing.T, v map[string]any) {
	t.Helper()
	cues := at(t, v, "plan.cues").([]any)
	last, start := 0.0, 0.0
	for i, c := range cues {
		watts, lasts := num(t, c, "watts"), num(t, c, "last_s")
		if num(t, c, "number") != float64(i+1) || num(t, c, "from_m") != last || math.Mod(watts, 5) != 0 || watts < 0 || lasts < 20 {
			t.Errorf("cue %d: %v", i+1, c)
		}
		if math.Abs(num(t, c, "start_s")-start) > 1e-6 {
			t.Errorf("cue %d starts at %v s, the one before ended at %.3f s", i+1, at(t, c, "start_s"), start)
		}
		last, start = num(t, c, "to_m"), start+lasts
	}
	if last != num(t, v, "course.distance_m") || math.Abs(start-num(t, v, "plan.time_s")) > 1e-6 {
		t.Errorf("cues end at %.3f m after %.3f s", last, start)
	}
	if perHour := float64(len(cues)) / (num(t, v, "plan.optimum_time_s") / 3600); perHour > 30 {
		t.Errorf("%.1f cues an hour", perHour)
	}
}

// What makes a browser ask somebody: a source, a style sheet, an import, a
// font, a script's own request. Names of XML name spaces are not asked for.
var asksOutside = regexp.MustCompile(`(?i)(src|srcset|href|action|poster|data)\s*=\s*["']?\s*(https?:)?//|url\(\s*["']?\s*(https?:)?//|@import|<link|<iframe|<base|fetch\(|XMLHttpRequest|http-equiv=["']?refresh`)

func TestPageAsksNobody(t *testing.T) {
	for _, bad := range []string{`<img src="https://x">`, `a{background:url(//x)}`, `<link rel=stylesheet>`, `<a href='http://x'>`} {
		if !asksOutside.MatchString(bad) {
			t.Errorf("%s is not found", bad)
		}
	}
	for _, who := range []string{"newcomer", "racer"} {
		args := append(append([]string{"brief", "--format", "html"}, demoRider(who)...), "--course", demo+"two-mills.csv", "--event", demo+"tuesday-hill-race.yaml")
		r := run(args...)
		if r.code != 0 || !strings.Contains(r.out, "</html>") {
			t.Fatalf("exit %d: %s", r.code, r.err)
		}
		if found := asksOutside.FindString(r.out); found != "" {
			t.Errorf("%s: the page asks outside: %q", who, found)
		}
	}
}

// The course's name comes from its file: whatever that is called, page and
// terminal are safe.
func TestNamesAreHarmless(t *testing.T) {
	data, err := os.ReadFile(demo + "two-mills.csv")
	if err != nil {
		t.Fatal(err)
	}
	path := file(t, "\x1b[2J<script>x.csv", string(data))
	args := append(append([]string{"brief"}, demoRider("regular")...), "--course", path)
	if r := run(args...); r.code != 0 || strings.Contains(r.out, "\x1b") {
		t.Errorf("exit %d, or an escape reaches the terminal", r.code)
	}
	if r := run(append(args, "--format", "html")...); r.code != 0 || strings.Contains(r.out, "<script>x") || strings.Contains(r.out, "\x1b") {
		t.Errorf("exit %d, or the name is markup", r.code)
	}
}

func TestOutKeepsLinkAndMode(t *testing.T) {
	dir := t.TempDir()
	real, link := filepath.Join(dir, "real.txt"), filepath.Join(dir, "link.txt")
	if err := os.WriteFile(real, bytes.Repeat([]byte("x"), 1<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("real.txt", link); err != nil {
		t.Skip(err)
	}
	args := append(append([]string{"brief"}, demoRider("regular")...), "--course", demo+"two-mills.csv")
	want := run(args...)
	if r := run(append(args, "--out", link)...); r.code != 0 {
		t.Fatalf("%+v", r)
	}
	if got, _ := os.ReadFile(real); string(got) != want.out {
		t.Errorf("%d bytes in the file, %d on the terminal", len(got), len(want.out))
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Error("the link is no link any more")
	}
	if info, err := os.Stat(real); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("who may read it changed to %v", info.Mode())
	}
}

// stopper cancels when something is first said to it.
type stopper struct {
	bytes.Buffer
	cancel func()
}

func (s *stopper) Write(p []byte) (int, error) {
	s.cancel()
	return s.Buffer.Write(p)
}

// Stopped in the middle, the command ends soon and writes nothing.
func TestStoppedInTheMiddle(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	out := filepath.Join(t.TempDir(), "b.json")
	errs := &stopper{cancel: cancel}
	began := time.Now()
	code := Run(ctx, append(append([]string{"brief"}, demoRider("regular")...), "--course", demo+"harbour-ridge.gpx", "--draws", "100000", "--out", out),
		Streams{Out: &bytes.Buffer{}, Err: errs, ErrTerminal: true, Workers: 2, Now: time.Now})
	if code != 1 || !strings.HasSuffix(errs.String(), "chainline: Stopped.\n") {
		t.Errorf("exit %d, %q", code, errs.String())
	}
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("stopped only after %s", took)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a stopped command wrote a file")
	}
}

// Text and JSON are two faces of one brief.
func TestFacesAgree(t *testing.T) {
	args := append(demoRider("racer"), "--course", demo+"two-mills.csv")
	v, text := sheet(t, args...), run(append([]string{"brief"}, args...)...).out
	median := math.Round(num(t, v, "forecast.median_s"))
	if clock := fmt.Sprintf("%d:%02d", int(median)/60, int(median)%60); !strings.Contains(text, clock) {
		t.Errorf("the forecast of %s is not in the text", clock)
	}
	if even := fmt.Sprintf("%.0f W all the way", num(t, v, "plan.even_watts")); !strings.Contains(text, even) {
		t.Errorf("%q is not in the text", even)
	}
	for _, c := range at(t, v, "plan.cues").([]any) {
		row := regexp.MustCompile(fmt.Sprintf(`(?m)^ *%.0f +%.1f .* %.0f +%.0f `, num(t, c, "number"), num(t, c, "from_m")/1000, num(t, c, "watts"), num(t, c, "exertion")))
		if !row.MatchString(text) {
			t.Errorf("no line for cue %v", c)
		}
	}
}
