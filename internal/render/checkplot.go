package render

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"chainline/rig"
)

// The pictures of a rig check: points, lines and their names on two axes.
// Lines are told apart by how they are drawn and by their names beside them,
// never by colour.

// Size of the picture, in its own units.
const (
	plotWide, plotHigh = 640.0, 300.0
	plotLeft, plotLow  = 64.0, 262.0
	plotTop, plotRight = 12.0, 624.0
)

// dashes of the lines after the first.
var dashes = []string{"", "9 6", "2 5", "14 5 2 5"}

// CheckPlot draws a finding's plot with a key to its lines below; empty where
// there is nothing to draw. It is hidden from readers of the screen:
// CheckPlotWords says the same.
func CheckPlot(p rig.Plot) template.HTML {
	x0, x1, y0, y1, ok := plotBounds(p)
	if !ok {
		return ""
	}
	x := func(v float64) float64 { return plotLeft + (plotRight-plotLeft)*(v-x0)/(x1-x0) }
	y := func(v float64) float64 { return plotLow - (plotLow-plotTop)*(v-y0)/(y1-y0) }
	var b strings.Builder
	fmt.Fprintf(&b, `<div class="plotted" aria-hidden="true"><p>%s</p><svg class="plot" viewBox="0 0 %g %g">`, html.EscapeString(p.Y), plotWide, plotHigh)
	for _, v := range ticks(y0, y1, 5) {
		fmt.Fprintf(&b, `<path class="grid" d="M%g %.1fH%g"/><text class="end" x="%g" y="%.1f">%s</text>`, plotLeft, y(v), plotRight, plotLeft-8, y(v)+6, tickWords(v, y1-y0))
	}
	for _, v := range ticks(x0, x1, 5) {
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f %gV%g"/><text class="mid" x="%.1f" y="%g">%s</text>`, x(v), plotTop, plotLow, x(v), plotLow+28, tickWords(v, x1-x0))
	}
	radius := 3.2
	if len(p.Points) > 200 {
		radius = 2
	}
	for _, q := range p.Points {
		fmt.Fprintf(&b, `<circle class="seen" cx="%.1f" cy="%.1f" r="%g"/>`, x(q[0]), y(q[1]), radius)
	}
	for i, l := range p.Lines {
		if len(l) == 0 {
			continue
		}
		fmt.Fprintf(&b, `<path class="line" stroke-dasharray="%s" d="`, dashes[i%len(dashes)])
		for j, q := range l {
			fmt.Fprintf(&b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[j == 0], x(q[0]), y(q[1]))
		}
		b.WriteString(`"/>`)
	}
	fmt.Fprintf(&b, `</svg><p class="across">%s</p>`, html.EscapeString(p.X))
	plotKeys(&b, p)
	b.WriteString(`</div>`)
	return template.HTML(b.String()) //nolint:gosec // numbers and escaped words
}

// plotKeys say which line is which.
func plotKeys(b *strings.Builder, p rig.Plot) {
	var keys strings.Builder
	for i, l := range p.Lines {
		if len(l) == 0 || i >= len(p.Names) || p.Names[i] == "" {
			continue
		}
		fmt.Fprintf(&keys, `<li><svg viewBox="0 0 34 10"><path class="line" stroke-dasharray="%s" d="M0 5H34"/></svg> %s</li>`, dashes[i%len(dashes)], html.EscapeString(p.Names[i]))
	}
	if keys.Len() > 0 {
		b.WriteString(`<ul class="keys">` + keys.String() + `</ul>`)
	}
}

// plotBounds are the axes' ends, a little wider than what is drawn.
func plotBounds(p rig.Plot) (x0, x1, y0, y1 float64, ok bool) {
	x0, y0 = math.Inf(1), math.Inf(1)
	x1, y1 = math.Inf(-1), math.Inf(-1)
	see := func(q [2]float64) {
		x0, x1 = math.Min(x0, q[0]), math.Max(x1, q[0])
		y0, y1 = math.Min(y0, q[1]), math.Max(y1, q[1])
	}
	for _, q := range p.Points {
		see(q)
	}
	for _, l := range p.Lines {
		for _, q := range l {
			see(q)
		}
	}
	if math.IsInf(x0, 0) || math.IsNaN(x0+x1+y0+y1) {
		return 0, 0, 0, 0, false
	}
	widen := func(a, b float64) (float64, float64) {
		if b-a < 1e-9 {
			return a - 1, b + 1
		}
		return a - 0.03*(b-a), b + 0.03*(b-a)
	}
	x0, x1 = widen(x0, x1)
	y0, y1 = widen(y0, y1)
	return x0, x1, y0, y1, true
}

// ticks are about n round values between two ends.
func ticks(from, to float64, n int) []float64 {
	step := math.Pow(10, math.Floor(math.Log10((to-from)/float64(n))))
	for _, m := range []float64{2, 2.5, 2} { // 1, 2, 5, 10
		if (to-from)/step <= float64(n) {
			break
		}
		step *= m
	}
	var out []float64
	for i := math.Ceil(from / step); i*step <= to; i++ {
		out = append(out, i*step)
	}
	return out
}

func tickWords(v, span float64) string {
	digits := 0
	switch {
	case span < 0.06:
		digits = 3
	case span < 0.6:
		digits = 2
	case span < 6:
		digits = 1
	}
	s := fmt.Sprintf("%.*f", digits, v)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// CheckPlotWords are what a plot shows, for who does not see it.
func CheckPlotWords(p rig.Plot) string {
	x0, x1, y0, y1, ok := plotBounds(rig.Plot{Points: p.Points})
	if !ok {
		x0, x1, y0, y1, ok = plotBounds(p)
	}
	if !ok {
		return ""
	}
	span := func(a, b float64) string { return tickWords(a, b-a) + " to " + tickWords(b, b-a) }
	var s string
	if n := len(p.Points); n > 0 {
		s = fmt.Sprintf("%d points; ", n)
	}
	s += fmt.Sprintf("%s from %s, %s from %s.", p.X, span(x0, x1), p.Y, span(y0, y1))
	for i, l := range p.Lines {
		if len(l) == 0 {
			continue
		}
		name := "A line"
		if i < len(p.Names) && p.Names[i] != "" {
			name = "The line ‘" + p.Names[i] + "’"
		}
		a, z := l[0], l[len(l)-1]
		s += fmt.Sprintf(" %s goes from %s at %s to %s at %s.", name, tickWords(a[1], y1-y0), tickWords(a[0], x1-x0), tickWords(z[1], y1-y0), tickWords(z[0], x1-x0))
	}
	return s
}
