package ride

import (
	"math"
	"time"

	"chainline/physics"
)

// Own physics and own book-keeping of W′, in time.

// subStep is the longest piece of the integration in s. Against
// physics.Motion.Ride a second of it errs by less than 0.1 % in speed
// (TestMoveFollowsRide).
const subStep = 0.05

// stillFor is how long a rider is still before a session pauses by itself.
// Our judgement.
const stillFor = 3 * time.Second

func (c *Core) move(dt float64) {
	if dt <= 0 {
		return
	}
	c.autoPause()
	if c.setup.Course != nil {
		c.roll(dt)
	}
	if c.stage == Riding {
		c.active += dt
		if c.setup.Course == nil {
			c.roll(dt)
		}
	}
	b := c.setup.Rider.Balance
	c.balance = math.Min(b.WPrime, b.Step(c.balance, c.watts, dt))
	c.balance = math.Max(0, c.balance)
	c.work += c.watts * dt
	c.overs.mean += (c.watts - c.overs.mean) * -math.Expm1(-dt/5)
}

// motion is the physics under the wheel. A flat road is what distances in a session are ridden on where the setup brings no
// road of its own: an ordinary bicycle on the hoods. Our judgement.
func (c *Core) motion() physics.Motion {
	if k := c.setup.Course; k != nil {
		return c.group.sheltered(k.Motion)
	}
	if c.setup.Flat.Mass > 0 {
		return c.setup.Flat
	}
	return physics.Road{BikeMass: 9, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2}.Motion(c.setup.Rider.Mass)
}

// roll moves the rider along the way: the change of kinetic energy is what
// the legs bring less what the road takes.
func (c *Core) roll(dt float64) {
	m := c.motion()
	for left := dt; left > 1e-9; {
		h := math.Min(subStep, left)
		left -= h
		slope := c.gradient()
		r := m.Resistance(c.speed, slope, 0)
		v2 := c.speed*c.speed + 2*h*(m.Efficiency*c.watts-r*c.speed)/m.Inertial
		if c.speed < 0.5 && c.watts > 0 { // from rest power over speed has no meaning: a push of the legs' greatest force
			force := math.Min(m.Efficiency*c.watts/0.5, 300)
			v := math.Max(0, c.speed+h*(force-r)/m.Inertial)
			v2 = v * v
		}
		next := math.Sqrt(math.Max(0, v2))
		if m.DescentCap > 0 {
			next = math.Min(next, m.DescentCap)
		}
		c.at += h * (c.speed + next) / 2
		c.speed = next
	}
	if k := c.setup.Course; k != nil {
		c.at = math.Min(c.at, k.Profile.Length())
	}
}

// gradient under the wheel.
func (c *Core) gradient() float64 {
	k := c.setup.Course
	if k == nil {
		return 0
	}
	return gradientAt(k, c.at)
}

func gradientAt(k *Course, at float64) float64 {
	d := k.Profile.Distance
	if len(d) < 2 {
		return 0
	}
	low, high := 0, len(d)-2
	for low < high {
		mid := (low + high + 1) / 2
		if d[mid] <= at {
			low = mid
		} else {
			high = mid - 1
		}
	}
	return k.Profile.Gradient(low)
}

// autoPause stops a session's clock when the rider stops, and starts it again.
func (c *Core) autoPause() {
	if c.setup.Course != nil {
		return
	}
	if c.pedalling() {
		c.stillSince = time.Time{}
		if c.stage == Paused && c.by == "rider" {
			c.resume()
		}
		return
	}
	if c.stillSince.IsZero() {
		c.stillSince = c.now
	}
	if c.stage == Riding && c.now.Sub(c.stillSince) >= stillFor && !c.follow.restsNow() {
		c.pause("rider")
	}
}

func (c *Core) pause(by string) {
	if c.stage != Riding || c.setup.Course != nil {
		return
	}
	c.stage, c.by = Paused, by
	c.mark("pause", "", by)
}

func (c *Core) resume() {
	if c.stage != Paused {
		return
	}
	c.stage, c.by = Riding, ""
	c.steer.reset()
	c.mark("resume", "", "")
}
