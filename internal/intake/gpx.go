package intake

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"chainline/internal/problem"
	"chainline/recording"
)

const (
	gpxDepth = 64
	gpxRides = 100
)

// readGPX reads the tracks of a GPX document whose points have times; each
// track is a ride. What sensors said is found by the local name of an element,
// in whatever namespace and however deep in a point it stands: power or watts,
// hr or heartrate, cad or cadence, speed, distance. Between segments the ride
// is taken to pause. A document that breaks off is read as far as it goes.
func readGPX(name string, data []byte) ([]Arrived, error) {
	g := &gpxReader{file: name, decoder: xml.NewDecoder(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))))}
	g.decoder.CharsetReader = charset
	broken := g.read()
	var out []Arrived
	for i, t := range g.tracks {
		if len(t.table.at) == 0 || t.timed == 0 {
			continue
		}
		title := clip(t.name)
		if title == "" {
			title = titleOf(name)
		}
		rec, losses := t.recording(title, t.sport())
		if broken != nil {
			rec.Whole = false
			losses = append([]string{broken.Error() + "; what came before is kept"}, losses...)
		}
		losses = append(losses, g.losses...)
		if len(g.tracks) > 1 {
			for j := range losses {
				losses[j] = fmt.Sprintf("track %d: %s", i+1, losses[j])
			}
		}
		out = append(out, Arrived{Kind: "GPX", Recording: rec, Losses: losses})
	}
	switch {
	case len(out) > 0:
		return out, nil
	case broken != nil:
		return nil, problem.Bad("%s: %v", name, broken)
	case g.points > 0:
		return nil, problem.Bad("%s: none of its %d points has a time; expected a ridden track, this is a course", name, g.points)
	}
	return nil, problem.Bad("%s: no track points; expected a ridden track (trk, trkseg, trkpt)", name)
}

func titleOf(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		name = name[:i]
	}
	return clip(name)
}

// gpxReader follows the open elements through a document.
type gpxReader struct {
	file    string
	decoder *xml.Decoder
	path    []string
	depth   int // of the open point within path; 0: none
	value   []byte
	tracks  []*track
	points  int
	losses  []string
	bad     int // values that are no numbers
}

// track is one trk element.
type track struct {
	name, kind string
	table      table
	lines      []int
	timed      int
	segment    bool // a new one has begun
	way        float64
	lat, lon   float64 // of the point before
	placed     bool
}

func (g *gpxReader) errorf(format string, args ...any) error {
	line, _ := g.decoder.InputPos()
	return fmt.Errorf("line %d: "+format, append([]any{line}, args...)...)
}

// read goes through the document; the error is where and why it broke off.
func (g *gpxReader) read() error {
	for {
		token, err := g.decoder.RawToken()
		switch {
		case err == io.EOF && len(g.path) > 0:
			return g.errorf("the file ends in the middle; expected </gpx> at its end")
		case err == io.EOF:
			return nil
		case err != nil:
			var syntax *xml.SyntaxError
			if errors.As(err, &syntax) {
				if syntax.Msg == "unexpected EOF" {
					return g.errorf("the file ends in the middle; expected </gpx> at its end")
				}
				return g.errorf("not well-formed XML (%s)", clip(syntax.Msg))
			}
			return g.errorf("%s", clip(err.Error()))
		}
		switch t := token.(type) {
		case xml.StartElement:
			err = g.open(t)
		case xml.EndElement:
			err = g.close(t)
		case xml.CharData:
			if len(g.value) < 64 {
				g.value = append(g.value, t[:min(len(t), 64)]...)
			}
		}
		if err != nil {
			return err
		}
	}
}

func (g *gpxReader) last() *track { return g.tracks[len(g.tracks)-1] }

