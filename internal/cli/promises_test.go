package cli

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"chainline/course"
	"chainline/physics"
)

func TestJSONHasWhatOthersRelyOn(t *testing.T) {
	v := sheet(t, append(demoRider("racer"), "--road", demo+"road.yaml", "--course", demo+"two-mills.csv")...)
	if at(t, v, "schema") != "chainline-brief/1" {
		t.Errorf("schema %v", v["schema"])
	}
	for _, name := range []string{"critical_power_w", "w_prime_j", "max_power_w", "threshold_w"} {
		e := "rider.capacity." + name
		if !(num(t, v, e+".low80") < num(t, v, e+".mean") && num(t, v, e+".mean") < num(t, v, e+".high80") && num(t, v, e+".sd") > 0) {
			t.Errorf("%s: %v", e, at(t, v, e))
		}
	}
	for _, path := range []string{"road.air_density_kg_m3", "course.distance_m", "course.ascent_m", "plan.time_s", "plan.optimum_time_s",
		"plan.even_watts", "plan.even_time_s", "plan.w_balance_min_j", "forecast.median_s", "forecast.low80_s", "forecast.high80_s"} {
		if !(num(t, v, path) > 0) {
			t.Errorf("%s: %v", path, at(t, v, path))
		}
	}
	if chance := num(t, v, "forecast.chance_empty"); chance < 0 || chance > 0.15 {
		t.Errorf("chance_empty %g", chance)
	}
	for _, path := range []string{"course.climbs", "plan.cues", "warnings"} {
		if list, ok := at(t, v, path).([]any); !ok || path != "warnings" && len(list) == 0 {
			t.Errorf("%s: %v", path, at(t, v, path))
		}
	}
}

func TestAirDefault(t *testing.T) {
	level := file(t, "level.csv", "distance_m,elevation_m\n0,0\n5000,0\n")
	v := sheet(t, append(demoRider("regular"), "--course", level)...)
	if rho := num(t, v, "road.air_density_kg_m3"); math.Abs(rho-1.225) > 0.001 {
		t.Errorf("15 °C, 1013.25 hPa, dry: %g kg/m³", rho)
	}
}

// The reference hill, whose even power and optimum are known from a general
// solver (computed by scipy 1.10.1; internal/evidence/slsqp).
func TestReferenceHill(t *testing.T) {
	v := sheet(t, append(reference(t), "--critical-power", "240", "--w-prime", "18000")...)
	optimum, plan, even := num(t, v, "plan.optimum_time_s"), num(t, v, "plan.time_s"), num(t, v, "plan.even_time_s")
	if math.Abs(even-1153.63) > 0.05 || math.Abs(num(t, v, "plan.even_watts")-255.60) > 0.05 {
		t.Errorf("even: %.3f s at %.3f W", even, num(t, v, "plan.even_watts"))
	}
	if optimum < 1107.4 || optimum > 1108.6*1.002 {
		t.Errorf("optimum %.3f s", optimum)
	}
	if plan < optimum || plan > 1.005*optimum || plan > even {
		t.Errorf("plan %.3f s, optimum %.3f s, even %.3f s", plan, optimum, even)
	}
	if num(t, v, "plan.reserve_j") != 0 || num(t, v, "plan.w_balance_min_j") < -1e-6 || num(t, v, "rider.capacity.critical_power_w.sd") != 0 {
		t.Error("a stated capacity is exact and keeps nothing back")
	}
	last := 0.0
	cues := at(t, v, "plan.cues").([]any)
	for i, c := range cues {
		from, to, watts := num(t, c, "from_m"), num(t, c, "to_m"), num(t, c, "watts")
		if from != last || to <= from || math.Mod(watts, 5) != 0 || num(t, c, "last_s") < 20 {
			t.Errorf("cue %d: %v", i+1, c)
		}
		last = to
	}
	if last != 10000 || float64(len(cues)) > 30*optimum/3600 {
		t.Errorf("%d cues to %g m", len(cues), last)
	}
}

