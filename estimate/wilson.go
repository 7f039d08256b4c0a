package estimate

import "math"

// Wilson is the score interval of a share in [0, 1] that was seen in n cases,
// at the standard normal quantile z: the shares p for which share lies within
// z standard deviations of p. It is 0 to 1 for n of 0 or less. Source: Wilson
// 1927, J Am Stat Assoc 22:209; the formula from memory.
func Wilson(share, n, z float64) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	middle := (share + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(share*(1-share)/n+z*z/(4*n*n))
	return max(0, middle-half), min(1, middle+half)
}
