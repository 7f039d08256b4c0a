package pacing

import (
	"fmt"
	"math"

	"chainline/course"
)

// The rideable plan: how many cues, how short, how fine.
const (
	CuesPerHour     = 12.0 // the usual number; our judgement of what can be remembered or read
	MostCuesPerHour = 30.0
	ShortestCue     = 20.0 // s
	WattStep        = 5.0  // W
	SectionSeconds  = 60.0 // a road section at least this long is worth a cue of its own
)

// Rideable is the version of an optimum that a human can follow.
type Rideable struct {
	Plan    []Piece // whole 5 W steps
	Outcome Outcome
	Allowed int  // cues that were allowed
	Long    int  // road sections of at least SectionSeconds
	Even    bool // whether the plan is the best even power because nothing better was found
	Rides   int
}

// Allowed is how many cues a plan of the given duration may have: the larger
// of perHour and one per road section of at least a minute, at most 30 an
// hour, at least one. With perHour > 0 given by the rider that number holds.
func Allowed(seconds float64, sections int, perHour float64) int {
	hours := seconds / 3600
	n := math.Max(math.Ceil(CuesPerHour*hours), float64(sections))
	if perHour > 0 {
		n = math.Round(perHour * hours)
	}
	return int(math.Max(1, math.Min(n, math.Floor(MostCuesPerHour*hours))))
}

// LongSections counts the road sections that last at least SectionSeconds in
// an outcome.
func LongSections(p course.Profile, o Outcome) int {
	n := 0
	for _, s := range course.Sections(p) {
		if o.secondsAt(s.To)-o.secondsAt(s.From) >= SectionSeconds {
			n++
		}
	}
	return n
}

// secondsAt interpolates when a place is passed.
func (o Outcome) secondsAt(x float64) float64 {
	return interpolate(o.At, o.Seconds, x)
}

