package pacing

import (
	"context"
	"math"
	"slices"
	"sync"

	"chainline/capacity"
)

// Optimum is the fastest ride found, before anybody has to remember it.
type Optimum struct {
	Plan    []Piece
	Outcome Outcome
	Status  Status
	Rides   int // course integrations it took, forward and adjoint counted alike
	// price is what a joule of W′ is worth at the end of each piece, s/J. The
	// rideable plan is priced by it.
	price []float64
}

// Optimum finds the plan of least time that keeps the reserve at all times
// and power between floor and ceiling.
//
// Method: prices from the quasi-steady problem (price.go) start the
// multipliers of an augmented Lagrangian over the ride with inertia; its inner
// problems are solved by differential dynamic programming (newton.go); what remains is mended by shrinking or stretching all power
// above CP until the balance just touches the reserve. The problem is not
// convex: the result is a local optimum, and tests hold it against a general
// solver's. It returns ctx's error if cancelled.
func (p Problem) Optimum(ctx context.Context) (Optimum, error) {
	p.ctx = ctx
	step, longest := gridLengths(p.Profile.Length())
	g := newGrid(&p.Motion, p.Profile, boundaries(p.Profile, longest), step)
	best := Optimum{}
	passes := 1
	if p.Balance.Form == capacity.Integral {
		passes = 3 // the time constant depends on the plan's own mean deficit
	}
	for range passes {
		rd := newRider(&p, g)
		watts, sw, status := p.polish(rd)
		if err := p.cause(); err != nil {
			return Optimum{}, err
		}
		plan, out, err := p.scoreMoving(g.pieces(watts))
		if err != nil {
			return Optimum{}, err
		}
		best = Optimum{Plan: plan, Outcome: out, Status: status, Rides: best.Rides + rd.rides(), price: sw.price}
		if p.Balance.Form == capacity.Integral {
			route := legs(p.Profile, plan)
			p.Balance.MeanDeficit = meanDeficit(p.Balance.CriticalPower, route, out.Seconds)
		}
	}
	var status Status
	best.Plan, best.Outcome, status = p.mend(best.Plan, best.Outcome)
	best.Status = max(best.Status, status)
	return best, p.cause()
}

// mend stretches or shrinks all power above CP by one factor until the
// balance, scored on the full profile, just touches the reserve.
func (p Problem) mend(plan []Piece, at Outcome) ([]Piece, Outcome, Status) {
	best, bestOut := plan, at
	_, found := p.stretch(at.BalanceMin-p.Reserve, func(f float64) (float64, error) {
		scaled := slices.Clone(plan)
		for i := range scaled {
			scaled[i].Watts = p.stretched(scaled[i].Watts, f)
		}
		out, err := p.Score(scaled)
		slack := out.BalanceMin - p.Reserve
		if err == nil && (slack >= 0 || f == 0) {
			best, bestOut = scaled, out
		}
		return slack, err
	})
	if !found {
		return best, bestOut, Infeasible
	}
	return best, bestOut, Converged
}

// stretched is a power with what is above CP times a factor.
func (p Problem) stretched(watts, f float64) float64 {
	over := watts - p.Balance.CriticalPower
	if over <= 0 {
		return watts
	}
	return math.Min(p.Ceiling, math.Max(p.Floor, p.Balance.CriticalPower+f*over))
}

