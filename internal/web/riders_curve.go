package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/internal/form"
	"chainline/internal/service"
)

// The power-duration curve: the highest power for every duration with its 80 %
// band, time on a logarithmic axis, and on it what is known of the rider.

// Size of the picture, in its own units.
const (
	curveWide, curveHigh                      = 760.0, 400.0
	curveLeft, curveRight, curveTop, curveLow = 56.0, 744.0, 14.0, 352.0
)

var curveTimes = []struct {
	seconds float64
	name    string
}{{5, "5 s"}, {30, "30 s"}, {60, "1 min"}, {300, "5 min"}, {1200, "20 min"}, {3600, "1 h"}, {5 * 3600, "5 h"}}

// CurveRow is one duration of the curve in numbers.
type CurveRow struct{ Time, Watts, Low, High string }

// curve is the picture in the making.
type curve struct {
	most, least float64 // W at the top and bottom
	b           strings.Builder
}

func (c *curve) x(t float64) float64 {
	return curveLeft + (curveRight-curveLeft)*math.Log(t/capacity.PowerFrom)/math.Log(capacity.PowerTo/capacity.PowerFrom)
}

// y is logarithmic too, so that an hour keeps as much height as a sprint.
func (c *curve) y(w float64) float64 {
	w = math.Max(c.least, math.Min(c.most, w))
	return curveLow - (curveLow-curveTop)*math.Log(w/c.least)/math.Log(c.most/c.least)
}

// RiderCurve draws the curve and gives it in numbers; both are empty where
// nothing can be said.
func RiderCurve(k service.Known) (template.HTML, []CurveRow) {
	const steps = 60
	var times, low, high, middle []float64
	for i := range steps + 1 {
		t := capacity.PowerFrom * math.Pow(capacity.PowerTo/capacity.PowerFrom, float64(i)/steps)
		e, ok := powerAt(k.Capacity, t)
		if !ok {
			return "", nil
		}
		times, low, high, middle = append(times, t), append(low, e[0]), append(high, e[2]), append(middle, e[1])
	}
	c := &curve{most: 1.08 * high[0], least: 0.85 * low[steps]}
	fmt.Fprintf(&c.b, `<svg class="curve" viewBox="0 0 %.0f %.0f" aria-hidden="true">`, curveWide, curveHigh)
	c.grid()
	c.path("band", append(times, reversed(times)...), append(high, reversed(low)...), true)
	c.path("line", times, middle, false)
	fmt.Fprintf(&c.b, `<path class="dots" d="M%.1f %.1fH%.1f"/><text x="%.1f" y="%.1f">critical power</text>`, curveLeft, c.y(k.Capacity.CriticalPower), curveRight,
		curveLeft+10, c.y(k.Capacity.CriticalPower)-8)
	for _, s := range placed(k, k.LeftOut) {
		class := "seen"
		if s.leftOut {
			class = "seen out"
		}
		x := c.x(math.Max(capacity.PowerFrom, math.Min(capacity.PowerTo, s.seconds)))
		if s.off > 1 {
			fmt.Fprintf(&c.b, `<path class="off" d="M%.1f %.1fV%.1f"/>`, x, c.y(s.watts*s.off), c.y(s.watts/s.off))
		}
		fmt.Fprintf(&c.b, `<circle class="%s" cx="%.1f" cy="%.1f" r="5.5"/>`, class, x, c.y(s.watts))
	}
	c.b.WriteString(`</svg>`)
	var rows []CurveRow
	for _, t := range curveTimes {
		if e, ok := powerAt(k.Capacity, t.seconds); ok {
			rows = append(rows, CurveRow{t.name, fmt.Sprintf("%.0f W", e[1]), fmt.Sprintf("%.0f", e[0]), fmt.Sprintf("%.0f", e[2])})
		}
	}
	return template.HTML(c.b.String()), rows
}

// powerAt is low, middle and high of the best power for a time.
func powerAt(c capacity.Capacity, t float64) (lmh [3]float64, ok bool) {
	e, ok := c.Estimate(func(c capacity.Capacity) float64 { return c.Power(t) }, "")
	return [3]float64{e.Low80, e.Mean, e.High80}, ok
}

// grid are the lines of the axes with their labels.
func (c *curve) grid() {
	last := math.Inf(1)
	for _, w := range []float64{50, 75, 100, 150, 200, 250, 300, 400, 500, 700, 1000, 1400, 2000} {
		if w <= c.least || w >= c.most || math.Abs(c.y(w)-last) < 30 {
			continue
		}
		last = c.y(w)
		fmt.Fprintf(&c.b, `<path class="grid" d="M%.1f %.1fH%.1f"/><text class="end" x="%.1f" y="%.1f">%.0f</text>`, curveLeft, last, curveRight, curveLeft-8, last+5, w)
	}
	for i, t := range curveTimes {
		class := "mid"
		if i == 1 || i == 3 { // a phone has no room for all
			class = "mid wide"
		}
		switch i {
		case 0:
			class = "begin"
		case len(curveTimes) - 1:
			class = "end"
		}
		fmt.Fprintf(&c.b, `<path class="grid" d="M%.1f %.1fV%.1f"/><text class="%s" x="%.1f" y="%.1f">%s</text>`, c.x(t.seconds), curveTop, curveLow, class, c.x(t.seconds), curveLow+26, t.name)
	}
}

func (c *curve) path(class string, times, watts []float64, closed bool) {
	fmt.Fprintf(&c.b, `<path class="%s" d="`, class)
	for i, t := range times {
		fmt.Fprintf(&c.b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], c.x(t), c.y(watts[i]))
	}
	if closed {
		c.b.WriteString("Z")
	}
	c.b.WriteString(`"/>`)
}

func reversed(s []float64) []float64 {
	out := make([]float64, len(s))
	for i, v := range s {
		out[len(s)-1-i] = v
	}
	return out
}

// spot is one piece of evidence on the curve.
type spot struct {
	seconds, watts float64
	off            float64 // by which factor they may be off, four times out of five; 0 if no stroke shows it
	leftOut        bool
}

// thresholdFor is where on the curve a stated threshold stands, s: by its
// definition, what can be held for about an hour.
const thresholdFor = 3600

// placed is the evidence that has watts and a time: what is used, and what the
// rider left out.
func placed(k service.Known, leftOut []capacity.Evidence) []spot {
	var out []spot
	for i, e := range append(append([]capacity.Evidence(nil), k.Rider.Evidence...), leftOut...) {
		s := spot{seconds: e.Duration, watts: e.Watts, leftOut: i >= len(k.Rider.Evidence)}
		switch e.Kind {
		case capacity.MaximalTest, capacity.BestEffort:
		case capacity.StatedThreshold:
			s.seconds = thresholdFor
		case capacity.HillTime:
			watts, sd, ok := capacity.HillWatts(k.Rider, e)
			if !ok {
				continue
			}
			s.watts, s.off = watts, math.Exp(estimate.Z80*sd)
			if k.Shown {
				s.watts *= k.Learnt.Scale.Mean
			}
		default:
			continue
		}
		if s.seconds > 0 && s.watts > 0 {
			out = append(out, s)
		}
	}
	return out
}

// unplaced is the evidence without a place on the curve, by name.
func unplaced(values map[string]string) []string {
	var out []string
	seen := map[string]bool{}
	for _, path := range form.Entries(values, "evidence") {
		switch kind := values[path+".kind"]; kind {
		case "test", "best", "threshold", "hill":
		default:
			if name := strings.ToLower(evidenceName(kind)); !seen[kind] {
				seen[kind] = true
				out = append(out, name)
			}
		}
	}
	return out
}
