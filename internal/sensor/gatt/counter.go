package gatt

import (
	"math"
	"time"
)

// StillAfter is how long the same counters may be repeated before the wheel
// or crank is taken to stand still. Our judgement: the services only say that
// the event time does not advance; 3 s holds a cadence down to 20 rpm.
const StillAfter = 3 * time.Second

// Fastest believable turns, in revolutions per second; counters that say
// more have been reset or spoilt. Our judgement: 300 rpm, and about 190 km/h
// on a road wheel.
const (
	fastestCrank = 5
	fastestWheel = 25
)

// Counter makes a rate of turning out of a counter of revolutions and the
// time of the last one, both of which wrap.
type Counter struct {
	revsMask uint32
	ticks    float64 // in a second
	fastest  float64 // revolutions per second

	begun   bool
	revs    uint32
	time    uint16
	turned  time.Time // arrival of the last new revolution
	rate    float64   // revolutions per second
	hasRate bool
}

// NewPowerWheel counts the wheel of a power measurement.
func NewPowerWheel() Counter {
	return Counter{revsMask: 0xFFFFFFFF, ticks: PowerWheelTicks, fastest: fastestWheel}
}

// NewSpeedWheel counts the wheel of a speed and cadence measurement.
func NewSpeedWheel() Counter {
	return Counter{revsMask: 0xFFFFFFFF, ticks: SpeedWheelTicks, fastest: fastestWheel}
}

// NewCrank counts a crank; it is the same in both services.
func NewCrank() Counter {
	return Counter{revsMask: 0xFFFF, ticks: CrankTicks, fastest: fastestCrank}
}

// Turned is what one message added.
type Turned struct {
	Rate   float64 // revolutions per second
	Known  bool    // there is a rate; not at the first message or after a gap
	Revs   uint32  // new revolutions
	Ticks  uint16  // between the last revolution before and the last now
	Absurd bool    // the counters cannot be believed; begun afresh
}

// Add takes the counters of a message that arrived at a time.
//
// The same counters again are no new data: the rate stays until StillAfter
// and is 0 then. After that pause the next revolution gives no rate, for its
// time since the one before is that of the pause, which may even have
// wrapped.
func (c *Counter) Add(revs uint32, ticks uint16, at time.Time) Turned {
	newRevs := (revs - c.revs) & c.revsMask
	newTicks := ticks - c.time
	paused := at.Sub(c.turned) >= StillAfter
	if !c.begun {
		c.begin(revs, ticks, at)
		return Turned{}
	}
	if newRevs == 0 {
		if paused {
			c.rate, c.hasRate = 0, true
		}
		return Turned{Rate: c.rate, Known: c.hasRate}
	}
	rate := math.Inf(1)
	if newTicks > 0 {
		rate = float64(newRevs) * c.ticks / float64(newTicks)
	}
	if paused || rate > c.fastest {
		c.begin(revs, ticks, at)
		return Turned{Absurd: !paused}
	}
	c.revs, c.time, c.turned = revs, ticks, at
	c.rate, c.hasRate = rate, true
	return Turned{Rate: rate, Known: true, Revs: newRevs, Ticks: newTicks}
}

// Turning reports whether revolutions were counted shortly before a time.
func (c *Counter) Turning(at time.Time) bool {
	return c.hasRate && c.rate > 0 && at.Sub(c.turned) < StillAfter
}

func (c *Counter) begin(revs uint32, ticks uint16, at time.Time) {
	c.begun, c.hasRate = true, false
	c.revs, c.time, c.turned = revs, ticks, at
}

// Reset forgets everything, as at a new connection.
func (c *Counter) Reset() {
	*c = Counter{revsMask: c.revsMask, ticks: c.ticks, fastest: c.fastest}
}