// A plan of one's own is integrated as it stands.
func TestGivenPlan(t *testing.T) {
	plan := file(t, "plan.csv", "from_m,to_m,watts\n0,2500,230\n2500,4100,310\n4100,7000,90\n7000,10000,290\n")
	v := sheet(t, append(reference(t), "--critical-power", "240", "--w-prime", "12000", "--plan", plan)...)
	m := physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334, WheelInertia: 0.14,
		WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19}.Motion(68.5)
	legs := []physics.Leg{{Length: 2000, Watts: 230}, {Length: 500, Gradient: 0.05, Watts: 230}, {Length: 1500, Gradient: 0.05, Watts: 310},
		{Length: 100, Watts: 310}, {Length: 900, Watts: 90}, {Length: 2000, Gradient: -0.05, Watts: 90}, {Length: 1000, Watts: 290},
		{Length: 1000, Gradient: 0.06, Watts: 290}, {Length: 1000, Gradient: -0.06, Watts: 290}}
	want, err := m.Ride(0, legs)
	if err != nil {
		t.Fatal(err)
	}
	if got := num(t, v, "plan.time_s"); math.Abs(got/want.Time()-1) > 1e-9 {
		t.Errorf("%.6f s, want %.6f s", got, want.Time())
	}
	if at(t, v, "plan.style") != "given" || num(t, v, "plan.w_balance_min_j") >= 0 {
		t.Errorf("style %v, balance %v: this plan overspends", at(t, v, "plan.style"), at(t, v, "plan.w_balance_min_j"))
	}
}

func TestStyles(t *testing.T) {
	before := 0.0
	for _, style := range []string{"bold", "normal", "careful"} {
		v := sheet(t, append(demoRider("regular"), "--course", demo+"two-mills.csv", "--style", style, "--draws", "200")...)
		limit := map[string]float64{"careful": 0.05, "normal": 0.15, "bold": 0.35}[style]
		if num(t, v, "plan.chance_limit") != limit || num(t, v, "forecast.chance_empty") > limit {
			t.Errorf("%s: chance %v", style, at(t, v, "forecast.chance_empty"))
		}
		if now := num(t, v, "plan.time_s"); now <= before {
			t.Errorf("%s: %.1f s, not slower than bolder", style, now)
		} else {
			before = now
		}
	}
}

func TestOptions(t *testing.T) {
	mills := append(demoRider("regular"), "--course", demo+"two-mills.csv")
	plain := sheet(t, mills...)
	reserve := sheet(t, append(mills, "--reserve", "6000")...)
	if num(t, reserve, "plan.reserve_j") != 6000 || num(t, reserve, "plan.w_balance_min_j") < 6000-1e-6 {
		t.Error("a reserve is kept")
	}
	stated := append(reference(t), "--critical-power", "240", "--w-prime", "18000")
	if num(t, sheet(t, append(stated, "--reserve", "6000")...), "plan.time_s") <= num(t, sheet(t, stated...), "plan.time_s") {
		t.Error("a reserve costs time")
	}
	for _, form := range []string{"differential", "integral", "elite"} {
		v := sheet(t, append(mills, "--recovery", form)...)
		if at(t, v, "plan.recovery") != form {
			t.Errorf("recovery %v", at(t, v, "plan.recovery"))
		}
	}
	few := sheet(t, append(mills, "--cues", "6")...)
	if n := len(at(t, few, "plan.cues").([]any)); float64(n) > math.Round(6*num(t, few, "plan.optimum_time_s")/3600) {
		t.Errorf("%d cues at 6 an hour", n)
	}
	back := sheet(t, append(mills, "--reverse")...)
	climbs, backClimbs := at(t, plain, "course.climbs").([]any), at(t, back, "course.climbs").([]any)
	if num(t, climbs[0], "start_m") == num(t, backClimbs[0], "start_m") {
		t.Error("reversed, the first climb begins elsewhere")
	}
	laps := sheet(t, append(mills, "--laps", "3")...)
	if d := num(t, laps, "course.distance_m"); d != 30000 {
		t.Errorf("three laps of 10 km are %g m", d)
	}
	event := sheet(t, append(mills, "--event", demo+"tuesday-hill-race.yaml")...)
	if num(t, event, "course.distance_m") != 21200 || at(t, event, "forecast.alone") != true || at(t, event, "kind") != "mass start" {
		t.Errorf("event: %v m, alone %v", at(t, event, "course.distance_m"), at(t, event, "forecast.alone"))
	}
	rules := sheet(t, append(mills, "--rules")...)
	if n := len(at(t, rules, "plan.rules").([]any)); n < 3 || n > 5 || num(t, rules, "plan.rules_time_s") <= 0 {
		t.Errorf("%d rules", n)
	}
}

