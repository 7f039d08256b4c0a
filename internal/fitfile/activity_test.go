package fitfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/profile/filedef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"

	"chainline/recording"
)

// ride is an invented quarter of an hour: two sources of power, a pause, a
// gap, laps, beats, a place on the earth.
func ride(t testing.TB) *recording.Recording {
	t.Helper()
	b := recording.NewBuilder("Hill repeats", 1_764_000_000.4, 3600, "indoor cycling")
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(b.Use(recording.Power, "trainer", 0, ""))
	way := 0.0
	for k := range 900 {
		s := float64(k)
		if k >= 400 && k < 460 {
			continue
		}
		w := 180 + 80*float64(k/60%2) + float64(k*7919%23)
		if k < 600 || k >= 620 { // silent for twenty seconds
			must(b.Add(recording.Power, "trainer", s+0.3, w))
		}
		must(b.Add(recording.Power, "pedals", s+0.1, w*1.03))
		must(b.Add(recording.Cadence, "pedals", s+0.1, 85+float64(k%7)))
		must(b.Add(recording.HeartRate, "belt", s+0.7, 110+s/30))
		must(b.Add(recording.RRInterval, "belt", s+0.7, 0.5+float64(k%50)/1000))
		if k%3 == 0 {
			must(b.Add(recording.RRInterval, "belt", s+0.7, 0.45))
		}
		v := 8 + float64(k%10)/10
		way += v
		must(b.Add(recording.Speed, "ride", s, v))
		must(b.Add(recording.Position, "ride", s, way))
		must(b.Add(recording.Altitude, "ride", s, 100+way/50))
		must(b.Add(recording.Latitude, "ride", s, 10+way*1e-5))
		must(b.Add(recording.Longitude, "ride", s, -20-way*1e-5))
	}
	for _, m := range []recording.Mark{
		{Seconds: 0, Kind: recording.Lap, Words: "easy"},
		{Seconds: 300.5, Kind: recording.Lap, Words: "hard"},
		{Seconds: 400, Kind: recording.Pause},
		{Seconds: 460, Kind: recording.Resume},
		{Seconds: 700, Kind: recording.Lap, Words: "easy"},
		{Seconds: 900, Kind: recording.Note, Words: "finished"},
	} {
		must(b.Mark(m))
	}
	r := b.Recording(true)
	return &r
}