func (g *gpxReader) open(t xml.StartElement) error {
	local := t.Name.Local
	g.value = g.value[:0]
	if len(g.path) == 0 && local != "gpx" {
		return g.errorf("the document is <%s>; expected <gpx>", clip(local))
	}
	if len(g.path) >= gpxDepth {
		return g.errorf("elements are nested more than %d deep", gpxDepth)
	}
	g.path = append(g.path, local)
	switch {
	case len(g.path) == 2 && local == "trk":
		if len(g.tracks) >= gpxRides {
			return g.errorf("more than %d tracks", gpxRides)
		}
		g.tracks = append(g.tracks, &track{})
	case len(g.path) == 3 && local == "trkseg" && len(g.tracks) > 0:
		g.last().segment = true
	case len(g.path) == 4 && local == "trkpt" && g.path[1] == "trk":
		return g.point(t)
	}
	return nil
}

func (g *gpxReader) point(t xml.StartElement) error {
	if g.points++; g.points > maxRows {
		return g.errorf("more than %d points", maxRows)
	}
	k := g.last()
	line, _ := g.decoder.InputPos()
	k.lines = append(k.lines, line)
	k.table.at = append(k.table.at, math.NaN())
	g.depth = len(g.path)
	lat, lon := math.NaN(), math.NaN()
	for _, a := range t.Attr {
		switch a.Name.Local {
		case "lat":
			lat = g.degrees("lat", a.Value, 90)
		case "lon":
			lon = g.degrees("lon", a.Value, 180)
		}
	}
	if !math.IsNaN(lat) && !math.IsNaN(lon) && (lat != 0 || lon != 0) { // 0, 0 is what a device without a fix says
		k.table.put(recording.Latitude, "recorded", lat)
		k.table.put(recording.Longitude, "recorded", lon)
		if k.placed {
			k.way += metres(k.lat, k.lon, lat, lon)
		}
		k.lat, k.lon, k.placed = lat, lon, true
		k.table.put(recording.Position, "by places", k.way)
	}
	return nil
}

func (g *gpxReader) degrees(name, value string, limit float64) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	if err != nil || !(math.Abs(v) <= limit) {
		g.lose("%s=%q: expected degrees from -%g to %g", name, clip(value), limit, limit)
		return math.NaN()
	}
	return v
}

// lose notes a value that is left out; the first few are quoted.
func (g *gpxReader) lose(format string, args ...any) {
	if g.bad++; g.bad <= 5 {
		g.losses = append(g.losses, g.errorf(format+"; left out", args...).Error())
	}
}

func (g *gpxReader) close(t xml.EndElement) error {
	n := len(g.path)
	if n == 0 || g.path[n-1] != t.Name.Local {
		return g.errorf("not well-formed XML (</%s> closes what is not open)", clip(t.Name.Local))
	}
	local := strings.ToLower(t.Name.Local)
	switch {
	case g.depth > 0 && n > g.depth:
		g.field(local, strings.TrimSpace(string(g.value)), n == g.depth+1)
	case g.depth > 0:
		g.depth = 0
		g.last().closePoint()
	case n == 3 && len(g.tracks) > 0 && g.path[1] == "trk" && local == "name":
		g.last().name = strings.TrimSpace(string(g.value))
	case n == 3 && len(g.tracks) > 0 && g.path[1] == "trk" && local == "type":
		g.last().kind = strings.ToLower(strings.TrimSpace(string(g.value)))
	}
	g.value = g.value[:0]
	g.path = g.path[:n-1]
	return nil
}

var gpxFields = map[string]recording.Quantity{
	"power": recording.Power, "watts": recording.Power, "powerinwatts": recording.Power,
	"hr": recording.HeartRate, "heartrate": recording.HeartRate, "heart_rate": recording.HeartRate, "heartratebpm": recording.HeartRate,
	"cad": recording.Cadence, "cadence": recording.Cadence, "speed": recording.Speed, "distance": recording.Position,
}

