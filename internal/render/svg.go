package render

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"

	"chainline/brief"
)

// drawing builds one SVG element. Colours are CSS variables of the page
// (variables in palette.go), so that one drawing serves light, dark and print.
type drawing struct{ strings.Builder }

func (d *drawing) f(format string, args ...any) { fmt.Fprintf(&d.Builder, format, args...) }

// open starts the picture with its equivalent in words; class tells the page
// when to show it.
func (d *drawing) open(class string, width, height float64, title, desc string) {
	d.f(`<svg class="%s" viewBox="0 0 %s %s" role="img" aria-label="%s"><title>%s</title>`,
		class, at(width), at(height), html.EscapeString(join([]string{title, desc}, ". ")), html.EscapeString(title))
	if desc != "" {
		d.f(`<desc>%s</desc>`, html.EscapeString(desc))
	}
}

func (d *drawing) text(class string, l Label) {
	d.f(`<text class="%s" x="%s" y="%s" text-anchor="%s">%s</text>`, class, at(l.X), at(l.Y), l.Anchor, html.EscapeString(l.Text))
}

// at writes a coordinate to a hundredth of a unit; never NaN.
func at(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "0"
	}
	return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
}

func path(points []Point) string {
	var s strings.Builder
	for i, p := range points {
		s.WriteString(map[bool]string{true: "M", false: "L"}[i == 0])
		s.WriteString(at(p.X) + " " + at(p.Y))
	}
	return s.String()
}

// SVG draws the strip. class is set on the element; the page's style sheet
// (page.css) knows the classes inside.
func (s Strip) SVG(class string) string {
	var d drawing
	d.open(class, s.Width, s.Height, s.Title, s.Desc)
	for _, b := range s.Bands {
		if n := len(b.Points); n > 1 {
			d.f(`<path class="band" fill="var(--k%d)" d="%sL%s %sL%s %sZ"/>`, b.Level, path(b.Points),
				at(b.Points[n-1].X), at(s.HillBase), at(b.Points[0].X), at(s.HillBase))
		}
	}
	for _, line := range s.Outlines {
		class := "hill"
		if len(s.Bands) == 0 {
			class = "maybe"
			d.f(`<path class="haze" d="%sL%s %sL%s %sZ"/>`, path(line), at(s.Plot), at(s.HillBase), at(line[0].X), at(s.HillBase))
		}
		d.f(`<path class="%s" d="%s"/>`, class, path(line))
	}
	d.effort(s)
	d.chain(s)
	for _, l := range s.Ticks {
		d.text("tick", l)
	}
	for _, l := range s.Sides {
		d.text("tick", l)
	}
	d.f(`</svg>`)
	return d.String()
}

func (d *drawing) effort(s Strip) {
	if len(s.Effort) == 0 {
		return
	}
	if s.CriticalY > 0 {
		d.f(`<path class="critical" d="M0 %sH%s"/>`, at(s.CriticalY), at(s.Plot))
	}
	d.f(`<path class="effort" d="%s"/>`, path(s.Effort))
	d.ridden(s)
}

func (d *drawing) chain(s Strip) {
	if s.Chain == 0 {
		return
	}
	d.f(`<path class="chain" d="M0 %sH%s"/>`, at(s.Chain), at(s.Plot))
	single := map[int]float64{}
	for _, b := range s.Beads {
		if b.First == b.Last {
			single[b.First] = b.X
		}
	}
	for i, x := range s.Marks {
		to, ok := single[s.Numbers[i]]
		if !ok {
			to = x
		}
		d.f(`<path class="mark" d="M%s %sL%s %s"/>`, at(x), at(s.HillBase), at(to), at(s.Chain))
	}
	for _, b := range s.Beads {
		r := min(b.Half, layouts[s.Detail].bead)
		d.f(`<rect class="bead" x="%s" y="%s" width="%s" height="%s" rx="%s"/>`, at(b.X-b.Half), at(s.Chain-r), at(2*b.Half), at(2*r), at(r))
		d.text("number", Label{b.X, s.Chain + 4.6, b.Label, "middle"})
	}
	for _, l := range s.Targets {
		d.text("target", l)
	}
}

