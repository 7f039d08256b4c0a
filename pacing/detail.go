package pacing

import (
	"math"
	"sort"
)

// Live is the optimum in as much detail as can be followed from a screen that
// says what to hold: pieces of at least so many seconds, in steps of WattStep.
// The rideable plan is coarser, for it has to be remembered.
func (r Result) Live(least float64) []Piece {
	type part struct {
		Piece
		seconds float64
	}
	var parts []part
	out := r.Optimum.Outcome
	at := func(x float64) float64 {
		i := sort.SearchFloat64s(out.At, x)
		if i >= len(out.At) {
			return out.Time
		}
		fromM, fromS := 0.0, 0.0
		if i > 0 {
			fromM, fromS = out.At[i-1], out.Seconds[i-1]
		}
		return fromS + (out.Seconds[i]-fromS)*(x-fromM)/(out.At[i]-fromM)
	}
	for _, p := range r.Optimum.Plan {
		parts = append(parts, part{p, math.Max(0.1, at(p.To)-at(p.From))})
	}
	merge := func(i int) { // part i with the next
		a, b := parts[i], parts[i+1]
		both := a.seconds + b.seconds
		parts[i] = part{Piece{From: a.From, To: b.To, Watts: (a.Watts*a.seconds + b.Watts*b.seconds) / both}, both}
		parts = append(parts[:i+1], parts[i+2:]...)
	}
	for len(parts) > 1 { // like with like, then the short with what is likest
		best, least2 := -1, math.Inf(1)
		for i := range len(parts) - 1 {
			apart := math.Abs(parts[i].Watts - parts[i+1].Watts)
			short := math.Min(parts[i].seconds, parts[i+1].seconds) < least
			if (apart < WattStep || short) && apart*math.Min(parts[i].seconds, parts[i+1].seconds) < least2 {
				best, least2 = i, apart*math.Min(parts[i].seconds, parts[i+1].seconds)
			}
		}
		if best < 0 {
			break
		}
		merge(best)
	}
	plan := make([]Piece, len(parts))
	for i, p := range parts {
		plan[i] = Piece{From: p.From, To: p.To, Watts: WattStep * math.Round(p.Watts/WattStep)}
	}
	return plan
}
