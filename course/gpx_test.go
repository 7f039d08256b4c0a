package course

import (
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"strings"
	"testing"
)

func readTrack(t *testing.T, path string) Track {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	track, err := ReadGPX(f)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return track
}

func TestReadGPXMendsFaults(t *testing.T) {
	track := readTrack(t, "testdata/faults-1.0.gpx")
	if track.Name != "Empty first track" || track.Kind != "track" {
		t.Errorf("name %q, kind %q", track.Name, track.Kind)
	}
	got := [...]int{len(track.Points), track.Segments, track.Repeated, track.Missing, track.Absurd, track.Spikes}
	want := [...]int{11, 3, 1, 1, 2, 1}
	if got != want {
		t.Errorf("points, segments, repeated, missing, absurd, spikes = %v, want %v", got, want)
	}
	// 0.01 degrees of a meridian of the mean sphere, by hand.
	if gap := 0.01 * math.Pi / 180 * EarthRadius; math.Abs(track.Bridged-gap) > 0.01 {
		t.Errorf("bridged %.2f m, want %.2f", track.Bridged, gap)
	}
	// 100-101, 101-169, 103-105, 105-108, 108-118; the spike is still in it.
	if math.Abs(track.RecordedAscent-84) > 1e-9 {
		t.Errorf("recorded ascent %g, want 84", track.RecordedAscent)
	}
	filled := track.filled(track.along())
	for i, want := range []float64{100, 101, 102, 103, 104, 105, 106, 107, 108, 118, 117} {
		if math.Abs(filled[i]-want) > 1e-6 {
			t.Errorf("point %d has %.3f m, want %g", i, filled[i], want)
		}
	}
	notes := strings.Join(track.Notes(), "|")
	if want := "1.1 km between segments are not in the file: bridged by straight, even lines; the real road is longer and may be hillier" +
		"|3 points without a usable elevation: interpolated along the way|1 spike in the elevations removed"; notes != want {
		t.Errorf("notes %q\nwant  %q", notes, want)
	}
}

func TestReadGPXRoute(t *testing.T) {
	track := readTrack(t, "testdata/route-1.1.gpx")
	if track.Name != "Côte inventée" || track.Kind != "route" || len(track.Points) != 3 || track.known() != 3 {
		t.Errorf("%+v", track)
	}
	// Across the date line: 0.002 degrees of the parallel, not 359.998.
	if d, want := track.along()[1], 0.002*math.Pi/180*EarthRadius*math.Cos(47*math.Pi/180); math.Abs(d-want) > 0.01 {
		t.Errorf("%.2f m over the date line, want %.2f", d, want)
	}
}

func gpxOf(points string) string {
	return "<gpx version=\"1.1\">\n<trk><trkseg>\n" + points + "</trkseg></trk>\n</gpx>\n"
}

