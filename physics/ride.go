package physics

import (
	"fmt"
	"math"
)

// Leg is a stretch of constant gradient and constant pedalling power.
type Leg struct {
	Length   float64 // m along the road, > 0
	Gradient float64 // fraction
	HeadWind float64 // m/s, negative from behind
	Watts    float64 // W at the pedals, ≥ 0
}

// Energy is where the work of a ride went, in joules. Wheel is what the
// drivetrain passed on; the rest of the terms sum to it but for the
// integrator's error.
type Energy struct {
	Crank, Wheel                                        float64
	Air, Rolling, Bearings, Potential, Kinetic, Braking float64
}

// Residual is the work at the wheel that the other terms do not account for.
func (e Energy) Residual() float64 {
	return e.Wheel - e.Air - e.Rolling - e.Bearings - e.Potential - e.Kinetic - e.Braking
}

// Result is what came of a ride.
type Result struct {
	Times  []float64 // s from the start to the end of each leg
	Speeds []float64 // m/s at the end of each leg
	Energy Energy
	// TimeError is the sum of the integrator's own estimates of its error in
	// time, in seconds: an upper guide, not a bound.
	TimeError float64
	Steps     int // accepted steps
}

// Time is the whole ride in seconds.
func (r Result) Time() float64 { return r.Times[len(r.Times)-1] }

// StallError says that the rider comes to a standstill.
type StallError struct {
	At       float64 // m from the start
	Watts    float64
	Gradient float64 // fraction
}

func (e *StallError) Error() string {
	return fmt.Sprintf("%.0f W do not keep a bicycle moving on a gradient of %.1f %% at %.0f m", e.Watts, 100*e.Gradient, e.At)
}

const (
	slowest       = 0.002 // m/s, below which the rider has come to a standstill
	rideTolerance = 1e-10 // relative, per step, on v² and time
	seedLength    = 1e-4  // m, first piece from rest, by the closed form
)

// state is v² (m²/s²), time (s), work against air and bearings (J).
type state [4]float64

// Ride integrates the equation of motion along the legs from a starting speed
// (m/s, ≥ 0), in distance, with the embedded pair of Dormand and Prince
// (1980), J. Comput. Appl. Math. 6:19-26. Steps end at every change of
// gradient or power, and their size follows the error; v² is the variable
// since a constant force changes it linearly.
//
// It panics on a leg without length or with negative watts, and returns a
// *StallError when the rider stops.
func (m Motion) Ride(start float64, legs []Leg) (Result, error) {
	res := Result{Times: make([]float64, 0, len(legs)), Speeds: make([]float64, 0, len(legs))}
	y := state{start * start}
	from, step := 0.0, 10.0
	for _, leg := range legs {
		if !(leg.Length > 0) || leg.Watts < 0 {
			panic("physics: a leg needs a positive length and no negative watts")
		}
		before := y
		if err := m.rideLeg(&y, &step, leg, &res); err != nil {
			err.At += from
			return Result{}, err
		}
		from += leg.Length
		res.Times = append(res.Times, y[1])
		res.Speeds = append(res.Speeds, math.Sqrt(y[0]))
		m.account(&res.Energy, leg, before, y)
	}
	return res, nil
}

// account adds one leg's energy. Rolling and potential are exact; braking is
// what a descent cap took away and is what remains where there is a cap.
func (m Motion) account(e *Energy, leg Leg, before, after state) {
	cos := 1 / math.Sqrt(1+leg.Gradient*leg.Gradient)
	crank := leg.Watts * (after[1] - before[1])
	kinetic := 0.5 * m.Inertial * (after[0] - before[0])
	rolling := m.Crr * m.Mass * Gravity * cos * leg.Length
	potential := m.Mass * Gravity * leg.Gradient * cos * leg.Length
	e.Crank += crank
	e.Wheel += m.Efficiency * crank
	e.Kinetic += kinetic
	e.Rolling += rolling
	e.Potential += potential
	e.Air += after[2] - before[2]
	e.Bearings += after[3] - before[3]
	if m.DescentCap > 0 {
		e.Braking += m.Efficiency*crank - kinetic - rolling - potential - (after[2] - before[2]) - (after[3] - before[3])
	}
}

// Coefficients of Dormand and Prince's 5(4) pair, from memory; the order test
// in ride_test.go and the energy balance would both show a wrong digit.
var (
	dpA = [6][6]float64{
		{1. / 5},
		{3. / 40, 9. / 40},
		{44. / 45, -56. / 15, 32. / 9},
		{19372. / 6561, -25360. / 2187, 64448. / 6561, -212. / 729},
		{9017. / 3168, -355. / 33, 46732. / 5247, 49. / 176, -5103. / 18656},
		{35. / 384, 0, 500. / 1113, 125. / 192, -2187. / 6784, 11. / 84},
	}
	dpE = [7]float64{71. / 57600, 0, -71. / 16695, 71. / 1920, -17253. / 339200, 22. / 525, -1. / 40}
)

