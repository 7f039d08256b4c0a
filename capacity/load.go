package capacity

import "math"

// What a ride costs: equivalent power, share of threshold, load.

// smoothing is the length of the rolling mean of equivalent power, s.
const smoothing = 30

// EquivalentPower is the steady power in watts that costs about as much as
// these powers, one sample a second: the fourth root of the mean fourth power
// of the rolling mean over 30 s, which begins once 30 s are there. Zeros
// count; a gap is the caller's to fill. Shorter rides give their plain mean.
func EquivalentPower(watts []float64) float64 {
	n := min(smoothing, len(watts))
	if n == 0 {
		return 0
	}
	sum, fourth := 0.0, 0.0
	for i, w := range watts {
		sum += w
		if i >= n {
			sum -= watts[i-n]
		}
		if i >= n-1 {
			mean := sum / float64(n)
			fourth += mean * mean * mean * mean
		}
	}
	return math.Sqrt(math.Sqrt(fourth / float64(len(watts)-n+1)))
}

// Load is hours times share of threshold squared, in threshold-hours (th):
// an hour at threshold is 1 th. Seconds, watts, watts.
func Load(seconds, equivalent, threshold float64) float64 {
	share := equivalent / threshold
	return seconds / 3600 * share * share
}
