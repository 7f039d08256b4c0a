package recording

import "math"

// What is held to be impossible; our judgement, set so that what a rider can
// do is kept. No published limits were used: sprints of the strongest track
// riders stay below absurdW.
const (
	absurdW      = 3000.0 // W, taken out however long
	spikeW       = 900.0  // W, the least of a lonely peak that is taken out
	lonely       = 0.9    // s, the longest such peak: one reading a second, or several within it
	lonelyTimes  = 3.0    // times its neighbours' highest
	aboveBest    = 1.5    // times the best that was held for 3 s in the whole ride
	stillTurning = 0.85   // of the cadence around, in a drop-out of power
	dropOutS     = 5.0    // s, the longest
	unmarkedS    = 10.0   // s without any reading that are a stop
	stuckRideS   = 120.0  // s of one and the same power
	stuckHeartS  = 300.0  // s of one and the same heart rate
)

// power: spikes, drop-outs, stuck values.
func (s *suspects) power(c *Channel) {
	best := c.held(3)
	for i := 0; i < len(c.Values); i++ {
		v := c.Values[i]
		switch {
		case v > absurdW || v < -200:
			from, to := c.run(i, func(x float64) bool { return x > absurdW || x < -200 })
			s.take(c, from, to, Spike, "no rider gives %.0f W", v)
			i = to
		case v >= spikeW && s.lonelyPeak(c, i, best):
			from, to := c.run(i, func(x float64) bool { return x > v/2 })
			s.take(c, from, to, Spike, "%.0f W stand alone: more than %g times what is around them, and far above the best of three seconds in this ride, %.0f W", v, lonelyTimes, best)
			i = to
		case v == 0:
			from, to := c.run(i, func(x float64) bool { return x == 0 })
			s.powerLost(c, from, to)
			i = to
		}
	}
	s.powerStuck(c)
}

// lonelyPeak: a real sprint takes seconds to come and go, so that its
// neighbours are high too.
func (s *suspects) lonelyPeak(c *Channel, i int, best float64) bool {
	v := c.Values[i]
	from, to := c.run(i, func(x float64) bool { return x > v/2 })
	before, behind := c.beside(from, to, 5)
	return c.Seconds[to]-c.Seconds[from] <= lonely && len(before) > 0 && len(behind) > 0 &&
		v > lonelyTimes*highest(before, behind) && v > aboveBest*best
}

// held is the highest value held for some time: the lowest within a window,
// the highest of those.
func (c *Channel) held(seconds float64) float64 {
	best, from := 0.0, 0
	for to := range c.Values {
		for c.Seconds[to]-c.Seconds[from] > seconds {
			from++
		}
		if c.Seconds[to]-c.Seconds[from] >= seconds-1 && to-from >= 2 {
			best = math.Max(best, lowest(c.Values[from:to+1]))
		}
	}
	return best
}

// powerLost: a few seconds of no power in the midst of work, while the cranks
// turn on as before.
func (s *suspects) powerLost(c *Channel, from, to int) {
	if from == 0 || to+1 == len(c.Values) || c.Seconds[to]-c.Seconds[from] > dropOutS-0.5 {
		return
	}
	begin, end := c.Seconds[from], c.Seconds[to]
	before, behind := c.beside(from, to, 4)
	around := append(append([]float64(nil), s.cadence.between(begin-6, begin-0.1)...), s.cadence.between(end+0.1, end+6)...)
	within := s.cadence.between(begin-0.5, end+0.5)
	if len(before) == 0 || len(behind) == 0 || len(within) == 0 || len(around) < 4 {
		return
	}
	turning := median(around)
	if lowest(before) >= 120 && lowest(behind) >= 120 && turning >= 60 && lowest(within) >= stillTurning*turning {
		s.take(c, from, to, DropOut, "no power for a moment in the midst of work, while the cranks turned on at %.0f rpm", turning)
	}
}

