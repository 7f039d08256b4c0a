package pacing

import (
	"math"

	"chainline/capacity"
	"chainline/physics"
)

// rider is the differentiable ride over a grid. Power on a control is split
// P = CP + s − r with s, r ≥ 0, which takes the kink of the balance at CP out
// of the problem; both positive at once is never better.
type rider struct {
	motion  *physics.Motion
	grid    *grid
	balance capacity.Balance
	start   float64 // v² at the line
	limit   float64 // J that may be spent: W′ less the reserve
	steps   int     // grid steps integrated so far, forward or backward
	scouted int     // course rides on a coarser grid before
	halted  func() bool

	// Augmented Lagrangian of spent ≤ limit at the end of every control.
	multiplier []float64 // s/J
	penalty    float64   // s/J²

	first []int // first grid step of each control; one more entry than controls
}

func newRider(p *Problem, g *grid) *rider {
	rd := &rider{motion: &p.Motion, grid: g, balance: p.Balance, start: p.StartSpeed * p.StartSpeed, halted: p.halted,
		limit: p.Balance.WPrime - p.Reserve, multiplier: make([]float64, len(g.ends))}
	for i, c := range g.control {
		if c == len(rd.first) {
			rd.first = append(rd.first, i)
		}
	}
	rd.first = append(rd.first, len(g.control))
	return rd
}

// rides is how many times the whole course has been integrated.
func (rd *rider) rides() int {
	return rd.scouted + (rd.steps+len(rd.grid.length)-1)/len(rd.grid.length)
}

// flow is spent W′ after dt seconds at s watts above and r below CP, and its
// derivatives by what was spent before, s, r and dt.
func (rd *rider) flow(d0, s, r, dt float64) (d float64, by [4]float64) {
	rate, rateSlope := rd.balance.Rate(r), rd.balance.RateSlope(r)
	if rate <= 0 {
		return d0 + s*dt, [4]float64{1, dt, -d0 * dt * rateSlope, s}
	}
	keep := math.Exp(-rate * dt)
	share, byRate := (1-keep)/rate, 0.0
	if rate*dt < 1e-5 {
		share = dt * (1 - 0.5*rate*dt)
		byRate = -dt*keep*d0 - 0.5*s*dt*dt
	} else {
		byRate = -dt*keep*d0 + s*(dt*keep-share)/rate
	}
	return d0*keep + s*share, [4]float64{keep, share, byRate * rateSlope, keep * (s - rate*d0)}
}

// cross rides control c from v² = y at constant watts; ok is false on a stall.
func (rd *rider) cross(c int, y, watts float64) (end, dt float64, ok bool) {
	rd.steps += rd.first[c+1] - rd.first[c]
	return rd.recorded(c, y, watts, nil)
}

// recorded is cross; if tape is not nil, what was ridden is appended to it.
// Unlike cross it may run beside others: it counts no steps.
func (rd *rider) recorded(c int, y, watts float64, tape *[]physics.Stage) (end, dt float64, ok bool) {
	for i := rd.first[c]; i < rd.first[c+1]; i++ {
		next, t, ok := rd.motion.Advance(y, rd.grid.length[i], rd.grid.force[i], watts, tape)
		if !ok {
			return 0, math.Inf(1), false
		}
		y, dt = next, dt+t
	}
	return y, dt, true
}

// overspent is the augmented Lagrangian's term for spent at the end of
// control c, its first derivative, and its second.
func (rd *rider) overspent(c int, spent float64) (cost, slope, curve float64) {
	if rd.penalty == 0 {
		return 0, 0, 0
	}
	m := rd.multiplier[c] + rd.penalty*(spent-rd.limit)
	if m <= 0 {
		return -rd.multiplier[c] * rd.multiplier[c] / (2 * rd.penalty), 0, 0
	}
	return (m*m - rd.multiplier[c]*rd.multiplier[c]) / (2 * rd.penalty), m, rd.penalty
}
