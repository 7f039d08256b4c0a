package physics

import "math"

// Stage keeps the four speeds of one classical Runge-Kutta step, so that the
// step can be differentiated backwards.
type Stage struct {
	Length float64    // m
	Speed  [4]float64 // m/s at the step's stages
}

// Limits of one fixed step: how far v² may relax towards its steady value and
// how much of it may be lost. Within them the step's error in time is below
// 1e-4 of it (checked against Ride by TestAdvanceFollowsRide).
const (
	relaxLimit = 0.7
	dropLimit  = 0.35
	restLength = 0.05 // m, first piece from rest in the fast scheme
)

// Advance is the fast fixed scheme behind plans and forecasts: from v² = y
// (m²/s²) over length metres at constant watts against a constant force (N;
// gravity, rolling and the constant part of the bearings) in still air, by
// classical Runge-Kutta steps short enough for the stiffness of slow
// climbing. It returns v² at the end and the time; ok is false when the rider
// stalls. If record is not nil the steps are appended to it for Retreat.
func (m *Motion) Advance(y, length, force, watts float64, record *[]Stage) (end, seconds float64, ok bool) {
	left := length
	if y < 0.04 {
		x := math.Min(left, restLength)
		v, t, moving := m.fromRest(x, force, watts)
		if !moving {
			return 0, math.Inf(1), false
		}
		if record != nil {
			*record = append(*record, Stage{Length: -x, Speed: [4]float64{v, t}})
		}
		y, seconds, left = v*v, t, left-x
	}
	// Every term of dv²/dx = 2/m·(P/v − F − b·v − d·v²), with 2/m in it. What a
	// step waits for is its chain of square roots and divisions: 1/v is v·(1/v²),
	// so that both of a stage are under way at once.
	twoM := 2 / m.Inertial
	wheel, constant, linear, drag := twoM*m.Efficiency*watts, twoM*force, twoM*m.Bearing1, twoM*m.Drag
	for left > 0 {
		v1, i1 := math.Sqrt(y), 1/y
		i1 *= v1
		f1 := wheel*i1 - (constant + linear*v1 + drag*y)
		h := left
		if relax := 0.5*wheel*i1*i1*i1 + drag; relax*h > relaxLimit || -f1*h > dropLimit*y || f1*h > y {
			most := relaxLimit / relax
			most = math.Min(most, dropLimit*y/math.Max(-f1, 1e-12))
			most = math.Min(most, y/math.Max(f1, 1e-12))
			if most < h {
				h = left / math.Ceil(left/most)
			}
			if h < 1e-4 && left > 1e-4 {
				return 0, math.Inf(1), false
			}
		}
		half, sixth := 0.5*h, h*(1.0/6)
		y2 := y + half*f1
		v2, i2 := math.Sqrt(y2), 1/y2
		i2 *= v2
		f2 := wheel*i2 - (constant + linear*v2 + drag*y2)
		y3 := y + half*f2
		v3, i3 := math.Sqrt(y3), 1/y3
		i3 *= v3
		f3 := wheel*i3 - (constant + linear*v3 + drag*y3)
		y4 := y + h*f3
		v4, i4 := math.Sqrt(y4), 1/y4
		i4 *= v4
		f4 := wheel*i4 - (constant + linear*v4 + drag*y4)
		y += sixth * (f1 + 2*(f2+f3) + f4)
		seconds += sixth * (i1 + 2*(i2+i3) + i4)
		if !(y > slowest*slowest) || math.IsNaN(seconds) {
			return 0, math.Inf(1), false
		}
		if record != nil {
			*record = append(*record, Stage{h, [4]float64{v1, v2, v3, v4}})
		}
		if c := m.DescentCap; c > 0 && y > c*c && f1 > 0 {
			y = c * c
		}
		left -= h
	}
	return y, seconds, true
}

// Response is how the end of a stretch ridden at constant watts answers to its
// beginning: the derivatives of v² at the end and of the time on it by v² at
// the start and by the watts.
type Response struct {
	SpeedBySpeed, SpeedByWatts float64 // of v² at the end: –, m²/s² per W
	TimeBySpeed, TimeByWatts   float64 // of the time: s per m²/s², s per W
}

// Retreat differentiates what Advance recorded at the given watts, backwards.
func (m *Motion) Retreat(steps []Stage, watts float64) Response {
	twoM := 2 / m.Inertial
	half, each, drag := -0.5*twoM*m.Efficiency*watts, twoM*m.Efficiency, -twoM*m.Drag
	linear := -0.5 * twoM * m.Bearing1
	r := Response{SpeedBySpeed: 1}
	for i := len(steps) - 1; i >= 0; i-- {
		h, v := steps[i].Length, &steps[i].Speed
		if h < 0 { // from rest: v³ and t⁻³ grow as watts, to first order
			if watts > 0 {
				r.SpeedByWatts += r.SpeedBySpeed * 2 * v[0] * v[0] / (3 * watts)
				r.TimeByWatts += r.TimeBySpeed*2*v[0]*v[0]/(3*watts) - v[1]/(3*watts)
			}
			r.SpeedBySpeed, r.TimeBySpeed = 0, 0
			return r
		}
		// By v²: of dv²/dx, and of dt/dx = 1/v, at the four stages.
		i1, i2, i3, i4 := 1/v[0], 1/v[1], 1/v[2], 1/v[3]
		c1, c2, c3, c4 := i1*i1*i1, i2*i2*i2, i3*i3*i3, i4*i4*i4
		f1, f2, f3, f4 := half*c1+linear*i1+drag, half*c2+linear*i2+drag, half*c3+linear*i3+drag, half*c4+linear*i4+drag
		sixth, third := h*(1.0/6), h*(1.0/3)

		e := r.SpeedBySpeed
		k4 := e * sixth
		y4 := k4 * f4
		k3 := e*third + y4*h
		y3 := k3 * f3
		k2 := e*third + 0.5*y3*h
		y2 := k2 * f2
		k1 := e*sixth + 0.5*y2*h
		r.SpeedBySpeed = e + y4 + y3 + y2 + k1*f1
		r.SpeedByWatts += each * (k1*i1 + k2*i2 + k3*i3 + k4*i4)

		e = r.TimeBySpeed
		k4 = e * sixth
		y4 = k4*f4 - 0.5*sixth*c4
		k3 = e*third + y4*h
		y3 = k3*f3 - 0.5*third*c3
		k2 = e*third + 0.5*y3*h
		y2 = k2*f2 - 0.5*third*c2
		k1 = e*sixth + 0.5*y2*h
		r.TimeBySpeed = e + y4 + y3 + y2 + k1*f1 - 0.5*sixth*c1
		r.TimeByWatts += each * (k1*i1 + k2*i2 + k3*i3 + k4*i4)
	}
	return r
}

// ConstantForce is the part of the resistance on a gradient (fraction) that
// does not depend on speed, in newtons: what Advance takes as force.
func (m *Motion) ConstantForce(gradient float64) float64 {
	return m.Slope(gradient) + m.Bearing0
}
