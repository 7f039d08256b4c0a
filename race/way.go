package race

import (
	"math"

	"chainline/course"
	"chainline/physics"
)

// cell is the length of the pieces a course is cut into for racing, in metres.
const cell = 10.0

// Way is a course made ready for racing: gradients by equal cells.
type Way struct {
	Profile  course.Profile
	length   float64
	sin, cos []float64 // of the slope angle, one per cell
}

// NewWay prepares a course. Inside a cell of 10 m the gradient is its mean, so
// that the ascent of the whole is kept.
func NewWay(p course.Profile) *Way {
	w := &Way{Profile: p, length: p.Length()}
	n := int(math.Ceil(w.length/cell)) + 1
	before, from := p.At(0), 0.0
	next := 1
	for i := range n {
		to := math.Min(w.length, float64(i+1)*cell)
		if to <= from { // the piece beyond the line, for who crosses it
			w.sin, w.cos = append(w.sin, w.sin[i-1]), append(w.cos, w.cos[i-1])
			continue
		}
		for next < len(p.Distance)-1 && p.Distance[next] < to {
			next++
		}
		share := (to - p.Distance[next-1]) / (p.Distance[next] - p.Distance[next-1])
		at := p.Elevation[next-1] + share*(p.Elevation[next]-p.Elevation[next-1])
		g := (at - before) / (to - from)
		cos := 1 / math.Sqrt(1+g*g)
		w.sin, w.cos = append(w.sin, g*cos), append(w.cos, cos)
		before, from = at, to
	}
	return w
}

// Length of the course in metres.
func (w *Way) Length() float64 { return w.length }

// at is the cell of a place; places before the start and beyond the line
// belong to the first and the last cell.
func (w *Way) at(x float64) int {
	i := int(x * (1 / cell))
	if i < 0 {
		return 0
	}
	if i >= len(w.sin) {
		return len(w.sin) - 1
	}
	return i
}

// Gradient at a place as a fraction.
func (w *Way) Gradient(x float64) float64 { i := w.at(x); return w.sin[i] / w.cos[i] }

// Even is the time in seconds that a lone rider takes over the way at a
// constant power: physics' fixed scheme over the cells. +Inf if they stall.
func (w *Way) Even(m physics.Motion, startSpeed, watts float64) float64 {
	y, total, from := startSpeed*startSpeed, 0.0, 0.0
	for i := range w.sin {
		h := math.Min(cell, w.length-from)
		if h <= 0 {
			break
		}
		force := m.Mass*physics.Gravity*(w.sin[i]+m.Crr*w.cos[i]) + m.Bearing0
		next, dt, ok := m.Advance(y, h, force, watts, nil)
		if !ok {
			return math.Inf(1)
		}
		y, total, from = next, total+dt, from+h
	}
	return total
}
