package fitfile

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/filedef"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/proto"

	"chainline/internal/problem"
	"chainline/recording"
)

var all = flag.Bool("all", false, "damage the samples in every place that was asked for (minutes)")

// samples are the FIT files carried inside the FIT library's own module; they
// are read from the module cache and never copied, for their licence is not
// this program's.
func samples(t testing.TB) map[string][]byte {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	root := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	found := map[string][]byte{}
	err = filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".fit") {
			return err
		}
		name, _ := filepath.Rel(root, path)
		found[filepath.ToSlash(name)], err = os.ReadFile(path)
		return err
	})
	if err != nil || len(found) < 20 {
		t.Fatalf("%d samples below %s: %v", len(found), root, err)
	}
	return found
}

// sampleRides is what each sample that is an activity holds: rides, and
// records by the library's own account.
var sampleRides = map[string][]string{
	"TestEncode.fit":                                  {"unknown"},
	"big_activity.fit":                                {"road cycling"},
	"chained_Activity_activity_poolswim.fit":          {"stand up paddleboarding", "swimming"},
	"from_garmin_forums/triathlon_summary_first.fit":  {"swimming", "transition", "road cycling", "transition", "running"},
	"from_garmin_forums/triathlon_summary_last.fit":   {"swimming", "transition", "road cycling", "transition", "running"},
	"from_official_sdk/Activity.fit":                  {"stand up paddleboarding"},
	"from_official_sdk/ActivityDevFields.fit":         {"stand up paddleboarding"},
	"from_official_sdk/DeveloperData.fit":             {"unknown"},
	"from_official_sdk/HrmPluginTestActivity.fit":     {"walking"},
	"from_official_sdk/WithGearChangeData.fit":        {"unknown"},
	"from_official_sdk/activity_developerdata.fit":    {"road cycling"},
	"from_official_sdk/activity_lowbattery.fit":       {"road cycling"},
	"from_official_sdk/activity_multisport.fit":       {"road cycling", "running"},
	"from_official_sdk/activity_poolswim.fit":         {"swimming"},
	"from_official_sdk/activity_poolswim_with_hr.fit": {"swimming"},
	"from_official_sdk/activity_truncated.fit":        {"unknown"},
	"valid_only_contain_fileid.fit":                   {"unknown"},
}

// Every sample is read, or refused with one clear line.
func TestSamples(t *testing.T) {
	for name, data := range samples(t) {
		rides, losses, err := DecodeActivity(data, name)
		want, read := sampleRides[name]
		if !read {
			if err == nil {
				t.Errorf("%s: was read, %d rides", name, len(rides))
				continue
			}
			message, _ := problem.ForPerson(err)
			if !strings.HasPrefix(message, name+": a FIT file of type ") || !strings.HasSuffix(message, ", expected an activity") {
				t.Errorf("%s: refused with %q", name, message)
			}
			continue
		}
		var got []string
		for i, r := range rides {
			got = append(got, r.Recording.Sport)
			if r.Number != i+1 || !r.Recording.Whole {
				t.Errorf("%s: ride %d has the number %d, whole is %v", name, i+1, r.Number, r.Recording.Whole)
			}
			if err := r.Recording.Validate(); err != nil {
				t.Errorf("%s: ride %d: %v", name, i+1, err)
			}
		}
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %q, %v; want %q", name, got, err, want)
		}
		for _, l := range losses {
			if problem.OneLine(l.String()) != l.String() {
				t.Errorf("%s: a loss of more than one line: %q", name, l)
			}
		}
	}
}

// What the library's own decoder says of a sample is in the recording, record
// by record.
func TestSampleAgainstLibrary(t *testing.T) {
	name := "from_official_sdk/activity_lowbattery.fit"
	data := samples(t)[name]
	rides, _, err := DecodeActivity(data, name)
	if err != nil || len(rides) != 1 {
		t.Fatal(len(rides), err)
	}
	rec := &rides[0].Recording
	a, _ := decode(t, data)
	at := func(q recording.Quantity, when time.Time) (float64, bool) {
		c, _ := rec.Signal(q, "")
		i, ok := slices.BinarySearch(c.Seconds, float64(when.Unix())-rec.StartUnix)
		if !ok {
			return 0, false
		}
		return c.Values[i], true
	}
	seen := 0
	for _, r := range a.Records {
		for _, x := range []struct {
			q     recording.Quantity
			value float64
			known bool
		}{
			{recording.Power, float64(r.Power), r.Power != math.MaxUint16},
			{recording.HeartRate, float64(r.HeartRate), r.HeartRate != math.MaxUint8},
			{recording.Cadence, float64(r.Cadence), r.Cadence != math.MaxUint8},
			{recording.Position, r.DistanceScaled(), r.Distance != math.MaxUint32},
			{recording.Altitude, r.EnhancedAltitudeScaled(), r.EnhancedAltitude != math.MaxUint32},
		} {
			v, ok := at(x.q, r.Timestamp)
			if ok != x.known || ok && math.Abs(v-x.value) > 1e-9 {
				t.Fatalf("%s at %v: %g, %v; the library says %g, %v", x.q, r.Timestamp, v, ok, x.value, x.known)
			}
			if ok {
				seen++
			}
		}
	}
	if seen < 15000 {
		t.Errorf("only %d values compared", seen)
	}
	if n := len(rec.Laps("")); n != len(a.Laps) {
		t.Errorf("%d laps, the file has %d", n, len(a.Laps))
	}
}

