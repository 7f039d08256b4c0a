package render

import (
	"math"
	"strconv"
	"unicode/utf8"

	"chainline/brief"
)

// placeCues puts a mark and a bead on the chainline for every cue and, where
// there is room under it, what the cue says.
func (s *Strip) placeCues(b brief.Brief, l layout) {
	cues := b.Plan.Cues
	for _, c := range cues {
		s.Marks = append(s.Marks, s.x(c.FromM))
		s.Numbers = append(s.Numbers, c.Number)
	}
	s.Beads = placeBeads(s.Numbers, s.Marks, strconv.Itoa, s.Plot, l)
	alone := map[int]bool{}
	for _, bead := range s.Beads {
		alone[bead.First] = bead.First == bead.Last
	}
	for _, c := range cues {
		word := leadOf(b.Rig.Speaks, c)
		from, to := s.x(c.FromM), s.x(c.ToM)
		room := to - from
		if !alone[c.Number] || float64(utf8.RuneCountInString(word))*l.digit*1.1+l.gap > room {
			continue
		}
		s.Targets = append(s.Targets, Label{(from + to) / 2, l.targets, word, "middle"})
	}
}

// placeBeads gives every mark a bead with its number, as name writes it. Beads
// too close are moved apart; where one would end more than l.nudge from its
// mark, the closest two neighbours become one bead with a range, until all are
// legible.
func placeBeads(numbers []int, marks []float64, name func(int) string, plot float64, l layout) []Bead {
	type group struct{ first, last int } // indices into numbers
	groups := make([]group, len(numbers))
	for i := range groups {
		groups[i] = group{i, i}
	}
	for {
		beads := make([]Bead, len(groups))
		for i, g := range groups {
			label := name(numbers[g.first])
			if g.last > g.first {
				label += "–" + name(numbers[g.last])
			}
			half := math.Max(l.bead, l.bead+float64(utf8.RuneCountInString(label)-2)*l.digit/2)
			if l.digit == 1 { // characters: exactly as wide as the label
				half = float64(utf8.RuneCountInString(label)) / 2
			}
			beads[i] = Bead{First: numbers[g.first], Last: numbers[g.last],
				X: (marks[g.first] + marks[g.last]) / 2, Half: half, Label: label}
		}
		moved := settle(beads, plot, l.gap)
		if moved <= l.nudge || len(groups) == 1 {
			return beads
		}
		closest, least := 0, math.Inf(1)
		for i := 0; i+1 < len(groups); i++ {
			gap := (marks[groups[i+1].first]+marks[groups[i+1].last])/2 - (marks[groups[i].first]+marks[groups[i].last])/2
			if gap -= beads[i].Half + beads[i+1].Half; gap < least {
				closest, least = i, gap
			}
		}
		groups[closest].last = groups[closest+1].last
		groups = append(groups[:closest+1], groups[closest+2:]...)
	}
}

// settle moves beads as little as possible (least squares) so that none
// overlap and all stay on the plot, and returns how far the one moved most
// went against its wish. Beads come in order of X. Subtracting the room each
// needs turns 'no overlap' into 'never decreasing', which is solved by
// pooling neighbours that are out of order.
func settle(beads []Bead, plot, gap float64) float64 {
	type pool struct {
		sum float64
		n   int
	}
	offset := make([]float64, len(beads))
	var pools []pool
	for i := range beads {
		if i > 0 {
			offset[i] = offset[i-1] + beads[i-1].Half + beads[i].Half + gap
		}
		pools = append(pools, pool{beads[i].X - offset[i], 1})
		for k := len(pools) - 1; k > 0 && pools[k-1].sum/float64(pools[k-1].n) > pools[k].sum/float64(pools[k].n); k-- {
			pools[k-1].sum += pools[k].sum
			pools[k-1].n += pools[k].n
			pools = pools[:k]
		}
	}
	last := len(beads) - 1
	low, high := beads[0].Half, plot-beads[last].Half-offset[last]
	moved, i := 0.0, 0
	for _, p := range pools {
		base := math.Max(math.Min(p.sum/float64(p.n), high), low)
		if high < low { // more beads than room: ask for a join
			moved = math.Inf(1)
		}
		for range p.n {
			x := base + offset[i]
			// A bead at the very start or end is moved in by half its width
			// whatever happens; only what comes on top counts.
			wish := math.Max(math.Min(beads[i].X, plot-beads[i].Half), beads[i].Half)
			moved = math.Max(moved, math.Abs(x-wish))
			beads[i].X = x
			i++
		}
	}
	return moved
}
