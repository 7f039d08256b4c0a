package race

import (
	"math"
	"sort"
)

// What a live group ride takes from riding together. Real positions decide,
// not a simulation: they carry metres of error, and nobody can brake or steer
// on a trainer, so that shelter holds over longer gaps than in a race.

// Gaps, in m of place along the course, up to which a live group gives all of
// its shelter and from which it gives none. Our judgement: a position reckoned
// from a report half a second old is a metre or two off, and riders who cannot
// brake swing by some metres round the wheel they mean to hold.
const (
	liveFull  = 4.0
	liveReach = 15.0
)

// Live is the shelter of a live group at a strength from 0 to 1.
func Live(strength Strength) Shelter {
	s := Bunch(strength)
	s.Full, s.Reach = liveFull, liveReach
	return s
}

// LiveShelter is the share of own air drag that riders near leave to a rider,
// in (0, 1]; 1 is a rider alone. places are everybody's places along the
// course in m, own the index of the rider among them; a place that is not a
// number gives no shelter. The rider's position is one behind everybody ahead
// to whom there is no gap of s.Reach or more; the wheel ahead is that of the
// nearest. Whoever leads a line has the leader's small share while the next
// rider is near, and a rider at the very same place as another neither gives
// nor takes. It panics when own is no index.
//
// With the spacing below s.Full it is s.Factor of the position in line, so
// with a published table's Position it gives that table.
func LiveShelter(places []float64, own int, s Shelter) float64 {
	me := places[own]
	if math.IsNaN(me) || len(s.Position) == 0 {
		return 1
	}
	var ahead []float64
	behind := math.Inf(1)
	for i, p := range places {
		switch {
		case i == own || math.IsNaN(p):
		case p > me:
			ahead = append(ahead, p)
		case p < me:
			behind = min(behind, me-p)
		}
	}
	sort.Float64s(ahead)
	position, last := 1, me
	for _, p := range ahead {
		if p-last >= s.Reach {
			break
		}
		position, last = position+1, p
	}
	if position > 1 {
		return s.Factor(position, ahead[0]-me)
	}
	first := s.Position[0]
	switch {
	case behind <= s.Full:
		return first
	case behind >= s.Reach:
		return 1
	}
	return first + (1-first)*(behind-s.Full)/(s.Reach-s.Full)
}

// The host's keeping together: from which time behind the middle of the group
// help begins, at which it is whole, and how much of the air drag it then
// takes away. Our judgement. On a steep climb there is little air drag to take
// away, and help does little.
const (
	keepFromS = 3.0
	keepFullS = 30.0
	keepMost  = 0.6
)

// KeepTogether is the share of own air drag that the host's keeping together
// leaves to a rider so many seconds behind the middle of the group: 1 up to 3
// s and ahead of it, falling to 0.4 at 30 s and more. What is not a number
// counts as 0.
func KeepTogether(behindS float64) float64 {
	if !(behindS > keepFromS) {
		return 1
	}
	return 1 - keepMost*min(1, (behindS-keepFromS)/(keepFullS-keepFromS))
}

// MiddleOf is the median of the seconds that the riders of a group are ahead of
// somebody, that somebody's own 0 among them; of an even number the mean of
// the two in the middle. Without a number it is 0.
func MiddleOf(ahead []float64) float64 {
	s := append([]float64(nil), ahead...)
	n := len(s)
	if n == 0 {
		return 0
	}
	sort.Float64s(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
