package course

import (
	"fmt"
	"math"
)

// A lap may end this far above or below its start: two readings of one place.
const lapMismatch = 10.0 // m

const maxPoints = 2_000_000 // of a repeated course

// Reversed is the course ridden the other way.
func Reversed(p Profile) Profile {
	n := len(p.Distance)
	q := Profile{Distance: make([]float64, n), Elevation: make([]float64, n)}
	for i := range p.Distance {
		q.Distance[n-1-i] = p.Length() - p.Distance[i]
		q.Elevation[n-1-i] = p.Elevation[i]
	}
	return q
}

// Repeat rides a lap several times. A lap has to end where it starts: up to
// 10 m of difference in elevation are spread evenly over it (LapNote says so),
// more is an error, as are laps below 1 and courses above 2,000 km. A single lap is
// returned as it is, wherever it ends. A lead-in is ridden once: repeat first,
// then add it with WithLeadIn.
func Repeat(p Profile, laps int) (Profile, error) {
	n := len(p.Distance)
	mismatch := p.Elevation[n-1] - p.Elevation[0]
	switch {
	case laps < 1:
		return Profile{}, fmt.Errorf("%d laps; expected at least 1", laps)
	case laps == 1:
		return p, nil
	case math.Abs(mismatch) > lapMismatch:
		return Profile{}, fmt.Errorf("a lap ends %.0f m %s its start; expected a lap that ends where it starts (within %.0f m)",
			math.Abs(mismatch), aboveBelow(mismatch), lapMismatch)
	case float64(laps)*p.Length() > MaxDistance:
		return Profile{}, fmt.Errorf("%d laps are %.0f km; expected at most %d km", laps, float64(laps)*p.Length()/1000, MaxDistance/1000)
	case laps > maxPoints/n:
		return Profile{}, fmt.Errorf("%d laps of %d points; expected at most %d points in all", laps, n, maxPoints)
	}
	q := Profile{
		Distance:  make([]float64, 1, laps*(n-1)+1),
		Elevation: make([]float64, 1, laps*(n-1)+1),
	}
	q.Elevation[0] = p.Elevation[0]
	for lap := range laps {
		from := float64(lap) * p.Length()
		for i := 1; i < n; i++ {
			q.Distance = append(q.Distance, from+p.Distance[i])
			q.Elevation = append(q.Elevation, p.Elevation[i]-mismatch*p.Distance[i]/p.Length())
		}
	}
	return q, nil
}

// LapNote is a sentence when Repeat has to bend a lap so that it ends where it
// starts, else empty.
func LapNote(p Profile) string {
	mismatch := p.Elevation[len(p.Elevation)-1] - p.Elevation[0]
	if math.Abs(mismatch) < 0.05 {
		return ""
	}
	return fmt.Sprintf("a lap ends %.1f m %s its start: the difference is spread over the lap", math.Abs(mismatch), aboveBelow(mismatch))
}

func aboveBelow(d float64) string {
	if d > 0 {
		return "above"
	}
	return "below"
}

// WithLeadIn puts metres of level road before the course. It panics if metres
// is negative or not finite.
func WithLeadIn(p Profile, metres float64) Profile {
	if !(metres >= 0) || math.IsInf(metres, 0) {
		panic("course: lead-in must be finite and not negative")
	}
	if metres == 0 {
		return p
	}
	n := len(p.Distance)
	q := Profile{Distance: make([]float64, 1, n+1), Elevation: make([]float64, 1, n+1)}
	q.Elevation[0] = p.Elevation[0]
	for i := range p.Distance {
		q.Distance = append(q.Distance, metres+p.Distance[i])
		q.Elevation = append(q.Elevation, p.Elevation[i])
	}
	return q
}