// powerStuck: one value to the digit, while the cranks stood, or for very long
// while the cadence changed, in a channel that does not repeat itself else.
func (s *suspects) powerStuck(c *Channel) {
	lively := c.typicalRun() <= 3
	for i := 0; i < len(c.Values); {
		v := c.Values[i]
		_, to := c.run(i, func(x float64) bool { return x == v })
		length := c.Seconds[to] - c.Seconds[i]
		if v > 0 && length >= 15 {
			turning := s.cadence.between(c.Seconds[i], c.Seconds[to])
			switch still := s.standsFrom(c.Seconds[i]+3, c.Seconds[to]); {
			case still < c.Seconds[to]-5:
				first := i
				for c.Seconds[first] < still {
					first++
				}
				s.take(c, first, to, Stuck, "%g W said on and on while the cranks stood", v)
			case length >= stuckRideS && lively && len(turning) > 20 && highest(turning)-lowest(turning) > 15:
				s.take(c, i+1, to, Stuck, "%g W to the digit for %.0f s while the cadence changed; elsewhere it never stays", v, length)
			}
		}
		i = to + 1
	}
}

// standsFrom is when the cranks came to a stand that lasts up to an instant;
// that instant if they did not.
func (s *suspects) standsFrom(from, to float64) float64 {
	still := math.Inf(1)
	for k, t := range s.cadence.Seconds {
		switch {
		case t < from || t > to:
		case s.cadence.Values[k] > 0:
			still = math.Inf(1)
		case math.IsInf(still, 1):
			still = t
		}
	}
	return math.Min(still, to)
}

// typicalRun is the time for which a value usually stays, s: of all values
// above 0, the longest of the shortest 19 in 20 runs.
func (c *Channel) typicalRun() float64 {
	var runs []float64
	for i := 0; i < len(c.Values); {
		v := c.Values[i]
		_, to := c.run(i, func(x float64) bool { return x == v })
		if v > 0 {
			runs = append(runs, c.Seconds[to]-c.Seconds[i])
		}
		i = to + 1
	}
	if len(runs) < 20 {
		return math.Inf(1)
	}
	return quantile(runs, 0.95)
}

// heart: what no heart does, lonely jumps, stuck values.
func (s *suspects) heart(c *Channel) {
	power, _ := s.rec.Signal(Power, "")
	for i := 0; i < len(c.Values); i++ {
		v := c.Values[i]
		if v < 25 || v > 250 {
			from, to := c.run(i, func(x float64) bool { return x < 25 || x > 250 })
			kind, why := Spike, "no heart beats at %.0f per minute"
			if v == 0 {
				kind, why = DropOut, "%.0f beats per minute: the belt heard nothing"
			}
			s.take(c, from, to, kind, why, v)
			i = to
			continue
		}
		if i == 0 || math.Abs(v-c.Values[i-1]) < 10 {
			continue // no jump begins here
		}
		before, behind := c.beside(i, i, 15)
		usual := median(append(append([]float64(nil), before...), behind...))
		if len(before) < 4 || len(behind) < 4 || !(math.Abs(v-usual) > 30) {
			continue
		}
		from, to := c.run(i, func(x float64) bool { return math.Abs(x-usual) > 30 })
		if c.Seconds[to]-c.Seconds[from] <= 5 {
			s.take(c, from, to, Spike, "%.0f for a moment amid %.0f: a heart does not jump so far and back", v, usual)
			i = to
		}
	}
	for i := 0; i < len(c.Values); {
		v := c.Values[i]
		_, to := c.run(i, func(x float64) bool { return x == v })
		if from, end := c.Seconds[i], c.Seconds[to]; end-from >= stuckHeartS {
			work := power.between(from, end)
			if n := len(work); n > 100 {
				low, high := quantile(work, 0.1), quantile(work, 0.9)
				if high-low > 80 {
					s.take(c, i+1, to, Stuck, "%.0f to the digit for %.0f s while the power went from %.0f to %.0f W", v, end-from, low, high)
				}
			}
		}
		i = to + 1
	}
}

