package recording

import (
	"math"
	"strings"
	"testing"
)

// ride is four minutes with two power sources, a pause, a gap and three laps.
// The trainer shows 200 W throughout; it is silent from 100 s to 110 s.
func ride(t testing.TB) Recording {
	t.Helper()
	b := NewBuilder("Easy quarter", 1_764_000_000.5, 3600, "indoor cycling")
	add := func(q Quantity, source string, s, v float64) {
		if err := b.Add(q, source, s, v); err != nil {
			t.Fatal(err)
		}
	}
	mark := func(m Mark) {
		if err := b.Mark(m); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Use(Power, "trainer", 0, "watts come from trainer"); err != nil {
		t.Fatal(err)
	}
	for k := range 240 {
		s := float64(k)
		if k >= 150 && k < 180 { // paused
			continue
		}
		if k < 100 || k >= 110 {
			add(Power, "trainer", s, 200)
		}
		add(Power, "pedals", s+0.25, 210)
		add(Cadence, "pedals", s+0.25, 90-float64(k%2)*90*boolean(k < 10))
		add(HeartRate, "belt", s+0.5, 100+s/10)
		add(Speed, "ride", s, 10)
		add(Position, "ride", s, s*10)
		add(Altitude, "ride", s, 50+float64(k%20))
	}
	add(RRInterval, "belt", 1, 0.8)
	add(RRInterval, "belt", 1, 0.81)
	mark(Mark{0, Lap, "", "first"})
	mark(Mark{60, Lap, "", "second"})
	mark(Mark{120, Lap, "", "third"})
	mark(Mark{100, Lost, "trainer", "trainer is silent"})
	mark(Mark{110, Back, "trainer", ""})
	mark(Mark{150, Pause, "", ""})
	mark(Mark{180, Resume, "", ""})
	mark(Mark{240, Note, "", "finished"})
	return b.Recording(true)
}

func boolean(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) && !(math.IsNaN(got) && math.IsNaN(want)) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

func TestTotals(t *testing.T) {
	r := ride(t)
	if err := r.Validate(); err != nil {
		t.Fatal(err)
	}
	a := r.Totals("")
	near(t, "elapsed", a.Elapsed, 240, 0)
	near(t, "moving", a.Moving, 210, 1e-9)
	// the reading at 99 s stands for 3 s, so 102 s to 110 s are a gap
	near(t, "power known", a.PowerKnown, 202, 1e-9)
	near(t, "work", a.WorkJ, 202*200, 1e-6)
	near(t, "mean power", a.MeanW, 200, 1e-9)
	near(t, "seconds with watts", float64(len(a.Watts)), 202, 0)
	near(t, "highest power", a.MaxW, 200, 1e-9)
	near(t, "cadence of turning cranks", a.MeanCadence, 90, 1e-9)
	near(t, "distance", a.DistanceM, 2390, 1e-9)
	near(t, "highest speed", a.MaxSpeed, 10, 1e-9)
	p := r.Totals("pedals")
	near(t, "pedals' mean", p.MeanW, 210, 1e-9)
	if none := r.Totals("hub"); !math.IsNaN(none.WorkJ) || !math.IsNaN(none.MaxW) || len(none.Watts) != 0 {
		t.Errorf("a source that is not there has watts: %+v", none)
	}
	laps := r.Laps("")
	if len(laps) != 3 || laps[1].Words != "second" {
		t.Fatalf("%d laps", len(laps))
	}
	sum, moving, way, up := 0.0, 0.0, 0.0, 0.0
	for _, l := range laps {
		up += l.AscentM
		sum, moving, way = sum+l.WorkJ, moving+l.Moving, way+l.DistanceM
	}
	near(t, "laps' work", sum, a.WorkJ, 1e-6)
	near(t, "laps' time", moving, a.Moving, 1e-9)
	near(t, "ascent", a.AscentM, 10*19+9, 1e-9) // ten rises, and one that the pause cuts
	near(t, "laps' ascent", up, a.AscentM, 1e-9)
	near(t, "laps' distance", way, a.DistanceM, 1e-9)
	empty := Recording{}
	if e := empty.Totals(""); e.Elapsed != 0 || !math.IsNaN(e.MeanW) || len(empty.Laps("")) != 1 {
		t.Errorf("an empty recording: %+v", e)
	}
}

func TestRowsKeepGaps(t *testing.T) {
	r := ride(t)
	rows, err := r.Rows(1)
	if err != nil {
		t.Fatal(err)
	}
	if len(rows.Seconds) != 240 {
		t.Fatalf("%d rows", len(rows.Seconds))
	}
	w := rows.Column(Power)
	work := 0.0
	for k, s := range rows.Seconds {
		if gap := s > 102 && s <= 110; gap != math.IsNaN(w[k]) && !rows.Paused[k] {
			t.Errorf("second %g: power %g", s, w[k])
		}
		if paused := s > 150 && s <= 180; paused != rows.Paused[k] {
			t.Errorf("second %g: paused %v", s, rows.Paused[k])
		}
		if !math.IsNaN(w[k]) && !rows.Paused[k] {
			work += w[k]
		}
	}
	near(t, "rows' work", work, r.Totals("").WorkJ, 1e-6)
	near(t, "position at 5 s", rows.Column(Position)[4], 50, 0)
	near(t, "heart at 11 s", rows.Column(HeartRate)[10], 0.5*101+0.5*100.9, 1e-9)
	late := Recording{Channels: []Channel{{HeartRate, "belt", []float64{0.7, 1.7}, []float64{100, 110}}}, Marks: []Mark{{2, Note, "", ""}}}
	if rows, _ := late.Rows(1); !math.IsNaN(rows.Column(HeartRate)[0]) || math.IsNaN(rows.Column(HeartRate)[1]) {
		t.Errorf("a row of which 0.3 s are known: %v", rows.Column(HeartRate))
	}
	for _, every := range []float64{0, -1, math.NaN(), 0.01, 1e9} {
		if _, err := r.Rows(every); err == nil {
			t.Errorf("rows every %g s", every)
		}
	}
}

// TestSwitchedPower: power follows the source the ride went by at each time.
func TestSwitchedPower(t *testing.T) {
	r := ride(t)
	r.Used[Power] = "pedals"
	for _, marked := range []bool{true, false} { // whether the first source was marked too
		r.Marks = []Mark{{0, Switched, "trainer", ""}, {120, Switched, "pedals", ""}}
		if !marked {
			r.Marks = r.Marks[1:]
		}
		rows, err := r.Rows(1)
		if err != nil {
			t.Fatal(err)
		}
		w := rows.Column(Power)
		near(t, "before", w[50], 200, 1e-9)
		near(t, "after", w[130], 210, 1e-9)
		columns := 0
		for _, c := range rows.Columns {
			if c.Quantity == Power {
				columns++
			}
		}
		if columns != 3 {
			t.Errorf("%d columns of power, want what was used and both sources", columns)
		}
	}
}

func TestBuilderOrders(t *testing.T) {
	b := NewBuilder("", 0, 0, "")
	for _, s := range []float64{3, 1, 2, 2, 5, 4, 3} {
		if err := b.Add(Power, "a", s, 100*s); err != nil {
			t.Fatal(err)
		}
	}
	for range 4 {
		if err := b.Add(RRInterval, "a", 2, 0.8); err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range []float64{9, 1, 9} {
		if err := b.Mark(Mark{Seconds: s, Kind: Note}); err != nil {
			t.Fatal(err)
		}
	}
	r := b.Recording(false)
	if err := r.Validate(); err != nil {
		t.Fatal(err)
	}
	if n := len(r.Channels[0].Values); n != 5 || b.Repeated != 2 {
		t.Errorf("%d readings, %d repeated", n, b.Repeated)
	}
	for i, s := range r.Channels[0].Seconds {
		near(t, "value", r.Channels[0].Values[i], 100*s, 0)
	}
	if n := len(r.Channels[1].Values); n != 4 {
		t.Errorf("%d beats of one message, want 4", n)
	}
	for _, bad := range [][2]float64{{-1, 1}, {math.NaN(), 1}, {1, math.Inf(1)}, {1, math.NaN()}, {1e7, 1}} {
		if err := b.Add(Power, "a", bad[0], bad[1]); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
	before := len(r.Channels[0].Values)
	_ = b.Add(Power, "a", 100, 1)
	if len(r.Channels[0].Values) != before {
		t.Error("a recording given out still grows")
	}
}

func TestValidate(t *testing.T) {
	for want, spoil := range map[string]func(*Recording){
		"rise strictly":     func(r *Recording) { r.Channels[0].Seconds[3] = r.Channels[0].Seconds[2] },
		"times for":         func(r *Recording) { r.Channels[0].Values = r.Channels[0].Values[1:] },
		"a gap is left out": func(r *Recording) { r.Channels[0].Values[3] = math.NaN() },
		"stands twice":      func(r *Recording) { r.Channels = append(r.Channels, r.Channels[0]) },
		"no channel":        func(r *Recording) { r.Used[Cadence] = "nobody" },
		"marks stand":       func(r *Recording) { r.Marks[0].Seconds = 200 },
		"start":             func(r *Recording) { r.StartUnix = math.NaN() },
		"zone":              func(r *Recording) { r.ZoneSeconds = 90000 },
		"is named by":       func(r *Recording) { r.Channels[0].Quantity = "Watts!" },
		"bytes":             func(r *Recording) { r.Title = strings.Repeat("x", 2000) },
		"expected 0 to":     func(r *Recording) { r.Channels[0].Seconds[0] = -1 },
	} {
		r := ride(t)
		spoil(&r)
		if err := r.Validate(); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", want, err)
		}
	}
}

func TestWriteCSV(t *testing.T) {
	r := ride(t)
	var b strings.Builder
	if err := r.WriteCSV(&b, 1); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	for k, want := range map[int]string{
		0:   "seconds,paused,power_w,power_w:pedals,cadence_rpm,heart_rate_bpm,speed_m_s,position_m,altitude_m,marks",
		1:   "1,0,200.0,210.0,90.0,100.0,10.000,10.00,51.00,switched trainer: watts come from trainer; lap: first",
		105: "105,0,,210.0,90.0,110.3,10.000,1050.00,55.00,",
		160: "160,1,,,,,,,,",
		240: "240,0,200.0,210.0,90.0,123.8,10.000,2390.00,69.00,note: finished",
	} {
		if lines[k] != want {
			t.Errorf("line %d:\n%s\nwant\n%s", k, lines[k], want)
		}
	}
	if len(lines) != 241 {
		t.Errorf("%d lines", len(lines))
	}
}
