package pacing

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

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
// hour, at least two from a minute on. With perHour > 0 given by the rider that number holds.
func Allowed(seconds float64, sections int, perHour float64) int {
	hours := seconds / 3600
	n := math.Max(math.Ceil(CuesPerHour*hours), float64(sections))
	if perHour > 0 {
		n = math.Round(perHour * hours)
	}
	least := 1.0
	if seconds >= 3*ShortestCue {
		least = 2 // even the shortest ride may start or end differently
	}
	return int(math.Max(least, math.Min(n, math.Floor(MostCuesPerHour*hours))))
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
// an even plan in 5 W steps replaces it; where fewer cues do as well, they do
// (simple.go). It returns ctx's error if cancelled.
func (p Problem) Rideable(ctx context.Context, o Optimum, n int, evenWatts float64, even Outcome) (Rideable, error) {
	p.ctx = ctx
	best := Rideable{Allowed: n, Outcome: Outcome{Time: math.Inf(1)}}
	type ridden struct {
		plan  []Piece
		out   Outcome
		err   error
		rides int
	}
	candidates := p.candidates(o, n, &best.Rides)
	tried := make([]ridden, len(candidates))
	var group sync.WaitGroup
	for i, ends := range candidates {
		group.Go(func() {
			r := &tried[i]
			r.plan, r.out, r.err = p.rideCues(o, ends, n, &r.rides)
		})
	}
	group.Wait()
	if gone := p.cause(); gone != nil {
		return Rideable{}, gone
	}
	for _, r := range tried {
		best.Rides += r.rides
		plan, out, err := r.plan, r.out, r.err
		if errors.Is(err, ErrStall) {
			continue // rounded to too little on a slope
		}
		if err != nil {
			return Rideable{}, err
		}
		if out.BalanceMin >= p.Reserve-1e-6 && weight(out.Time, len(plan)) < weight(best.Outcome.Time, len(best.Plan)) {
			best.Plan, best.Outcome = plan, out
		}
	}
	if best.Plan == nil || best.Outcome.Time > even.Time {
		plan, out, err := p.evenSteps(evenWatts, n)
		if err != nil {
			return Rideable{}, err
		}
		if best.Plan == nil || out.Time < best.Outcome.Time {
			best.Plan, best.Outcome, best.Even = plan, out, true
		}
	}
	return p.simpler(best, evenWatts, even)
}

// weight is a time with a small price on every cue to remember.
func weight(seconds float64, cues int) float64 { return seconds * (1 + 1e-4*float64(cues)) }

// fewCues is up to how many cues all proposals are rounded and scored; beyond,
// the polished powers alone choose one.
const fewCues = 12

// candidates are the proposals for breakpoints that are worth finishing.
func (p Problem) candidates(o Optimum, n int, rides *int) [][]float64 {
	proposals := p.breakpoints(o, n)
	if n <= fewCues || len(proposals) == 0 {
		return proposals
	}
	weights, spent := make([]float64, len(proposals)), make([]int, len(proposals))
	var group sync.WaitGroup
	for i, ends := range proposals {
		weights[i] = math.Inf(1)
		if len(ends) > n-n/8 && len(proposals[0]) <= n-n/8 {
			continue // leave room to split long cues, if any proposal does
		}
		group.Go(func() {
			rd, _, seconds := p.cueSearch(o, ends)
			weights[i], spent[i] = weight(seconds, len(ends)), rd.rides()
		})
	}
	group.Wait()
	pick, least := proposals[0], math.Inf(1)
	for i, w := range weights {
		*rides += spent[i]
		if w < least {
			least, pick = w, proposals[i]
		}
	}
	return [][]float64{pick}
}

// cueSearch polishes the powers of cues with given ends on the fast grid,
// from the optimum's own mean power over each.
func (p Problem) cueSearch(o Optimum, ends []float64) (rd *rider, watts []float64, seconds float64) {
	rd = p.anew(ends, 0)
	watts = make([]float64, len(ends))
	k, begin := 0, 0.0
	largest := 0.0
	for i, end := range ends {
		work, time := 0.0, 0.0
		for ; k < len(o.Plan) && o.Plan[k].To <= end+1e-6; k++ {
			dt := o.Outcome.secondsAt(o.Plan[k].To) - o.Outcome.secondsAt(o.Plan[k].From)
			work, time = work+o.Plan[k].Watts*dt, time+dt
			largest = math.Max(largest, o.price[k])
			if k+1 < len(o.price) {
				rd.multiplier[i] += math.Max(0, o.price[k]-o.price[k+1])
			}
		}
		if time == 0 {
			work, time = wattsOver(o.Plan, begin, end), 1
		}
		watts[i], begin = work/time, end
	}
	rd.penalty = math.Max(largest, 0.1/p.Balance.CriticalPower) / (0.01 * p.Balance.WPrime)
	var sw *sweep
	watts, sw, _ = p.search(rd, watts, cueing)
	return rd, watts, rd.priced(watts, sw.price[0])
}

// wattsOver is the power of the piece in the middle of a stretch.
func wattsOver(plan []Piece, from, to float64) float64 {
	for _, piece := range plan {
		if piece.To >= 0.5*(from+to) {
			return piece.Watts
		}
	}
	return plan[len(plan)-1].Watts
}

// rideCues polishes, rounds and repairs the powers of cues with given ends.
// Cues that turn out too short are given to a neighbour and the rest repaired.
func (p Problem) rideCues(o Optimum, ends []float64, n int, rides *int) ([]Piece, Outcome, error) {
	searched, watts, _ := p.cueSearch(o, ends)
	rd, watts := p.split(searched, watts, n)
	watts = p.round(rd, watts)
	*rides += searched.rides()
	for {
		if rd != searched {
			*rides += rd.rides()
		}
		plan, out, err := p.lower(merge(rd.grid.pieces(watts)), rides)
		if err != nil {
			return nil, Outcome{}, err
		}
		short := tooShort(plan, out)
		if len(short) == 0 || len(plan) == 1 || p.halted() {
			return plan, out, nil
		}
		rd, watts = p.without(plan, short, rd.penalty)
		watts = p.exchange(rd, watts)
	}
}

// anew is a rider over other ends, with the limits as they stand.
func (p Problem) anew(ends []float64, penalty float64) *rider {
	step, _ := gridLengths(p.Profile.Length())
	rd := newRider(&p, newGrid(&p.Motion, p.Profile, ends, step))
	rd.penalty = penalty
	return rd
}

// split cuts long cues whose power lies between two steps into stretches at
// the step above and at the step below, in turn, as far as n cues allow: on a
// cue of a quarter of an hour one step is a quarter of a typical W′.
func (p Problem) split(rd *rider, watts []float64, n int) (*rider, []float64) {
	var ends, out []float64
	room := n - len(watts)
	y, from := rd.start, 0.0
	for c, w := range watts {
		end, dt, ok := rd.cross(c, y, w)
		if ok {
			y = end
		}
		to := rd.grid.ends[c]
		below := WattStep * math.Floor(w/WattStep)
		share := (w - below) / WattStep
		coarse := WattStep*dt > 0.03*p.Balance.WPrime && below >= p.softPedal() && below+WattStep <= p.Ceiling && below >= p.Floor
		turns := p.turns(share, dt, room+1)
		if ok && coarse && turns > 0 {
			room -= 2*turns - 1
			chunk := (to - from) / float64(turns)
			for k := range turns {
				ends = append(ends, from+chunk*(float64(k)+share), from+chunk*float64(k+1))
				out = append(out, below+WattStep, below)
			}
			ends[len(ends)-1] = to
		} else {
			ends, out = append(ends, to), append(out, w)
		}
		from = to
	}
	if len(out) == len(watts) {
		return rd, watts
	}
	return p.anew(ends, rd.penalty), out
}

// turns is how often to alternate between two steps over dt seconds, a share
// of the time at the upper one, with at most cues pieces: so often that a turn
// costs no more than 15 % of W′; 0 if a piece would be too short.
func (p Problem) turns(share, dt float64, cues int) int {
	least := math.Min(share, 1-share) * dt
	k := math.Ceil(WattStep * share * (1 - share) * dt / (0.15 * p.Balance.WPrime))
	k = math.Min(math.Min(k, float64(cues/2)), math.Floor(least/(1.5*ShortestCue)))
	return int(math.Max(0, k))
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

// tooShort are the indices of cues that last less than ShortestCue, no two of
// them neighbours.
func tooShort(plan []Piece, o Outcome) []int {
	var short []int
	for i, piece := range plan {
		lasts := o.secondsAt(piece.To) - o.secondsAt(piece.From)
		if lasts < ShortestCue && (len(short) == 0 || short[len(short)-1] < i-1) {
			short = append(short, i)
		}
	}
	return short
}

// without is the plan with some cues each given to the neighbour whose power
// is nearer.
func (p Problem) without(plan []Piece, short []int, penalty float64) (*rider, []float64) {
	gone := map[int]bool{}
	for _, at := range short {
		gone[at] = true
	}
	var ends, watts []float64
	for i, piece := range plan {
		switch {
		case !gone[i]:
			ends, watts = append(ends, piece.To), append(watts, piece.Watts)
		case len(ends) > 0 && (i == len(plan)-1 || math.Abs(plan[i-1].Watts-piece.Watts) < math.Abs(plan[i+1].Watts-piece.Watts)):
			ends[len(ends)-1] = piece.To // to the one before; else the next begins earlier
		}
	}
	return p.anew(ends, penalty), watts
}

// SoftPedal is the power in watts below which a cue asks for coasting
// instead: few can hold so little, and it costs nothing. Our judgement.
const SoftPedal = 30.0

// softPedal is SoftPedal, or a quarter of a critical power that is small.
func (p Problem) softPedal() float64 {
	return math.Min(SoftPedal, WattStep*math.Floor(0.25*p.Balance.CriticalPower/WattStep))
}

// onStep is the power nearest to w that a cue may ask for.
func (p Problem) onStep(w float64) float64 {
	low, high := math.Ceil(p.Floor/WattStep)*WattStep, math.Floor(p.Ceiling/WattStep)*WattStep
	w = math.Min(high, math.Max(low, WattStep*math.Round(w/WattStep)))
	if soft := p.softPedal(); w < soft && low == 0 {
		if w < 0.5*soft {
			return 0
		}
		return soft
	}
	return w
}

// nextStep is the power one step up (direction 1) or down (−1) from w.
func (p Problem) nextStep(w, direction float64) float64 {
	step := direction * WattStep
	if soft := p.softPedal(); p.onStep(0) == 0 && (w == 0 && direction > 0 || w == soft && direction < 0) {
		step = direction * soft
	}
	return p.onStep(w + step)
}

// round puts powers on 5 W steps. Each is rounded so that what the rounding
// has spent so far stays nearest to what was planned; then exchange repairs.
func (p Problem) round(rd *rider, watts []float64) []float64 {
	out := make([]float64, len(watts))
	owed, y := 0.0, rd.start // joules the rounding has overspent
	for c, w := range watts {
		end, dt, ok := rd.cross(c, y, w)
		if !ok {
			end, dt = y, 1
		}
		y = end
		near := p.onStep(w)
		best := near
		for _, other := range []float64{p.nextStep(near, 1), p.nextStep(near, -1)} {
			if math.Abs(owed+(other-w)*dt) < math.Abs(owed+(best-w)*dt) && math.Abs(other-w) < WattStep {
				best = other
			}
		}
		out[c] = best
		owed += (best - w) * dt
	}
	return p.exchange(rd, out)
}

// checkpoint is the state at the start of a cue, so that a change is ridden
// only from where it begins.
type checkpoint struct{ y, spent, seconds, worst float64 }

// overrunFrom is the time of powers on the grid plus a heavy price on spending
// beyond the limit, so that infeasible plans lose against feasible ones. It
// rides from a cue on, given the checkpoints before it, and gives up once the
// sum exceeds the best. With keep it writes checkpoints.
func (rd *rider) overrunFrom(from int, watts []float64, points []checkpoint, best float64, keep bool) float64 {
	cp, at := rd.balance.CriticalPower, points[from]
	for c := from; c < len(watts); c++ {
		w := watts[c]
		end, dt, ok := rd.cross(c, at.y, w)
		if !ok {
			return math.Inf(1)
		}
		at.y, at.seconds = end, at.seconds+dt
		at.spent, _ = rd.flow(at.spent, math.Max(0, w-cp), math.Max(0, cp-w), dt)
		at.worst = math.Max(at.worst, at.spent-rd.limit)
		if keep {
			points[c+1] = at
		}
		if at.seconds+at.worst > best {
			return math.Inf(1)
		}
	}
	return at.seconds + at.worst // a joule too many costs a second
}

// slack is how many joules of the limit powers on the grid leave at their
// lowest, below 0 if they overspend; ErrStall if they bring the rider to a
// standstill.
func (rd *rider) slack(watts []float64) (float64, error) {
	points := make([]checkpoint, len(watts)+1)
	points[0].y = rd.start
	if math.IsInf(rd.overrunFrom(0, watts, points, math.Inf(1), true), 1) {
		return 0, ErrStall
	}
	most := 0.0
	for _, at := range points {
		most = math.Max(most, at.spent)
	}
	return rd.limit - most, nil
}

// exchange improves powers by single steps and by exchanges between near
// cues until none helps or the limit of course rides is reached.
func (p Problem) exchange(rd *rider, watts []float64) []float64 {
	n := len(watts)
	points := make([]checkpoint, n+1)
	points[0].y = rd.start
	best := rd.overrunFrom(0, watts, points, math.Inf(1), true)
	limit := rd.rides() + 150
	try := func(i, j int, di, dj float64) bool {
		if rd.rides() > limit || p.halted() {
			return false
		}
		oldI, oldJ := watts[i], watts[j]
		watts[i] = p.nextStep(oldI, di)
		if j != i {
			watts[j] = p.nextStep(oldJ, dj)
		}
		if watts[i] != oldI && (j == i || watts[j] != oldJ) {
			if t := rd.overrunFrom(i, watts, points, best, false); t < best-1e-7 {
				best = rd.overrunFrom(i, watts, points, math.Inf(1), true)
				return true
			}
		}
		watts[i], watts[j] = oldI, oldJ
		return false
	}
	for improved := true; improved && rd.rides() < limit; {
		improved = false
		for i := range n {
			improved = try(i, i, 1, 0) || try(i, i, -1, 0) || improved
		}
		for gap := 1; gap < min(n, 4); gap++ {
			for i := 0; i+gap < n; i++ {
				improved = try(i, i+gap, 1, -1) || try(i, i+gap, -1, 1) || improved
			}
		}
	}
	return watts
}

// lower takes steps of power off cues above CP until the balance on the full
// profile keeps the reserve, and scores the plan. Where even that is not
// enough the plan comes back as far as it got: its balance tells.
func (p Problem) lower(plan []Piece, rides *int) ([]Piece, Outcome, error) {
	step, _ := gridLengths(p.Profile.Length())
	rd := newRider(&p, newGrid(&p.Motion, p.Profile, planEnds(plan), math.Max(10, 0.4*step)))
	watts := make([]float64, len(plan))
	for i, piece := range plan {
		watts[i] = piece.Watts
	}
	for range 5 {
		p.takeOff(rd, watts)
		lowered := merge(rd.grid.pieces(watts))
		out, err := p.Score(lowered)
		if err != nil {
			return nil, Outcome{}, fmt.Errorf("rounding the plan: %w", err)
		}
		missing := p.Reserve - out.BalanceMin
		if missing <= 1e-6 || missing > 0.5*p.Balance.WPrime {
			*rides += rd.rides()
			return lowered, out, nil
		}
		rd.limit -= missing + 1 // what the fast scheme does not see
	}
	*rides += rd.rides()
	lowered := merge(rd.grid.pieces(watts))
	out, err := p.Score(lowered)
	return lowered, out, err
}

// takeOff lowers watts in place until the limit is kept on the grid. Of the
// cues before the worst overspending it takes the one that loses least time:
// the shortest that is long enough to save what is missing, else the longest.
func (p Problem) takeOff(rd *rider, watts []float64) {
	points := make([]checkpoint, len(watts)+1)
	points[0].y = rd.start
	from := 0
	for range 10 * len(watts) {
		if p.halted() {
			return
		}
		rd.overrunFrom(from, watts, points, math.Inf(1), true)
		worst := 0
		for c := range watts {
			if points[c+1].spent > points[worst+1].spent {
				worst = c
			}
		}
		missing := points[worst+1].spent - rd.limit
		if missing <= 0 {
			return
		}
		pick, cost := -1, math.Inf(1)
		for c := 0; c <= worst; c++ {
			if watts[c] <= p.Balance.CriticalPower || p.nextStep(watts[c], -1) >= watts[c] {
				continue
			}
			seconds := points[c+1].seconds - points[c].seconds
			saved := WattStep * seconds
			if w := seconds + math.Max(0, missing-saved); w < cost {
				pick, cost = c, w
			}
		}
		if pick < 0 {
			return
		}
		watts[pick] = p.nextStep(watts[pick], -1)
		from = pick
	}
}
