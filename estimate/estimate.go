// Package estimate holds a value together with its uncertainty and where it
// came from, and the seeded random streams that forecasts draw from.
package estimate

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Z80 is the standard normal quantile of 0.9: mean ± Z80·sd holds 80 % of a
// normal distribution. Source: computed, Φ⁻¹(0.9).
const Z80 = 1.2815515655446004

// Estimate is a number from measurement or inference. Low80 and High80 are
// its 10th and 90th percentile. Origin says in words what it rests on. The
// unit is that of the quantity and is named by whoever holds the estimate.
type Estimate struct {
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
	Low80  float64 `json:"low80"`
	High80 float64 `json:"high80"`
	Origin string  `json:"origin,omitempty"`
}

// Normal is an estimate whose uncertainty is taken as normal; sd ≥ 0.
func Normal(mean, sd float64, origin string) Estimate {
	return Estimate{Mean: mean, SD: sd, Low80: mean - Z80*sd, High80: mean + Z80*sd, Origin: origin}
}

// Exact is a value taken as it was given, with no uncertainty of its own.
func Exact(value float64, origin string) Estimate {
	return Estimate{Mean: value, Low80: value, High80: value, Origin: origin}
}

// FromDraws summarises draws by mean, sample standard deviation and the 10th
// and 90th percentile. It needs at least one draw; draws is left unchanged.
func FromDraws(draws []float64, origin string) Estimate {
	sorted := slices.Clone(draws)
	slices.Sort(sorted)
	n := float64(len(sorted))
	sum := 0.0
	for _, x := range sorted {
		sum += x
	}
	mean, squares := sum/n, 0.0
	for _, x := range sorted {
		squares += (x - mean) * (x - mean)
	}
	sd := 0.0
	if len(sorted) > 1 {
		sd = math.Sqrt(squares / (n - 1))
	}
	return Estimate{Mean: mean, SD: sd, Low80: Quantile(sorted, 0.1), High80: Quantile(sorted, 0.9), Origin: origin}
}

// Quantile interpolates linearly between the order statistics of sorted
// (ascending, at least one value): position p·(n−1), 0 ≤ p ≤ 1.
func Quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// Stream is the random source of one draw. Seed and index alone decide what
// it yields, so that any number of workers draws the same numbers.
func Stream(seed uint64, index int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, uint64(index)*0x9e3779b97f4a7c15+0x243f6a8885a308d3))
}
