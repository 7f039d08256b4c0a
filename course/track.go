package course

import (
	"fmt"
	"math"
)

// EarthRadius is the mean radius R1 = (2a+b)/3 of the GRS 80 ellipsoid in
// metres, as adopted by the International Union of Geodesy and Geophysics
// (Moritz, Geodetic Reference System 1980). Distances computed on a sphere of
// this radius are off by up to about half a percent, depending on direction
// and latitude.
const EarthRadius = 6371008.8

const (
	maxHop        = 50_000 // m between two points that follow each other
	bridgedFrom   = 200.0  // m, gaps between segments from here on are reported
	repeatedBelow = 0.5    // m, GPX coordinates are commonly rounded to 0.1 … 1 m
)

// A spike leaves its neighbours on both sides, in the same direction, by more
// than spikeRise and more steeply than spikeGradient. Our judgement: no road
// does that, receivers with a poor view of the sky do.
const (
	spikeRise     = 15.0 // m
	spikeGradient = 0.5
	spikePoints   = 3 // a spike is at most this many points long
)

// Point is one place of a recorded track or planned route.
type Point struct {
	Lat, Lon  float64 // degrees, WGS 84
	Elevation float64 // m; as recorded, also where it is not Known
	Known     bool    // whether Elevation can be used
}

// Track is what a GPX file says of a course, before any smoothing.
type Track struct {
	Name           string // of the first named track (or route); may be empty
	Kind           string // "track" or "route"
	Points         []Point
	Segments       int     // that held points
	Repeated       int     // points left out because the rider stood still
	Missing        int     // points without an elevation
	Absurd         int     // elevations that were no number or outside -500 … 9000 m
	Spikes         int     // elevations no road could have between their neighbours
	Bridged        float64 // m of straight lines over gaps of 200 m or more between segments
	RecordedAscent float64 // m, sum of all rises between usable elevations, spikes included
}

func (t Track) known() int {
	n := 0
	for _, p := range t.Points {
		if p.Known {
			n++
		}
	}
	return n
}

// Notes are sentences about what had to be mended, most important first.
func (t Track) Notes() []string {
	var notes []string
	say := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	if t.Bridged > 0 {
		say("%.1f km between segments are not in the file: bridged by straight, even lines; the real road is longer and may be hillier", t.Bridged/1000)
	}
	if unknown := t.Missing + t.Absurd; unknown > 0 {
		say("%s without a usable elevation: interpolated along the way", count(unknown, "point"))
	}
	if t.Spikes > 0 {
		say("%s in the elevations removed", count(t.Spikes, "spike"))
	}
	if low, high := t.extremes(); low == high {
		say("every elevation is %g m: the file may hold none", low)
	}
	return notes
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func (t Track) extremes() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range t.Points {
		if p.Known {
			low, high = math.Min(low, p.Elevation), math.Max(high, p.Elevation)
		}
	}
	return low, high
}

// haversine is the great-circle distance in metres on a sphere of EarthRadius.
func haversine(a, b Point) float64 {
	const degree = math.Pi / 180
	dLat, dLon := (b.Lat-a.Lat)*degree, (b.Lon-a.Lon)*degree
	sLat, sLon := math.Sin(dLat/2), math.Sin(dLon/2)
	h := sLat*sLat + math.Cos(a.Lat*degree)*math.Cos(b.Lat*degree)*sLon*sLon
	return 2 * EarthRadius * math.Asin(math.Sqrt(math.Min(1, h)))
}

// collector joins points into one line while a file is read.
type collector struct {
	name        string
	points      []Point
	segmentOpen bool // whether the current segment has a point already
	segments    int
	repeated    int
	absurd      int
	bridged     float64
	length      float64
}

// add appends a point and returns its distance from the one before, in metres.
func (c *collector) add(p Point) (hop float64) {
	first := !c.segmentOpen
	if first {
		c.segmentOpen = true
		c.segments++
	}
	if len(c.points) == 0 {
		c.points = append(c.points, p)
		return 0
	}
	last := &c.points[len(c.points)-1]
	hop = haversine(*last, p)
	if hop < repeatedBelow {
		c.repeated++
		if !last.Known && p.Known {
			last.Elevation, last.Known = p.Elevation, true
		}
		return 0
	}
	if first && hop >= bridgedFrom {
		c.bridged += hop
	}
	c.length += hop
	c.points = append(c.points, p)
	return hop
}

func (c *collector) toTrack(kind string) Track {
	t := Track{
		Name: c.name, Kind: kind, Points: c.points, Segments: c.segments,
		Repeated: c.repeated, Absurd: c.absurd, Bridged: c.bridged,
	}
	previous := math.NaN()
	unknown := 0
	for _, p := range t.Points {
		if !p.Known {
			unknown++
			continue
		}
		if p.Elevation > previous {
			t.RecordedAscent += p.Elevation - previous
		}
		previous = p.Elevation
	}
	// A repeated point may have lent its elevation to an absurd one.
	t.Missing = max(0, unknown-t.Absurd)
	t.removeSpikes()
	return t
}

// removeSpikes marks single points and short runs that stick out as unknown.
// Going through once from the start and comparing with the last elevation
// still trusted, a spike does not make its honest neighbour look like one.
func (t *Track) removeSpikes() {
	var usable []int
	for i, p := range t.Points {
		if p.Known {
			usable = append(usable, i)
		}
	}
	along := t.along()
	before := 0 // index into usable of the last trusted point
	for k := 1; k+1 < len(usable); {
		run := t.spikeAt(usable, along, before, k)
		for j := k; j < k+run; j++ {
			t.Points[usable[j]].Known = false
			t.Spikes++
		}
		if run == 0 {
			before = k
			run = 1
		}
		k += run
	}
}

// spikeAt returns how many points from usable[k] on form a spike, 0 if none.
func (t *Track) spikeAt(usable []int, along []float64, before, k int) int {
	for run := 1; run <= spikePoints && k+run < len(usable); run++ {
		a, b := usable[before], usable[k+run]
		all := true
		for j := k; j < k+run && all; j++ {
			i := usable[j]
			up := t.Points[i].Elevation - t.Points[a].Elevation
			down := t.Points[i].Elevation - t.Points[b].Elevation
			all = up*down > 0 &&
				math.Abs(up) > math.Max(spikeRise, spikeGradient*(along[i]-along[a])) &&
				math.Abs(down) > math.Max(spikeRise, spikeGradient*(along[b]-along[i]))
		}
		if all {
			return run
		}
	}
	return 0
}

// along is the distance of every point from the first on the map, in metres.
func (t Track) along() []float64 {
	along := make([]float64, len(t.Points))
	for i := 1; i < len(t.Points); i++ {
		along[i] = along[i-1] + haversine(t.Points[i-1], t.Points[i])
	}
	return along
}