// stretch finds the factor on all power above CP with which the balance just
// touches the reserve: ride tells the balance's lowest point less the reserve,
// slack what it is at a factor of 1. A factor of zero, never above CP, always
// keeps it unless the floor lies above CP; else nothing is found.
func (p Problem) stretch(slack float64, ride func(f float64) (slack float64, err error)) (best float64, found bool) {
	const near = 1.0 // J, close enough to the reserve
	if slack >= 0 && slack <= near {
		return 1, true
	}
	lo, slackLo, hi, slackHi := 0.0, p.Balance.WPrime-p.Reserve, 1.0, slack
	if found = slack >= 0; found {
		least := p.Balance.WPrime - p.Reserve - slack
		best, lo, slackLo, hi, slackHi = 1, 1, slack, 1.1, slack-0.1*least-near
	}
	for range 40 {
		if p.halted() {
			break
		}
		f := lo + (hi-lo)*slackLo/(slackLo-slackHi)
		f = math.Min(hi-0.02*(hi-lo), math.Max(lo+0.02*(hi-lo), f))
		slack, err := ride(f)
		if err != nil {
			break
		}
		if slack >= 0 {
			lo, slackLo, best, found = f, slack, f, true
			if slack <= near {
				break
			}
		} else {
			hi, slackHi = f, slack
		}
		if hi-lo < 1e-7 {
			break
		}
	}
	if !found {
		slack, err := ride(0)
		return 0, err == nil && slack >= -1e-6
	}
	return best, true
}

// effort limits a search: outer passes, sweeps in each, and the promised gain,
// as a share of the time, at which a pass ends.
type effort struct {
	passes, sweeps int
	small          float64
}

var (
	scouting = effort{3, 8, 2e-5}
	glancing = effort{2, 6, 5e-5}
	settling = effort{8, 30, 2e-6}
	cueing   = effort{4, 10, 2e-5}
)

// polish searches from the quasi-steady plan with recovery or from the one
// without, whichever leads further on a coarse grid: the problem has local
// optima on both sides (spend now and win it back, or wait for the steep climb).
func (p Problem) polish(rd *rider) ([]float64, *sweep, Status) {
	step, longest := gridLengths(p.Profile.Length())
	coarse := newGrid(&p.Motion, p.Profile, boundaries(p.Profile, 2*longest), 2*step)
	scouts, times := [2]*rider{}, [2]float64{}
	var group sync.WaitGroup
	for i := range scouts {
		group.Go(func() {
			scouts[i] = newRider(&p, coarse)
			watts, sw, _ := p.searchFrom(scouts[i], i == 0, scouting)
			times[i] = scouts[i].priced(watts, sw.price[0])
		})
	}
	group.Wait()
	rd.scouted += scouts[0].rides() + scouts[1].rides()
	// Waiting has to be clearly better: the coarse grid blurs short hills.
	return p.searchFrom(rd, !(times[1] < times[0]*(1-1e-3)), settling)
}

// onward searches on from a rideable plan and returns the better optimum.
func (p Problem) onward(o Optimum, r Rideable) (Optimum, error) {
	step, longest := gridLengths(p.Profile.Length())
	g := newGrid(&p.Motion, p.Profile, boundaries(p.Profile, longest), step)
	rd := newRider(&p, g)
	watts, begin := make([]float64, len(g.ends)), 0.0
	for i, end := range g.ends {
		watts[i], begin = wattsOver(r.Plan, begin, end), end
	}
	_, _, typical := p.quasiSteady(g, true)
	rd.penalty = typical / (0.01 * p.Balance.WPrime)
	watts, sw, status := p.search(rd, watts, settling)
	plan, out, err := p.scoreMoving(g.pieces(watts))
	if err != nil {
		return o, err
	}
	plan, out, mended := p.mend(plan, out)
	o.Rides += rd.rides()
	if err := p.cause(); err != nil {
		return o, err
	}
	if out.Time < o.Outcome.Time && out.BalanceMin >= p.Reserve-1e-6 {
		o.Plan, o.Outcome, o.Status, o.price = plan, out, max(status, mended), sw.price
	}
	return o, nil
}

// searchFrom searches from a quasi-steady plan on the rider's own grid.
func (p Problem) searchFrom(rd *rider, recovers bool, e effort) ([]float64, *sweep, Status) {
	watts, drops, typical := p.quasiSteady(rd.grid, recovers)
	copy(rd.multiplier, drops)
	rd.penalty = typical / (0.01 * p.Balance.WPrime)
	return p.search(rd, watts, e)
}

