// Package capacity answers what a rider can do and how sure we are of it:
// critical power, W′, maximal power and the fade of long rides, learnt from
// evidence, and the balance of W′ over time.
package capacity

import (
	"math"
	"math/rand/v2"

	"chainline/estimate"
)

// Capacity is what the rider can do, in the displayed watts of the source the
// evidence came from. Build one with Infer, or with Fixed for a check.
type Capacity struct {
	CriticalPower float64 // W
	WPrime        float64 // J
	MaxPower      float64 // W, highest momentary pedalling power
	Fade          float64 // W lost per unit of ln(time/FadeFrom) beyond FadeFrom
	// Sigma is the lower triangular factor of the covariance of
	// (CP, W′, MaxPower, Fade): covariance = Sigma·Sigmaᵀ. Zero when Exact.
	Sigma [4][4]float64
	// Exact marks stated values: the two-parameter model holds as it stands,
	// for any duration and any power, without fade.
	Exact bool
}

// FadeFrom is the duration in seconds beyond which sustainable power fades.
const FadeFrom = 1800

// Fixed is the two-parameter model with stated values (W, J) and no doubt.
func Fixed(criticalPower, wPrime, maxPower float64) Capacity {
	return Capacity{CriticalPower: criticalPower, WPrime: wPrime, MaxPower: maxPower, Exact: true}
}

// SustainableCP is the critical power in watts to reckon with in a ride of
// the given duration (s): CP less the fade, so that a constant ride of that
// duration spends exactly W′.
func (c Capacity) SustainableCP(duration float64) float64 {
	if c.Exact || duration <= FadeFrom {
		return c.CriticalPower
	}
	return c.CriticalPower - c.Fade*math.Log(duration/FadeFrom)
}

// Draw is one rider out of those the evidence allows. Parameters stay above
// physiological floors: CP and W′ at a tenth of their mean, MaxPower above
// CP, Fade at zero.
func (c Capacity) Draw(r *rand.Rand) Capacity {
	var z [4]float64
	for i := range z {
		z[i] = r.NormFloat64()
	}
	if c.Exact {
		return c
	}
	return c.Shifted(z)
}

// Shifted moves the capacity by z standard normal units along the columns of
// Sigma, with the floors that Draw states.
func (c Capacity) Shifted(z [4]float64) Capacity {
	var d [4]float64
	for i := range d {
		for j := 0; j <= i; j++ {
			d[i] += c.Sigma[i][j] * z[j]
		}
	}
	return c.moved(d)
}

// moved adds d to (CP, W′, MaxPower, Fade), with the floors that Draw states.
func (c Capacity) moved(d [4]float64) Capacity {
	s := c
	s.CriticalPower = math.Max(0.1*c.CriticalPower, c.CriticalPower+d[0])
	s.WPrime = math.Max(0.1*c.WPrime, c.WPrime+d[1])
	s.MaxPower = math.Max(1.2*s.CriticalPower, c.MaxPower+d[2])
	s.Fade = math.Max(0, c.Fade+d[3])
	return s
}

// SD are the standard deviations of CP (W), W′ (J), MaxPower (W), Fade (W).
func (c Capacity) SD() [4]float64 {
	var sd [4]float64
	for i := range sd {
		sum := 0.0
		for j := 0; j <= i; j++ {
			sum += c.Sigma[i][j] * c.Sigma[i][j]
		}
		sd[i] = math.Sqrt(sum)
	}
	return sd
}

// Estimates of the four parameters, each with the given origin.
func (c Capacity) Estimates(origin string) (criticalPower, wPrime, maxPower, fade estimate.Estimate) {
	sd := c.SD()
	return estimate.Normal(c.CriticalPower, sd[0], origin), estimate.Normal(c.WPrime, sd[1], origin),
		estimate.Normal(c.MaxPower, sd[2], origin), estimate.Normal(c.Fade, sd[3], origin)
}
