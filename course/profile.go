// Package course answers what the way is like: its profile, its climbs, and
// what can be said of it when only its length and ascent are known.
package course

import "math"

// Profile is the shape of a course: elevation over distance along the road,
// linear between its points. Distance starts at 0 and strictly increases;
// both slices have the same length of at least 2. Metres.
type Profile struct {
	Distance  []float64
	Elevation []float64
}

// Length is the distance along the road in metres.
func (p Profile) Length() float64 { return p.Distance[len(p.Distance)-1] }

// Ascent is the sum of all rises in metres, Descent that of all falls (≥ 0).
func (p Profile) Ascent() float64 {
	sum := 0.0
	for i := 1; i < len(p.Elevation); i++ {
		sum += math.Max(0, p.Elevation[i]-p.Elevation[i-1])
	}
	return sum
}

// Descent is the sum of all falls in metres, as a positive number.
func (p Profile) Descent() float64 {
	return p.Ascent() - (p.Elevation[len(p.Elevation)-1] - p.Elevation[0])
}

// Gradient is rise over distance along the road of piece i, which runs from
// point i to point i+1.
func (p Profile) Gradient(i int) float64 {
	return (p.Elevation[i+1] - p.Elevation[i]) / (p.Distance[i+1] - p.Distance[i])
}