func TestSketch(t *testing.T) {
	v := sheet(t, append(demoRider("newcomer"), "--distance", "21.4km", "--ascent", "310m", "--main-climb", "3.2km@5.5%")...)
	if num(t, v, "course.distance_m") != 21400 || math.Abs(num(t, v, "course.ascent_m")-310) > 1e-6 {
		t.Errorf("%v m, %v m up", at(t, v, "course.distance_m"), at(t, v, "course.ascent_m"))
	}
	if len(at(t, v, "plan.cues").([]any)) != 0 || len(at(t, v, "plan.rules").([]any)) < 3 {
		t.Error("a sketch gives rules and no cues")
	}
	known := sheet(t, append(demoRider("regular"), "--distance", "21.4km", "--ascent", "310m")...)
	width := func(v any) float64 {
		return (num(t, v, "forecast.high80_s") - num(t, v, "forecast.low80_s")) / num(t, v, "forecast.median_s")
	}
	if width(v) < width(known) {
		t.Error("less is known of the newcomer than of the regular rider")
	}
	if at(t, v, "rig.speaks") != "feel" || num(t, at(t, v, "plan.rules").([]any)[0], "exertion") < 6 {
		t.Errorf("a trainer without a curve speaks feel, not %v", at(t, v, "rig.speaks"))
	}
}

// A plain trainer with a typed curve is told the speed of its own wheel: the
// one at which that curve gives the watts, whatever the road does.
func TestPlainTrainerSpeaksItsOwnWheel(t *testing.T) {
	rig := file(t, "rig.yaml", "trainer:\n  kind: plain\n  power_curve:\n    - {wheel_speed_km_h: 20, watts: 120}\n    - {wheel_speed_km_h: 30, watts: 220}\n    - {wheel_speed_km_h: 40, watts: 360}\nsensors: [speed]\n")
	v := sheet(t, "--rider", demo+"regular.yaml", "--rig", rig, "--course", demo+"two-mills.csv", "--draws", "40")
	if at(t, v, "rig.speaks") != "wheel speed" {
		t.Fatalf("speaks %v", at(t, v, "rig.speaks"))
	}
	for _, c := range at(t, v, "plan.cues").([]any) {
		watts, wheel := num(t, c, "watts"), num(t, c, "wheel_km_h")
		if watts > 130 && watts < 215 && (wheel < 20 || wheel > 30) || watts > 225 && wheel < 30 {
			t.Errorf("%g W at %g km/h of the wheel", watts, wheel)
		}
		if num(t, c, "heart_low_bpm") != 0 {
			t.Error("no strap, no heart band")
		}
	}
}

func TestSameForAnyNumberOfCoresAndEveryTime(t *testing.T) {
	args := append([]string{"brief", "--json"}, append(demoRider("racer"), "--course", demo+"two-mills.csv")...)
	want := chainline(context.Background(), 1, false, args...)
	for _, workers := range []int{1, 2, 7} {
		if got := chainline(context.Background(), workers, false, args...); got.out != want.out {
			t.Errorf("%d workers give another brief", workers)
		}
	}
	if other := run(append(args, "--seed", "2")...); other.out == want.out {
		t.Error("another seed gives the same draws")
	}
}

