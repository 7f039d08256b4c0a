package render

import (
	"html/template"
	"math"
	"strconv"
	"strings"

	"chainline/debrief"
)

// durations that the axis of mean-maximal power names.
var durations = []struct {
	seconds float64
	words   string
	phone   bool
}{{5, "5" + nb + "s", true}, {15, "15" + nb + "s", false}, {60, "1" + nb + "min", true}, {300, "5" + nb + "min", true}, {1200, "20" + nb + "min", true}, {3600, "1" + nb + "h", true}, {4 * 3600, "4" + nb + "h", false}}

// BestLine is mean-maximal power: watts over durations in seconds.
type BestLine struct {
	Class  string // ridden, known or dots
	Points [][2]float64
}

// BestNote is a word at a place of mean-maximal power.
type BestNote struct {
	Seconds, Watts float64
	Words          string
}

// BestsPicture draws mean-maximal power over the logarithm of its duration.
func BestsPicture(lines []BestLine, critical float64, notes []BestNote) template.HTML {
	x0, x1, top := math.Inf(1), 0.0, 1.1*critical
	for _, l := range lines {
		for _, p := range l.Points {
			x0, x1, top = math.Min(x0, p[0]), math.Max(x1, p[0]), math.Max(top, p[1])
		}
	}
	if !(x1 > x0) {
		return ""
	}
	return bothWays("bests", inColumn, 270, func(a *axes) {
		a.logX = true
		a.span(x0, x1, 0, 1.12*top)
		a.gridY(5, whole)
		for _, d := range durations {
			if d.seconds < x0 || d.seconds > 1.001*x1 || a.phone && !d.phone {
				continue
			}
			class := "mid"
			switch {
			case a.x(d.seconds) < a.left+14:
				class = "begin"
			case a.x(d.seconds) > a.right-20:
				class = "end"
			}
			a.mark(d.seconds, class, d.words)
		}
		if critical > 0 {
			a.level(critical)
		}
		for _, l := range lines {
			a.line(l.Class, l.Points)
		}
		if critical > 0 {
			a.levelName(critical, "critical power "+whole(critical)+nb+"W")
		}
		last := math.Inf(-1)
		room := 120.0
		for i, n := range notes {
			x := a.x(n.Seconds)
			if x-last < room || a.phone && i%2 == 1 {
				continue
			}
			last = x
			class := "begin note"
			if x > a.right-110 {
				class = "end note"
			}
			a.f(`<circle class="spot" cx="%s" cy="%s" r="4"/>`, at(x), at(a.y(n.Watts)))
			a.text(class, x, a.y(n.Watts)-9, n.Words)
		}
	})
}

// LeftPicture draws what was left of W′ over a ride; places where it ran low
// have numbers.
func LeftPicture(w debrief.BalanceSeries) template.HTML {
	if len(w.Points) < 2 {
		return ""
	}
	least, full := math.Min(0, w.Lowest.Mean), w.WPrime
	for _, p := range w.Points {
		least = math.Min(least, p.J)
	}
	return bothWays("remains", inColumn, 190, func(a *axes) {
		a.span(w.Points[0].S, w.Points[len(w.Points)-1].S, least/1000, full/1000)
		a.gridY(4, func(v float64) string { return decimals(v, 0) })
		a.minutes()
		var points [][2]float64
		for _, p := range w.Points {
			points = append(points, [2]float64{p.S, p.J / 1000})
		}
		a.f(`<path class="fill" d="M%s %s`, at(a.x(points[0][0])), at(a.y(0)))
		for _, p := range points {
			a.f("L%s %s", at(a.x(p[0])), at(a.y(p[1])))
		}
		a.f(`L%s %sZ"/>`, at(a.x(points[len(points)-1][0])), at(a.y(0)))
		a.line("ridden", points)
		last := math.Inf(-1)
		for i, l := range w.Low {
			x := math.Max(a.left+12, math.Min(a.right-12, a.x((l.FromS+l.ToS)/2)))
			if x-last < 24 {
				continue
			}
			last = x
			a.bead(x, math.Max(a.top+12, a.y(l.LowestJ/1000)-18), strconv.Itoa(i+1))
		}
	})
}

