// Package capacity answers what a rider can do and how sure we are of it:
// critical power, W′, maximal power and the fade of long rides, learnt from
// evidence, and the balance of W′ over time.
package capacity

import (
	"math"
	"math/rand/v2"

	"chainline/estimate"
)

// Capacity is what the rider can do, in true watts or in those that a power
// source displays: Infer gives both. Fixed builds one for a check.
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

	sample *sample // the riders the evidence allows; nil without an inference
}

// sample are draws of (CP, W′, MaxPower, Fade).
type sample struct{ draws [][4]float64 }

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

// Draw is one rider out of those the evidence allows. Without an inference the
// parameters are normal and stay above physiological floors: CP and W′ at a
// tenth of their mean, MaxPower above CP, Fade at zero. It takes four standard
// normal variates in either case.
func (c Capacity) Draw(r *rand.Rand) Capacity {
	var z [4]float64
	for i := range z {
		z[i] = r.NormFloat64()
	}
	switch {
	case c.Exact:
		return c
	case c.sample == nil:
		return c.Shifted(z)
	}
	share := 0.5 * math.Erfc(-z[0]/math.Sqrt2) // uniform
	return c.drawn(min(len(c.sample.draws)-1, int(share*float64(len(c.sample.draws)))))
}

// drawn is the i-th draw as a rider without doubt.
func (c Capacity) drawn(i int) Capacity {
	d := c.sample.draws[i]
	return Capacity{CriticalPower: d[0], WPrime: d[1], MaxPower: d[2], Fade: d[3]}
}

// values are f of every draw; nil without an inference.
func (c Capacity) values(f func(Capacity) float64) []float64 {
	if c.sample == nil {
		return nil
	}
	out := make([]float64, len(c.sample.draws))
	for i := range out {
		out[i] = f(c.drawn(i))
	}
	return out
}

// InHeat is the rider in a room that leaves only a share of the power of a cool
// one: critical power and fade of the i-th draw are multiplied by share(i), W′
// and maximal power stay (our judgement: heat costs long efforts). A capacity
// without an inference is returned as it is.
func (c Capacity) InHeat(share func(i int) float64) Capacity {
	if c.sample == nil {
		return c
	}
	draws := make([][4]float64, len(c.sample.draws))
	for i, d := range c.sample.draws {
		s := share(i)
		draws[i] = [4]float64{d[0] * s, d[1], d[2], d[3] * s}
	}
	return ofDraws(draws)
}

// Estimate of a quantity of the rider, by the draws. ok is false without an
// inference.
func (c Capacity) Estimate(f func(Capacity) float64, origin string) (e estimate.Estimate, ok bool) {
	v := c.values(f)
	if v == nil {
		return e, false
	}
	return estimate.FromDraws(v, origin), true
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
	if c.sample != nil {
		var of [4]estimate.Estimate
		for i := range of {
			v := make([]float64, len(c.sample.draws))
			for k, d := range c.sample.draws {
				v[k] = d[i]
			}
			of[i] = estimate.FromDraws(v, origin)
		}
		return of[0], of[1], of[2], of[3]
	}
	sd := c.SD()
	return estimate.Normal(c.CriticalPower, sd[0], origin), estimate.Normal(c.WPrime, sd[1], origin),
		estimate.Normal(c.MaxPower, sd[2], origin), estimate.Normal(c.Fade, sd[3], origin)
}

// ofDraws is the capacity whose mean and covariance are those of the draws.
func ofDraws(draws [][4]float64) Capacity {
	var mean [4]float64
	var cov [4][4]float64
	n := float64(len(draws))
	for _, d := range draws {
		for i := range d {
			mean[i] += d[i] / n
		}
	}
	for _, d := range draws {
		for i := range d {
			for j := range d {
				cov[i][j] += (d[i] - mean[i]) * (d[j] - mean[j]) / (n - 1)
			}
		}
	}
	return Capacity{CriticalPower: mean[0], WPrime: mean[1], MaxPower: mean[2], Fade: mean[3], Sigma: factor(cov), sample: &sample{draws}}
}

// factor is the lower triangular Cholesky factor of a covariance. One that
// rounding has left singular gets the least jitter on its correlations that
// makes it positive definite.
func factor(cov [4][4]float64) [4][4]float64 {
	var scale [4]float64
	for i := range scale {
		scale[i] = math.Sqrt(cov[i][i])
	}
	for jitter := 0.0; jitter < 1; jitter = math.Max(1e-12, 10*jitter) {
		if l, ok := cholesky(cov, scale, jitter); ok {
			return l
		}
	}
	panic("capacity: covariance is not positive") // draws that differ keep it so
}

// cholesky factors the covariance after scaling it to correlations, to whose
// diagonal it adds jitter.
func cholesky(cov [4][4]float64, scale [4]float64, jitter float64) (l [4][4]float64, ok bool) {
	for i := range 4 {
		for j := 0; j <= i; j++ {
			sum := cov[i][j] / scale[i] / scale[j]
			if i == j {
				sum += jitter
			}
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			switch {
			case i != j:
				l[i][j] = sum / l[j][j]
			case sum > 1e-13:
				l[i][i] = math.Sqrt(sum)
			default:
				return l, false
			}
		}
	}
	for i := range 4 {
		for j := range 4 {
			l[i][j] *= scale[i]
		}
	}
	return l, true
}