func TestFaces(t *testing.T) {
	for _, who := range []string{"newcomer", "regular", "racer"} {
		for _, way := range [][]string{{"--course", demo + "two-mills.csv", "--event", demo + "tuesday-hill-race.yaml"}, {"--course", demo + "harbour-ridge.gpx", "--rules"}, {"--distance", "21.4km", "--ascent", "310m"}} {
			args := append(append([]string{"brief", "--draws", "150"}, demoRider(who)...), way...)
			text := run(args...)
			if text.code != 0 {
				t.Fatalf("%v: %s", args, text.err)
			}
			for line := range strings.Lines(text.out) {
				if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
					t.Errorf("%s %v: %d columns: %q", who, way, n, line)
				}
			}
			html := run(append(args, "--format", "html")...)
			if html.code != 0 || strings.Contains(html.out, "http://") && strings.Contains(html.out, "src=\"http") || strings.Contains(html.out, "https://") {
				t.Errorf("%s %v: exit %d, or a request leaves the page", who, way, html.code)
			}
		}
	}
	race := run(append(append([]string{"brief"}, demoRider("racer")...), "--course", demo+"two-mills.csv", "--event", demo+"tuesday-hill-race.yaml")...)
	if !strings.Contains(race.out, "alone") {
		t.Error("the time of a mass start must be titled alone")
	}
}

func TestOut(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "b.html")
	r := run(append(append([]string{"brief"}, demoRider("regular")...), "--course", demo+"two-mills.csv", "--out", out)...)
	if r.code != 0 || r.out != "" || r.err != "" {
		t.Fatalf("%+v", r)
	}
	page, err := os.ReadFile(out)
	if err != nil || !strings.HasPrefix(string(page), "<!") {
		t.Errorf("not a page: %.40q, %v", page, err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("%d files", len(left))
	}
	r = run(append(append([]string{"brief"}, demoRider("regular")...), "--course", demo+"two-mills.csv", "--out", filepath.Join(dir, "no", "b.html"))...)
	if r.code != 1 || !strings.Contains(r.err, "could not be written") {
		t.Errorf("a folder that is not there: exit %d, %q", r.code, r.err)
	}
}

func TestStopped(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	out := filepath.Join(t.TempDir(), "b.json")
	r := chainline(ctx, 2, false, append(append([]string{"brief"}, demoRider("regular")...), "--course", demo+"two-mills.csv", "--out", out)...)
	if r.code != 1 || !strings.Contains(r.err, "Stopped.") {
		t.Errorf("exit %d, %q", r.code, r.err)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a stopped command wrote a file")
	}
}

func TestProgressOnlyOnATerminal(t *testing.T) {
	args := append(append([]string{"brief"}, demoRider("regular")...), "--course", demo+"two-mills.csv")
	if r := chainline(context.Background(), 2, false, args...); r.err != "" {
		t.Errorf("said %q without a terminal", r.err)
	}
	r := chainline(context.Background(), 2, true, args...)
	if !strings.Contains(r.err, "finding the fastest ride") || !strings.HasSuffix(r.err, "\r\x1b[K") {
		t.Errorf("on a terminal: %q", r.err)
	}
	if r := chainline(context.Background(), 2, true, append(args, "--quiet")...); r.err != "" {
		t.Errorf("said %q though quiet", r.err)
	}
}

func TestHelpAndVersion(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"brief", "--help"}, {"--version"}} {
		if r := run(args...); r.code != 0 || r.out == "" || r.err != "" {
			t.Errorf("%v: %+v", args, r)
		}
	}
}

// The profile behind the reference hill is the file's, straight between points.
func TestSurveyIsTakenAsItStands(t *testing.T) {
	p, err := course.ReadCSV(strings.NewReader(hillCSV))
	if err != nil || len(p.Distance) != 8 || p.Ascent() != 160 {
		t.Errorf("%d points, %g m up, %v", len(p.Distance), p.Ascent(), err)
	}
}
