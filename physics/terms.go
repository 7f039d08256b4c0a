package physics

import "math"

// Terms is where the power at the wheel goes at a steady speed, in watts.
// Potential is negative on a descent; Air is negative in a tail wind faster
// than the rider.
type Terms struct {
	Air, Rolling, Bearings, Potential float64
}

// Sum is the power at the wheel in watts.
func (t Terms) Sum() float64 { return t.Air + t.Rolling + t.Bearings + t.Potential }

// Terms splits the power that holds speed v (m/s) on a gradient (fraction)
// with a head wind (m/s) into its terms. Their sum over the drivetrain's
// efficiency is PowerAt.
func (m Motion) Terms(v, gradient, headWind float64) Terms {
	air := v + headWind
	cos := 1 / math.Sqrt(1+gradient*gradient)
	return Terms{
		Air:       v * m.Drag * air * math.Abs(air),
		Rolling:   v * m.Crr * m.Mass * Gravity * cos,
		Bearings:  v * (m.Bearing0 + m.Bearing1*v),
		Potential: v * m.Mass * Gravity * gradient * cos,
	}
}

// KineticPower is the mean power in watts at the wheel that changes the speed
// from one value to another (m/s) in the given time (s), wheels included.
func (m Motion) KineticPower(from, to, seconds float64) float64 {
	return 0.5 * m.Inertial * (to*to - from*from) / seconds
}