// What this program writes it reads back: rows, laps, pauses, further sources,
// beats, zone.
func TestActivityRoundTrip(t *testing.T) {
	for _, o := range []Options{{}, {Source: "pedals"}} {
		r := ride(t)
		rides, losses, err := DecodeActivity(write(t, r, o), "/home/somebody/hill repeats.fit")
		if err != nil || len(rides) != 1 || len(losses) != 0 {
			t.Fatal(len(rides), losses, err)
		}
		got := &rides[0].Recording
		if got.StartUnix != 1_764_000_000 || got.ZoneSeconds != 3600 || got.Sport != "indoor cycling" || got.Title != "hill repeats" || !got.Whole {
			t.Errorf("%+v", got)
		}
		a, err1 := r.Rows(1)
		b, err2 := got.Rows(1)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		for _, q := range []recording.Quantity{recording.Power, recording.Cadence, recording.HeartRate, recording.Speed, recording.Position, recording.Altitude, recording.Latitude} {
			sameColumn(t, q, a, b)
		}
		further := map[string]string{"": "pedals", "pedals": "as ridden"}[o.Source]
		if c, ok := got.Signal(recording.Power, further); !ok || len(c.Values) < 750 {
			t.Errorf("the power of %q did not come back: %q", further, got.Sources(recording.Power))
		}
		if la, lb := r.Laps(""), got.Laps(""); len(la) != len(lb) || math.Abs(la[1].WorkJ-lb[1].WorkJ) > 0.01*la[1].WorkJ {
			t.Errorf("laps %+v, came back as %+v", la, lb)
		}
		if x, y := r.Totals("").Moving, got.Totals("").Moving; math.Abs(x-y) > 2 {
			t.Errorf("%g s outside pauses came back as %g", x, y)
		}
		x, _ := r.Signal(recording.RRInterval, "")
		y, _ := got.Signal(recording.RRInterval, "")
		if len(x.Values) != len(y.Values) {
			t.Errorf("%d beats came back as %d", len(x.Values), len(y.Values))
		}
	}
}

// sameColumn: the ride is written in rows that were rounded to the format's
// steps.
func sameColumn(t *testing.T, q recording.Quantity, a, b *recording.Table) {
	t.Helper()
	x, y := a.Column(q), b.Column(q)
	bad := 0
	for k := range x {
		if a.Paused[k] || k >= len(y) || math.IsNaN(x[k]) {
			continue
		}
		if math.IsNaN(y[k]) || math.Abs(x[k]-y[k]) > 0.51 {
			bad++
			if bad == 1 {
				t.Logf("%s row %d: %g came back as %g", q, k, x[k], y[k])
			}
		}
	}
	if bad > 3 { // at the seams of pauses and gaps a row may fall to the other side
		t.Errorf("%s: %d of %d rows came back otherwise", q, bad, len(x))
	}
}

