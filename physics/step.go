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
	wheel, inertial := m.Efficiency*watts, 1/m.Inertial
	twoM := 2 * inertial
	for left > 0 {
		v1 := math.Sqrt(y)
		i1 := 1 / v1
		f1 := twoM * (wheel*i1 - force - m.Bearing1*v1 - m.Drag*y)
		h := left
		if relax := (wheel*i1*i1*i1 + 2*m.Drag) * inertial; relax*h > relaxLimit || -f1*h > dropLimit*y || f1*h > y {
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
		y2 := y + 0.5*h*f1
		v2 := math.Sqrt(y2)
		i2 := 1 / v2
		f2 := twoM * (wheel*i2 - force - m.Bearing1*v2 - m.Drag*y2)
		y3 := y + 0.5*h*f2
		v3 := math.Sqrt(y3)
		i3 := 1 / v3
		f3 := twoM * (wheel*i3 - force - m.Bearing1*v3 - m.Drag*y3)
		y4 := y + h*f3
		v4 := math.Sqrt(y4)
		i4 := 1 / v4
		f4 := twoM * (wheel*i4 - force - m.Bearing1*v4 - m.Drag*y4)
		y += h / 6 * (f1 + 2*(f2+f3) + f4)
		seconds += h / 6 * (i1 + 2*(i2+i3) + i4)
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

// Retreat differentiates what Advance recorded, backwards: given the
// derivatives of some cost by the final v² and by the time of these steps, it
// returns those by the initial v² and by the (constant) watts.
func (m *Motion) Retreat(steps []Stage, force, watts, byEnd, byTime float64) (byStart, byWatts float64) {
	wheel, twoM := m.Efficiency*watts, 2/m.Inertial
	slope := func(v float64) (fy, fp, gy float64) { // derivatives of dv²/dx and dt/dx
		inv := 1 / v
		return -twoM * (wheel*inv*inv*inv + m.Bearing1*inv + 2*m.Drag) / 2, twoM * m.Efficiency * inv, -0.5 * inv * inv * inv
	}
	for i := len(steps) - 1; i >= 0; i-- {
		h, v := steps[i].Length, &steps[i].Speed
		if h < 0 { // from rest: v³ and t⁻³ grow as watts, to first order
			if watts > 0 {
				byWatts += byEnd*2*v[0]*v[0]/(3*watts) - byTime*v[1]/(3*watts)
			}
			return 0, byWatts
		}
		f4y, f4p, g4 := slope(v[3])
		k4 := byEnd * h / 6
		y4 := k4*f4y + byTime*h/6*g4
		f3y, f3p, g3 := slope(v[2])
		k3 := byEnd*h/3 + y4*h
		y3 := k3*f3y + byTime*h/3*g3
		f2y, f2p, g2 := slope(v[1])
		k2 := byEnd*h/3 + y3*h/2
		y2 := k2*f2y + byTime*h/3*g2
		f1y, f1p, g1 := slope(v[0])
		k1 := byEnd*h/6 + y2*h/2
		byEnd += y4 + y3 + y2 + k1*f1y + byTime*h/6*g1
		byWatts += k1*f1p + k2*f2p + k3*f3p + k4*f4p
	}
	return byEnd, byWatts
}

// ConstantForce is the part of the resistance on a gradient (fraction) that
// does not depend on speed, in newtons: what Advance takes as force.
func (m *Motion) ConstantForce(gradient float64) float64 {
	return m.Slope(gradient) + m.Bearing0
}
