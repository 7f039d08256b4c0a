package render

import (
	"fmt"
	"html/template"
	"math"

	"chainline/brief"
	"chainline/course"
	"chainline/debrief"
)

// The strip of a ride: the ridden line over the planned one, on the strip of
// the brief. Under each cue stands how many watts the ride lay off it.

// RiddenStrip draws a ride against its plan, for a wide page and for a phone;
// the page shows one of the two. critical is the critical power the plan was
// made with, W; 0: not known.
func RiddenStrip(a debrief.Against, critical float64) template.HTML {
	if len(a.Line) < 2 {
		return ""
	}
	return template.HTML(newRidden(a, critical, Wide).SVG("strip wide") + newRidden(a, critical, Phone).SVG("strip phone")) //nolint:gosec // numbers and escaped words
}

func newRidden(a debrief.Against, critical float64, d Detail) Strip {
	s := NewStrip(plannedBrief(a, critical), d)
	l := layouts[d]
	ridden := riddenLine(a.Line, s, 3)
	most := 1.25 * critical
	for _, c := range a.Cues {
		most = math.Max(most, c.PlannedW)
	}
	for _, p := range ridden {
		most = math.Max(most, p.Y)
	}
	y := func(w float64) float64 {
		return s.EffortBase - math.Max(w, 0)/math.Max(most, 1)*(s.EffortBase-s.EffortTop)
	}
	if s.CriticalY > 0 {
		s.CriticalY = y(critical)
	}
	s.Effort = s.Effort[:0]
	for _, c := range a.Cues {
		s.Effort = append(s.Effort, Point{s.x(c.FromM), y(c.PlannedW)}, Point{s.x(c.ToM), y(c.PlannedW)})
	}
	for _, p := range ridden {
		s.Ridden = append(s.Ridden, Point{p.X, y(p.Y)})
	}
	s.Targets = nil
	for i, c := range a.Cues {
		word := signedWhole(c.OffW)
		from, to := s.x(c.FromM), s.x(c.ToM)
		if !c.Ridden || !s.alone(i) || float64(len([]rune(word)))*l.digit*1.1+l.gap > to-from {
			continue
		}
		s.Targets = append(s.Targets, Label{(from + to) / 2, l.targets, word, "middle"})
	}
	for i := range s.Sides {
		if i == 0 && s.CriticalY > 0 {
			s.Sides[i].Y = s.CriticalY + 4.5
		}
	}
	s.Title, s.Desc = "The ride over its plan", RiddenWords(a)
	return s
}

// alone is whether a cue has a bead of its own.
func (s Strip) alone(i int) bool {
	for _, b := range s.Beads {
		if b.First == s.Numbers[i] {
			return b.First == b.Last
		}
	}
	return false
}

// plannedBrief is as much of the brief as its strip is drawn from.
func plannedBrief(a debrief.Against, critical float64) brief.Brief {
	var b brief.Brief
	b.Rider.CriticalPower.Mean = critical
	b.Course.Known = "surveyed"
	p := course.Profile{}
	for _, x := range a.Line {
		p.Distance, p.Elevation = append(p.Distance, x.M), append(p.Elevation, x.Elevation)
	}
	if p.Distance[0] > 0 {
		p.Distance, p.Elevation = append([]float64{0}, p.Distance...), append([]float64{a.Line[0].Elevation}, p.Elevation...)
	}
	b.Course.Profile, b.Course.Distance = p, p.Distance[len(p.Distance)-1]
	for _, c := range a.Cues {
		b.Course.Distance = math.Max(b.Course.Distance, c.ToM)
		b.Plan.Cues = append(b.Plan.Cues, brief.Cue{Number: c.Number, Name: c.Name, FromM: c.FromM, ToM: c.ToM, Watts: c.PlannedW})
	}
	return b
}

// riddenLine is the ridden watts in columns of some width, each the mean over
// the time it took. Y is watts.
func riddenLine(line []debrief.LinePoint, s Strip, width float64) (out []Point) {
	work, time, until, last := 0.0, 0.0, width, 0.0
	for i, p := range line {
		dt := p.RiddenS - last
		last = p.RiddenS
		if dt > 0 && !math.IsNaN(p.RiddenW) {
			work, time = work+p.RiddenW*dt, time+dt
		}
		if x := s.x(p.M); (x >= until || i == len(line)-1) && time > 0 {
			if len(out) == 0 {
				out = append(out, Point{0, work / time})
			}
			out = append(out, Point{x, work / time})
			work, time, until = 0, 0, x+width
		}
	}
	return out
}

// RiddenWords is the strip of a ride in words.
func RiddenWords(a debrief.Against) string {
	words := "Planned: the dark line. Ridden: the coloured one."
	for _, c := range a.Cues {
		if !c.Ridden {
			words += fmt.Sprintf(" Cue %d, %s: not ridden to its end.", c.Number, c.Name)
			continue
		}
		words += fmt.Sprintf(" Cue %d, %s: planned %s W, ridden %s W.", c.Number, c.Name, whole(c.PlannedW), whole(c.RiddenW))
	}
	return words
}

// signedWhole is a whole number with its sign.
func signedWhole(v float64) string {
	switch n := math.Round(v); {
	case n > 0:
		return "+" + whole(n)
	case n < 0:
		return whole(n)
	}
	return "±0"
}

// ridden draws the line of the ride, and the ground between it and the plan.
func (d *drawing) ridden(s Strip) {
	if len(s.Ridden) < 2 {
		return
	}
	between := append([]Point{}, s.Ridden...)
	for i := len(s.Effort) - 1; i >= 0; i-- {
		if p := s.Effort[i]; p.X <= s.Ridden[len(s.Ridden)-1].X {
			between = append(between, p)
		}
	}
	d.f(`<path class="between" d="%sZ"/><path class="ridden" d="%s"/>`, path(between), path(s.Ridden))
}