func write(t testing.TB, r *recording.Recording, o Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Activity(&b, r, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// decode reads with the library that wrote: good for what the other decoders
// do not look at.
func decode(t testing.TB, data []byte) (*filedef.Activity, *proto.FIT) {
	t.Helper()
	fit, err := decoder.New(bytes.NewReader(data)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	return filedef.NewActivity(fit.Messages...), fit
}

func TestActivityMessages(t *testing.T) {
	r := ride(t)
	data := write(t, r, Options{})
	a, fit := decode(t, data)
	if !bytes.Equal(data, write(t, r, Options{})) {
		t.Error("the same recording, other bytes")
	}
	var last uint32
	for _, m := range fit.Messages { // in the order of the file
		if f := m.FieldByNum(253); f != nil {
			if at := f.Value.Uint32(); at < last {
				t.Fatalf("%v at %d after %d", m.Num, at, last)
			} else {
				last = at
			}
		}
		if m.Header&proto.MesgCompressedHeaderMask == proto.MesgCompressedHeaderMask {
			t.Fatal("a compressed timestamp")
		}
	}
	inOrder(t, fit)
	if local := a.Activity.LocalTimestamp.Sub(a.Activity.Timestamp).Seconds(); local != 3600 {
		t.Errorf("local time is %g s from UTC", local)
	}
	var timer []string
	for _, e := range a.Events {
		timer = append(timer, fmt.Sprint(e.EventType, " ", e.Timestamp.Unix()-1_764_000_000))
	}
	if got := strings.Join(timer, ", "); got != "start 0, stop_all 400, start 460, stop_all 900" {
		t.Error("timer:", got)
	}
	beats := 0
	for _, h := range a.HRVs {
		for _, ms := range h.Time {
			if ms != math.MaxUint16 {
				beats++
			}
		}
	}
	if beats != 840+280 {
		t.Errorf("%d beats, want 1120", beats)
	}
	laps, work := 0.0, 0.0
	for _, l := range a.Laps {
		laps += l.TotalTimerTimeScaled()
		work += float64(l.TotalWork)
	}
	s := a.Sessions[0]
	if len(a.Laps) != 3 || math.Abs(laps-s.TotalTimerTimeScaled()) > 0.002 || math.Abs(work-float64(s.TotalWork)) > 2 {
		t.Errorf("%d laps of %g s and %g J; the session has %g s and %d J", len(a.Laps), laps, work, s.TotalTimerTimeScaled(), s.TotalWork)
	}
}

// inOrder: of one instant the record comes first, then its beats, then the
// timer's stop, then the lap.
func inOrder(t *testing.T, fit *proto.FIT) {
	t.Helper()
	before := typedef.MesgNum(mesgnum.FileId)
	lapped := map[uint32]bool{}
	for _, m := range fit.Messages {
		switch m.Num {
		case mesgnum.Hrv:
			if before != mesgnum.Record && before != mesgnum.Hrv {
				t.Errorf("beats behind message %v", before)
			}
		case mesgnum.Lap:
			lapped[m.FieldByNum(253).Value.Uint32()] = true
		case mesgnum.Record, mesgnum.Event:
			// the lap at 300.5 s stands on a second that its own record follows
			at := m.FieldByNum(253).Value.Uint32()
			if lapped[at] && at != 1_764_000_301-fitEpoch {
				t.Errorf("message %v at %d behind the lap of that second", m.Num, at)
			}
		}
		before = m.Num
	}
}

// TestEachSourceByItself: every source of power can be the one shown, and the
// others stand beside it.
func TestEachSourceByItself(t *testing.T) {
	r := ride(t)
	r.Marks = append([]recording.Mark{{Seconds: 0, Kind: recording.Switched, Source: "trainer"}}, r.Marks...)
	r.Marks = append(r.Marks, recording.Mark{Seconds: 900, Kind: recording.Switched, Source: "trainer"})
	both := *r
	both.Marks = nil
	for _, m := range r.Marks {
		if both.Marks = append(both.Marks, m); m.Seconds == 460 {
			both.Marks = append(both.Marks, recording.Mark{Seconds: 602, Kind: recording.Switched, Source: "pedals"},
				recording.Mark{Seconds: 625, Kind: recording.Switched, Source: "trainer"})
		}
	}
	for _, c := range []struct {
		rec    *recording.Recording
		source string
		fields string
		gap    bool // in the twenty seconds
	}{
		{r, "", "power pedals", true},
		{r, "trainer", "power pedals", true},
		{r, "pedals", "power as ridden", false},
		{&both, "", "power trainer, power pedals", false},
		{&both, "trainer", "power as ridden, power pedals", true},
		{&both, "pedals", "power as ridden, power trainer", false},
	} {
		a, _ := decode(t, write(t, c.rec, Options{Source: c.source}))
		var fields []string
		for _, f := range a.FieldDescriptions {
			fields = append(fields, strings.Join(f.FieldName, ""))
		}
		if got := strings.Join(fields, ", "); got != c.fields {
			t.Errorf("%q: developer fields %s; want %s", c.source, got, c.fields)
		}
		sum, gap := 0.0, false
		for _, rec := range a.Records {
			if rec.Power == math.MaxUint16 {
				gap = true
				continue
			}
			sum += float64(rec.Power)
		}
		total := c.rec.Totals(c.source)
		if math.Abs(sum-total.WorkJ) > 0.5*840+300 || uint32(math.Round(total.WorkJ)) != a.Sessions[0].TotalWork || gap != c.gap {
			t.Errorf("%q: records come to %g J, the session to %d J, the recording to %g J; gap %v", c.source, sum, a.Sessions[0].TotalWork, total.WorkJ, gap)
		}
	}
}

func TestActivityRefuses(t *testing.T) {
	early := ride(t)
	early.StartUnix = 1000
	broken := ride(t)
	broken.Channels[0].Seconds[1] = 0
	crowded := ride(t)
	crowded.Marks = nil
	for k := range 5000 {
		crowded.Marks = append(crowded.Marks, recording.Mark{Seconds: float64(k+1) / 10, Kind: recording.Lap})
	}
	for want, c := range map[string]struct {
		rec *recording.Recording
		o   Options
	}{
		"before 1990":          {early, Options{}},
		"rise strictly":        {broken, Options{}},
		"no power was":         {ride(t), Options{Source: "hub"}},
		"nothing was recorded": {&recording.Recording{StartUnix: 1.7e9}, Options{}},
		"5001 laps":            {crowded, Options{}},
	} {
		if err := Activity(io.Discard, c.rec, c.o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
	if err := Activity(full{}, ride(t), Options{}); !errors.Is(err, errFull) {
		t.Errorf("a full disk: %v", err)
	}
}

type full struct{}

var errFull = errors.New("no space left")

func (full) Write([]byte) (int, error) { return 0, errFull }

// TestActivityAnything: whatever a valid recording holds, the file is whole,
// and what the format cannot hold is left out.
func TestActivityAnything(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 9))
	quantities := []recording.Quantity{recording.Power, recording.Cadence, recording.HeartRate, recording.Speed, recording.Position,
		recording.Altitude, recording.Latitude, recording.Longitude, recording.Gradient, recording.LeftShare, recording.RRInterval}
	kinds := []recording.MarkKind{recording.Lap, recording.Pause, recording.Resume, recording.Switched, recording.Note}
	names := []string{"a", "", "ride", strings.Repeat("sensor ☃ ", 30), "nul\x00", "\xff"}
	for round := range 300 {
		b := recording.NewBuilder("", 1.7e9+random.Float64(), random.IntN(9)*1800, names[random.IntN(3)])
		for range random.IntN(300) {
			v := random.NormFloat64() * math.Pow(10, float64(random.IntN(12)-3))
			_ = b.Add(quantities[random.IntN(len(quantities))], names[random.IntN(len(names))], random.Float64()*60, v)
		}
		for range random.IntN(12) {
			_ = b.Mark(recording.Mark{Seconds: random.Float64() * 60, Kind: kinds[random.IntN(len(kinds))], Source: names[random.IntN(len(names))]})
		}
		r := b.Recording(false)
		var out bytes.Buffer
		if err := Activity(&out, &r, Options{}); err != nil {
			if r.End() > 0 {
				t.Fatalf("round %d: %v", round, err)
			}
			continue
		}
		a, _ := decode(t, out.Bytes())
		if len(a.Sessions) != 1 || len(a.Laps) == 0 || a.Activity == nil || len(a.Records) > 60 {
			t.Fatalf("round %d: %d sessions, %d laps, %d records", round, len(a.Sessions), len(a.Laps), len(a.Records))
		}
	}
}

func BenchmarkActivity(b *testing.B) {
	r := ride(b)
	for b.Loop() {
		if err := Activity(io.Discard, r, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
