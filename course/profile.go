// Package course answers what the way is like: its profile, its climbs, and
// what can be said of it when only its length and ascent are known.
package course

import (
	"math"
	"sort"
)

// MaxDistance is the longest course any reader of this package accepts, in
// metres: beyond every road event, short enough to bound memory and time.
const MaxDistance = 2_000_000

// Elevations outside this range (metres above the sea) are no road on Earth.
const (
	lowestElevation  = -500
	highestElevation = 9000
)

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

// At is the elevation in metres at a distance along the road, linear between
// points; beyond the ends it is that of the nearer end.
func (p Profile) At(distance float64) float64 {
	n := len(p.Distance)
	if distance <= p.Distance[0] {
		return p.Elevation[0]
	}
	if distance >= p.Distance[n-1] {
		return p.Elevation[n-1]
	}
	i := sort.SearchFloat64s(p.Distance, distance)
	share := (distance - p.Distance[i-1]) / (p.Distance[i] - p.Distance[i-1])
	return p.Elevation[i-1] + share*(p.Elevation[i]-p.Elevation[i-1])
}