func (g *gpxReader) field(local, value string, direct bool) {
	if value == "" {
		return
	}
	k := g.last()
	if direct && local == "time" {
		t, ok := stamp(value)
		if !ok {
			g.lose("time: %q; expected one like 2026-05-01T10:00:00Z", clip(value))
			return
		}
		k.table.at[len(k.table.at)-1] = t.unix
		k.timed++
		return
	}
	q, ok := gpxFields[local]
	if direct && local == "ele" {
		q, ok = recording.Altitude, true
	}
	if !ok {
		return
	}
	v, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		g.lose("%s: %q is not a number", local, clip(value))
		return
	}
	k.table.put(q, "recorded", v)
}

// closePoint marks the pause between two segments.
func (k *track) closePoint() {
	n := len(k.table.at)
	if !k.segment {
		return
	}
	k.segment = false
	if n < 2 {
		return
	}
	from, to := k.table.at[n-2], k.table.at[n-1]
	if to-from > recording.Hold {
		k.table.marks = append(k.table.marks,
			recording.Mark{Seconds: from, Kind: recording.Pause, Words: "a segment of the track ends"},
			recording.Mark{Seconds: to, Kind: recording.Resume})
	}
}

func (k *track) recording(title, sport string) (recording.Recording, []string) {
	rec, losses := k.table.recording(title, sport, 0, func(i int) string { return fmt.Sprintf("line %d", k.lines[i]) })
	losses = append(losses, "the local time is not in the file: times of day are those of UTC")
	return rec, losses
}

func (k *track) sport() string {
	switch {
	case strings.Contains(k.kind, "virtual") || strings.Contains(k.kind, "indoor"):
		return "indoor cycling"
	case strings.Contains(k.kind, "cycl"), strings.Contains(k.kind, "bik"), strings.Contains(k.kind, "ride"):
		return "road cycling"
	case k.kind == "" || len(k.kind) > 40 || k.kind[0] >= '0' && k.kind[0] <= '9':
		return "unknown"
	}
	return clip(k.kind)
}

// metres between two places by the haversine on a sphere of the mean radius.
func metres(lat1, lon1, lat2, lon2 float64) float64 {
	const radius, rad = 6_371_008.8, math.Pi / 180
	a := math.Sin((lat2 - lat1) * rad / 2)
	b := math.Sin((lon2 - lon1) * rad / 2)
	h := a*a + math.Cos(lat1*rad)*math.Cos(lat2*rad)*b*b
	return 2 * radius * math.Asin(math.Min(1, math.Sqrt(h)))
}

// charset serves the encodings an XML declaration may name.
func charset(label string, in io.Reader) (io.Reader, error) {
	switch strings.ToLower(label) {
	case "utf-8", "us-ascii", "ascii":
		return in, nil
	case "iso-8859-1", "latin1", "windows-1252":
		data, err := io.ReadAll(in)
		var out bytes.Buffer
		for _, b := range data {
			out.WriteRune(rune(b))
		}
		return &out, err
	}
	return nil, fmt.Errorf("encoding %q is not supported; expected UTF-8", clip(label))
}

// moment is a time of day that a text states.
type moment struct {
	unix  float64
	zone  int  // s, as far as it is stated
	zoned bool // the text says so; else unix takes the local time for UTC
}

// The forms in which a time and date are written. The parser accepts a
// fraction of a second behind all of them.
var moments = []string{
	time.RFC3339, "2006-01-02T15:04:05", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05 -0700", "2006-01-02 15:04:05", "2006-01-02T15:04:05-0700",
	"2006/01/02 15:04:05", "02.01.2006 15:04:05", "2006-01-02 15:04", "20060102T150405Z",
}

func stamp(s string) (moment, bool) {
	if len(s) < 14 || len(s) > 40 {
		return moment{}, false
	}
	for _, form := range moments {
		t, err := time.Parse(form, s)
		if err != nil {
			continue
		}
		unix := float64(t.Unix()) + float64(t.Nanosecond())/1e9
		if unix < 0 || unix >= 4e9 {
			return moment{}, false
		}
		_, zone := t.Zone()
		return moment{unix, zone, strings.ContainsAny(form, "Z") || strings.Contains(form, "0700")}, true
	}
	return moment{}, false
}
