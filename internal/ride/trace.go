package ride

// trace is what was ridden so far, once a second, for a page that was loaded
// in the middle of a ride.
type trace struct{ points []TracePoint }

// TracePoint is one second of a ride.
type TracePoint struct {
	ClockS float64 `json:"s"`
	AtM    float64 `json:"m"`
	Watts  float64 `json:"w"`
	Heart  float64 `json:"h,omitempty"`
	Left   float64 `json:"l"` // share of W′
	Target float64 `json:"-"` // W asked
	Step   int     `json:"i"` // of a session
	IntoS  float64 `json:"t"` // s into it
}

func (t *trace) add(c *Core) {
	if c.stage != Riding {
		return
	}
	p := TracePoint{c.clock(), round3(c.at), round3(c.watts), 0, round3(c.balance / c.setup.Rider.Balance.WPrime), c.target(), c.follow.index, 0}
	if c.setup.Session != nil {
		p.IntoS = round3(c.follow.elapsed(c))
	}
	p.Heart, _ = c.heart.fresh(c.now)
	t.points = append(t.points, p)
}

// Trace is what was ridden so far, thinned to at most n points.
func (c *Core) Trace(n int) []TracePoint {
	p := c.trace.points
	if len(p) <= n {
		return append([]TracePoint(nil), p...)
	}
	out := make([]TracePoint, 0, n)
	for i := range n {
		from, to := i*len(p)/n, (i+1)*len(p)/n
		mean := p[to-1]
		mean.Watts = 0
		for _, q := range p[from:to] {
			mean.Watts += q.Watts / float64(to-from)
		}
		mean.Watts = round3(mean.Watts)
		out = append(out, mean)
	}
	return out
}

// Setup is what the ride follows now: the course's cues as last made.
func (c *Core) Setup() Setup { return c.setup }
