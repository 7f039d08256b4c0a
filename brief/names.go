package brief

import (
	"fmt"
	"math"
	"strings"

	"chainline/course"
)

// What a cue is called: where it is on the road, in a few plain words.

// Gradients, as fractions, from which a stretch is called up or down.
const (
	upFrom   = 0.012
	downFrom = -0.012
)

func nameCues(cues []Cue, climbs []course.Climb, p course.Profile) {
	onClimb := make([]int, len(cues))
	parts := make([]int, len(climbs)) // cues on each climb
	for i, c := range cues {
		onClimb[i] = climbOf(c, climbs)
		if k := onClimb[i]; k >= 0 {
			parts[k]++
		}
	}
	seen := make([]int, len(climbs))
	for i := range cues {
		c := &cues[i]
		if k := onClimb[i]; k >= 0 {
			seen[k]++
			c.Name = climbName(k, len(climbs), seen[k], parts[k])
			if before := climbs[k].Start - c.FromM; seen[k] == 1 && before > mostBefore(*c) {
				c.Name = "Into " + strings.ToLower(c.Name[:1]) + c.Name[1:]
			}
		} else {
			gradient := (p.At(c.ToM) - p.At(c.FromM)) / (c.ToM - c.FromM)
			afterClimb := i > 0 && onClimb[i-1] >= 0 && c.FromM-end(climbs[onClimb[i-1]]) < 300
			c.Name = roadName(*c, gradient, i == 0, i == len(cues)-1, afterClimb)
		}
		if i == len(cues)-1 && len(cues) > 1 {
			c.Name = lastName(*c, (p.At(c.ToM)-p.At(c.FromM))/(c.ToM-c.FromM))
		}
	}
}

// mostBefore is how far ahead of a climb a cue named after it may begin, m.
func mostBefore(c Cue) float64 { return math.Max(200, 0.15*(c.ToM-c.FromM)) }

func end(c course.Climb) float64 { return c.Start + c.Length }

// climbOf is the climb that takes up most of a cue, and of which the cue
// takes up a fifth at least; −1 if none does.
func climbOf(c Cue, climbs []course.Climb) int {
	for k, climb := range climbs {
		shared := math.Min(c.ToM, end(climb)) - math.Max(c.FromM, climb.Start)
		if shared > 0.6*(c.ToM-c.FromM) || shared > 0.8*climb.Length && shared > 0.4*(c.ToM-c.FromM) {
			return k
		}
	}
	return -1
}

func climbName(k, climbs, part, parts int) string {
	name := fmt.Sprintf("Climb %d", k+1)
	if climbs == 1 {
		name = "The climb"
	}
	switch {
	case parts == 1:
		return name
	case part == 1:
		return name + ", foot"
	case part == parts:
		return name + ", top"
	default:
		return name + ", middle"
	}
}

func roadName(c Cue, gradient float64, first, last, afterClimb bool) string {
	switch {
	case first && c.Share > 1.02 && c.LastS < 90:
		return "Off the line"
	case first && gradient > downFrom:
		return "Settle in"
	case c.Watts < 1 && gradient < downFrom:
		return "Down, let it roll"
	case c.Watts < 1:
		return "Let it roll"
	case gradient < downFrom && c.Share < 0.6:
		return "Down, easy, drink"
	case gradient < downFrom:
		return "Down, keep on it"
	case afterClimb && c.Share < 0.97:
		return "Over the top, breathe"
	case afterClimb:
		return "Over the top, keep on"
	case gradient > upFrom:
		return "Rise"
	case c.Share < 0.8:
		return "Level, easy"
	default:
		return "Level, hold"
	}
}

func lastName(c Cue, gradient float64) string {
	switch {
	case c.Watts < 1:
		return "Home, rolling"
	case c.Share > 1.02 && gradient < downFrom:
		return "Home, push to the line"
	case c.Share > 1.02:
		return "Home, give what is left"
	case c.Share < 0.9:
		return "Home, easy does it"
	default:
		return "Home, hold on"
	}
}

// gradientName is a rule in words.
func gradientName(from, to float64) string {
	switch {
	case math.IsInf(from, -1) && math.IsInf(to, 1):
		return "everywhere"
	case math.IsInf(from, -1) && to > 0:
		return "down or level"
	case to <= 0:
		return "downhill"
	case from < 0 && to > 0.05:
		return "level or up"
	case from < 0:
		return "level"
	case to <= 0.05:
		return "gently up"
	case from >= 0.06:
		return "steep"
	default:
		return "uphill"
	}
}
