package debrief

import (
	"math"
	"sort"

	"chainline/course"
	"chainline/physics"
)

// roadRows is the ride as a fit of its road needs it. Who was near and where
// the bends are a recording does not say.
func (s *seconds) roadRows(p course.Profile) []RoadRow {
	rows := make([]RoadRow, s.n())
	for i := range rows {
		r := RoadRow{Watts: s.watts[i], Speed: s.speed[i], Gradient: math.NaN(), Bend: s.paused[i]}
		from, to := s.placeAt(i), s.position[i]
		if math.IsNaN(r.Speed) {
			r.Speed = to - from
		}
		if !math.IsNaN(to) {
			r.Gradient = gradientOver(p, from, to)
		}
		rows[i] = r
	}
	return rows
}

// gradientOver is the mean gradient between two places; of one place, that of
// the piece it lies on.
func gradientOver(p course.Profile, from, to float64) float64 {
	if to-from > 0.1 {
		return (p.At(to) - p.At(from)) / (to - from)
	}
	i := sort.SearchFloat64s(p.Distance, to)
	return p.Gradient(max(0, min(len(p.Distance)-2, i-1)))
}

// fitted is the road as the fit has it, on top of the one planned for; nil if
// it says nothing of the drag.
func (f RoadFit) fitted(planned physics.Road) *physics.Road {
	if f.CdA.Unsaid != "" {
		return nil
	}
	planned.CdA = f.CdA.Mean
	if f.Crr.Unsaid == "" {
		planned.Crr = f.Crr.Mean
	}
	return &planned
}
