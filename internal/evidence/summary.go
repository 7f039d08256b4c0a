package evidence

import (
	"math"
	"slices"

	"chainline/estimate"
)

// Summary is a stratum in one line.
type Summary struct {
	Riders              int
	Time, CP, Threshold float64 // coverage of the 80 % intervals
	TimeWidth           float64 // mean width of the time interval over its median
	HalfWidth           float64 // median half width of critical power's interval over its mean
	Chance, Empty       float64 // mean forecast chance of running empty, and how many did
}

// Summarise the rows of one stratum, or of all (stratum −1).
func Summarise(rows []Row, stratum int) Summary {
	var s Summary
	var half []float64
	for _, r := range rows {
		if stratum >= 0 && r.Stratum != stratum {
			continue
		}
		s.Riders++
		s.Time += share(r.Actual >= r.Low && r.Actual <= r.High)
		s.CP += share(r.CP.Holds())
		s.Threshold += share(r.Threshold.Holds())
		s.TimeWidth += (r.High - r.Low) / r.Median
		half = append(half, r.CP.HalfWidth())
		s.Chance += r.Chance
		s.Empty += share(r.Empty)
	}
	n := float64(s.Riders)
	s.Time, s.CP, s.Threshold, s.TimeWidth, s.Chance, s.Empty = s.Time/n, s.CP/n, s.Threshold/n, s.TimeWidth/n, s.Chance/n, s.Empty/n
	s.HalfWidth = median(half)
	return s
}

// Pooled is the coverage of all three intervals together.
func (s Summary) Pooled() float64 { return (s.Time + s.CP + s.Threshold) / 3 }

func share(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

func root(x float64) float64 { return math.Sqrt(x) }

func median(v []float64) float64 {
	sorted := slices.Sorted(slices.Values(v))
	return estimate.Quantile(sorted, 0.5)
}
