// Package physics answers how fast a power goes and what power a speed needs
// on a road: gradient, rolling, air, bearings, wheels and drivetrain.
//
// The equation is that of Martin, Milliken, Cobb, McFadden and Coggan (1998),
// Journal of Applied Biomechanics 14:276-291. Conventions of this package:
// SI units throughout; g = 9.80665 m/s²; a gradient is rise over distance
// along the road, as a fraction, with slope angle atan(gradient); mass is
// rider plus bicycle and nothing else; bearing and wheel-drag losses stand
// inside the division by the drivetrain's efficiency.
package physics

import "math"

// Gravity is standard gravity in m/s² (ISO 80000-3, exact by definition).
const Gravity = 9.80665

// Road is the physics of what a course is ridden on, real or virtual.
type Road struct {
	BikeMass      float64 // kg
	CdA           float64 // m², rider and bicycle
	Crr           float64 // rolling coefficient, -
	Efficiency    float64 // drivetrain efficiency, 0 < η ≤ 1
	WheelRadius   float64 // m, at the tyre
	WheelInertia  float64 // kg·m², both wheels together, used once as given
	WheelDragArea float64 // m², drag area of the turning wheels, added to CdA
	Bearings      bool    // whether wheel bearings cost power
	AirDensity    float64 // kg/m³
	StartSpeed    float64 // m/s at the start line, ≥ 0
	DescentCap    float64 // m/s the road never lets a rider exceed; 0 means none
}

// Motion is a road with a rider of known mass on it: the coefficients of the
// equation of motion. Make one with Road.Motion.
type Motion struct {
	Mass       float64 // kg, rider plus bicycle
	Inertial   float64 // kg, Mass plus wheel inertia over radius squared
	Drag       float64 // kg/m, half density times (CdA + wheel drag area)
	Crr        float64 // -
	Efficiency float64 // -
	Bearing0   float64 // N, constant bearing resistance
	Bearing1   float64 // N·s/m, bearing resistance growing with speed
	DescentCap float64 // m/s, 0 means none
}

// Changed is the road with so much more (or less) bicycle mass (kg), drag area
// (m²) and rolling coefficient, as forecasts draw them: mass and drag stay
// above half of what they are, rolling above 0.3 of it, so that no draw is
// without weight or drag.
func (r Road) Changed(bikeMass, cdA, crr float64) Road {
	r.BikeMass = math.Max(0.5*r.BikeMass, r.BikeMass+bikeMass)
	r.CdA = math.Max(0.5*r.CdA, r.CdA+cdA)
	r.Crr = math.Max(0.3*r.Crr, r.Crr+crr)
	return r
}

// Motion puts a rider of the given body mass (kg) on the road.
// The bearing loss v·(91 + 8.7·v)·10⁻³ W is that of Martin et al. 1998.
func (r Road) Motion(riderMass float64) Motion {
	m := Motion{
		Mass:       riderMass + r.BikeMass,
		Drag:       0.5 * r.AirDensity * (r.CdA + r.WheelDragArea),
		Crr:        r.Crr,
		Efficiency: r.Efficiency,
		DescentCap: r.DescentCap,
	}
	m.Inertial = m.Mass
	if r.WheelRadius > 0 {
		m.Inertial += r.WheelInertia / (r.WheelRadius * r.WheelRadius)
	}
	if r.Bearings {
		m.Bearing0, m.Bearing1 = 0.091, 0.0087
	}
	return m
}

// Slope is the resisting force in newtons of gravity and rolling on a
// gradient (fraction); negative where gravity pulls the rider along.
func (m Motion) Slope(gradient float64) float64 {
	cos := 1 / math.Sqrt(1+gradient*gradient)
	return m.Mass * Gravity * (gradient*cos + m.Crr*cos)
}

// Resistance is the total resisting force in newtons at ground speed v (m/s)
// on a gradient (fraction) with a head wind (m/s, negative from behind).
func (m Motion) Resistance(v, gradient, headWind float64) float64 {
	air := v + headWind
	return m.Drag*air*math.Abs(air) + m.Slope(gradient) + m.Bearing0 + m.Bearing1*v
}

// PowerAt is the pedalling power in watts that holds speed v (m/s) on a
// gradient (fraction) with a head wind (m/s). It is negative where a rider
// would have to brake.
func (m Motion) PowerAt(v, gradient, headWind float64) float64 {
	return v * m.Resistance(v, gradient, headWind) / m.Efficiency
}
