package bunch

import "time"

// Clock is what a member knows of the host's clock: as in NTP, of the recent
// exchanges the one with the shortest round trip tells it best, since the
// answer's stamp lies somewhere between sending and receiving. The zero value
// knows nothing.
type Clock struct {
	base  time.Time // of the member's own clock; differences to it are monotonic
	tries []try
}

// try is one exchange: own times after base, and the host's stamp.
type try struct {
	sent, got time.Duration
	host      int64 // µs
}

func (t try) trip() time.Duration { return t.got - t.sent }

// offset is the host's clock less the own time after base, µs.
func (t try) offset() int64 { return t.host - (t.sent+t.got).Microseconds()/2 }

// How long an exchange counts: two clocks that drift apart by a hundred
// millionths part by 3 ms meanwhile. And by how much the newest exchanges must
// rule out what was known before it is forgotten: a clock was set.
const (
	clockKeeps = 30 * time.Second
	clockSlack = 20 * time.Millisecond
	clockMost  = 256
)

// Heard takes an exchange: own clock when it was sent and answered, and the
// host's clock in the answer.
func (c *Clock) Heard(sent, got time.Time, hostUS int64) {
	if c.base.IsZero() {
		c.base = sent
	}
	t := try{sent.Sub(c.base), got.Sub(c.base), hostUS}
	if t.trip() < 0 {
		return
	}
	kept := c.tries[:0]
	for _, old := range c.tries {
		if t.got-old.got <= clockKeeps {
			kept = append(kept, old)
		}
	}
	c.tries = append(kept, t)
	if len(c.tries) > clockMost {
		c.tries = append(c.tries[:0], c.tries[len(c.tries)-clockMost:]...)
	}
	c.wasSet()
}

// wasSet forgets what came before two exchanges that both rule out the rest.
func (c *Clock) wasSet() {
	n := len(c.tries)
	if n < 3 {
		return
	}
	best := shortest(c.tries[:n-2])
	for _, t := range c.tries[n-2:] {
		low, high := t.host-(t.got+clockSlack).Microseconds(), t.host-(t.sent-clockSlack).Microseconds()
		if o := best.offset(); o >= low && o <= high {
			return
		}
	}
	c.tries = append(c.tries[:0], c.tries[n-2:]...)
}

func shortest(tries []try) try {
	best := tries[0]
	for _, t := range tries[1:] {
		if t.trip() <= best.trip() {
			best = t
		}
	}
	return best
}

// Known tells whether the host's clock was ever heard.
func (c *Clock) Known() bool { return len(c.tries) > 0 }

// Host is the host's clock at an own time, µs; 0 if it is not known.
func (c *Clock) Host(at time.Time) int64 {
	if !c.Known() {
		return 0
	}
	return at.Sub(c.base).Microseconds() + shortest(c.tries).offset()
}

// Own is the own time at which the host's clock says so many µs; the zero time
// if the host's clock is not known.
func (c *Clock) Own(hostUS int64) time.Time {
	if !c.Known() {
		return time.Time{}
	}
	return c.base.Add(time.Duration(hostUS-shortest(c.tries).offset()) * time.Microsecond)
}
