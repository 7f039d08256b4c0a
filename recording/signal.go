package recording

import (
	"math"
	"slices"
	"sort"
)

// Hold is how long a reading stands for what follows it, s: as long as the
// ride goes on with the last value of a source that fell silent. After it
// there is a gap, which nothing fills.
const Hold = 3.0

// stands is how long a reading of this quantity stands: what was asked and a
// battery's charge stay until the next.
func (q Quantity) stands() float64 {
	switch q {
	case Target, Commanded, Battery, Brought:
		return math.Inf(1)
	}
	return Hold
}

// state tells what is read off at an instant from what is a mean over time.
func (q Quantity) state() bool {
	switch q {
	case Position, Altitude, Latitude, Longitude, Battery, Target, Commanded, Left, Brought:
		return true
	}
	return false
}

// End is the time of the last reading or mark, s.
func (r *Recording) End() float64 {
	end := 0.0
	for _, c := range r.Channels {
		if n := len(c.Seconds); n > 0 {
			end = max(end, c.Seconds[n-1])
		}
	}
	if n := len(r.Marks); n > 0 {
		end = max(end, r.Marks[n-1].Seconds)
	}
	return end
}

// Sources are the names of the channels of a quantity, the one in use first.
func (r *Recording) Sources(q Quantity) []string {
	var names []string
	for _, c := range r.Channels {
		if c.Quantity != q {
			continue
		}
		if c.Source == r.Used[q] {
			names = slices.Insert(names, 0, c.Source)
		} else {
			names = append(names, c.Source)
		}
	}
	return names
}

func (r *Recording) channel(q Quantity, source string) (Channel, bool) {
	for _, c := range r.Channels {
		if c.Quantity == q && c.Source == source {
			return c, true
		}
	}
	return Channel{Quantity: q, Source: source}, false
}

// Signal is one quantity from the named source or, if source is empty, as the
// ride went by it: power follows the Switched marks, others the source in use
// or else the first there is. False: there is none.
func (r *Recording) Signal(q Quantity, source string) (Channel, bool) {
	if source != "" {
		return r.channel(q, source)
	}
	names := r.Sources(q)
	if len(names) == 0 {
		return Channel{Quantity: q}, false
	}
	if q == Power {
		if c, ok := r.switched(); ok {
			return c, true
		}
	}
	return r.channel(q, names[0])
}

// switched joins the power of the sources the ride went by, one after the
// other; false: it went by one alone. Before the first Switched mark it is the
// source that spoke first and is not the one switched to, if there is one.
func (r *Recording) switched() (Channel, bool) {
	joined := Channel{Quantity: Power}
	spoke := map[string]bool{}
	source, from := "", 0.0
	take := func(to float64) {
		c, _ := r.channel(Power, source)
		i, j := sort.SearchFloat64s(c.Seconds, from), sort.SearchFloat64s(c.Seconds, to)
		if i < j {
			spoke[source] = true
			joined.Seconds = append(joined.Seconds, c.Seconds[i:j]...)
			joined.Values = append(joined.Values, c.Values[i:j]...)
		}
	}
	found := false
	for _, m := range r.Marks {
		if m.Kind != Switched {
			continue
		}
		if !found {
			source, found = r.before(m), true
		}
		take(m.Seconds)
		source, from = m.Source, m.Seconds
	}
	if found {
		take(math.Inf(1))
	}
	joined.Source = source
	return joined, len(spoke) > 1
}

// before is the source of power before the first switch.
func (r *Recording) before(m Mark) string {
	first, at := m.Source, m.Seconds
	for _, c := range r.Channels {
		if c.Quantity == Power && c.Source != m.Source && len(c.Seconds) > 0 && c.Seconds[0] < at {
			first, at = c.Source, c.Seconds[0]
		}
	}
	return first
}

// span is a stretch of time, s.
type span struct{ from, to float64 }

// active are the stretches between from and to that are not paused.
func (r *Recording) active(from, to float64) []span {
	var out []span
	at, paused := from, false
	for _, m := range r.Marks {
		switch {
		case m.Kind == Pause && !paused:
			if end := min(m.Seconds, to); end > at {
				out = append(out, span{at, end})
			}
			paused = true
		case m.Kind == Resume && paused:
			at, paused = max(from, m.Seconds), false
		}
	}
	if !paused && to > at {
		out = append(out, span{at, to})
	}
	return out
}

// integral is the area below a channel in the given stretches and the
// seconds of them in which it is known.
func (c *Channel) integral(spans []span) (area, known float64) {
	stands := c.Quantity.stands()
	for _, s := range spans {
		i := max(0, sort.SearchFloat64s(c.Seconds, s.from)-1)
		for ; i < len(c.Seconds) && c.Seconds[i] < s.to; i++ {
			end := min(c.Seconds[i]+stands, s.to)
			if i+1 < len(c.Seconds) {
				end = min(end, c.Seconds[i+1])
			}
			if width := end - max(c.Seconds[i], s.from); width > 0 {
				area += c.Values[i] * width
				known += width
			}
		}
	}
	return area, known
}

// at is the last value at or before an instant, NaN if it no longer stands.
func (c *Channel) at(seconds float64) float64 {
	i := sort.Search(len(c.Seconds), func(i int) bool { return c.Seconds[i] > seconds }) - 1
	if i < 0 || seconds-c.Seconds[i] > c.Quantity.stands() {
		return math.NaN()
	}
	return c.Values[i]
}
