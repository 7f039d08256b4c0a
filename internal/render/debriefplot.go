package render

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
)

// The axes of the debrief's pictures. Every picture is drawn twice, for a wide
// page and for a phone (classes wide and phone; the page shows one), and is
// hidden from readers of the screen: the page says the same in words.

// axes is one picture in the making.
type axes struct {
	b                      strings.Builder
	phone                  bool
	wide, high             float64
	left, right, top, low  float64
	x0, x1, y0, y1         float64
	logX                   bool
	xWords, yWords, yTitle string
}

// newAxes is a picture of a height, with room for labels at its left and foot.
func newAxes(class string, phone bool, wide, high float64) *axes {
	a := &axes{phone: phone, wide: wide, high: high, left: 46, right: wide - 6, top: 12, low: high - 28}
	which := "wide"
	if phone {
		a.wide, a.left, a.right = 380, 42, 376
		which = "phone"
	}
	fmt.Fprintf(&a.b, `<svg class="pic %s %s" viewBox="0 0 %s %s" aria-hidden="true">`, class, which, at(a.wide), at(high))
	return a
}

// Widths of pictures on a wide page: across it, and in its wider column.
const acrossPage, inColumn = 1000, 640

// bothWays draws a picture for a wide page and for a phone.
func bothWays(class string, wide, high float64, draw func(*axes)) template.HTML {
	var out strings.Builder
	for _, phone := range []bool{false, true} {
		h := high
		if phone {
			h = math.Max(0.72*high, math.Min(high, 170))
		}
		a := newAxes(class, phone, wide, h)
		draw(a)
		out.WriteString(a.b.String() + `</svg>`)
	}
	return template.HTML(out.String()) //nolint:gosec // numbers and escaped words
}

func (a *axes) span(x0, x1, y0, y1 float64) {
	if !(x1 > x0) {
		x1 = x0 + 1
	}
	if !(y1 > y0) {
		y1 = y0 + 1
	}
	a.x0, a.x1, a.y0, a.y1 = x0, x1, y0, y1
}

func (a *axes) x(v float64) float64 {
	if a.logX {
		return a.left + (a.right-a.left)*math.Log(v/a.x0)/math.Log(a.x1/a.x0)
	}
	return a.left + (a.right-a.left)*(v-a.x0)/(a.x1-a.x0)
}

func (a *axes) y(v float64) float64 {
	v = math.Max(a.y0, math.Min(a.y1, v))
	return a.low - (a.low-a.top)*(v-a.y0)/(a.y1-a.y0)
}

func (a *axes) f(format string, args ...any) { fmt.Fprintf(&a.b, format, args...) }

func (a *axes) text(class string, x, y float64, words string) {
	a.f(`<text class="%s" x="%s" y="%s">%s</text>`, class, at(x), at(y), html.EscapeString(words))
}

// gridY rules the picture at round values.
func (a *axes) gridY(n int, say func(float64) string) {
	for _, v := range ticks(a.y0, a.y1, n) {
		a.f(`<path class="grid" d="M%s %sH%s"/>`, at(a.left), at(a.y(v)), at(a.right))
		a.text("end", a.left-7, a.y(v)+5, say(v))
	}
}

// mark names a place on the foot; words that would touch are left out by the
// caller.
func (a *axes) mark(v float64, class, words string) {
	a.f(`<path class="grid" d="M%s %sV%s"/>`, at(a.x(v)), at(a.top), at(a.low))
	a.text(class, a.x(v), a.low+20, words)
}

// minutes marks the foot of a picture over time.
func (a *axes) minutes() {
	n := 8
	if a.phone {
		n = 4
	}
	per, unit := 60.0, "min"
	if a.x1-a.x0 > 3*3600 {
		per, unit = 3600, "h"
	}
	all := ticks(a.x0/per, a.x1/per, n)
	for i, v := range all {
		words := decimals(v, 0)
		if v != math.Trunc(v) {
			words = decimals(v, 1)
		}
		class := "mid"
		if i == 0 && a.x(v*per) < a.left+8 {
			class = "begin"
		}
		if i == len(all)-1 {
			words += nb + unit
			if a.x(v*per) > a.right-30 {
				class = "end"
			}
		}
		a.mark(v*per, class, words)
	}
}

// line draws points that lie next to each other; NaN breaks it.
func (a *axes) line(class string, points [][2]float64) {
	var d strings.Builder
	pen := "M"
	for _, p := range points {
		if math.IsNaN(p[1]) {
			pen = "M"
			continue
		}
		d.WriteString(pen + at(a.x(p[0])) + " " + at(a.y(p[1])))
		pen = "L"
	}
	if d.Len() > 0 {
		a.f(`<path class="%s" d="%s"/>`, class, d.String())
	}
}

// band fills what lies between two lines over the same places.
func (a *axes) band(class string, x, low, high []float64) {
	if len(x) < 2 {
		return
	}
	var d strings.Builder
	for i := range x {
		d.WriteString(map[bool]string{true: "M", false: "L"}[i == 0] + at(a.x(x[i])) + " " + at(a.y(high[i])))
	}
	for i := len(x) - 1; i >= 0; i-- {
		d.WriteString("L" + at(a.x(x[i])) + " " + at(a.y(low[i])))
	}
	a.f(`<path class="%s" d="%sZ"/>`, class, d.String())
}

// level draws one value all across, dotted.
func (a *axes) level(v float64) {
	if v > a.y0 && v < a.y1 {
		a.f(`<path class="dots" d="M%s %sH%s"/>`, at(a.left), at(a.y(v)), at(a.right))
	}
}

// levelName says what a level is, over the lines that were drawn before.
func (a *axes) levelName(v float64, words string) {
	if v > a.y0 && v < a.y1 {
		a.text("end over", a.right, a.y(v)+17, words)
	}
}

// bead is a number on a line.
func (a *axes) bead(x, y float64, words string) {
	a.f(`<circle class="bead" cx="%s" cy="%s" r="10"/>`, at(x), at(y))
	a.text("mid number", x, y+4.6, words)
}
