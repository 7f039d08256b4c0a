package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"chainline/debrief"
	"chainline/estimate"
	"chainline/internal/service"
	"chainline/recording"
)

var updateDebrief = flag.Bool("update-debrief", false, "write the golden report of a debrief anew")

// debriefed runs 'chainline debrief'.
func debriefed(ctx context.Context, args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = Run(ctx, append([]string{"debrief"}, args...), Streams{Out: &o, Err: &e, Workers: 2, Now: func() time.Time { return time.Date(2026, 12, 4, 8, 0, 0, 0, time.UTC) }})
	return code, o.String(), e.String()
}

// shortCourse has one climb; it is ridden in some eight minutes.
const shortCourse = "distance_m,elevation_m\n0,10\n1000,10\n2000,60\n2600,60\n4000,10\n5000,12\n"

// riddenShort rides the short course on the simulated rig, and says where the
// course and the ride's files are.
func riddenShort(t *testing.T) (course string, files map[string]string) {
	t.Helper()
	course = filepath.Join(t.TempDir(), "short.csv")
	if err := os.WriteFile(course, []byte(shortCourse), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := rideNow(t, "--course", course, "--fast", "--json")
	if code != 0 {
		t.Fatalf("%d: %s", code, errs)
	}
	var sum struct{ Files map[string]string }
	if err := json.Unmarshal([]byte(out[strings.LastIndex(strings.TrimSpace(out), "\n")+1:]), &sum); err != nil {
		t.Fatal(err)
	}
	return course, sum.Files
}

// A ride of the simulated rig is laid against the brief of its day, from its
// FIT file and from the program's own recording alike.
func TestDebriefOfABenchRide(t *testing.T) {
	course, files := riddenShort(t)
	var ridden []float64
	for _, kind := range []string{"fit", "recording"} {
		code, out, errs := debriefed(t.Context(), append(racer, files[kind], "--course", course, "--harder", "little", "--json")...)
		var s service.DebriefSheet
		if err := json.Unmarshal([]byte(out), &s); code != 0 || errs != "" || err != nil || strings.Count(out, "\n") != 1 {
			t.Fatalf("%s: %d %v %s", kind, code, err, errs)
		}
		a := s.Debrief.Against
		if s.Schema != service.DebriefSchema || s.Date != "2026-12-03" || s.Harder != "little" || a == nil || !a.Finished || len(a.Cues) < 3 || a.Split == nil || a.Best == nil {
			t.Fatalf("%s: %+v", kind, s)
		}
		if a.RiddenS < a.Low80S-60 || a.RiddenS > a.High80S+60 {
			t.Errorf("%s: ridden in %.0f s, forecast %.0f to %.0f", kind, a.RiddenS, a.Low80S, a.High80S)
		}
		ridden = append(ridden, a.RiddenS)
		sum := 0.0
		for _, p := range a.Split.Parts {
			sum += p.Seconds
		}
		if sum-a.OffS > 0.01 || a.OffS-sum > 0.01 {
			t.Errorf("%s: the parts make %.2f s of %.2f s", kind, sum, a.OffS)
		}
	}
	if d := ridden[0] - ridden[1]; d > 1.5 || d < -1.5 {
		t.Errorf("ridden in %.1f s by the FIT file, in %.1f s by the recording", ridden[0], ridden[1])
	}
	code, out, errs := debriefed(t.Context(), append(racer, files["fit"], "--course", course)...)
	for _, part := range []string{"DEBRIEF\n", "\nTHE RIDE\n", "\nAGAINST THE PLAN\n", "cue 1, ", "rider and power source", "\nWHAT IT TAUGHT\n", "\nTHE ROAD\n", "cannot say, because", "Could you have gone harder?"} {
		if code != 0 || errs != "" || !strings.Contains(out, part) {
			t.Errorf("%d %s: no %q in\n%s", code, errs, part, out)
		}
	}
	narrow(t, out)
}

func narrow(t *testing.T, out string) {
	t.Helper()
	for line := range strings.Lines(out) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > checkWide {
			t.Errorf("a line of %d characters: %s", n, line)
		}
	}
}

