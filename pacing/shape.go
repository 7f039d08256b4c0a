package pacing

import (
	"math"

	"chainline/course"
	"chainline/physics"
)

// shape is a course cut for forecasting: geometry without a rider, so that
// every draw can put its own mass and rolling on it.
type shape struct {
	length   []float64 // m
	gradient []float64 // fraction
	cos      []float64 // of the slope angle
	felt     []float64 // gradient over about 100 m around the step: what a rule goes by
	total    float64   // m
}

// cut makes steps that end at the given places (ascending, last = length of
// the course) and are at most step metres long.
func cut(p course.Profile, ends []float64, step float64) *shape {
	flat := physics.Motion{} // a grid of a weightless rider: only its lengths are used
	g := newGrid(&flat, p, ends, step)
	s := &shape{length: g.length, total: p.Length(),
		gradient: make([]float64, len(g.length)), cos: make([]float64, len(g.length)), felt: make([]float64, len(g.length))}
	at := 0.0
	behind, middle, ahead := newReader(p), newReader(p), newReader(p)
	before := p.Elevation[0]
	for i, h := range g.length {
		to := at + h
		z := middle.at(to)
		s.gradient[i] = (z - before) / h
		s.cos[i] = 1 / math.Sqrt(1+s.gradient[i]*s.gradient[i])
		a, b := math.Max(0, 0.5*(at+to)-50), math.Min(s.total, 0.5*(at+to)+50)
		s.felt[i] = (ahead.at(b) - behind.at(a)) / (b - a)
		at, before = to, z
	}
	return s
}

// reader interpolates a profile at places that never go back.
type reader struct {
	p     course.Profile
	point int
}

func newReader(p course.Profile) *reader { return &reader{p: p, point: 1} }

func (r *reader) at(x float64) float64 {
	for r.point < len(r.p.Distance)-1 && r.p.Distance[r.point] < x {
		r.point++
	}
	return elevationAt(r.p, x, r.point)
}

// watts is the power of a plan on every step of the shape.
func (s *shape) watts(plan []Piece) []float64 {
	out := make([]float64, len(s.length))
	k, at := 0, 0.0
	for i, h := range s.length {
		middle := at + 0.5*h
		for k < len(plan)-1 && plan[k].To <= middle {
			k++
		}
		out[i] = plan[k].Watts
		at += h
	}
	return out
}

// planEnds are the places where power changes.
func planEnds(plan []Piece) []float64 {
	ends := make([]float64, len(plan))
	for i, piece := range plan {
		ends[i] = piece.To
	}
	return ends
}