// PowerPicture draws watts over time, and as on the strip, where there would be
// a road, how hard they were: means of equal pieces of a ride of some
// seconds. critical is critical power, W; 0: not known.
func PowerPicture(shape []float64, seconds, critical float64) template.HTML {
	if len(shape) < 2 || !(seconds > 0) {
		return ""
	}
	top := 1.25 * critical
	for _, w := range shape {
		if !math.IsNaN(w) {
			top = math.Max(top, 1.05*w)
		}
	}
	return bothWays("power", acrossPage, 220, func(a *axes) {
		a.span(0, seconds, 0, top)
		a.gridY(4, whole)
		a.minutes()
		if critical > 0 {
			a.level(critical)
		}
		step := seconds / float64(len(shape))
		for i, w := range shape {
			if w > 0 && critical > 0 {
				a.f(`<path fill="var(--k%d)" d="M%s %sV%sH%sV%sZ"/>`, level(w/critical), at(a.x(float64(i)*step)), at(a.low), at(a.low-9), at(a.x(float64(i+1)*step)+0.2), at(a.low))
			}
		}
		var points [][2]float64
		for i, w := range shape {
			points = append(points, [2]float64{(float64(i) + 0.5) * step, w})
		}
		a.line("ridden", points)
		if critical > 0 {
			a.levelName(critical, "critical power")
		}
	})
}

// RideShape is the small picture of a ride in a list: its watts over time.
func RideShape(shape []float64, critical float64) template.HTML {
	const wide, high = 160.0, 36.0
	top := 1.2 * critical
	for _, w := range shape {
		if !math.IsNaN(w) {
			top = math.Max(top, w)
		}
	}
	if len(shape) < 2 || !(top > 0) {
		return ""
	}
	var b strings.Builder
	b.WriteString(`<svg class="shape" viewBox="0 0 160 36" preserveAspectRatio="none" aria-hidden="true"><path class="fill" d="M0 36`)
	for i, w := range shape {
		if math.IsNaN(w) || w < 0 {
			w = 0
		}
		x0, x1 := float64(i)/float64(len(shape))*wide, float64(i+1)/float64(len(shape))*wide
		y := high - w/top*(high-1)
		b.WriteString("L" + at(x0) + " " + at(y) + "L" + at(x1) + " " + at(y))
	}
	b.WriteString(`L160 36Z"/>`)
	if critical > 0 {
		b.WriteString(`<path class="dots" d="M0 ` + at(high-critical/top*(high-1)) + `H160"/>`)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // numbers only
}

// SplitPicture draws the parts of a difference in seconds as bars to the left
// (faster) and right (slower) of one line.
func SplitPicture(s debrief.Split) template.HTML {
	most := 1.0
	for _, p := range s.Parts {
		most = math.Max(most, math.Abs(p.Seconds)+p.CouldBeS)
	}
	if len(s.Parts) == 0 {
		return ""
	}
	const row = 40.0
	return bothWays("split", inColumn, row*float64(len(s.Parts))+26, func(a *axes) {
		step := (a.high - 26) / float64(len(s.Parts))
		a.left, a.top, a.low = 8, 4, a.high-22
		a.span(-1.15*most, 1.15*most, 0, 1)
		a.f(`<path class="axis" d="M%s %sV%s"/>`, at(a.x(0)), at(a.top), at(a.low))
		a.text("begin", a.left, a.high-5, "faster")
		a.text("end", a.right, a.high-5, "slower")
		for i, p := range s.Parts {
			y := a.top + (float64(i)+0.5)*step
			if p.CouldBeS >= 0.5 {
				a.f(`<path class="whisker" d="M%s %sH%s"/>`, at(a.x(p.Seconds-p.CouldBeS)), at(y+6), at(a.x(p.Seconds+p.CouldBeS)))
			}
			from, to := math.Min(0, p.Seconds), math.Max(0, p.Seconds)
			a.f(`<rect class="bar" x="%s" y="%s" width="%s" height="10"/>`, at(a.x(from)), at(y+1), at(math.Max(1, a.x(to)-a.x(from))))
			a.text("begin name", a.left, y-4, p.Name)
			a.text("end name", a.right, y-4, signedWhole(p.Seconds)+nb+"s")
		}
	})
}

// MovedPicture draws one number before and after: two intervals on one line.
func MovedPicture(m debrief.Moved) template.HTML {
	low, high := math.Min(m.Before.Low80, m.After.Low80), math.Max(m.Before.High80, m.After.High80)
	if !(high > low) {
		return ""
	}
	pad := 0.1 * (high - low)
	x := func(v float64) string { return at(4 + 192*(v-low+pad)/(high-low+2*pad)) }
	var d drawing
	d.f(`<svg class="twice" viewBox="0 0 200 30" preserveAspectRatio="none" aria-hidden="true">`)
	d.f(`<path class="was" d="M%s 9H%s"/><path class="wasmean" d="M%s 3V15"/>`, x(m.Before.Low80), x(m.Before.High80), x(m.Before.Mean))
	d.f(`<path class="is" d="M%s 21H%s"/><path class="ismean" d="M%s 14V28"/></svg>`, x(m.After.Low80), x(m.After.High80), x(m.After.Mean))
	return template.HTML(d.String()) //nolint:gosec // numbers only
}
