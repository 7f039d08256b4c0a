package render

import (
	"math"
	"strconv"

	"chainline/brief"
	"chainline/course"
)

// Detail is how much of the strip there is room for. What drops first, as the
// room shrinks from one detail to the next and within each:
//
//  1. the labels at the right (critical power, highest and lowest point);
//  2. kilometre marks, thinned to round distances, never closer than legible;
//  3. what a cue says under its bead, where the cue is shorter than the words;
//  4. beads of their own: neighbours are first moved apart by up to a bead or two,
//     then joined into one bead with a range ('4–6').
//
// Never dropped: the silhouette and its tint, the effort line with critical
// power, the chainline, a mark on it for the start of each cue, and a bead
// that names every cue, alone or in a range.
type Detail int

// The three details.
const (
	Wide    Detail = iota // a screen or a sheet of paper
	Phone                 // 360 units across
	Columns               // a terminal: one unit is one character
)

// Strip is the one picture, as data: whoever draws it needs only lines, fills
// and words at the places given. X grows along the course, Y downwards, both
// in the units of the detail. Effort and silhouette keep to bands of their
// own, so that the line never crosses the hill.
type Strip struct {
	Detail        Detail
	Width, Height float64
	Plot          float64 // x of the finish; from here to Width is room for labels
	Length        float64 // m

	EffortTop, EffortBase float64
	HillTop, HillBase     float64
	Chain                 float64

	Outlines  [][]Point // one silhouette; several for a sketch
	Bands     []Band
	Effort    []Point
	Ridden    []Point // of a ride over its plan
	CriticalY float64 // 0 when there is no effort to draw
	Critical  float64 // W

	Marks   []float64 // x of every cue's start on the chainline
	Numbers []int     // the cue each mark belongs to
	Beads   []Bead
	Targets []Label // what each cue says, under the chainline
	Ticks   []Label
	Sides   []Label

	Title, Desc string // the picture in words
}

// Point is a place in the drawing.
type Point struct{ X, Y float64 }

// Band is a piece of the silhouette ridden at one intensity.
type Band struct {
	FromM, ToM float64
	Share      float64 // of critical power
	Level      int     // step of the intensity scale
	Points     []Point // its upper edge
}

// Bead names one cue or a range of cues on the chainline. Half is half its
// width. X may be off the cue's mark, to keep clear of others: a leader joins the two.
type Bead struct {
	First, Last int
	X, Half     float64
	Label       string
}

// Label is a word at a place. Anchor is "start", "middle" or "end".
type Label struct {
	X, Y   float64
	Text   string
	Anchor string
}

// layout holds what differs between the details.
type layout struct {
	width, plot, height                     float64
	effortTop, effortBase, hillTop          float64
	hillBase, chain, targets, ticks         float64
	bead, digit, gap, nudge, tick, footing  float64
	sketchTop, sketchBase, sketchTicks, end float64
}

var layouts = map[Detail]layout{
	Wide: {width: 1000, plot: 932, height: 274, effortTop: 8, effortBase: 84, hillTop: 100, hillBase: 202,
		chain: 220, targets: 247, ticks: 268, bead: 10, digit: 7, gap: 2, nudge: 22, tick: 70, footing: 7,
		sketchTop: 8, sketchBase: 120, sketchTicks: 140, end: 146},
	Phone: {width: 360, plot: 360, height: 264, effortTop: 6, effortBase: 78, hillTop: 92, hillBase: 188,
		chain: 206, targets: 236, ticks: 258, bead: 10.5, digit: 7.5, gap: 2, nudge: 22, tick: 64, footing: 6,
		sketchTop: 6, sketchBase: 116, sketchTicks: 138, end: 144},
	Columns: {width: 76, plot: 76, height: 13, effortTop: 0, effortBase: 5, hillTop: 5, hillBase: 10,
		chain: 10, targets: 11, ticks: 12, bead: 0.5, digit: 1, gap: 1, nudge: 1.5, tick: 10, footing: 0.25,
		sketchTop: 0, sketchBase: 6, sketchTicks: 6, end: 7},
}

