package ride

import (
	"context"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/session"
)

// tickEvery is how often a ride looks at its clock.
const tickEvery = 250 * time.Millisecond

// Bench is a rig in virtual time: bench.World, or something around it.
type Bench interface {
	Do(sensor.Request)
	Advance(to time.Time) []sensor.Event
	Now() time.Time
	Show(bench.Shown)
}

// Headless rides on a bench rig as fast as it can: connects to every device
// found, lets the simulated rider follow the screen, and ends with the ride or
// after most of virtual time. each is called after every tick and may be nil;
// replan may be nil. It is the same for the same core and world.
func Headless(ctx context.Context, c *Core, w Bench, most time.Duration, replan Replanner, keep func(record []byte) error, each func(*Core) error) error {
	wanted := map[string]bool{}
	for _, r := range c.hub.Scan(true).Requests {
		w.Do(r)
	}
	end := w.Now().Add(most)
	for at := w.Now(); at.Before(end); {
		if err := ctx.Err(); err != nil {
			return err
		}
		at = at.Add(tickEvery)
		for _, e := range w.Advance(at) {
			if e.Kind == sensor.Found && !wanted[e.Device] {
				wanted[e.Device] = true
				c.Event(e)
				c.take(c.hub.Connect(e.Device))
				continue
			}
			c.Event(e)
			for _, r := range c.drainRequests() {
				w.Do(r)
			}
		}
		c.Tick(at)
		out := c.Effects()
		for _, r := range out.Requests {
			w.Do(r)
		}
		for _, b := range out.Records {
			if keep != nil {
				if err := keep(b); err != nil {
					return err
				}
			}
		}
		if out.Replan != nil && replan != nil {
			n, err := replan.Replan(ctx, *out.Replan)
			c.Replanned(n, err)
		}
		w.Show(c.Shown())
		if each != nil {
			if err := each(c); err != nil {
				return err
			}
		}
		if out.Done {
			return nil
		}
	}
	return nil
}

// drainRequests hands over the requests alone, at once: a trainer's answer
// must not wait for the next tick.
func (c *Core) drainRequests() []sensor.Request {
	out := c.out.Requests
	c.out.Requests = nil
	return out
}

// Shown is what a bench rig's rider reads off the screen.
func (c *Core) Shown() bench.Shown {
	s := bench.Shown{Pedalling: true, Watts: c.target()}
	switch {
	case c.stage == Ending || c.stage == Ended || c.stop():
		s.Pedalling = false
	case c.stage == Waiting:
		s.Watts = 80
	case c.stage == Paused:
		s.Pedalling = c.by == "rider"
		s.Watts = 80
	case c.follow.restsNow():
		s.Pedalling = false
		s.Backwards = c.backwards()
	}
	if leg, ok := c.follow.leg(); ok && leg.CadenceLow > 0 {
		s.Cadence = (leg.CadenceLow + leg.CadenceHigh) / 2
	}
	return s
}

// backwards tells whether the rig check asks for cranks turned backwards: its
// second part at zero.
func (c *Core) backwards() bool {
	if s := c.setup.Session; s == nil || !session.IsRigCheck(s.Session) {
		return false
	}
	parts := session.CheckParts(c.follow.legs)
	i := c.follow.index
	return i > 0 && i < len(parts) && parts[i] == "zero" && parts[i-1] == "zero"
}

// stop tells whether the rider is told to stop pedalling.
func (c *Core) stop() bool {
	return c.setup.Way == Controlling && c.trainer != "" && !c.links[c.trainer] && (c.stage == Riding || c.stage == Paused) && c.everUp
}
