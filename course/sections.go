package course

import (
	"container/heap"
	"math"
	"slices"
)

// Section is a stretch of road of roughly even gradient.
type Section struct {
	From, To float64 // m along the road
	Gradient float64 // fraction, mean over the section
}

// sectionTolerance is how far a road may lie above or below the straight line
// of its section. Our judgement: about what noise leaves in a smoothed track.
const sectionTolerance = 3.0 // m

// Sections cuts a course into stretches of roughly even gradient for pacing:
// the profile is simplified by the method of Douglas and Peucker (1973, The
// Canadian Cartographer 10:112-122), with the distance measured vertically,
// until no point lies more than 3 m above or below the line of its section.
// Pieces of a coarse survey that turn by more than that are kept as they are.
func Sections(p Profile) []Section {
	keep := simplify(p, sectionTolerance, len(p.Distance))
	sections := make([]Section, 0, len(keep)-1)
	for k := 1; k < len(keep); k++ {
		a, b := keep[k-1], keep[k]
		sections = append(sections, Section{
			From:     p.Distance[a],
			To:       p.Distance[b],
			Gradient: (p.Elevation[b] - p.Elevation[a]) / (p.Distance[b] - p.Distance[a]),
		})
	}
	return sections
}

// Thin keeps at most maxPoints (≥ 2) points of a profile for drawing, those
// that change its picture most. It panics if maxPoints is below 2.
func Thin(p Profile, maxPoints int) Profile {
	if maxPoints < 2 {
		panic("course: a profile needs 2 points")
	}
	var q Profile
	for _, i := range simplify(p, 0, maxPoints) {
		q.Distance = append(q.Distance, p.Distance[i])
		q.Elevation = append(q.Elevation, p.Elevation[i])
	}
	return q
}

// deepest is how often a stretch is cut at its worst point before it is halved
// instead: a hostile zigzag would otherwise cost time quadratic in its points.
const deepest = 64

// simplify returns the indices to keep, ends included, in order. The point
// farthest from the line it is replaced by is put back first, until none is
// farther than tolerance or maxPoints are kept.
func simplify(p Profile, tolerance float64, maxPoints int) []int {
	last := len(p.Distance) - 1
	keep := []int{0, last}
	queue := &spans{}
	push := func(from, to, depth int) {
		if s := p.span(from, to); s.off > 0 {
			s.depth = depth
			heap.Push(queue, s)
		}
	}
	push(0, last, 0)
	for queue.Len() > 0 && len(keep) < maxPoints {
		s := heap.Pop(queue).(span)
		if s.off <= tolerance {
			break
		}
		cut := s.worst
		if s.depth >= deepest {
			cut = (s.from + s.to) / 2
		}
		keep = append(keep, cut)
		push(s.from, cut, s.depth+1)
		push(cut, s.to, s.depth+1)
	}
	slices.Sort(keep)
	return keep
}

// span is a stretch between two kept points and its point farthest off.
type span struct {
	from, to int
	worst    int     // meaningful if off > 0
	off      float64 // m, vertical; 0 if nothing lies between or off the line
	depth    int     // cuts that led to it
}

func (p Profile) span(from, to int) span {
	s := span{from: from, to: to, worst: from}
	slope := (p.Elevation[to] - p.Elevation[from]) / (p.Distance[to] - p.Distance[from])
	for i := from + 1; i < to; i++ {
		line := p.Elevation[from] + slope*(p.Distance[i]-p.Distance[from])
		if off := math.Abs(p.Elevation[i] - line); off > s.off {
			s.off, s.worst = off, i
		}
	}
	return s
}

// spans is a heap with the largest deviation on top.
type spans []span

func (s spans) Len() int           { return len(s) }
func (s spans) Less(i, j int) bool { return s[i].off > s[j].off }
func (s spans) Swap(i, j int)      { s[i], s[j] = s[j], s[i] }
func (s *spans) Push(x any)        { *s = append(*s, x.(span)) }
func (s *spans) Pop() any {
	old := *s
	x := old[len(old)-1]
	*s = old[:len(old)-1]
	return x
}