func TestReadGPXBroken(t *testing.T) {
	const a, b = "<trkpt lat=\"1\" lon=\"1\"><ele>5</ele></trkpt>\n", "<trkpt lat=\"1.001\" lon=\"1\"><ele>6</ele></trkpt>\n"
	cases := map[string]struct{ in, want string }{
		"empty":          {"", `line 1: no <gpx> element; expected a GPX document`},
		"text":           {"hello\n", `line 2: no <gpx> element; expected a GPX document`},
		"other":          {"<kml>\n", `line 1: the document is <kml>; expected <gpx>`},
		"version":        {"<gpx version=\"2.0\">", `line 1: GPX version "2.0"; expected 1.0 or 1.1`},
		"cut":            {"<gpx>\n<trk><trkseg>\n" + a, `line 4: the file ends in the middle; expected </gpx> at its end`},
		"cut tag":        {"<gpx>\n<trk", `line 2: the file ends in the middle; expected </gpx> at its end`},
		"mismatch":       {"<gpx>\n<trk></gpx>", `line 2: not well-formed XML (element <trk> closed by </gpx>)`},
		"not XML":        {"<gpx>\n<trk lat=1>", `line 2: not well-formed XML (unquoted or missing attribute value in element)`},
		"bad UTF-8":      {"<gpx>\n\xff\xfe", `line 2: not well-formed XML (invalid UTF-8)`},
		"UTF-16":         {"\xff\xfe<\x00", `line 1: the file is written in UTF-16; expected UTF-8`},
		"charset":        {"<?xml version=\"1.0\" encoding=\"koi8-r\"?>\n<gpx/>", `line 1: encoding "koi8-r" is not supported; expected UTF-8 or ISO-8859-1`},
		"no lat":         {gpxOf(a + "<trkpt lon=\"1\"/>\n"), `line 4: <trkpt> without lat: expected a latitude from -90 to 90 degrees`},
		"lat word":       {gpxOf("<trkpt lat=\"north\" lon=\"1\"/>\n"), `line 3: lat="north": expected a latitude from -90 to 90 degrees`},
		"lat high":       {gpxOf(a + b + "<trkpt lat=\"91.5\" lon=\"1\"/>\n"), `line 5: lat="91.5": expected a latitude from -90 to 90 degrees`},
		"lat NaN":        {gpxOf("<trkpt lat=\"NaN\" lon=\"1\"/>\n"), `line 3: lat="NaN": expected a latitude from -90 to 90 degrees`},
		"lon":            {gpxOf("<trkpt lat=\"1\" lon=\"-180.1\"/>\n"), `line 3: lon="-180.1": expected a longitude from -180 to 180 degrees`},
		"lon escape":     {gpxOf("<trkpt lat=\"1\" lon=\"&#x9b;31m&#10;\"/>\n"), `line 3: lon="31m": expected a longitude from -180 to 180 degrees`},
		"one point":      {gpxOf(a), `line 5: fewer than 2 distinct points; expected a track (trk) or a route (rte)`},
		"same point":     {gpxOf(a + a + a), `line 7: fewer than 2 distinct points; expected a track (trk) or a route (rte)`},
		"waypoints":      {"<gpx><wpt lat=\"1\" lon=\"1\"/><wpt lat=\"1\" lon=\"2\"/></gpx>", `line 1: fewer than 2 distinct points; expected a track (trk) or a route (rte); its waypoints are places, not a way`},
		"no elevation":   {gpxOf("<trkpt lat=\"1\" lon=\"1\"/>\n<trkpt lat=\"1\" lon=\"1.1\"/>\n"), `line 6: no point has an elevation: give its length and ascent as a route list shows them instead, or a CSV file distance_m,elevation_m`},
		"all absurd":     {gpxOf(strings.ReplaceAll(a+b, "<ele>", "<ele>-999")), `line 6: no point has an elevation from -500 to 9000 m: give its length and ascent as a route list shows them instead, or a CSV file distance_m,elevation_m`},
		"one elevation":  {gpxOf(a + "<trkpt lat=\"1\" lon=\"1.1\"/>\n"), `line 6: only one point has an elevation: give its length and ascent as a route list shows them instead, or a CSV file distance_m,elevation_m`},
		"far":            {gpxOf(a + "<trkpt lat=\"2\" lon=\"1\"/>\n"), `line 4: this point lies 111 km from the one before; expected at most 50 km`},
		"deep":           {"<gpx>\n" + strings.Repeat("<a>", 100), `line 2: elements are nested more than 64 deep`},
		"unknown entity": {"<gpx>\n&nbsp;</gpx>", `line 2: not well-formed XML (invalid character entity &nbsp;)`},
		"entity bomb": {"<?xml version=\"1.0\"?>\n<!DOCTYPE gpx [<!ENTITY a \"aaaaaaaaaa\">\n<!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;\">]>\n<gpx><trk><name>&b;</name>",
			`line 4: not well-formed XML (invalid character entity &b;)`},
		"external entity": {"<!DOCTYPE gpx [<!ENTITY x SYSTEM \"file:///etc/hostname\">]>\n<gpx><trk><name>&x;</name>",
			`line 2: not well-formed XML (invalid character entity &x;)`},
	}
	for name, c := range cases {
		_, err := ReadGPX(strings.NewReader(c.in))
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", name, err, c.want)
		}
	}
}

// endless repeats one text until n bytes were read, after a beginning.
func endless(begin, repeat string, n int64) io.Reader {
	return io.LimitReader(io.MultiReader(strings.NewReader(begin), &repeater{text: repeat}), n)
}

type repeater struct {
	text string
	at   int
}

func (r *repeater) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		k := copy(p[n:], r.text[r.at:])
		n += k
		r.at = (r.at + k) % len(r.text)
	}
	return n, nil
}

// A file of 200 MB is refused whatever it is filled with, in bounded memory.
func TestReadGPXBoundsMemory(t *testing.T) {
	cases := map[string]struct{ begin, repeat, want string }{
		"one text":      {"<gpx>", "a", "line 1: one tag, text or comment is larger than 1000 kB"},
		"one comment":   {"<gpx><!-- ", "<a>", "line 1: one tag, text or comment is larger than 1000 kB"},
		"one directive": {"<!DOCTYPE gpx [", "<!ENTITY a 'b'>", "line 1: one tag, text or comment is larger than 1000 kB"},
		"attributes":    {"<gpx><trk ", "a='' ", "line 1: one tag, text or comment is larger than 1000 kB"},
		"one name":      {"<", "a", "line 1: one tag, text or comment is larger than 1000 kB"},
		"elements":      {"<gpx>", "<aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa>" + strings.Repeat("b", 40_000) + "</aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa>", "line 1: the file is larger than 50 MB"},
		"nesting":       {"", "<gpx>", "line 1: elements are nested more than 64 deep"},
	}
	for name, c := range cases {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := ReadGPX(endless(c.begin, c.repeat, 200_000_000))
		runtime.ReadMemStats(&after)
		if err == nil || err.Error() != c.want {
			t.Errorf("%s: got %v, want %s", name, err, c.want)
		}
		// All that was ever allocated, freed or not: above what is live.
		if mb := float64(after.TotalAlloc-before.TotalAlloc) / 1e6; mb > 250 {
			t.Errorf("%s: allocated %.0f MB", name, mb)
		}
	}
}