// NewStrip lays out the strip of a brief. A course nothing but length and
// ascent is known of has no cues to place: it gets a few of its plausible
// outlines, laid over each other.
func NewStrip(b brief.Brief, d Detail) Strip {
	l := layouts[d]
	s := Strip{Detail: d, Width: l.width, Height: l.height, Plot: l.plot, Length: courseLength(b),
		EffortTop: l.effortTop, EffortBase: l.effortBase, HillTop: l.hillTop, HillBase: l.hillBase,
		Chain: l.chain, Critical: b.Rider.CriticalPower.Mean}
	profiles := []course.Profile{b.Course.Profile}
	pieces := effortPieces(b, s.Critical)
	if b.Course.Known == "sketch" {
		profiles = b.Course.Plausible
		if len(profiles) == 0 {
			profiles = []course.Profile{b.Course.Profile}
		}
		profiles = profiles[:min(len(profiles), 5)]
		pieces = nil
	}
	if len(pieces) == 0 {
		s.Height, s.HillTop, s.HillBase, s.Chain = l.end, l.sketchTop, l.sketchBase, 0
		l.ticks = l.sketchTicks
	}
	low, span := verticalRange(profiles, s.Length)
	for _, p := range profiles {
		if line := s.outline(p, 0, s.Length, low, span, l); len(line) > 1 {
			s.Outlines = append(s.Outlines, line)
		}
	}
	if len(pieces) > 0 {
		s.drawEffort(pieces, b.Course.Profile, low, span, l)
	}
	if len(b.Plan.Cues) > 0 && len(pieces) > 0 {
		s.placeCues(b, l)
	} else {
		s.Chain = 0
	}
	s.Ticks = s.ticks(l)
	if d == Wide && b.Course.Known != "sketch" {
		s.Sides = s.sides(low, span, profiles)
	}
	s.Title, s.Desc = stripWords(b)
	return s
}

// courseLength is the distance the x axis spans, in metres, always positive.
func courseLength(b brief.Brief) float64 {
	length := b.Course.Distance
	if p := b.Course.Profile; !(length > 0) && len(p.Distance) > 0 {
		length = p.Length()
	}
	if n := len(b.Plan.Cues); !(length > 0) && n > 0 {
		length = b.Plan.Cues[n-1].ToM
	}
	if !(length > 0) || math.IsInf(length, 0) {
		return 1
	}
	return length
}

// piece is a stretch ridden at one power.
type piece struct{ from, to, watts, share float64 }

// effortPieces are the cues; where there are none, the steps of the trace.
func effortPieces(b brief.Brief, cp float64) []piece {
	var out []piece
	for _, c := range b.Plan.Cues {
		share := c.Share
		if share == 0 && cp > 0 {
			share = c.Watts / cp
		}
		out = append(out, piece{c.FromM, c.ToM, c.Watts, share})
	}
	if len(out) > 0 || !(cp > 0) {
		return out
	}
	trace := b.Plan.Trace
	for i := 0; i+1 < len(trace); i++ {
		w := trace[i].Watts
		if n := len(out); n > 0 && out[n-1].watts == w {
			out[n-1].to = trace[i+1].M
			continue
		}
		out = append(out, piece{trace[i].M, trace[i+1].M, w, w / cp})
	}
	return out
}

// flatness is the least height shown as a share of the length: a course that
// rises ten metres in fifty kilometres must not look like a mountain.
const flatness = 0.004

// verticalRange is the lowest elevation and the height the hill band stands for.
func verticalRange(profiles []course.Profile, length float64) (low, span float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range profiles {
		for _, e := range p.Elevation {
			low, high = math.Min(low, e), math.Max(high, e)
		}
	}
	if low > high {
		return 0, 1
	}
	return low, max(high-low, flatness*length, 1)
}

func (s Strip) x(m float64) float64 { return min(max(m/s.Length, 0), 1) * s.Plot }

// outline is the upper edge of the silhouette between two distances, with no
// two points closer than the eye can tell.
func (s Strip) outline(p course.Profile, from, to, low, span float64, l layout) []Point {
	n := min(len(p.Distance), len(p.Elevation))
	if n < 2 {
		return nil
	}
	height := s.HillBase - s.HillTop - l.footing
	y := func(e float64) float64 { return s.HillBase - l.footing - (e-low)/span*height }
	line := []Point{{s.x(from), y(elevationAt(p, from))}}
	for i := range n {
		if p.Distance[i] <= from || p.Distance[i] >= to {
			continue
		}
		if x := s.x(p.Distance[i]); x-line[len(line)-1].X >= s.Plot/1200 {
			line = append(line, Point{x, y(p.Elevation[i])})
		}
	}
	return append(line, Point{s.x(to), y(elevationAt(p, to))})
}