// activityOf encodes a small activity of records with the given times, s; a
// negative one is a record without a time stamp.
func activityOf(t testing.TB, times []int, more ...proto.Message) []byte {
	t.Helper()
	fit := proto.FIT{Messages: []proto.Message{mesgdef.NewFileId(nil).SetType(typedef.FileActivity).
		SetManufacturer(typedef.ManufacturerDevelopment).SetTimeCreated(time.Unix(1_764_000_000, 0)).ToMesg(nil)}}
	for i, s := range times {
		r := mesgdef.NewRecord(nil).SetPower(uint16(100 + i))
		if s >= 0 {
			r.SetTimestamp(time.Unix(1_764_000_000+int64(s), 0))
		}
		fit.Messages = append(fit.Messages, r.ToMesg(nil))
	}
	fit.Messages = append(fit.Messages, more...)
	var b bytes.Buffer
	if err := encoder.New(&b).Encode(&fit); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func count(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// Time stamps that are missing or out of line are put right, and said.
func TestTimes(t *testing.T) {
	with := func(n int, change map[int]int) []int {
		s := count(n)
		for i, v := range change {
			s[i] = v
		}
		return s
	}
	cases := map[string]struct {
		times []int
		want  []float64 // seconds of the readings in their order; nil: 0, 1, 2 ...
		rides int
		said  string
		power []float64
	}{
		"in order":            {times: count(20), rides: 1},
		"one missing":         {times: with(20, map[int]int{5: -1}), rides: 1, said: "time stamps missing or impossible"},
		"one far ahead":       {times: with(20, map[int]int{5: 5000}), rides: 1, said: "time stamps missing or impossible"},
		"one years ahead":     {times: with(20, map[int]int{5: 400_000_000}), rides: 1, said: "time stamps missing or impossible"},
		"one behind":          {times: with(20, map[int]int{15: 3}), rides: 1, said: "time stamps missing or impossible"},
		"the first is wrong":  {times: with(20, map[int]int{0: 900_000}), rides: 1, said: "time stamps missing or impossible"},
		"the last is wrong":   {times: with(20, map[int]int{19: 900_000}), rides: 1, said: "time stamps missing or impossible"},
		"several missing":     {times: with(20, map[int]int{5: -1, 6: -1, 7: -1}), rides: 1, said: "3 records in 1 places"},
		"none has one":        {times: []int{-1, -1, -1, -1}, rides: 1, said: "time stamps missing or impossible"},
		"blocks out of order": {times: append(append(count(10), 20, 21, 22, 23, 24, 25), 10, 11, 12, 13, 14, 15, 16, 17, 18, 19), rides: 1, said: "the clock goes back"},
		"clock set":           {times: append(count(12), 900_000, 900_001, 900_002, 900_003, 900_004, 900_005, 900_006, 900_007, 900_008, 900_009, 900_010), rides: 2, said: "the clock jumps by days"},
	}
	for name, c := range cases {
		rides, losses, err := DecodeActivity(activityOf(t, c.times), "a.fit")
		if err != nil || len(rides) != c.rides {
			t.Errorf("%s: %d rides, %v", name, len(rides), err)
			continue
		}
		if said := fmt.Sprint(losses); !strings.Contains(said, c.said) {
			t.Errorf("%s: said %s", name, said)
		}
		if c.rides > 1 {
			continue
		}
		p, _ := rides[0].Recording.Signal(recording.Power, "")
		if len(p.Seconds) != len(c.times) {
			t.Errorf("%s: %d readings of %d records", name, len(p.Seconds), len(c.times))
			continue
		}
		for i, s := range p.Seconds {
			if math.Abs(s-float64(i)) > 1e-9 && name != "blocks out of order" {
				t.Errorf("%s: reading %d is at %g s", name, i, s)
			}
		}
	}
}

// Several sessions, balance with and without its side, pauses, zone, device.
func TestSessionsAndMarks(t *testing.T) {
	at := func(s int) time.Time { return time.Unix(1_764_000_000+int64(s), 0) }
	session := func(from, to int, sub typedef.SubSport) proto.Message {
		return mesgdef.NewSession(nil).SetStartTime(at(from)).SetTimestamp(at(to)).SetSport(typedef.SportCycling).SetSubSport(sub).ToMesg(nil)
	}
	event := func(s int, kind typedef.EventType) proto.Message {
		return mesgdef.NewEvent(nil).SetTimestamp(at(s)).SetEvent(typedef.EventTimer).SetEventType(kind).ToMesg(nil)
	}
	data := activityOf(t, count(100),
		mesgdef.NewRecord(nil).SetTimestamp(at(100)).SetPower(300).SetLeftRightBalance(typedef.LeftRightBalanceRight|48).ToMesg(nil),
		mesgdef.NewRecord(nil).SetTimestamp(at(101)).SetPower(301).SetLeftRightBalance(48).ToMesg(nil),
		event(20, typedef.EventTypeStopAll), event(30, typedef.EventTypeStart), event(101, typedef.EventTypeStopAll),
		mesgdef.NewLap(nil).SetStartTime(at(0)).SetTimestamp(at(10)).ToMesg(nil),
		mesgdef.NewLap(nil).SetStartTime(at(10)).SetTimestamp(at(60)).ToMesg(nil),
		mesgdef.NewDeviceInfo(nil).SetTimestamp(at(0)).SetDeviceType(uint8(typedef.AntplusDeviceTypeBikePower)).SetProductName("a brand").ToMesg(nil),
		session(60, 101, typedef.SubSportRoad), session(0, 60, typedef.SubSportIndoorCycling),
		mesgdef.NewActivity(nil).SetTimestamp(at(101)).SetLocalTimestamp(at(101-5*3600-1800)).ToMesg(nil))
	rides, losses, err := DecodeActivity(data, "two.fit")
	if err != nil || len(rides) != 2 {
		t.Fatal(len(rides), losses, err)
	}
	a, b := &rides[0].Recording, &rides[1].Recording
	if a.Sport != "indoor cycling" || b.Sport != "road cycling" || a.StartUnix != 1_764_000_000 || b.StartUnix != 1_764_000_060 || b.ZoneSeconds != -19800 {
		t.Errorf("%+v\n%+v", a, b)
	}
	if b.Title != "two (2)" || a.Used[recording.Power] != "meter" {
		t.Errorf("titled %q, power of %q", b.Title, a.Used[recording.Power])
	}
	var kinds []string
	for _, m := range a.Marks {
		kinds = append(kinds, fmt.Sprint(m.Kind, " ", m.Seconds))
	}
	if !slices.Equal(kinds, []string{"lap 10", "pause 20", "resume 30"}) || len(b.Marks) != 0 {
		t.Errorf("marks %q and %v", kinds, b.Marks)
	}
	c, _ := b.Signal(recording.LeftShare, "")
	if len(c.Values) != 1 || math.Abs(c.Values[0]-0.52) > 1e-12 || !strings.Contains(fmt.Sprint(losses), "which side") {
		t.Errorf("left share %v, said %v", c, losses)
	}
}

func TestReadActivityRefuses(t *testing.T) {
	workout := filedef.NewWorkout()
	workout.FileId.SetType(typedef.FileWorkout)
	fit := workout.ToFIT(nil)
	var b bytes.Buffer
	if err := encoder.New(&b).Encode(&fit); err != nil {
		t.Fatal(err)
	}
	for want, data := range map[string][]byte{
		"x.fit: not a FIT file, expected a FIT activity":           nil,
		"x.fit: not a FIT file, expected a FIT activity ":          []byte("time,power\n0,100\n"),
		"x.fit: a FIT file of type workout, expected an activity":  b.Bytes(),
		"x.fit: a FIT file without records, expected an activity":  activityOf(t, nil),
		"x.fit: a FIT file without records, expected an activity ": activityOf(t, nil)[:30],
	} {
		_, _, err := ReadActivity(bytes.NewReader(data), "x.fit")
		if message, _ := problem.ForPerson(err); !strings.HasPrefix(message, strings.TrimSpace(want)) {
			t.Errorf("%q, want %q", message, want)
		}
	}
}

func FuzzReadActivity(f *testing.F) {
	for name, data := range samples(f) {
		if len(data) < 4096 {
			f.Add(data)
		} else if strings.Contains(name, "lowbattery") {
			f.Add(data[:3000])
		}
	}
	f.Add(activityOf(f, []int{0, 1, -1, 3, 900_000, 5}))
	f.Fuzz(func(t *testing.T, data []byte) {
		rides, losses, err := DecodeActivity(data, "fuzz.fit")
		if err != nil && len(rides) > 0 || err == nil && len(rides) == 0 {
			t.Fatal(len(rides), err)
		}
		for _, r := range rides {
			if err := r.Recording.Validate(); err != nil {
				t.Fatal(err, losses)
			}
		}
	})
}

// BenchmarkReadActivity reads an hour with power, heart rate, cadence, speed,
// distance and altitude.
func BenchmarkReadActivity(b *testing.B) {
	data := hourFIT(b)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := DecodeActivity(data, "hour.fit"); err != nil {
			b.Fatal(err)
		}
	}
}

func hourFIT(b testing.TB) []byte {
	build := recording.NewBuilder("hour", 1_764_000_000, 0, "road cycling")
	rng := rand.New(rand.NewPCG(1, 1))
	for k := range 3600 {
		s := float64(k)
		for q, v := range map[recording.Quantity]float64{
			recording.Power: 200 + 60*rng.NormFloat64(), recording.HeartRate: 140 + 5*math.Sin(s/100), recording.Cadence: 88,
			recording.Speed: 9, recording.Position: 9 * s, recording.Altitude: 200 + 50*math.Sin(s/300),
		} {
			_ = build.Add(q, "meter", s, math.Max(0, v))
		}
	}
	rec := build.Recording(true)
	return write(b, &rec, Options{})
}
