package bench

import "math"

// drive is a flywheel on a wheel: one mass, what pushes it and what holds it.
// The books are exact: in every step the work of each force is the force
// times the way travelled, and the way is the mean speed times the time, so
// that the works sum to the change of ½·M·v² to rounding.
type drive struct {
	mass float64 // kg at the tyre
	v    float64 // m/s at the tyre

	pushed, braked, dragged float64 // J since the start
	way                     float64 // m
}

// step moves the drive by h seconds under constant forces (N, all ≥ 0) and
// returns the mean speed over it, which is what the works were reckoned with.
// Brake and drag resist; they never turn a wheel backwards.
func (d *drive) step(h, push, brake, drag float64) (mean float64) {
	a := (push - brake - drag) / d.mass
	from, to := d.v, d.v+a*h
	moving := h
	if to < 0 {
		to, moving = 0, from/-a
	}
	way := (from + to) / 2 * moving
	d.v = to
	d.way += way
	d.pushed += push * way
	d.braked += brake * way
	d.dragged += drag * way
	return way / h
}

func (d *drive) kinetic() float64 { return d.mass * d.v * d.v / 2 }

// keep is the share of a first-order lag's distance left after h seconds.
func keep(h, tau float64) float64 {
	if tau <= 0 {
		return 0
	}
	return math.Exp(-h / tau)
}