// elevationAt reads a profile between its points; beyond its ends it is level.
func elevationAt(p course.Profile, m float64) float64 {
	n := len(p.Distance)
	if m <= p.Distance[0] {
		return p.Elevation[0]
	}
	for i := 1; i < n; i++ {
		if m <= p.Distance[i] {
			d := p.Distance[i] - p.Distance[i-1]
			if d <= 0 {
				return p.Elevation[i]
			}
			return p.Elevation[i-1] + (m-p.Distance[i-1])/d*(p.Elevation[i]-p.Elevation[i-1])
		}
	}
	return p.Elevation[n-1]
}

// drawEffort lays the steps of the effort line into its band, and tints the
// silhouette under each.
func (s *Strip) drawEffort(pieces []piece, p course.Profile, low, span float64, l layout) {
	most := 1.25 * s.Critical
	for _, c := range pieces {
		most = math.Max(most, c.watts)
	}
	if !(most > 0) {
		most = 1
	}
	y := func(w float64) float64 { return s.EffortBase - math.Max(w, 0)/most*(s.EffortBase-s.EffortTop) }
	if s.Critical > 0 {
		s.CriticalY = y(s.Critical)
	}
	for _, c := range pieces {
		s.Effort = append(s.Effort, Point{s.x(c.from), y(c.watts)}, Point{s.x(c.to), y(c.watts)})
		edge := s.outline(p, c.from, c.to, low, span, l)
		if edge == nil { // no elevations: the way is drawn level
			edge = []Point{{s.x(c.from), s.HillBase - l.footing}, {s.x(c.to), s.HillBase - l.footing}}
		}
		s.Bands = append(s.Bands, Band{FromM: c.from, ToM: c.to, Share: c.share, Level: level(c.share), Points: edge})
	}
}

// ticks are round distances along the foot; the finish is always named.
func (s Strip) ticks(l layout) []Label {
	unit, name := 1000.0, " km"
	if s.Length < 2000 {
		unit, name = 1, " m"
	}
	room := l.tick / s.Plot * s.Length / unit
	step := roundStep(room)
	var out []Label
	for i := 0; ; i++ {
		v := float64(i) * step
		if v*unit > s.Length-0.8*room*unit {
			break
		}
		anchor := "middle"
		if i == 0 {
			anchor = "start"
		}
		out = append(out, Label{s.x(v * unit), l.ticks, strconv.FormatFloat(v, 'f', -1, 64) + name, anchor})
	}
	end := distance(s.Length)
	return append(out, Label{s.Plot, l.ticks, end, "end"})
}

// roundStep is the smallest of 1, 2, 5 times a power of ten, but not under 1,
// that is at least x.
func roundStep(x float64) float64 {
	for p := 1.0; ; p *= 10 {
		for _, k := range []float64{1, 2, 5} {
			if k*p >= x {
				return k * p
			}
		}
	}
}

// sides are the labels at the right of the wide strip.
func (s Strip) sides(low, span float64, profiles []course.Profile) []Label {
	var out []Label
	x := s.Plot + 10
	if s.CriticalY > 0 {
		out = append(out, Label{x, s.CriticalY + 4.5, whole(s.Critical) + " W", "start"})
	}
	high := math.Inf(-1)
	for _, p := range profiles {
		for _, e := range p.Elevation {
			high = math.Max(high, e)
		}
	}
	if math.IsInf(high, 0) {
		return out
	}
	footing := layouts[s.Detail].footing
	y := s.HillBase - footing - (high-low)/span*(s.HillBase-s.HillTop-footing)
	if s.HillBase-y > 30 {
		out = append(out, Label{x, y + 9, whole(high) + " m", "start"})
	}
	return append(out, Label{x, s.HillBase, whole(low) + " m", "start"})
}
