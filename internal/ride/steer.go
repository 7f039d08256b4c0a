package ride

import (
	"math"
	"time"

	"chainline/internal/sensor"
	"chainline/session"
)

// What the trainer should be told. Everything here is a wish: the gate has the
// last word.

// Steering to a trusted meter: slow, and within bounds. Cadence below which a
// held power is eased so that a rider is not ground to a standstill. Our
// judgement, all of them.
const (
	steerMost    = 0.15 // of the target, either way
	steerPerS    = 0.02 // share of the difference made up per second
	steerAfter   = 30.0 // s into a step: the 10 s means have settled
	undershoot   = 1.0  // of what a lagging brake still gives too much, taken off a falling target
	collapseRPM  = 50.0
	recoverRPM   = 65.0
	collapseTime = 1500 * time.Millisecond
	easedTo      = 0.5 // of the target
	askAgain     = 2 * time.Second
	spinUp       = 12 * time.Second
)

// steer is what is remembered from tick to tick.
type steer struct {
	bias     float64 // share of the target added so that the meter reads it
	model    float64 // W the brake gives by now if it follows with the measured lag
	modelAt  time.Time
	slowFor  time.Time
	eased    float64 // share of the target, 1 when not eased
	heartAt  time.Time
	heartAdd float64 // share added to keep the heart in its band
	at       time.Time
	asked    time.Time // when control was last asked for
	held     bool      // the brake is ours, and was told 'easy' first
}

// reset forgets what belongs to a step.
func (s *steer) reset() {
	*s = steer{asked: s.asked, held: s.held, bias: s.bias, at: s.at, model: s.model, modelAt: s.modelAt}
}

// command sends what the gate lets through.
func (c *Core) command() {
	if c.setup.Way != Controlling || c.trainer == "" || !c.links[c.trainer] {
		return
	}
	held, free := c.hub.Steering(c.trainer)
	switch {
	case !held:
		// The first command asks for control. Until that is granted only 'easy'
		// waits at the trainer, and it is said again now and then.
		if c.now.Sub(c.steer.asked) < askAgain {
			return
		}
		c.gate.Forget()
		c.steer.asked, c.steer.held = c.now, false
	case !free:
		return // what rises meanwhile would arrive as one step
	case !c.steer.held:
		c.gate.Forget()
		c.steer.held = true
	}
	told, ok := c.gate.Pass(c.wish(), c.now, c.stale())
	if !ok {
		return
	}
	c.record(c.recordCommand(told))
	c.take(c.hub.Command(c.trainer, told, c.now))
}

// stale tells whether the readings a wish rests on are too old to ask for
// more by: the trainer's own, and the watts that count.
func (c *Core) stale() bool {
	if c.state != Measured && c.state != Carried {
		return true
	}
	for _, s := range c.power.list {
		if s.device == c.trainer {
			return s.silent(c.now)
		}
	}
	return false
}

// wish is what the plan would tell the trainer now.
func (c *Core) wish() sensor.Command {
	easy := c.gate.Limits.Easy(sensor.TargetPower)
	if c.stage != Riding {
		return easy
	}
	if k := c.setup.Course; k != nil {
		if c.setup.Rig.Gradient {
			share := c.setup.Rig.Share
			if share == 0 {
				share = 1
			}
			ahead := c.at + c.speed*c.setup.Rig.DeadTime
			return sensor.Command{Kind: sensor.TargetGradient, Gradient: share * gradientAt(k, math.Min(ahead, k.Profile.Length()))}
		}
		return c.held(c.follow.wattsAhead(c))
	}
	leg, ok := c.follow.leg()
	if !ok { // free riding: a flat road, the gears do the rest
		return sensor.Command{Kind: sensor.TargetGradient}
	}
	switch {
	case leg.Kind == session.Off:
		return easy
	case leg.HeldW == 0: // all out, or by feel: a flat road
		return sensor.Command{Kind: sensor.TargetGradient}
	case leg.Lead == session.ByHeart:
		return c.held(leg.AimW * (1 + c.byHeart(leg)))
	}
	return c.held(c.follow.wattsAhead(c))
}