func (m Motion) rideLeg(y *state, step *float64, leg Leg, res *Result) *StallError {
	x, left := 0.0, leg.Length
	if y[0] < slowest*slowest {
		seed := math.Min(seedLength, left)
		v, t, ok := m.fromRest(seed, m.Slope(leg.Gradient)+m.Bearing0, leg.Watts)
		if !ok {
			return &StallError{At: x, Watts: leg.Watts, Gradient: leg.Gradient}
		}
		y[0], y[1], x = v*v, y[1]+t, seed
		*step = seed
	}
	for x < leg.Length {
		left = leg.Length - x
		h := math.Min(*step, left)
		if left-h < 1e-9*leg.Length {
			h = left
		}
		next, off, ok := m.dormandPrince(*y, h, leg)
		if !ok || off > 1 {
			shrink := 0.2
			if ok {
				shrink = math.Max(0.2, 0.9/math.Sqrt(math.Sqrt(off)))
			}
			*step = h * shrink
			if *step < 1e-13 {
				return &StallError{At: x, Watts: leg.Watts, Gradient: leg.Gradient}
			}
			continue
		}
		res.TimeError += math.Abs(off) * rideTolerance * (next[1] - y[1] + 1e-3)
		res.Steps++
		x += h
		*y = next
		if y[0] < slowest*slowest {
			return &StallError{At: x, Watts: leg.Watts, Gradient: leg.Gradient}
		}
		*step = math.Max(*step, h) * math.Min(5, math.Max(0.3, 0.9/math.Sqrt(math.Sqrt(off+1e-4))))
		*step = math.Min(*step, 200)
	}
	return nil
}

// dormandPrince makes one step of h metres; off is its error in units of the
// tolerance, and ok is false when the speed would fall to nothing within it.
// Time and the two works do not act back on the speed: they are quadratures
// over the same stages.
func (m Motion) dormandPrince(y state, h float64, leg Leg) (next state, off float64, ok bool) {
	slope, wheel := m.Slope(leg.Gradient)+m.Bearing0, m.Efficiency*leg.Watts
	cap2 := m.DescentCap * m.DescentCap
	var k, inv, drag, bearing [7]float64 // d(v²)/dx, 1/v, and the forces
	y2 := y[0]
	for stage := range 7 {
		if y2 <= 0 {
			return y, 0, false
		}
		v := math.Sqrt(y2)
		air := v + leg.HeadWind
		inv[stage] = 1 / v
		drag[stage] = m.Drag * air * math.Abs(air)
		bearing[stage] = m.Bearing0 + m.Bearing1*v
		k[stage] = 2 * (wheel*inv[stage] - slope - m.Bearing1*v - drag[stage]) / m.Inertial
		if cap2 > 0 && y2 >= cap2 {
			k[stage] = math.Min(0, k[stage])
		}
		if stage < 6 {
			sum, row := 0.0, &dpA[stage]
			for j := 0; j <= stage; j++ {
				sum += row[j] * k[j]
			}
			y2 = y[0] + h*sum
		}
	}
	next = y
	next[0] = y2
	errY, errT := 0.0, 0.0
	for j := range 7 {
		errY += dpE[j] * k[j]
		errT += dpE[j] * inv[j]
		if j < 6 {
			b := h * dpA[5][j]
			next[1] += b * inv[j]
			next[2] += b * drag[j]
			next[3] += b * bearing[j]
		}
	}
	off = math.Abs(h*errY) / (rideTolerance * (y[0] + 1e-3))
	off = math.Max(off, math.Abs(h*errT)/(rideTolerance*(next[1]-y[1]+1e-3)))
	if cap2 > 0 {
		next[0] = math.Min(next[0], math.Max(cap2, y[0]))
	}
	return next, off, next[0] > 0
}

// fromRest is speed and time after x metres from a standstill at constant
// power against a constant force, to first order in the force:
//
//	v³ = 3ηP·x/M − (9/4)·F·c·x^(4/3)/M,  c = (3ηP/M)^(1/3)
//	t = (3/2)·x^(2/3)/c + (3/4)·F·x/(M·c³)
//
// or uniform acceleration where gravity alone moves the rider. Own
// derivation; x must be small enough that F·v ≪ ηP.
func (m Motion) fromRest(x, force, watts float64) (v, t float64, ok bool) {
	if p := m.Efficiency * watts; p > 0 {
		c := math.Cbrt(3 * p / m.Inertial)
		w := 3*p*x/m.Inertial - 2.25*force*c*math.Pow(x, 4./3)/m.Inertial
		if w <= 0 {
			return 0, 0, false
		}
		slowing := 0.75 * force / (m.Inertial * c * c)
		return math.Cbrt(w), 1.5*math.Cbrt(x*x)/c + slowing*x/c, true
	}
	if force >= 0 {
		return 0, 0, false
	}
	v = math.Sqrt(-2 * force * x / m.Inertial)
	return v, 2 * x / v, true
}
