package pacing

import (
	"math"

	"chainline/physics"
)

// The quasi-steady optimum by the price of a joule.
//
// Let D = W′ − W be the work spent. With the differential balance (spend P−CP
// above CP; D falls at D·(CP−P)/W′ below) the costate of D, the price μ of a
// joule in seconds, is constant while spending, and μ·D is constant while
// recovering; it may fall only where D stands at its limit. So the whole ride
// follows from one price per stage. Where speed is at once in equilibrium, the
// best speed minimises (1 + μ·(P(v) − CP))/v, the same on every gradient:
//
//	2k·v³ + b₁·v² = η(1/μ − CP)
//
// with the price μ while that asks for more than CP, with μ·D/W′ (what a
// joule of restraint buys back) while that asks for less, and CP in between.
// These are the modes of Ashtiani et al. 2020 (arXiv 2007.11393): all-out,
// constant speed, critical power, coasting. Own derivation; reproduced against
// brute force by TestAnalyticQuasiSteadyPacing.

// cell is a stretch of constant gradient in the quasi-steady problem.
type cell struct {
	length float64 // m
	force  float64 // N, constant resistance
}

type pricing struct {
	motion              *physics.Motion
	cells               []cell
	cp, wPrime, limit   float64 // limit: how much of W′ may be spent, J
	floor, ceiling      float64
	recovers            bool // false: nothing comes back below CP
	watts, price, spent []float64
	drops               []float64 // fall of the price at the end of a cell, s/J
	halted              func() bool
}

// targetSpeed solves the stationarity condition for a price (s/J); +Inf for
// a price of nothing.
func (q *pricing) targetSpeed(price float64) float64 {
	m := q.motion
	right := m.Efficiency * (1/price - q.cp)
	if right <= 0 {
		return 0
	}
	v := math.Cbrt(right / (2 * m.Drag))
	if m.Bearing1 > 0 {
		for range 4 {
			v -= (2*m.Drag*v*v*v + m.Bearing1*v*v - right) / (6*m.Drag*v*v + 2*m.Bearing1*v)
		}
	}
	return v
}

func (q *pricing) powerAt(v, force float64) float64 {
	return v * (q.motion.Drag*v*v + q.motion.Bearing1*v + force) / q.motion.Efficiency
}

// speedAt is the steady speed for a power on a cell, by Newton from above.
func (q *pricing) speedAt(watts, force float64) float64 {
	m := q.motion
	wheel := m.Efficiency * watts
	v := math.Max(1, math.Cbrt(wheel/m.Drag))
	if force < 0 {
		v += math.Sqrt(-force / m.Drag)
	} else if force > 0 {
		v = math.Max(0.1, math.Min(v, wheel/force))
	}
	for range 60 {
		f := v*(m.Drag*v*v+m.Bearing1*v+force) - wheel
		d := 3*m.Drag*v*v + 2*m.Bearing1*v + force
		if d <= 0 {
			v *= 1.5
			continue
		}
		next := math.Max(0.05, v-f/d)
		if math.Abs(next-v) < 1e-13*v {
			return next
		}
		v = next
	}
	return v
}

// march rides the cells from a starting cell at a starting price and spending
// until the limit is exceeded, and returns the first cell that exceeds it
// (len(cells) if none does). It writes watts, price and spent as it goes.
func (q *pricing) march(from int, price, spent float64) int {
	up := q.targetSpeed(price)
	down, fresh := 0.0, true
	for i := from; i < len(q.cells); i++ {
		c := q.cells[i]
		watts := math.Min(q.ceiling, q.powerAt(up, c.force))
		switch {
		case watts > q.cp:
			spent += (watts - q.cp) * c.length / q.speedAt(watts, c.force)
			fresh = true
		case q.recovers:
			if fresh {
				down, fresh = q.targetSpeed(price*math.Max(spent, 1e-9)/q.wPrime), false
			}
			watts = math.Max(q.floor, q.powerAt(down, c.force))
			if watts < q.cp {
				before := spent
				spent *= math.Exp(-(q.cp - watts) * c.length / q.speedAt(watts, c.force) / q.wPrime)
				price *= before / math.Max(spent, 1e-9)
				up = q.targetSpeed(price)
			} else {
				watts = math.Max(q.cp, q.floor)
			}
		default:
			watts = math.Max(q.cp, q.floor)
		}
		q.watts[i], q.price[i], q.spent[i] = watts, price, spent
		if spent > q.limit*(1+1e-12)+1e-9 {
			return i
		}
	}
	return len(q.cells)
}

// solve finds the stages. Each ends where, at the smallest price under which
// the rest of the course keeps the limit, the limit is touched.
func (q *pricing) solve() {
	n := len(q.cells)
	q.watts, q.price, q.spent = make([]float64, n), make([]float64, n), make([]float64, n)
	q.drops = make([]float64, n)
	from, spent, contact := 0, 0.0, -1
	for from < n && (q.halted == nil || !q.halted()) {
		lo, hi := math.Log(1e-9), math.Log(1/q.cp)
		if q.march(from, math.Exp(lo), spent) == n {
			q.settle(contact, 0)
			return
		}
		for range 100 {
			mid := 0.5 * (lo + hi)
			if q.march(from, math.Exp(mid), spent) == n {
				hi = mid
			} else {
				lo = mid
			}
			if hi-lo < 1e-14*math.Abs(hi) {
				break
			}
		}
		if q.march(from, math.Exp(hi), spent) < n {
			return // not even critical power keeps the limit: floor above CP
		}
		q.settle(contact, math.Exp(hi))
		contact = from
		for i := from; i < n; i++ {
			if q.spent[i] >= q.spent[contact] {
				contact = i
			}
		}
		spent = math.Min(q.spent[contact], q.limit)
		from = contact + 1
	}
	q.settle(contact, 0)
}

// settle notes how far the price falls where a stage ends.
func (q *pricing) settle(contact int, next float64) {
	if contact >= 0 {
		q.drops[contact] = math.Max(0, q.price[contact]-next)
	}
}