// interpolate reads y at x, with y = 0 at x = 0 before the first point.
func interpolate(xs, ys []float64, x float64) float64 {
	lo, hi := 0, len(xs)-1
	if x >= xs[hi] {
		return ys[hi]
	}
	for lo < hi {
		mid := (lo + hi) / 2
		if xs[mid] < x {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	x0, y0 := 0.0, 0.0
	if lo > 0 {
		x0, y0 = xs[lo-1], ys[lo-1]
	}
	return y0 + (ys[lo]-y0)*(x-x0)/(xs[lo]-x0)
}

// Rideable turns an optimum into at most n cues in steps of 5 W, none under
// 20 s.
//
// Method: every stretch and power level is priced by what a joule of W′ is
// worth there; dynamic programming over breakpoints finds the cues that cost
// least; their powers are then polished on the ride with inertia by the same
// search as the optimum, rounded so that the errors cancel along the way, and
// repaired in 5 W moves. Where the result is slower than the best even power,
// an even plan in 5 W steps replaces it.
func (p Problem) Rideable(o Optimum, n int, evenWatts float64, even Outcome) (Rideable, error) {
	best := Rideable{Allowed: n}
	found := false
	for _, ends := range p.breakpoints(o, n) {
		r, err := p.rideCues(ends, n)
		if err != nil {
			return Rideable{}, err
		}
		best.Rides += r.Rides
		if r.Outcome.BalanceMin >= p.Reserve-1e-6 && (!found || r.weight() < best.weight()) {
			best.Plan, best.Outcome, found = r.Plan, r.Outcome, true
		}
	}
	if !found || best.Outcome.Time > even.Time {
		plan, out, err := p.evenSteps(evenWatts, n)
		if err != nil {
			return Rideable{}, err
		}
		if !found || out.Time < best.Outcome.Time {
			best.Plan, best.Outcome, best.Even = plan, out, true
		}
	}
	return best, nil
}

// weight is the time of a plan with a small price on every cue to remember.
func (r Rideable) weight() float64 { return r.Outcome.Time * (1 + 1e-4*float64(len(r.Plan))) }

// rideCues polishes, rounds and repairs the powers of cues with given ends.
func (p Problem) rideCues(ends []float64, n int) (Rideable, error) {
	step, _ := gridLengths(p.Profile.Length())
	for {
		g := newGrid(&p.Motion, p.Profile, ends, step)
		rd := newRider(&p, g)
		watts, drops, typical := p.quasiSteady(g)
		copy(rd.multiplier, drops)
		rd.penalty = typical / (0.01 * p.Balance.WPrime)
		watts, _, _ = p.search(rd, watts)
		watts = p.round(rd, watts)
		plan := merge(g.pieces(watts))
		out, err := p.Score(plan)
		if err != nil {
			return Rideable{}, err
		}
		plan, out, err = p.lower(plan, out)
		if err != nil {
			return Rideable{}, err
		}
		short := shortest(plan, out)
		if short < 0 || len(plan) == 1 {
			return Rideable{Plan: plan, Outcome: out, Allowed: n, Rides: rd.rides()}, nil
		}
		ends = without(plan, short)
	}
}

// merge joins neighbours of equal power.
func merge(plan []Piece) []Piece {
	out := plan[:1:1]
	for _, piece := range plan[1:] {
		if last := &out[len(out)-1]; last.Watts == piece.Watts {
			last.To = piece.To
		} else {
			out = append(out, piece)
		}
	}
	return out
}

// shortest is the index of the shortest cue if it lasts less than
// ShortestCue, else −1.
func shortest(plan []Piece, o Outcome) int {
	at, least := -1, ShortestCue
	for i, piece := range plan {
		if d := o.secondsAt(piece.To) - o.secondsAt(piece.From); d < least {
			at, least = i, d
		}
	}
	return at
}

// without are the ends of the plan's cues with one cue given to the
// neighbour whose power is nearer.
func without(plan []Piece, at int) []float64 {
	drop := at // the end that disappears
	if at == len(plan)-1 || (at > 0 && math.Abs(plan[at-1].Watts-plan[at].Watts) < math.Abs(plan[at+1].Watts-plan[at].Watts)) {
		drop = at - 1
	}
	var ends []float64
	for i, piece := range plan {
		if i != drop {
			ends = append(ends, piece.To)
		}
	}
	return ends
}

// round puts powers on 5 W steps. Each is rounded so that what the rounding
// has spent so far stays nearest to what was planned, then single 5 W moves
// and exchanges between two cues are taken as long as they save time and keep
// the reserve on the fast grid.
func (p Problem) round(rd *rider, watts []float64) []float64 {
	low, high := math.Ceil(p.Floor/WattStep)*WattStep, math.Floor(p.Ceiling/WattStep)*WattStep
	fit := func(w float64) float64 { return math.Min(high, math.Max(low, w)) }
	out := make([]float64, len(watts))
	owed, y := 0.0, rd.start // joules the rounding has overspent
	for c, w := range watts {
		_, dt, ok := rd.cross(c, y, w, false)
		if !ok {
			dt = 1
		}
		end, _, ok := rd.cross(c, y, w, false)
		if ok {
			y = end
		}
		down, up := fit(WattStep*math.Floor(w/WattStep)), fit(WattStep*math.Ceil(w/WattStep))
		if math.Abs(owed+(up-w)*dt) < math.Abs(owed+(down-w)*dt) {
			down = up
		}
		out[c] = down
		owed += (down - w) * dt
	}
	return p.exchange(rd, out, low, high)
}

// overrun is the time of powers on the grid plus a heavy price on spending
// beyond the limit, so that infeasible plans lose against feasible ones.
func (rd *rider) overrun(watts []float64) float64 {
	y, spent, total, worst := rd.start, 0.0, 0.0, 0.0
	cp := rd.balance.CriticalPower
	for c, w := range watts {
		end, dt, ok := rd.cross(c, y, w, false)
		if !ok {
			return math.Inf(1)
		}
		y, total = end, total+dt
		spent, _ = rd.flow(spent, math.Max(0, w-cp), math.Max(0, cp-w), dt)
		worst = math.Max(worst, spent-rd.limit)
	}
	return total + worst // a joule too many costs a second
}

// exchange improves powers in 5 W moves until none helps or the limit of
// evaluations is reached.
func (p Problem) exchange(rd *rider, watts []float64, low, high float64) []float64 {
	n := len(watts)
	best := rd.overrun(watts)
	budget := 40 * n
	if n <= 15 {
		budget = 300
	}
	try := func(i, j int, di, dj float64) bool {
		if budget <= 0 {
			return false
		}
		if w := watts[i] + di; w < low || w > high {
			return false
		}
		if w := watts[j] + dj; j != i && (w < low || w > high) {
			return false
		}
		budget--
		watts[i] += di
		if j != i {
			watts[j] += dj
		}
		if t := rd.overrun(watts); t < best-1e-7 {
			best = t
			return true
		}
		watts[i] -= di
		if j != i {
			watts[j] -= dj
		}
		return false
	}
	for improved := true; improved && budget > 0; {
		improved = false
		for i := range n {
			improved = try(i, i, WattStep, 0) || try(i, i, -WattStep, 0) || improved
		}
		for gap := 1; gap < min(n, 4); gap++ {
			for i := 0; i+gap < n; i++ {
				improved = try(i, i+gap, WattStep, -WattStep) || try(i, i+gap, -WattStep, WattStep) || improved
			}
		}
	}
	return watts
}

// lower takes 5 W off cues above CP, where it costs least time per joule
// saved, until the balance on the full profile keeps the reserve.
func (p Problem) lower(plan []Piece, out Outcome) ([]Piece, Outcome, error) {
	for range 400 {
		if out.BalanceMin >= p.Reserve-1e-6 {
			return plan, out, nil
		}
		// The lowest point of the balance: only cues before it matter.
		worst := 0
		for i, w := range out.Balance {
			if w < out.Balance[worst] {
				worst = i
			}
		}
		pick, cost := -1, math.Inf(1)
		for i, piece := range plan {
			if piece.From >= out.At[worst] || piece.Watts-WattStep < p.Floor || piece.Watts <= p.Balance.CriticalPower-WattStep {
				continue
			}
			// Time lost per joule is least where speed gains least from power:
			// high speed; and a long cue gives back more than is needed.
			seconds := out.secondsAt(piece.To) - out.secondsAt(piece.From)
			need := (p.Reserve - out.BalanceMin) / (WattStep * seconds)
			if c := seconds * math.Max(1, 1/math.Max(need, 0.05)); c < cost {
				pick, cost = i, c
			}
		}
		if pick < 0 {
			return plan, out, nil // infeasible: the caller looks at the balance
		}
		plan = append([]Piece(nil), plan...)
		plan[pick].Watts -= WattStep
		plan = merge(plan)
		next, err := p.Score(plan)
		if err != nil {
			return nil, Outcome{}, fmt.Errorf("rounding the plan: %w", err)
		}
		out = next
	}
	return plan, out, nil
}

// evenSteps is the best even power in 5 W steps: the step above for a first
// part and the step below for the rest, with the change where the reserve is
// just kept; one cue if a single step does, or if only one is allowed.
func (p Problem) evenSteps(watts float64, n int) ([]Piece, Outcome, error) {
	total := p.Profile.Length()
	low := math.Max(math.Ceil(p.Floor/WattStep)*WattStep, WattStep*math.Floor(watts/WattStep+1e-9))
	high := math.Min(low+WattStep, math.Floor(p.Ceiling/WattStep)*WattStep)
	at := func(x float64) []Piece {
		if x <= 0 {
			return []Piece{{0, total, low}}
		}
		return []Piece{{0, x, high}, {x, total, low}}
	}
	best := at(0)
	out, err := p.Score(best)
	if err != nil || n < 2 || high <= low {
		return best, out, err
	}
	lo, hi := 0.0, total
	for range 12 {
		x := 0.5 * (lo + hi)
		o, err := p.Score(at(x))
		if err == nil && o.BalanceMin >= p.Reserve-1e-6 {
			lo = x
			if o.Time < out.Time && shortest(at(x), o) < 0 {
				best, out = at(x), o
			}
		} else {
			hi = x
		}
	}
	return best, out, nil
}
