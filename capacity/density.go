package capacity

import "math"

// The densities of evidence, in logarithms.

// lnNormal is the logarithm of the normal density of an offset with standard
// deviation sd > 0.
func lnNormal(offset, sd float64) float64 {
	z := offset / sd
	return -0.5*z*z - math.Log(sd) - 0.5*math.Log(2*math.Pi)
}

// lnSlack is the logarithm of the density of noise minus slack, where noise is
// normal with standard deviation sd > 0 and slack is exponential with a mean
// of slack ≥ 0 (the exponentially modified normal density, mirrored):
//
//	f(x) = 1/m · exp(s²/2m² + x/m) · Φ(−x/s − s/m)
//
// It is smooth in x: an effort far below what was possible costs 1/m per unit,
// one above it is noise.
func lnSlack(x, sd, slack float64) float64 {
	if slack < 1e-3*sd {
		return lnNormal(x, sd)
	}
	r := sd / slack
	return -math.Log(slack) + 0.5*r*r + x/slack + lnPhi(-x/sd-r)
}

// lnPhi is the logarithm of the standard normal distribution function.
func lnPhi(z float64) float64 {
	if z > -35 {
		return math.Log(0.5 * math.Erfc(-z/math.Sqrt2))
	}
	// Asymptotic series; its first omitted term is below 1e-8 here.
	q := 1 / (z * z)
	return -0.5*z*z - math.Log(-z) - 0.5*math.Log(2*math.Pi) + math.Log1p(-q+3*q*q-15*q*q*q)
}

// slackSlopes are the first and second derivative of −lnSlack by x. The second
// is positive: the density is log-concave.
func slackSlopes(x, sd, slack float64) (first, second float64) {
	if slack < 1e-3*sd {
		return x / (sd * sd), 1 / (sd * sd)
	}
	z := -x/sd - sd/slack
	mills := math.Exp(-0.5*z*z - 0.5*math.Log(2*math.Pi) - lnPhi(z)) // φ/Φ
	return mills/sd - 1/slack, math.Max(0, mills*(mills+z)) / (sd * sd)
}