// held is a target power, eased when the legs cannot turn it and shifted so
// that the trusted meter reads it.
func (c *Core) held(watts float64) sensor.Command {
	c.ease()
	target := watts * c.steer.eased
	c.steerToMeter(target)
	target *= 1 + c.steer.bias
	return sensor.Command{Kind: sensor.TargetPower, Watts: c.undershot(target)}
}

// undershot is a falling target taken lower while a brake that follows late
// still gives too much. Rising targets are never taken higher.
func (c *Core) undershot(target float64) float64 {
	kind, told, ok := c.gate.Told()
	lag, dt := c.setup.Rig.Lag, c.now.Sub(c.steer.modelAt).Seconds()
	c.steer.modelAt = c.now
	if lag <= 0 || !ok || kind != sensor.TargetPower || dt <= 0 || dt > 2 {
		c.steer.model = math.Min(target, told)
		return target
	}
	c.steer.model += (told - c.steer.model) * -math.Expm1(-dt/lag)
	over := c.steer.model - target
	if over < 5 {
		return target
	}
	return math.Max(0.5*target, target-undershoot*over)
}

// ease lowers the target while cadence has collapsed, and gives it back when
// the legs turn again.
func (c *Core) ease() {
	if c.steer.eased == 0 {
		c.steer.eased = 1
	}
	rpm, known := c.cadence.fresh(c.now)
	if !known {
		return
	}
	switch {
	case rpm >= recoverRPM:
		c.steer.slowFor, c.steer.eased = time.Time{}, 1
	case rpm < collapseRPM && c.active < spinUp.Seconds(): // legs that only begin
	case rpm < collapseRPM:
		if c.steer.slowFor.IsZero() {
			c.steer.slowFor = c.now
		}
		if c.now.Sub(c.steer.slowFor) >= collapseTime && c.steer.eased == 1 {
			c.steer.eased = easedTo
			c.notice(AboutCue, false, "Eased, so that the cranks keep turning. Spin up and it comes back.")
		}
	}
}

// steerToMeter moves the trainer's target until the trusted meter reads what
// is asked.
func (c *Core) steerToMeter(target float64) {
	dt := c.now.Sub(c.steer.at).Seconds()
	c.steer.at = c.now
	s := c.power.all[c.setup.Rig.Trusted]
	if s == nil || s.device == c.trainer || s.silent(c.now) || dt <= 0 || dt > 2 || c.follow.sinceStep(c) < steerAfter {
		return
	}
	corrected := s.mean
	if k, ok := c.setup.Rig.Corrections[s.key]; ok {
		corrected = k.Gain*s.mean + k.Offset
	}
	rpm, known := c.cadence.fresh(c.now)
	if corrected < 20 || known && rpm < collapseRPM || c.steer.eased < 1 {
		return
	}
	c.steer.bias = math.Max(-steerMost, math.Min(steerMost, c.steer.bias+(1-corrected/target)*steerPerS*dt))
}

// byHeart is the share to add to a leg's watts so that the heart comes into
// its band: a little every twenty seconds, since a heart takes a minute to
// follow.
func (c *Core) byHeart(leg session.Leg) float64 {
	bpm, ok := c.heart.fresh(c.now)
	if !ok {
		return math.Min(0, c.steer.heartAdd) // without a heart nothing is added
	}
	if c.now.Sub(c.steer.heartAt) < 20*time.Second {
		return c.steer.heartAdd
	}
	c.steer.heartAt = c.now
	switch {
	case bpm > leg.HeartHigh:
		c.steer.heartAdd = math.Max(-0.5, c.steer.heartAdd-0.04)
	case bpm < leg.HeartLow && c.follow.sinceStep(c) > 60:
		c.steer.heartAdd = math.Min(0.15, c.steer.heartAdd+0.02)
	}
	return c.steer.heartAdd
}
