package web

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"chainline/brief"
	"chainline/course"
	"chainline/internal/form"
)

// courseShapes are the outlines of a course: its own, or a few that a sketch
// may have.
func courseShapes(w brief.Way, most int) []course.Profile {
	if w.Sketch == nil {
		return []course.Profile{w.Profile}
	}
	r := rand.New(rand.NewPCG(1, 2)) // the same picture every time
	var all []course.Profile
	for range most {
		all = append(all, w.Sketch.Draw(r))
	}
	return all
}

// silhouette is a frame to draw outlines into.
type silhouette struct {
	left, right, top, base float64
	length, low, span      float64 // m
}

// minSpan in metres keeps a flat course flat in the picture.
const minSpan = 60

func courseFrame(shapes []course.Profile, left, right, top, base float64) silhouette {
	f := silhouette{left: left, right: right, top: top, base: base, low: math.Inf(1)}
	high := math.Inf(-1)
	for _, p := range shapes {
		f.length = max(f.length, p.Length())
		for _, e := range p.Elevation {
			f.low, high = min(f.low, e), max(high, e)
		}
	}
	f.span = max(minSpan, high-f.low)
	return f
}

func (f silhouette) x(m float64) float64 { return f.left + (f.right-f.left)*m/f.length }
func (f silhouette) y(elevation float64) float64 {
	foot := f.base - 0.12*(f.base-f.top) // the lowest point stands on something
	return foot - (foot-f.top)*(elevation-f.low)/f.span
}

func (f silhouette) line(p course.Profile, points int) string {
	p = course.Thin(p, points)
	var s strings.Builder
	for i := range p.Distance {
		s.WriteString(map[bool]string{true: "M", false: "L"}[i == 0])
		s.WriteString(coordText(f.x(p.Distance[i])) + " " + coordText(f.y(p.Elevation[i])))
	}
	return s.String()
}

func (f silhouette) ground(line string) string {
	return line + "L" + coordText(f.right) + " " + coordText(f.base) + "L" + coordText(f.left) + " " + coordText(f.base) + "Z"
}

