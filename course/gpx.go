package course

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Limits of ReadGPX. A day's ride recorded every second has about 40,000
// points in 10 MB; these leave room and bound memory and time.
const (
	maxGPXBytes  = 50_000_000
	maxGPXPoints = 1_000_000
	maxGPXToken  = 1_000_000 // bytes of one tag, text or comment
	maxGPXDepth  = 64
)

// ReadGPX reads a course from a GPX 1.0 or 1.1 document (the open exchange
// format of topografix.com/gpx).
//
// All segments of all tracks are joined in the order of the file; routes are
// used only if the tracks hold fewer than two distinct points; waypoints,
// times and extensions are ignored. Points less than 0.5 m from the one kept
// before them count as repeated and are removed. Elevations that are absent,
// not a number, outside -500 … 9000 m or spikes (see Track.Spikes) are marked
// unknown and counted.
//
// Two points that follow each other are joined by a straight line, also over
// the gap between two segments: a course has to be one line from start to
// finish. Gaps of 200 m and more are added up in Track.Bridged, because the
// road there is in truth longer and its hills are not in the file; hops of
// more than 50 km are refused.
//
// Errors are one sentence that begins with the line, for example
// `line 12: lat="91.5": expected a latitude from -90 to 90 degrees`. Files
// above 50 MB or 1,000,000 points, single tags or texts above 1 MB, elements
// nested deeper than 64 and encodings other than UTF-8 and ISO-8859-1 are
// refused. Entities that a document defines itself are never expanded: their
// use is an error.
func ReadGPX(r io.Reader) (Track, error) { return readGPX(r, maxGPXPoints) }

func readGPX(r io.Reader, maxPoints int) (Track, error) {
	return (&gpxReader{maxPoints: maxPoints}).read(r)
}

// BareGPX is a GPX document with nothing but what ReadGPX reads of this one:
// ways, places, elevations and names of tracks. Times, what a body did
// meanwhile (in extensions), waypoints and who made it are left out. ReadGPX
// makes the same track of both; the errors are its errors.
func BareGPX(r io.Reader) ([]byte, error) {
	g := &gpxReader{maxPoints: maxGPXPoints, bare: new(bytes.Buffer)}
	if _, err := g.read(r); err != nil {
		return nil, err
	}
	return g.bare.Bytes(), nil
}

func (g *gpxReader) read(r io.Reader) (Track, error) {
	capped := &cappedReader{r: r, limit: maxGPXBytes, burst: maxGPXToken}
	in, err := withoutMark(capped)
	if err != nil {
		return Track{}, err
	}
	g.decoder = xml.NewDecoder(in)
	g.decoder.CharsetReader = charset
	for {
		capped.mark()
		token, err := g.decoder.Token()
		if err == io.EOF { // the decoder has seen every element closed
			if len(g.path) == 0 {
				return Track{}, g.errorf("no <gpx> element; expected a GPX document")
			}
			break
		}
		if err != nil {
			return Track{}, g.xmlError(err)
		}
		done, err := g.take(token)
		if err != nil {
			return Track{}, err
		}
		if done {
			break
		}
	}
	return g.finish()
}

// gpxReader follows the path of open elements through a document.
type gpxReader struct {
	decoder   *xml.Decoder
	path      []string // local names of the open elements
	track     collector
	route     collector
	point     Point  // the point being read, when pointElement is open
	elevation string // text of its ele element, clipped
	points    int    // of tracks and routes, at most maxPoints
	maxPoints int
	waypoints int
	bare      *bytes.Buffer // takes the document anew; nil: it is only read
}

func (g *gpxReader) errorf(format string, args ...any) error {
	line, _ := g.decoder.InputPos()
	return inputError(fmt.Sprintf("line %d: ", line) + fmt.Sprintf(format, args...))
}

func (g *gpxReader) xmlError(err error) error {
	var own inputError
	var syntax *xml.SyntaxError
	switch {
	case errors.As(err, &own):
		return g.errorf("%s", string(own))
	case errors.As(err, &syntax) && syntax.Msg == "unexpected EOF":
		return g.errorf("the file ends in the middle; expected </gpx> at its end")
	case errors.As(err, &syntax):
		return g.errorf("not well-formed XML (%s)", clipLong(syntax.Msg))
	}
	return g.errorf("the file cannot be read: %v", err)
}

func clipLong(s string) string {
	if len(s) > 80 {
		return clip(s)
	}
	return strings.Join(strings.Fields(s), " ")
}

// take handles one token; done means that the document's root has closed.
func (g *gpxReader) take(token xml.Token) (done bool, err error) {
	switch t := token.(type) {
	case xml.StartElement:
		if len(g.path) >= maxGPXDepth {
			return false, g.errorf("elements are nested more than %d deep", maxGPXDepth)
		}
		g.path = append(g.path, t.Name.Local)
		err = g.open(t)
		g.copied(true)
	case xml.EndElement:
		g.copied(false)
		err = g.close()
		if len(g.path) == 1 {
			return true, err
		}
		g.path = g.path[:len(g.path)-1]
	case xml.CharData:
		g.text(t)
	}
	return false, err
}

// at says whether the open elements are exactly these.
func (g *gpxReader) at(path ...string) bool {
	if len(path) != len(g.path) {
		return false
	}
	for i := range path {
		if g.path[i] != path[i] {
			return false
		}
	}
	return true
}

func (g *gpxReader) atTrackPoint() bool { return g.at("gpx", "trk", "trkseg", "trkpt") }
func (g *gpxReader) atRoutePoint() bool { return g.at("gpx", "rte", "rtept") }

func (g *gpxReader) atElevation() bool {
	return g.at("gpx", "trk", "trkseg", "trkpt", "ele") || g.at("gpx", "rte", "rtept", "ele")
}