// priced is the time of powers on the grid, with what they overspend at a
// price (s/J).
func (rd *rider) priced(watts []float64, price float64) float64 {
	points := make([]checkpoint, len(watts)+1)
	points[0].y = rd.start
	rd.overrunFrom(0, watts, points, math.Inf(1), true)
	last := points[len(watts)]
	if last.seconds == 0 {
		return math.Inf(1) // it stalls
	}
	return last.seconds + last.worst*price
}

// search runs the augmented Lagrangian from given watts per control; the
// rider holds the first multipliers and penalty.
func (p Problem) search(rd *rider, watts []float64, e effort) ([]float64, *sweep, Status) {
	n, cp := len(rd.grid.ends), p.Balance.CriticalPower
	sw := &sweep{rd: rd, policies: make([]policy, n), price: make([]float64, n),
		lo: [2]float64{math.Max(0, p.Floor-cp), math.Max(0, cp-p.Ceiling)},
		hi: [2]float64{math.Max(0, p.Ceiling-cp), math.Max(0, cp-p.Floor)}}
	start := newTrajectory(n)
	for i, w := range watts {
		start.u[i] = [2]float64{math.Max(0, w-cp), math.Max(0, cp-w)}
	}
	t, ok := sw.follow(start, 0)
	for range 20 {
		if ok {
			break
		}
		for i := range start.u { // a start that stalls: nearer to critical power
			start.u[i][0] *= 0.7
			start.u[i][1] *= 0.7
		}
		t, ok = sw.follow(start, 0)
	}
	if !ok {
		return watts, sw, Infeasible
	}
	status, last, worstBefore := LimitReached, math.Inf(1), math.Inf(1)
	for range e.passes {
		if p.halted() {
			break
		}
		t = sw.descend(sw.again(t), e.sweeps, e.small*t.time)
		worst := 0.0
		for i, m := range rd.multiplier {
			over := t.spent[i+1] - rd.limit
			worst = math.Max(worst, over)
			rd.multiplier[i] = math.Max(0, m+rd.penalty*over)
		}
		if math.Abs(last-t.time) < 1e-5*t.time && worst < 1e-3*p.Balance.WPrime {
			status = Converged
			break
		}
		if worst > 0.25*worstBefore {
			rd.penalty *= 4
		}
		last, worstBefore = t.time, worst
	}
	sw.prices(t)
	out := make([]float64, n)
	for i, u := range t.u {
		out[i] = cp + u[0] - u[1]
	}
	return out, sw, status
}

// again rides the same powers under the present multipliers.
func (sw *sweep) again(t *trajectory) *trajectory {
	clear(sw.policies)
	same, _ := sw.follow(t, 0)
	sw.spare = t
	return same
}

// quasiSteady is the plan without inertia, the drops of the price of a joule
// where the limit is touched, and a typical price, s/J.
func (p Problem) quasiSteady(g *grid, recovers bool) (watts, drops []float64, typical float64) {
	n := len(g.ends)
	q := &pricing{motion: &p.Motion, cells: make([]cell, n), cp: p.Balance.CriticalPower, wPrime: p.Balance.WPrime,
		limit: p.Balance.WPrime - p.Reserve, floor: p.Floor, ceiling: p.Ceiling, recovers: recovers, halted: p.halted}
	if p.Balance.Speed > 0 {
		q.wPrime *= p.Balance.Speed // slower recovery: as if W′ were larger in its time constant
	}
	for i, c := range g.control {
		q.cells[c].length += g.length[i]
		q.cells[c].force += g.length[i] * g.force[i]
	}
	for i := range q.cells {
		q.cells[i].force /= q.cells[i].length
	}
	q.solve()
	typical = 0.1 / q.cp
	for _, d := range q.drops {
		typical = math.Max(typical, d)
	}
	return q.watts, q.drops, typical
}