// coordText writes a coordinate to a tenth.
func coordText(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// courseThumb is a course's outline, small; of a sketch a few that it may have.
func courseThumb(shapes []course.Profile) template.HTML {
	f := courseFrame(shapes, 0, 120, 3, 36)
	var s strings.Builder
	s.WriteString(`<svg class="thumb" viewBox="0 0 120 37" width="120" height="37" aria-hidden="true">`)
	for _, p := range shapes {
		line := f.line(p, 60)
		fmt.Fprintf(&s, `<path class="%s" d="%s"/><path class="%s" d="%s"/>`, courseEither(len(shapes) > 1, "haze", "ground"), f.ground(line), courseEither(len(shapes) > 1, "maybe", "outline"), line)
	}
	s.WriteString(`</svg>`)
	return template.HTML(s.String())
}

// coursePicture is the strip of a course: silhouette, distances and
// elevations, and under it the chainline with a bead for each climb, numbered
// as in the table. Its words stand beside it (courseWords).
func coursePicture(w brief.Way, u form.Units) template.HTML {
	shapes := courseShapes(w, 4)
	climbs := courseClimbs(w)
	return template.HTML(courseStrip(shapes, climbs, u, "wide", 1076, 210, 8) + courseStrip(shapes, climbs, u, "phone", 360, 190, 4))
}

func courseStrip(shapes []course.Profile, climbs []course.Climb, u form.Units, class string, width, height float64, ticks int) string {
	side, foot := 62.0, 54.0
	if len(climbs) == 0 {
		foot = 26
	}
	f := courseFrame(shapes, 0, width-side, 12, height-foot)
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="way %s" viewBox="0 0 %s %s" aria-hidden="true">`, class, coordText(width), coordText(height))
	for _, p := range shapes {
		line := f.line(p, 400)
		fmt.Fprintf(&s, `<path class="%s" d="%s"/><path class="%s" d="%s"/>`, courseEither(len(shapes) > 1, "haze", "ground"), f.ground(line), courseEither(len(shapes) > 1, "maybe", "outline"), line)
	}
	if len(shapes) == 1 {
		courseHeights(&s, f, shapes[0], u)
	}
	courseTicks(&s, f, u, height-6, ticks)
	courseBeads(&s, f, shapes[0], climbs, height-34)
	s.WriteString(`</svg>`)
	return s.String()
}

func courseEither(when bool, a, b string) string {
	if when {
		return a
	}
	return b
}

// courseHeights names the highest and the lowest elevation at the right; the
// lowest drops first.
func courseHeights(s *strings.Builder, f silhouette, p course.Profile, u form.Units) {
	low, high := courseExtremes(p)
	top, foot := f.y(p.Elevation[high])+4, f.y(p.Elevation[low])+4
	label := func(y float64, e float64) {
		fmt.Fprintf(s, `<text class="tick" x="%s" y="%s">%s</text>`, coordText(f.right+8), coordText(y), html.EscapeString(u.Elevation(e)))
	}
	label(top, p.Elevation[high])
	if foot-top > 18 {
		label(foot, p.Elevation[low])
	}
}

func courseExtremes(p course.Profile) (low, high int) {
	for i, e := range p.Elevation {
		if e < p.Elevation[low] {
			low = i
		}
		if e > p.Elevation[high] {
			high = i
		}
	}
	return low, high
}

// courseTicks are round distances under the picture.
func courseTicks(s *strings.Builder, f silhouette, u form.Units, y float64, most int) {
	per, name := 1000.0, "km"
	if u == form.Imperial {
		per, name = 1609.344, "mi"
	}
	step := courseStep(f.length / per / float64(most))
	for i := 0; ; i++ {
		at := float64(i) * step
		if at*per > f.length*1.0001 {
			return
		}
		text, anchor := strconv.FormatFloat(math.Round(at*1000)/1000, 'f', -1, 64), "middle"
		if i == 0 {
			text, anchor = "0 "+name, "start"
		}
		fmt.Fprintf(s, `<path class="notch" d="M%s %sv5"/><text class="tick" x="%s" y="%s" text-anchor="%s">%s</text>`, coordText(f.x(at*per)), coordText(f.base), coordText(f.x(at*per)), coordText(y), anchor, text)
	}
}

// courseStep is the next of 1, 2, 5, 10, … upwards.
func courseStep(x float64) float64 {
	for p := 0.001; ; p *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if p*m >= x {
				return p * m
			}
		}
	}
}

// courseBeads marks the climbs on the chainline; neighbours that would
// collide share a bead with a range.
func courseBeads(s *strings.Builder, f silhouette, p course.Profile, climbs []course.Climb, y float64) {
	if len(climbs) == 0 {
		return
	}
	fmt.Fprintf(s, `<path class="line" d="M%s %sH%s"/>`, coordText(f.left), coordText(y), coordText(f.right))
	type bead struct {
		first, last int
		from, to    float64
	}
	var beads []bead
	const r = 11.0
	for i, c := range climbs {
		from, to := f.x(c.Start), f.x(c.Start+c.Length)
		if n := len(beads); n > 0 && (from+to)/2-(beads[n-1].from+beads[n-1].to)/2 < 3.4*r {
			beads[n-1].last, beads[n-1].to = i+1, to
			continue
		}
		beads = append(beads, bead{i + 1, i + 1, from, to})
	}
	for _, c := range climbs {
		fmt.Fprintf(s, `<path class="stretch" d="M%s %sH%s"/>`, coordText(f.x(c.Start)), coordText(y), coordText(f.x(c.Start+c.Length)))
	}
	for _, b := range beads {
		text, half := strconv.Itoa(b.first), r
		if b.last > b.first {
			text, half = fmt.Sprintf("%d–%d", b.first, b.last), 1.7*r
		}
		x := min(max((b.from+b.to)/2, f.left+half+1), f.right-half)
		fmt.Fprintf(s, `<rect class="bead" x="%s" y="%s" width="%s" height="%s" rx="%s"/><text class="number" x="%s" y="%s" text-anchor="middle">%s</text>`,
			coordText(x-half), coordText(y-r), coordText(2*half), coordText(2*r), coordText(r), coordText(x), coordText(y+4.6), text)
	}
}

// courseWords say what the picture shows.
func courseWords(w brief.Way, u form.Units) string {
	if w.Sketch != nil {
		return "Where the road rises is not known, so the picture lays a few plausible outlines over each other. A file with the track would show the real one."
	}
	p := w.Profile
	low, high := courseExtremes(p)
	said := fmt.Sprintf("The road starts at %s and ends at %s. Its highest point, %s, comes after %s; its lowest, %s, after %s.",
		u.Elevation(p.Elevation[0]), u.Elevation(p.Elevation[len(p.Elevation)-1]),
		u.Elevation(p.Elevation[high]), u.Distance(p.Distance[high]), u.Elevation(p.Elevation[low]), u.Distance(p.Distance[low]))
	if p.Elevation[high]-p.Elevation[low] < 1 {
		return "The road is level from start to finish."
	}
	if len(courseClimbs(w)) > 0 {
		said += " The numbered beads under it are the climbs of the table."
	}
	return said
}
