// Package pacing answers how to spend effort over a course: the fastest ride
// that W′ allows, the version of it that a human can ride, and the forecast
// of what will happen with its interval.
package pacing

import (
	"context"
	"math"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

// Problem is one course to be ridden in the least time by a rider whose W′
// balance must never fall below a reserve.
type Problem struct {
	Motion     physics.Motion
	Profile    course.Profile
	StartSpeed float64          // m/s at the line
	Balance    capacity.Balance // CP and W′ to plan with, and how W′ recovers
	Reserve    float64          // J of W′ to keep back, 0 ≤ Reserve < W′
	Floor      float64          // W, least power; 0 is coasting
	Ceiling    float64          // W, highest power, > Floor
	// Apart is the least share of CP by which rules by gradient differ; 0 lets
	// them differ by single steps.
	Apart float64

	// ctx is set, on their own copy, by the methods that search and are given
	// one; every long loop below them asks halted. Nil is never cancelled.
	ctx context.Context
}

// halted tells whether the caller has given up waiting.
func (p *Problem) halted() bool { return p.ctx != nil && p.ctx.Err() != nil }

// cause is the error of a caller who has given up waiting, else nil.
func (p *Problem) cause() error {
	if p.ctx == nil {
		return nil
	}
	return p.ctx.Err()
}

// Piece is a stretch of constant power.
type Piece struct {
	From, To float64 // m along the course
	Watts    float64
}

// Status says how far a result can be trusted.
type Status int

const (
	// Converged: the last pass changed the time by less than a hundredth of a
	// per cent.
	Converged Status = iota
	// LimitReached: feasible, but the search stopped at its limit of
	// evaluations.
	LimitReached
	// Infeasible: even the least power allowed empties W′ below the reserve.
	Infeasible
)

func (s Status) String() string {
	return [...]string{"converged", "limit reached", "infeasible"}[s]
}

// grid is a course cut into short steps of constant gradient, grouped into
// controls: stretches on which power is constant.
type grid struct {
	length  []float64 // m, of each step
	force   []float64 // N, constant resistance on it
	control []int     // index of the control each step belongs to
	ends    []float64 // m, where each control ends
}

// gridLengths are the steps and controls of the optimiser's grid in metres,
// for a course of a given length: 10 m steps and 50 m controls up to 12 km, coarser beyond
// so that a long course costs no more than a few hundred controls. What is
// reported is always scored by the adaptive integrator on the full profile.
func gridLengths(length float64) (step, control float64) {
	switch {
	case length <= 12000:
		return 10, 50
	case length <= 40000:
		return 25, 100
	default:
		return math.Max(50, length/6000), math.Max(100, length/700)
	}
}

// boundaries are the ends of the controls: every change of gradient that
// matters, with the stretches between cut to at most the given length, and
// short ones off the line, where speed is still building.
func boundaries(p course.Profile, longest float64) []float64 {
	total := p.Length()
	marks := []float64{0}
	add := func(x float64) {
		if x > marks[len(marks)-1]+0.5*math.Min(longest, 25) && x < total-1e-6 {
			marks = append(marks, x)
		}
	}
	for i := 1; i < len(p.Distance); i++ {
		from, to := p.Distance[i-1], p.Distance[i]
		turn := i == 1 || math.Abs(p.Gradient(i-1)-p.Gradient(i-2)) > 0.003
		if turn && from > 0 && to-from >= 0.5*longest {
			add(from)
		}
		for marks[len(marks)-1]+longest < to {
			last := marks[len(marks)-1]
			pieces := math.Ceil((to - last) / longest)
			add(last + math.Max((to-last)/pieces, 0.5*longest))
		}
	}
	ends := make([]float64, 0, len(marks)+8)
	for _, x := range []float64{15, 30, 50, 75} {
		if x < total/4 && x < longest*1.6 {
			ends = append(ends, x)
		}
	}
	for _, x := range marks[1:] {
		if len(ends) == 0 || x > ends[len(ends)-1]+10 {
			ends = append(ends, x)
		}
	}
	return append(ends, total)
}

// newGrid cuts the profile into steps of at most step metres that end at the
// controls' ends; where profile points lie closer than that the gradient is
// their mean.
func newGrid(m *physics.Motion, p course.Profile, ends []float64, step float64) *grid {
	g := &grid{ends: ends}
	point := 1
	from, height := 0.0, p.Elevation[0]
	for c, end := range ends {
		for from < end-1e-9 {
			to := math.Min(end, from+step)
			for point < len(p.Distance) && p.Distance[point] <= from+1e-9 {
				point++
			}
			// End at the next change of gradient when it is not too close.
			if point < len(p.Distance) && p.Distance[point] < to && p.Distance[point] > from+0.4*step {
				to = p.Distance[point]
			}
			if end-to < 0.2*step {
				to = end
			}
			above := elevationAt(p, to, point)
			g.length = append(g.length, to-from)
			g.force = append(g.force, m.ConstantForce((above-height)/(to-from)))
			g.control = append(g.control, c)
			from, height = to, above
		}
	}
	return g
}

// elevationAt interpolates the profile at x, starting the search at a point
// index that is not beyond it.
func elevationAt(p course.Profile, x float64, point int) float64 {
	for point < len(p.Distance)-1 && p.Distance[point] < x {
		point++
	}
	a, b := p.Distance[point-1], p.Distance[point]
	return p.Elevation[point-1] + (p.Elevation[point]-p.Elevation[point-1])*(math.Min(x, b)-a)/(b-a)
}

// pieces turns a power per control into pieces.
func (g *grid) pieces(watts []float64) []Piece {
	out := make([]Piece, len(watts))
	from := 0.0
	for i, w := range watts {
		out[i] = Piece{From: from, To: g.ends[i], Watts: w}
		from = g.ends[i]
	}
	return out
}
