package capacity

import (
	"math"

	"chainline/estimate"
)

// The power-duration curve: the highest power that can be held for a time.

// The range in seconds for which Power is meant. Outside it the number is an
// extrapolation and whoever shows it has to say so.
const (
	PowerFrom = 5.0       // s
	PowerTo   = 5 * 3600. // s
)

// Power is the highest constant power in watts that can be held for a time in
// seconds (> 0; meant for PowerFrom to PowerTo).
//
// The curve is the omni-domain form of Puchowicz, Baker and Clarke 2020, J
// Sports Sci 38:801 (the equation known from the documentation of open code
// that implements it and from a summary; the paper was not read):
//
//	P(t) = CP + W′/t·(1 − exp(−t·(Pmax−CP)/W′))          up to FadeFrom
//	P(t) = the same − Fade·ln(t/FadeFrom)                beyond
//
// From two minutes up it is the hyperbola CP + W′/t to within 2 % of W′/t for
// any likely rider, so a critical power fitted to tests gives those tests
// back; for short times it runs to MaxPower. Morton's three-parameter
// hyperbola, CP + W′/(t + W′/(Pmax−CP)), would need a W′ fitted with it.
//
// An Exact capacity is the two-parameter hyperbola up to MaxPower, without
// fade, for any duration.
func (c Capacity) Power(seconds float64) float64 {
	if c.Exact {
		return math.Min(c.MaxPower, c.CriticalPower+c.WPrime/seconds)
	}
	p := c.CriticalPower - c.WPrime/seconds*math.Expm1(-seconds*(c.MaxPower-c.CriticalPower)/c.WPrime)
	if seconds > FadeFrom {
		p -= c.Fade * math.Log(seconds/FadeFrom)
	}
	return p
}

// Threshold is the power in watts that can be held for an hour.
func (c Capacity) Threshold() float64 { return c.Power(3600) }

// ThresholdEstimate is Threshold with its uncertainty: by the draws, or
// without an inference by linearisation.
func (c Capacity) ThresholdEstimate(origin string) estimate.Estimate {
	if c.Exact {
		return estimate.Exact(c.Threshold(), origin)
	}
	if e, ok := c.Estimate(Capacity.Threshold, origin); ok {
		return e
	}
	variance, _ := c.alongPower(3600)
	return estimate.Normal(c.Threshold(), math.Sqrt(variance), origin)
}

// AtRisk is the rider to plan for when things go z standard deviations badly:
// of all capacities whose P(duration) = CP + W′/duration − fade lies z
// standard deviations below the mean, the most probable one,
//
//	θ = μ − z·Σg/√(gᵀΣg),  g = dP/dθ
//
// (the design point of first-order reliability). z = 0 gives the mean, z < 0
// a better day. Floors are those of Shifted. An Exact capacity is returned as
// it is. Sigma is kept.
func (c Capacity) AtRisk(z, duration float64) Capacity {
	variance, covariance := c.alongPower(duration)
	if c.Exact || variance <= 0 {
		return c
	}
	for i := range covariance {
		covariance[i] *= -z / math.Sqrt(variance)
	}
	return c.moved(covariance)
}

// alongPower is gᵀΣg (W²) and Σg for g = d(CP + W′/t − Fade·ln(t/FadeFrom))/dθ.
func (c Capacity) alongPower(duration float64) (variance float64, covariance [4]float64) {
	g := powerGradient(duration)
	var half [4]float64 // Sigmaᵀ·g
	for j := range half {
		for i := j; i < 4; i++ {
			half[j] += c.Sigma[i][j] * g[i]
		}
		variance += half[j] * half[j]
	}
	for i := range covariance {
		for j := 0; j <= i; j++ {
			covariance[i] += c.Sigma[i][j] * half[j]
		}
	}
	return variance, covariance
}

// powerGradient is dP/d(CP, W′, MaxPower, Fade) at durations of minutes and more.
func powerGradient(duration float64) [4]float64 {
	g := [4]float64{1, 1 / duration, 0, 0}
	if duration > FadeFrom {
		g[3] = -math.Log(duration / FadeFrom)
	}
	return g
}
