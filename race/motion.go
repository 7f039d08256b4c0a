package race

import (
	"math"

	"chainline/capacity"
)

// One step of one rider: the motion, the books of energy and of W′.

// push rides at a power for one step. The speed in the middle of the step is
// predicted, and kinetic energy, not speed, is what power adds to: the books
// of energy then close to rounding.
func (f *field) push(m *mover, watts, shelter float64, at int, t float64) {
	drag := m.drag * shelter
	slope := m.weight*(f.Way.sin[at]+m.crr*f.Way.cos[at]) + m.b0
	wheel := m.eta * watts
	force := slope + m.v*(m.b1+drag*m.v)
	middle := m.v + 0.5*f.dt*m.perM*(wheel/max(m.v, 2)-force)
	if middle < 0.5*m.v {
		middle = 0.5 * m.v
	}
	if middle < 0.3 {
		middle = 0.3
	}
	force = slope + middle*(m.b1+drag*middle)
	energy := m.v*m.v + 2*m.perM*f.dt*(wheel-force*middle)
	speed := slowest
	braked := 0.0
	if energy > slowest*slowest {
		speed = math.Sqrt(energy)
	} else if watts > 0 && m.v < slowest && energy > 0 {
		speed = math.Sqrt(energy)
	}
	if top := m.plan.Motion.DescentCap; top > 0 && speed > top {
		speed = max(top, min(m.v, speed))
	}
	braked = 0.5 * m.inertial * (energy - speed*speed)
	f.moved(m, speed, middle, watts, drag, slope, at, braked, t)
}

// follow rides at the power that brings the speed to ask, if that is within
// the limit; otherwise at the limit, or coasting. ok is false at the limit.
func (f *field) follow(m *mover, ask, limit, shelter float64, at int, t float64) (ok bool) {
	drag := m.drag * shelter
	slope := m.weight*(f.Way.sin[at]+m.crr*f.Way.cos[at]) + m.b0
	middle := 0.5 * (m.v + ask)
	force := slope + middle*(m.b1+drag*middle)
	watts := (0.5*m.inertial*(ask*ask-m.v*m.v)/f.dt + force*middle) * m.perEta
	switch {
	case watts > limit:
		f.push(m, limit, shelter, at, t)
		return false
	case watts < 0 || ask < slowest:
		f.push(m, max(0, min(watts, limit)), shelter, at, t)
		return true
	}
	f.moved(m, ask, middle, watts, drag, slope, at, 0, t)
	return true
}

// moved keeps the books of one step and notes who crosses the line.
func (f *field) moved(m *mover, speed, middle, watts, drag, slope float64, at int, braked, t float64) {
	dx := middle * f.dt
	work := watts * f.dt
	m.crank += work
	m.wheel += m.eta * work
	m.air += drag * middle * middle * dx
	m.borne += (m.b0 + m.b1*middle) * dx
	m.climbed += m.weight * f.Way.sin[at] * dx
	m.rolled += m.weight * m.crr * f.Way.cos[at] * dx
	m.braked += braked
	if t-m.start < opening {
		m.early += work
		m.earlyS += f.dt
	}
	if m.form.Form == capacity.Differential {
		if d := watts - m.cp; d > 0 {
			m.w -= d * f.dt
			m.over += d * f.dt
		} else {
			r := -d * m.back * f.dt
			m.w += (m.wPrime - m.w) * r * (1 - 0.5*r)
		}
	} else {
		m.w = m.form.Step(m.w, watts, f.dt)
		m.over += max(0, watts-m.cp) * f.dt
	}
	if m.w < m.lowest {
		m.lowest = m.w
	}
	if f.trace != nil && m == &f.riders[f.Watch] {
		f.trace.add(m.x, watts, m.w/m.wPrime, drag/m.drag, m.cp, f.dt)
	}
	if m.x+dx >= f.length {
		m.finish = t + (f.length-m.x)/middle
	}
	m.x += dx
	m.v = speed
}
