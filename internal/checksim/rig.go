package checksim

import (
	"math"
	"math/rand/v2"
	"time"

	"chainline/internal/sensor/bench"
	"chainline/rig"
)

// rider is who rides the check.
type rider struct {
	threshold float64 // W
	cadence   float64 // rpm, their own
	unsteady  float64 // fraction, sd of the force within seconds
	wander    float64 // fraction, sd of the cadence kept
	body      bench.Rider
}

// machine is what they ride on.
type machine struct {
	controllable bool
	inertia      float64 // kg at the tyre
	efficiency   float64 // of the drivetrain
	trainer      bench.Trainer
	a, b         float64 // N, kg/m of a plain trainer: watts = a·v + b·v³
	rings, cogs  []int
	wheel        float64 // m, true circumference
	slip         float64 // fraction at threshold and own cadence, in proportion to the force at the tyre
	control      float64 // fraction held above what is asked
	ignores      float64 // chance that a command changes nothing
}

func between(low, high float64, r *rand.Rand) float64 { return low + (high-low)*r.Float64() }

func drawRider(r *rand.Rand) rider {
	out := rider{threshold: math.Round(between(170, 320, r)), cadence: between(82, 94, r), unsteady: between(0.03, 0.05, r), wander: between(0.008, 0.02, r)}
	out.body = bench.Rider{CriticalPower: out.threshold * 1.03, HeartRest: between(45, 65, r), HeartMax: between(172, 198, r),
		HeartAtCP: between(0.88, 0.94, r), HeartCreep: math.Exp(0.4 * r.NormFloat64())}
	return out
}

// lossMean and lossSD are the drivetrain prior that the check carries.
const lossMean, lossSD = 0.024, 0.010

func drawMachine(s Setup, r *rand.Rand) machine {
	m := machine{rings: []int{50, 34}, cogs: []int{11, 12, 13, 14, 15, 17, 19, 21, 24, 28}, wheel: between(2.06, 2.13, r)}
	m.efficiency = 1 - min(max(lossMean+lossSD*r.NormFloat64(), 0.002), 0.05)
	m.controllable = s == Both || s == Alone
	lag, dead := between(0.5, 1.5, r), between(0.2, 0.5, r)
	m.trainer = bench.Trainer{Drag0: between(1.5, 3, r), Drag2: 0.03, PeakForce: 200, PeakSpeed: 5, Ceiling: 2000,
		Lag: seconds(lag), Dead: seconds(dead)}
	m.inertia = between(18, 32, r)
	if !m.controllable {
		m.inertia = between(8, 16, r)
	}
	m.a, m.b = between(6, 10, r), between(0.16, 0.26, r)
	m.control = between(-0.005, 0.005, r)
	if s == Both {
		m.slip = between(0, 0.003, r)
	}
	return m
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// gears are the metres of wheel per turn of the crank.
func (m machine) gears() []float64 {
	var out []float64
	for _, ring := range m.rings {
		for _, cog := range m.cogs {
			out = append(out, m.wheel*float64(ring)/float64(cog))
		}
	}
	return out
}

// curve is the table a maker would print: the trainer as it is when warm.
func (m machine) curve() rig.PowerCurve {
	var table []rig.Point
	for v := 2.0; v <= 16; v += 2 {
		table = append(table, rig.Point{WheelSpeed: v, Watts: math.Round(m.a*v + m.b*v*v*v)})
	}
	c, err := rig.NewPowerCurve(table, 0, "maker's table")
	if err != nil {
		panic("checksim: " + err.Error())
	}
	return c
}

// speedFor is the wheel speed of a plain trainer that takes these watts.
func (m machine) speedFor(watts float64) float64 {
	low, high := 0.0, 40.0
	for range 50 {
		mid := (low + high) / 2
		if m.a*mid+m.b*mid*mid*mid < watts {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