// rulesSVG is the second picture of a sketch: effort by gradient, drawn as the
// strip is. A road that goes down, levels and climbs, one piece per rule from
// the steepest way down to the steepest way up, tinted by what is asked on it,
// and over it the line of the effort.
func rulesSVG(b brief.Brief, class string) string {
	rules := steepestDownFirst(joined(b.Plan.Rules))
	if len(rules) == 0 {
		return ""
	}
	const width, top, base, hillTop, hillBase, footing, foot, height = 380.0, 24.0, 74.0, 82.0, 128.0, 8.0, 147.0, 153.0
	cp := b.Rider.CriticalPower.Mean
	most := math.Max(cp*1.1, 1)
	words := make([]string, len(rules))
	heights, low, high := []float64{0}, 0.0, 0.0
	for i, r := range rules {
		most = math.Max(most, r.Watts)
		words[i] = slope(r.FromGradient, r.ToGradient) + ": " + whole(r.Watts) + " W"
		h := heights[i] + tilt(r)
		heights, low, high = append(heights, h), math.Min(low, h), math.Max(high, h)
	}
	rise := math.Min(60, (hillBase-footing-hillTop)/math.Max(high-low, 0.01)) // of a 10 % slope
	var d drawing
	d.open(class, width, height, "Effort by gradient", strings.Join(words, "; ")+".")
	w := width / float64(len(rules))
	y := func(watts float64) float64 { return base - math.Max(watts, 0)/most*(base-top) }
	ground := func(h float64) float64 { return hillBase - footing - (h-low)*rise }
	var line, hill []Point
	for i, r := range rules {
		x, share := float64(i)*w, 0.0
		if cp > 0 {
			share = r.Watts / cp
		}
		left, right := Point{x, ground(heights[i])}, Point{x + w, ground(heights[i+1])}
		d.f(`<path class="band" fill="var(--k%d)" d="%sV%sH%sZ"/>`, level(share), path([]Point{left, right}), at(hillBase), at(x))
		hill = append(hill, left, right)
		line = append(line, Point{x, y(r.Watts)}, Point{x + w, y(r.Watts)})
		d.text("tick", Label{x + w/2, foot, slope(r.FromGradient, r.ToGradient), "middle"})
	}
	d.f(`<path class="hill" d="%s"/>`, path(hill))
	if cp > 0 {
		d.f(`<path class="critical" d="M0 %sH%s"/>`, at(y(cp)), at(width))
	}
	for i, r := range rules {
		as := brief.Cue{Watts: r.Watts, WheelKmh: r.WheelKmh, WheelLowKmh: r.WheelLowKmh, WheelHighKmh: r.WheelHighKmh, Exertion: r.Exertion}
		d.text("target", Label{(float64(i) + 0.5) * w, y(r.Watts) - 7, leadOf(b.Rig.Speaks, as), "middle"})
	}
	d.f(`<path class="effort" d="%s"/></svg>`, path(line))
	return d.String()
}

// steepestDownFirst orders rules by where their gradients start.
func steepestDownFirst(rules []brief.Rule) []brief.Rule {
	out := append([]brief.Rule{}, rules...)
	for i := range out {
		for j := i; j > 0 && out[j].FromGradient < out[j-1].FromGradient; j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	return out
}

// tilt is how steep a rule's road is drawn, from -1 to 1; 10 % is the end.
func tilt(r brief.Rule) float64 {
	g := (r.FromGradient + r.ToGradient) / 2
	switch {
	case math.IsInf(r.FromGradient, -1) && math.IsInf(r.ToGradient, 1):
		return 0
	case math.IsInf(r.ToGradient, 1):
		g = r.FromGradient + 0.02
	case math.IsInf(r.FromGradient, -1):
		g = r.ToGradient - 0.02
	}
	return max(-1, min(1, g/0.1))
}

// intervalSVG is the small picture of how sure a number is.
func intervalSVG(r rest) string {
	const width, height = 150.0, 16.0
	x := func(v float64) float64 { return max(0, min(1, v)) * width }
	var d drawing
	words := r.Name + " " + r.Value + " " + r.Unit + ", four times out of five " + r.Range
	d.open(`interval" preserveAspectRatio="none`, width, height, words, "")
	d.f(`<path class="axis" d="M0 8H%s"/>`, at(width))
	d.f(`<rect class="span" x="%s" y="4" width="%s" height="8"/>`, at(x(r.Low)), at(max(1, x(r.High)-x(r.Low))))
	d.f(`<path class="mean" d="M%s 0V16"/></svg>`, at(width/2))
	return d.String()
}
