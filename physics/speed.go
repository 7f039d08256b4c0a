package physics

import "math"

// topSpeed bounds every steady speed that is looked for, m/s.
const topSpeed = 150

// SpeedAt is the steady ground speed in m/s at which watts ≥ 0 of pedalling
// balance all resistance on a gradient (fraction) with a head wind (m/s,
// negative from behind). It is 0 where nothing moves the rider forward. The
// relative error is below 1e-12. DescentCap is not applied.
func (m Motion) SpeedAt(watts, gradient, headWind float64) float64 {
	wheel := m.Efficiency * watts
	excess := func(v float64) float64 { return v*m.Resistance(v, gradient, headWind) - wheel }
	if wheel <= 0 && m.Resistance(0, gradient, headWind) >= 0 {
		return 0
	}
	lo, hi := 0.0, 1.0
	for excess(hi) < 0 && hi < topSpeed {
		lo, hi = hi, 2*hi
	}
	v := hi
	for range 200 {
		air := v + headWind
		slope := m.Resistance(v, gradient, headWind) + v*(2*m.Drag*math.Abs(air)+m.Bearing1)
		at := excess(v)
		if at < 0 {
			lo = v
		} else {
			hi = v
		}
		next := v - at/slope
		if !(next > lo && next < hi) {
			next = 0.5 * (lo + hi)
		}
		if math.Abs(next-v) <= 1e-14*v {
			return next
		}
		v = next
	}
	return v
}