func (g *gpxReader) open(t xml.StartElement) error {
	switch {
	case len(g.path) == 1:
		return g.openRoot(t)
	case g.at("gpx", "wpt"):
		g.waypoints++
	case g.at("gpx", "trk", "trkseg"):
		g.track.segmentOpen = false
	case g.at("gpx", "rte"):
		g.route.segmentOpen = false
	case g.atTrackPoint(), g.atRoutePoint():
		return g.openPoint(t)
	}
	return nil
}

func (g *gpxReader) openRoot(t xml.StartElement) error {
	if t.Name.Local != "gpx" {
		return g.errorf("the document is <%s>; expected <gpx>", clip(t.Name.Local))
	}
	for _, a := range t.Attr {
		if a.Name.Local == "version" && a.Name.Space == "" && a.Value != "1.0" && a.Value != "1.1" {
			return g.errorf("GPX version %q; expected 1.0 or 1.1", clip(a.Value))
		}
	}
	return nil
}

func (g *gpxReader) openPoint(t xml.StartElement) error {
	if g.points++; g.points > g.maxPoints {
		return g.errorf("more than %d points", g.maxPoints)
	}
	lat, err := g.coordinate(t, "lat", "latitude", 90)
	if err != nil {
		return err
	}
	lon, err := g.coordinate(t, "lon", "longitude", 180)
	if err != nil {
		return err
	}
	g.point = Point{Lat: lat, Lon: lon}
	g.elevation = ""
	return nil
}

func (g *gpxReader) coordinate(t xml.StartElement, name, word string, limit float64) (float64, error) {
	for _, a := range t.Attr {
		if a.Name.Local != name || a.Name.Space != "" {
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(a.Value), 64)
		if err != nil || !(math.Abs(v) <= limit) {
			return 0, g.errorf("%s=%q: expected a %s from -%g to %g degrees", name, clip(a.Value), word, limit, limit)
		}
		return v, nil
	}
	return 0, g.errorf("<%s> without %s: expected a %s from -%g to %g degrees", t.Name.Local, name, word, limit, limit)
}

func (g *gpxReader) text(data []byte) {
	if g.atElevation() && len(g.elevation) < 64 {
		g.elevation += string(data[:min(len(data), 64)])
	}
	if g.at("gpx", "trk", "name") && g.track.name == "" {
		g.track.name = strings.TrimSpace(clip(string(data)))
		g.element("name", string(data))
	}
	if g.at("gpx", "rte", "name") && g.route.name == "" {
		g.route.name = strings.TrimSpace(clip(string(data)))
		g.element("name", string(data))
	}
}

// copied writes the tag that was opened or is about to close, where it is of a way.
func (g *gpxReader) copied(open bool) {
	if g.bare == nil {
		return
	}
	name, number := g.path[len(g.path)-1], func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	switch point := g.atTrackPoint() || g.atRoutePoint(); {
	case point && open:
		fmt.Fprintf(g.bare, `<%s lat="%s" lon="%s">`, name, number(g.point.Lat), number(g.point.Lon))
	case point:
		if g.elevation != "" {
			g.element("ele", g.elevation)
		}
		fmt.Fprintf(g.bare, "</%s>\n", name)
	case !g.at("gpx") && !g.at("gpx", "trk") && !g.at("gpx", "trk", "trkseg") && !g.at("gpx", "rte"):
	case open:
		fmt.Fprintf(g.bare, "<%s>\n", name)
	default:
		fmt.Fprintf(g.bare, "</%s>\n", name)
	}
}

// element writes an element with text.
func (g *gpxReader) element(name, text string) {
	if g.bare == nil {
		return
	}
	fmt.Fprintf(g.bare, "<%s>", name)
	_ = xml.EscapeText(g.bare, []byte(text)) // a buffer takes everything
	fmt.Fprintf(g.bare, "</%s>", name)
}

func (g *gpxReader) close() error {
	switch {
	case g.atTrackPoint():
		return g.keep(&g.track)
	case g.atRoutePoint():
		return g.keep(&g.route)
	}
	return nil
}

// keep gives the point just read to a collector, its elevation judged alone.
func (g *gpxReader) keep(c *collector) error {
	text := strings.TrimSpace(g.elevation)
	if text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if err == nil && v >= lowestElevation && v <= highestElevation {
			g.point.Elevation, g.point.Known = v, true
		} else {
			c.absurd++
		}
	}
	if hop := c.add(g.point); hop > maxHop {
		return g.errorf("this point lies %.0f km from the one before; expected at most %d km", hop/1000, maxHop/1000)
	}
	if c.length > MaxDistance {
		return g.errorf("the course is longer than %d km", MaxDistance/1000)
	}
	return nil
}

func (g *gpxReader) finish() (Track, error) {
	c, kind := &g.track, "track"
	if len(c.points) < 2 && len(g.route.points) >= 2 {
		c, kind = &g.route, "route"
	}
	if len(c.points) < 2 {
		aside := ""
		if g.waypoints > 0 {
			aside = "; its waypoints are places, not a way"
		}
		return Track{}, g.errorf("fewer than 2 distinct points; expected a track (trk) or a route (rte)%s", aside)
	}
	t := c.toTrack(kind)
	if known := t.known(); known < 2 {
		what := "no point has an elevation"
		if known == 1 {
			what = "only one point has an elevation"
		} else if c.absurd > 0 {
			what = "no point has an elevation from -500 to 9000 m"
		}
		return Track{}, g.errorf("%s: give its length and ascent as a route list shows them instead, or a CSV file distance_m,elevation_m", what)
	}
	return t, nil
}