// Of a file that is cut short is said what can be read; beside one that cannot
// be read, the rest of a folder is.
func TestDebriefOfBrokenFiles(t *testing.T) {
	_, files := riddenShort(t)
	data, err := os.ReadFile(files["fit"])
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cut := filepath.Join(dir, "cut.fit")
	for name, text := range map[string][]byte{cut: data[:len(data)/2], filepath.Join(dir, "diary.fit"): []byte("Dear diary")} {
		if err := os.WriteFile(name, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	code, out, errs := debriefed(t.Context(), cut)
	if code != 0 || errs != "" || !strings.Contains(out, "The recording is not whole") || !strings.Contains(out, "strongest ") {
		t.Errorf("%d %s%s", code, errs, out)
	}
	code, out, errs = debriefed(t.Context(), dir, "--json")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var season service.DebriefSeason
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &season); code != 0 || errs != "" || err != nil || len(lines) != 2 {
		t.Fatalf("%d %v %s%s", code, err, errs, out)
	}
	if season.Schema != service.DebriefSeasonSchema || season.Rides != 1 || len(season.LeftOut) != 1 || !strings.HasSuffix(season.LeftOut[0].File, "diary.fit") {
		t.Errorf("%+v", season)
	}
}

// A track without watts has its way and its heart rate.
func TestDebriefWithoutPower(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>`)
	at := time.Date(2026, 12, 1, 10, 0, 0, 0, time.UTC)
	for i := range 900 {
		fmt.Fprintf(&b, `<trkpt lat="%.5f" lon="-6.2"><ele>12</ele><time>%s</time></trkpt>`, 53.3+0.00007*float64(i), at.Add(time.Duration(i)*time.Second).Format(time.RFC3339))
	}
	b.WriteString(`</trkseg></trk></gpx>`)
	name := filepath.Join(t.TempDir(), "walk.gpx")
	if err := os.WriteFile(name, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{name}, append(slices.Clone(racer), name), append(slices.Clone(racer), name, "--json")} {
		code, out, errs := debriefed(t.Context(), args...)
		if code != 0 || errs != "" || !strings.Contains(out, "No power was recorded") {
			t.Errorf("%v: %d %s%s", args, code, errs, out)
		}
	}
}

func TestDebriefMisuse(t *testing.T) {
	dir := t.TempDir()
	diary := filepath.Join(dir, "diary.fit")
	if err := os.WriteFile(diary, []byte("Dear diary"), 0o600); err != nil {
		t.Fatal(err)
	}
	empty := filepath.Join(dir, "empty")
	if err := os.Mkdir(empty, 0o700); err != nil {
		t.Fatal(err)
	}
	for says, args := range map[string][]string{
		"nothing to look at":               {},
		"there is no such file":            {"nothing.fit"},
		"diary.fit: ":                      {diary},
		"holds no ride":                    {empty},
		"expected no, little or much":      append([]string{diary, "--harder", "maybe"}, racer...),
		"expected --rider FILE beside it":  {diary, "--rig", "../../demo/racer-rig.yaml"},
		"needs a rig":                      {diary, "--rider", "../../demo/racer.yaml", "--course", "../../demo/two-mills.csv"},
		"expected --course FILE beside it": append([]string{diary, "--event", "../../demo/harbour-time-trial.yaml"}, racer...),
		"expected differential":            append([]string{diary, "--recovery", "sleep"}, racer...),
		"61.6,61.1,0.55":                   append([]string{diary, "--weighed", "61,sixty"}, racer...),
		"nobody.yaml: there is no":         {diary, "--rider", "nobody.yaml"},
	} {
		code, out, errs := debriefed(t.Context(), args...)
		if code != 2 || out != "" || !strings.Contains(errs, says) || strings.Count(errs, "\n") > 2 {
			t.Errorf("%v: %d %s%s", args, code, out, errs)
		}
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if code, out, errs := debriefed(stopped, dir); code != 1 || out != "" || errs != "chainline: Stopped.\n" {
		t.Errorf("stopped: %d %s%s", code, out, errs)
	}
}

// TestDebriefText holds the report's form.
func TestDebriefText(t *testing.T) {
	got := debriefText(goldenSheet()) + "\n" + seasonText(service.DebriefSeason{Rides: 2, From: "2026-11-03", To: "2026-12-03", Numbers: goldenSheet().Debrief.Learnt.Numbers,
		Response: &debrief.Calendar{Days: []debrief.CalendarDay{{Day: 20790, Fitness: debrief.Interval{Mean: 0.52, Low80: 0.3, High80: 0.7}, Fatigue: debrief.Interval{Mean: 0.61, Low80: 0.4, High80: 0.8}, Net: debrief.Interval{Mean: -0.09, Low80: -0.3, High80: 0.1}}},
			Next: []debrief.Suggestion{{Day: 20791, Kind: "easy", Load: 0.3, Reason: "Yesterday cost twice a usual day."}}, Basis: "A published model; what you feel comes first."},
		LeftOut: []service.DebriefLeftOut{{File: "b.fit", Why: "b.fit: is the same recording as a.fit"}}})
	const golden = "testdata/debrief.txt"
	if *updateDebrief {
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
	narrow(t, got)
}

func goldenSheet() service.DebriefSheet {
	m := debrief.Measures{Whole: debrief.Stretch{ToS: 3700, MovingS: 3600, KnownS: 3600, ToM: 30000, WorkJ: 756000, MeanW: 210, EquivalentW: 221, WPerKg: 3.41, MeanHeart: 158, MaxHeart: 179, Speed: 8.33, AscentM: 310},
		ShareOfThreshold: 0.93, LoadTh: debrief.Interval{Mean: 0.86, Low80: 0.8, High80: 0.93},
		Bests:   []debrief.Best{{Seconds: 8, Watts: 402, Share: 0.5}, {Seconds: 300, Watts: 305, FromS: 1210, Share: 0.97}, {Seconds: 375, Watts: 288, FromS: 1190, Share: 0.96}, {Seconds: 2980, Watts: 215, FromS: 300, Share: 0.9}},
		Domains: &debrief.Domains{Moderate: debrief.Interval{Mean: 1200}, Heavy: debrief.Interval{Mean: 1800}, Severe: debrief.Interval{Mean: 590}, Extreme: debrief.Interval{Mean: 10}},
		Balance: &debrief.BalanceSeries{WPrime: 14300, Lowest: debrief.Interval{Mean: 3100, Low80: 1200, High80: 5200}, LowestAtS: 1512, LowestAtM: 12400},
		Drift:   &debrief.Drift{AtEqualW: 4.2, Minutes: 22, Words: "Compare only rides in the same room."},
		Cadence: &debrief.Cadence{Mean: 88, Low80: 82, High80: 94},
		Climbs:  []debrief.Stretch{{Name: "the long one", FromS: 1200, MovingS: 610, FromM: 9000, ToM: 12400, KnownS: 610, MeanW: 281, AscentM: 190, AscentRate: 1121, MeanHeart: 172}},
		Unsaid:  []string{"Power is missing for a part of the ride."}}
	against := &debrief.Against{Finished: true, RiddenS: 3590, ForecastS: 3540, Low80S: 3420, High80S: 3680, OffS: 50, Faster: 0.68, PausedS: 100, MeanOffW: -7, Line: make([]debrief.LinePoint, 1),
		Cues: []debrief.CueRidden{{Number: 1, Name: "Settle in", ToM: 9000, Ridden: true, PlannedW: 205, OffW: 3.4, OffS: -2.2, PlannedS: 1190}, {Number: 2, Name: "The climb", FromM: 9000, ToM: 12400, PlannedW: 290}},
		Split: &debrief.Split{OffS: 50, Parts: []debrief.Part{{Name: debrief.PartRiderSource, Seconds: 48, CouldBeS: 23, Why: "Watts shown against those planned."},
			{Name: debrief.PartStart, Seconds: 2, Why: "Away two seconds late."}}},
		Best: &debrief.BestRide{Share: 0.97, CriticalPower: 231, WPrime: 13900, TimeS: 3540, SavedS: 50}}
	road := &debrief.RoadFit{Seconds: 3000, CdA: debrief.Fitted{Estimate: estimate.Estimate{Mean: 0.312}, Low95: 0.298, High95: 0.326}, Crr: debrief.Fitted{Unsaid: "the ride was too steady"}, Shelter: debrief.Fitted{Unsaid: "nobody was near"}}
	learnt := &debrief.Learning{Sentence: "Your threshold is now taken as 236 W, 2 W less than before.", Numbers: []debrief.Moved{
		{Name: "threshold", Unit: "W", Before: debrief.Interval{Mean: 238, Low80: 228, High80: 248}, After: debrief.Interval{Mean: 236, Low80: 228, High80: 244}},
		{Name: "W′", Unit: "J", Before: debrief.Interval{Mean: 14300, Low80: 11900, High80: 16600}, After: debrief.Interval{Mean: 14100, Low80: 12000, High80: 16100}}}}
	return service.DebriefSheet{File: "rides/evening.fit", Kind: "FIT", Number: 2, Date: "2026-12-03", Rider: "Ilse Verdonk", Cleaned: true, Losses: []string{"12 bytes at the end could not be read"},
		Changes: []recording.Change{{Kind: recording.Spike, Quantity: recording.Power, Source: "crank", From: 605, To: 605, Was: []recording.Reading{{Seconds: 605, Value: 4000}}, Why: "4000 W between 150 W and 152 W"},
			{Kind: recording.Stopped, From: 700, To: 800, Why: "nothing moved for 100 s"}},
		Notes: []string{"What was known before the ride is asked: 1 of the evidence is of its day or later and was left out."},
		Debrief: debrief.Debrief{Title: "An evening", StartUnix: 1796324700, Source: "crank", Recovered: true, Measures: m, Against: against, Road: road, Learnt: learnt,
			Weighed: &debrief.Weighed{Sentence: "You lost 0.90 l/h. For the next ride 0.80 to 1.00 l/h are expected.", Caution: "You lost 2.4 % of your mass."}}}
}

// What is left out is in nothing that is handed over; the ride that is written
// is the one that was looked at.
func TestDebriefHandedOn(t *testing.T) {
	_, files := riddenShort(t)
	for _, ending := range []string{".fit", ".csv", ".recording"} {
		to := filepath.Join(t.TempDir(), "handed"+ending)
		code, out, errs := debriefed(t.Context(), append(racer, files["fit"], "--without", "heart_rate,mass,name", "--out", to, "--json")...)
		if code != 0 || errs != "" {
			t.Fatalf("%s: %d %s", ending, code, errs)
		}
		for _, secret := range []string{"Ilse", "w_per_kg", "mean_heart", "trimp", "heart_drift"} {
			if strings.Contains(out, secret) {
				t.Errorf("%s: %q is told", ending, secret)
			}
		}
		code, out, errs = debriefed(t.Context(), to)
		if code != 0 || errs != "" || strings.Contains(out, "heart ") || !strings.Contains(out, "strongest ") {
			t.Errorf("%s: %d %s%s", ending, code, errs, out)
		}
	}
	other := filepath.Join(t.TempDir(), "other.csv")
	if err := os.WriteFile(other, []byte("time_s,power_w\n1,100\n2,110\n3,120\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for says, args := range map[string][]string{
		"ends in .fit, .csv or .recording": {files["fit"], "--out", "ride.txt"},
		"heart_rate, mass or name":         {files["fit"], "--without", "shoes"},
		"--out: belongs to a single ride":  {files["fit"], other, "--out", filepath.Join(t.TempDir(), "a.fit")},
	} {
		code, out, errs := debriefed(t.Context(), args...)
		if code != 2 || out != "" || !strings.Contains(errs, says) {
			t.Errorf("%v: %d %s%s", args, code, out, errs)
		}
	}
}
