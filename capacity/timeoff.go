package capacity

import (
	"cmp"
	"math"
	"slices"
)

// Time off the bike takes power away: unlike the drift of ageing.go it has a
// direction.

// TimeOff is a stretch without riding. Ago is the days from its end to today, 0
// if it still goes on; Days is how long it lasted.
type TimeOff struct{ Ago, Days float64 }

const (
	// What is lost after a long time off, and how fast. Seven highly trained
	// people lost 7 % of maximal oxygen uptake in 12 to 21 days, 14 % in 56
	// and 16 % in 84 (Coyle et al. 1984, J Appl Physiol 57:1857; secondary, a
	// magazine that quotes it, and from memory where the first figure's day
	// differs). An exponential of 28 days that begins after offFree gives 4.7, 7.6,
	// 13.6 and 15.1 % at 12, 21, 56 and 84 days: if the 7 % were there after 12
	// days, it is slow at first. That power falls as oxygen uptake does, that
	// it comes back as fast as it went, and that the first days cost nothing,
	// is our judgement; so is how much riders differ.
	offMost    = 0.16
	offDays    = 28.0
	offFree    = 3.0
	offDiffers = 0.40 // sd of a rider's loss, as a share of it
)

// OffLeast is the days without a ride that count as time off. Our judgement.
const OffLeast = 7.0

// missing is the logarithm of the share of power that time off has taken, so
// many days ago, for a rider of the usual loss (≥ 0).
func missing(off []TimeOff, ago float64) float64 {
	off = slices.Clone(off)
	slices.SortFunc(off, func(a, b TimeOff) int { return cmp.Compare(b.Ago+b.Days, a.Ago+a.Days) })
	most := -math.Log(1 - offMost)
	state, at := 0.0, math.Inf(1) // at: the day it is of, in days ago
	for _, o := range off {
		begin, end := math.Min(at, o.Ago+o.Days), math.Max(o.Ago, ago)
		if !(o.Ago >= 0) || begin <= end {
			continue
		}
		state *= math.Exp((begin - at) / offDays)
		idle := math.Max(0, begin-end-offFree)
		state, at = most+(state-most)*math.Exp(-idle/offDays), end
	}
	return state * math.Exp((ago-at)/offDays)
}

// rest fills what each datum lost, or won back, by time off between its day
// and now.
func (in *inference) rest(r Rider) {
	if len(r.Off) == 0 {
		return
	}
	now := missing(r.Off, 0)
	for i := range in.obs {
		ago := undatedAge
		if e := r.Evidence[in.obs[i].piece]; e.Date != "" {
			ago = math.Min(oldest, e.Age)
		}
		if lost := now - missing(r.Off, ago); ago >= 0 && lost != 0 {
			if in.layoff < 0 {
				in.layoff = in.add(offDiffers)
			}
			in.obs[i].lost = lost
		}
	}
}
