package capacity

import "math"

// The balance of W′: spending above critical power, recovery below it. Every
// published form that Chainline knows stands in this file with its source.
//
// What the forms rest on was read in open research code and abstracts, not in
// the full papers (docs/checks.md says which). No published time constant
// fits all published observations; Speed carries that doubt.

// Recovery names a published form of W′ recovery.
type Recovery int

const (
	// Differential: below CP, dW/dt = (W′−W)·(CP−P)/W′, so τ = W′/(CP−P).
	// Skiba et al. 2015; Skiba and Clarke 2021, IJSPP 16:1561, eq. 12.
	Differential Recovery = iota
	// Integral: W′ spent decays at all times with one τ = 546·exp(−0.01·D)+316,
	// D = CP minus the mean power below CP. Skiba et al. 2012, MSSE 44:1526.
	Integral
	// Elite: below CP, τ = 2287.2·(CP−P)^−0.688, from four elite riders and
	// recoveries of minutes. Bartram et al. 2018, IJSPP 13:724.
	Elite
)

// Balance is the book-keeping of W′ for one rider.
type Balance struct {
	CriticalPower float64 // W
	WPrime        float64 // J
	Form          Recovery
	// MeanDeficit is CP minus the mean power below CP (W), for Integral only.
	MeanDeficit float64
	// Speed multiplies every time constant; 1 is the published form, more is
	// slower. Zero is read as 1.
	Speed float64
}

// IntegralTau is τ in seconds of the 2012 form for a mean deficit D (W).
func IntegralTau(meanDeficit float64) float64 { return 546*math.Exp(-0.01*meanDeficit) + 316 }

// EliteTau is τ in seconds for a deficit D > 0 (W) below critical power.
func EliteTau(deficit float64) float64 { return 2287.2 * math.Pow(deficit, -0.688) }

// Rate is the fraction of spent W′ that comes back per second when riding
// deficit watts (≥ 0) below critical power. For Integral it is the same at
// every power, above critical power too.
func (b Balance) Rate(deficit float64) float64 {
	speed := b.Speed
	if speed == 0 {
		speed = 1
	}
	switch b.Form {
	case Integral:
		return 1 / (IntegralTau(b.MeanDeficit) * speed)
	case Elite:
		if deficit <= 0 {
			return 0
		}
		return math.Pow(deficit, 0.688) / (2287.2 * speed)
	default:
		return deficit / (b.WPrime * speed)
	}
}

// RateSlope is the derivative of Rate by the deficit (≥ 0), per second and
// watt. That of Elite, infinite at 0, is held at its value for 1 W below that.
func (b Balance) RateSlope(deficit float64) float64 {
	speed := b.Speed
	if speed == 0 {
		speed = 1
	}
	switch b.Form {
	case Integral:
		return 0
	case Elite:
		return 0.688 * math.Pow(math.Max(deficit, 1), -0.312) / (2287.2 * speed)
	default:
		return 1 / (b.WPrime * speed)
	}
}

// Step is the balance in joules after riding at constant watts for a time
// (s), from balance w (J). It is exact for constant power; the balance may
// become negative, and never exceeds W′.
func (b Balance) Step(w, watts, seconds float64) float64 {
	spend := math.Max(0, watts-b.CriticalPower)
	if spend > 0 && b.Form != Integral {
		return w - spend*seconds
	}
	rate := b.Rate(math.Max(0, b.CriticalPower-watts))
	spent := (b.WPrime - w) * decay(rate*seconds)
	if spend > 0 {
		spent += spend / rate * -math.Expm1(-rate*seconds)
	}
	return b.WPrime - spent
}

// decay is e^−x for x ≥ 0. Forecasts ask it for every few metres, where x is
// some hundredths at most: there its series, whose eighth term is below the
// last bit, takes less than half of math.Exp's time (measured).
func decay(x float64) float64 {
	if !(x <= 0.03) {
		return math.Exp(-x)
	}
	return 1 - x*(1-x*(1.0/2-x*(1.0/6-x*(1.0/24-x*(1.0/120-x*(1.0/720-x*(1.0/5040)))))))
}

// IntegralSeries is the 2012 form as its authors sum it, once a second:
// S(t) = S(t−1)·exp(−1/τ) + max(0, P−CP). It returns the balance in joules
// after each second of watts; the sum differs from Step by about half a
// second of spending.
func IntegralSeries(watts []float64, criticalPower, wPrime, meanDeficit float64) []float64 {
	keep := math.Exp(-1 / IntegralTau(meanDeficit))
	balance, spent := make([]float64, len(watts)), 0.0
	for i, p := range watts {
		spent = spent*keep + math.Max(0, p-criticalPower)
		balance[i] = wPrime - spent
	}
	return balance
}
