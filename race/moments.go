package race

import (
	"math"

	"chainline/capacity"
	"chainline/physics"
)

// Closing a gap and launching for the line: what each costs, in closed form or
// by the physics of a lone rider.

// Closing is what it takes to ride back to a wheel.
type Closing struct {
	Seconds float64 // how long it takes
	Watts   float64 // W, alone in the wind
	CostJ   float64 // J of W′ above what sitting in the group would have cost
}

// CloseGap is the cheapest way for a lone rider to close a gap of so many
// metres to a group that goes at a speed (m/s) on a gradient: the time is the
// one that spends least W′, from 5 s to 3 min. The faster it is done the more
// power it takes, the slower the longer the wind is paid for. CostJ is +Inf if
// the rider has not the power for any.
func CloseGap(m physics.Motion, c capacity.Capacity, sheltered float64, gapM, speed, gradient float64) Closing {
	best := Closing{CostJ: math.Inf(1)}
	in := m.Sheltered(sheltered).PowerAt(speed, gradient, 0)
	saved := math.Max(0, in-c.CriticalPower)
	for s := 5.0; s <= 180; s++ {
		watts := m.PowerAt(speed+gapM/s, gradient, 0)
		if watts > c.Power(s) {
			continue
		}
		cost := math.Max(0, watts-c.CriticalPower)*s - saved*s
		if cost < best.CostJ {
			best = Closing{Seconds: s, Watts: watts, CostJ: cost}
		}
	}
	return best
}

// Launch is when to go for the line.
type Launch struct {
	FromM   float64 // m before the line
	Seconds float64 // s before it
	Watts   float64 // W held from there
}

// launchOver is the stretch before the line that launches are compared on, m.
const launchOver = 500.0

// BestLaunch is from where a rider with so many joules of W′ left goes all out
// so as to be at the line soonest: until then in the wheels at a speed, from
// then on at the most that lasts to the line, in the wind.
func BestLaunch(m physics.Motion, c capacity.Capacity, leftJ, speed, gradient float64) Launch {
	best, least := Launch{}, math.Inf(1)
	for from := 50.0; from <= launchOver; from += 25 {
		watts, seconds := c.CriticalPower, from/speed
		for range 6 { // power and time settle together
			watts = math.Min(c.CriticalPower+leftJ/seconds, c.Power(seconds))
			y, dt, ok := m.Advance(speed*speed, from, m.ConstantForce(gradient), watts, nil)
			if !ok || y <= 0 {
				break
			}
			seconds = dt
		}
		if total := (launchOver-from)/speed + seconds; total < least {
			best, least = Launch{FromM: from, Seconds: seconds, Watts: watts}, total
		}
	}
	return best
}

// Afford is how long in seconds a power can be held until only a share of W′
// is left; +Inf at or below critical power.
func Afford(c capacity.Capacity, watts, leave float64) float64 {
	if watts <= c.CriticalPower {
		return math.Inf(1)
	}
	return (1 - leave) * c.WPrime / (watts - c.CriticalPower)
}