// cranks: cadences nobody turns, lonely jumps, zeros under load.
func (s *suspects) cranks(c *Channel) {
	power, _ := s.rec.Signal(Power, "")
	for i := 0; i < len(c.Values); i++ {
		v := c.Values[i]
		switch {
		case v > 240 || v < 0:
			from, to := c.run(i, func(x float64) bool { return x > 240 || x < 0 })
			s.take(c, from, to, Spike, "nobody turns %.0f rpm", v)
			i = to
		case v > 130:
			from, to := c.run(i, func(x float64) bool { return x > v*0.7 })
			before, behind := c.beside(from, to, 4)
			if c.Seconds[to]-c.Seconds[from] <= lonely && len(before) > 1 && len(behind) > 1 && v > 1.6*highest(before, behind) && lowest(before) > 0 && lowest(behind) > 0 {
				s.take(c, from, to, Spike, "%.0f rpm for a moment amid %.0f", v, median(append(append([]float64(nil), before...), behind...)))
				i = to
			}
		case v == 0:
			from, to := c.run(i, func(x float64) bool { return x == 0 })
			begin, end := c.Seconds[from], c.Seconds[to]
			work := power.between(begin-1, end+1)
			if from > 0 && to+1 < len(c.Values) && end-begin <= 2*dropOutS && len(work) > 1 && lowest(work) >= 80 && varies(work) {
				s.take(c, from, to, DropOut, "no cadence while at least %.0f W were given", lowest(work))
			}
			i = to
		}
	}
}

// varies: power that stands still under still cranks may be the stuck one.
func varies(values []float64) bool {
	for _, v := range values {
		if v != values[0] {
			return true
		}
	}
	return false
}

// fast: speeds above 45 m/s and lonely jumps of a sensor or a place.
func (s *suspects) fast(c *Channel) {
	for i := 0; i < len(c.Values); i++ {
		v := c.Values[i]
		if v > 45 || v < 0 {
			from, to := c.run(i, func(x float64) bool { return x > 45 || x < 0 })
			s.take(c, from, to, Spike, "%.0f m/s is no speed of a bicycle", v)
			i = to
			continue
		}
		if v < 10 {
			continue
		}
		before, behind := c.beside(i, i, 3)
		if len(before) > 0 && len(behind) > 0 && v > 1.7*highest(before, behind) {
			s.take(c, i, i, Spike, "%.1f m/s for a moment amid %.1f: nobody gains and loses so much", v, highest(before, behind))
		}
	}
}

// height: a lonely jump of more than 30 m, and heights outside the earth's.
func (s *suspects) height(c *Channel) {
	for i, v := range c.Values {
		if v < -500 || v > 9000 {
			s.take(c, i, i, Spike, "%.0f m is no height of a road", v)
			continue
		}
		before, behind := c.beside(i, i, 5)
		if len(before) == 0 || len(behind) == 0 {
			continue
		}
		a, b := before[len(before)-1], behind[0]
		if math.Abs(v-a) > 30 && math.Abs(v-b) > 30 && math.Abs(a-b) < 10 {
			s.take(c, i, i, Spike, "%.0f m for a moment amid %.0f", v, a)
		}
	}
}

// stops are times without any reading that no mark tells of. Where the way
// goes on meanwhile the sensors were lost, not the ride, and nothing is done.
func (s *suspects) stops() {
	times := s.rec.instants()
	way, _ := s.rec.Signal(Position, "")
	active := s.rec.active(0, s.rec.End())
	for i := 1; i < len(times); i++ {
		from, to := times[i-1], times[i]
		if to-from < unmarkedS || !within(active, from, to) {
			continue
		}
		if gone := way.last(to) - way.last(from); len(way.Values) > 0 && gone > to-from {
			continue
		}
		why := "nothing was recorded here: the device stood still"
		s.changes = append(s.changes, Change{Kind: Stopped, From: from, To: to, Why: why,
			Marks: []Mark{{Seconds: from, Kind: Pause, Words: why}, {Seconds: to, Kind: Resume, Words: why}}})
	}
}

// within: no pause is marked anywhere between.
func within(active []span, from, to float64) bool {
	for _, a := range active {
		if a.from <= from && a.to >= to {
			return true
		}
	}
	return false
}