func TestReadGPXTooManyPoints(t *testing.T) {
	// The limit of ReadGPX is a million; repeated points count as well.
	_, err := readGPX(endless("<gpx><trk><trkseg>", `<trkpt lat="1" lon="1"/>`, 60_000_000), 5000)
	if want := "line 1: more than 5000 points"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestSpikesNeedBothSides(t *testing.T) {
	cases := map[string]struct {
		elevations []float64 // of points 40 m apart
		spikes     int
	}{
		"one":             {[]float64{100, 102, 169, 103, 101}, 1},
		"a pit":           {[]float64{100, 102, 20, 103, 101}, 1},
		"three wide":      {[]float64{100, 102, 180, 182, 181, 103, 101}, 3},
		"two after other": {[]float64{100, 169, 103, 180, 104, 104}, 2},
		"a step":          {[]float64{100, 100, 167, 167, 167, 167, 167}, 0},
		"a hill of 45 %":  {[]float64{100, 118, 136, 118, 100}, 0},
		"small noise":     {[]float64{100, 114, 100, 114, 100}, 0},
	}
	for name, c := range cases {
		var b strings.Builder
		for i, z := range c.elevations {
			fmt.Fprintf(&b, "<trkpt lat=\"%.6f\" lon=\"5\"><ele>%g</ele></trkpt>\n", 40*float64(i)/111195.08, z)
		}
		track, err := ReadGPX(strings.NewReader(gpxOf(b.String())))
		if err != nil || track.Spikes != c.spikes {
			t.Errorf("%s: %d spikes, want %d (%v)", name, track.Spikes, c.spikes, err)
		}
	}
}

func TestTrackProfileNeedsElevations(t *testing.T) {
	for name, track := range map[string]Track{
		"nothing":    {},
		"unknown":    {Points: []Point{{Lat: 1}, {Lat: 2}}},
		"same place": {Points: []Point{{Lat: 1, Known: true}, {Lat: 1, Known: true}}},
	} {
		if _, _, err := track.Profile(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func FuzzReadGPX(f *testing.F) {
	for _, path := range []string{"testdata/faults-1.0.gpx", "testdata/route-1.1.gpx"} {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("\xef\xbb\xbf" + gpxOf("<trkpt lat=\"1\" lon=\"1\"><ele>1</ele></trkpt><trkpt lat=\"1.00001\" lon=\"1\"><ele>8999</ele></trkpt>")))
	f.Add([]byte("<gpx><trk><trkseg><trkpt lat=\"0x1p-2\" lon=\"-0\"><ele>1e3</ele>"))
	f.Add([]byte("<?xml version=\"1.0\" encoding=\"latin1\"?><gpx>\xe9</gpx>"))
	f.Fuzz(func(t *testing.T, data []byte) {
		track, err := ReadGPX(strings.NewReader(string(data)))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "line ") || strings.ContainsAny(err.Error(), "\n\r\x1b") {
				t.Fatalf("error %q", err)
			}
			return
		}
		p, s, err := track.Profile()
		if err != nil {
			t.Fatalf("Profile: %v", err)
		}
		checkReadProfile(t, p)
		if !(s.Ascent >= 0 && s.HalfWidth > 0) || math.IsNaN(s.Noise) {
			t.Fatalf("%+v", s)
		}
		track.Notes()
		Climbs(p)
		Sections(p)
	})
}

// checkReadProfile checks what every reader promises of a profile.
func checkReadProfile(t *testing.T, p Profile) {
	t.Helper()
	if len(p.Distance) < 2 || len(p.Distance) != len(p.Elevation) || p.Distance[0] != 0 {
		t.Fatalf("profile of %d distances and %d elevations", len(p.Distance), len(p.Elevation))
	}
	for i := 1; i < len(p.Distance); i++ {
		if !(p.Distance[i] > p.Distance[i-1]) || !(math.Abs(p.Gradient(i-1)) <= 1+1e-9) {
			t.Fatalf("piece %d: from %g to %g m, gradient %g", i, p.Distance[i-1], p.Distance[i], p.Gradient(i-1))
		}
	}
}
