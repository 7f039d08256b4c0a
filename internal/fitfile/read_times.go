package fitfile

import (
	"fmt"
	"math"
)

// What the time stamps of a file are held against; our judgement.
const (
	jumpS     = 2 * 86400 // a step of more begins a ride of its own, or is damage
	lookahead = 5         // records that are asked whether a strange time stamp is right
	ownRun    = 10        // records in a row that make a ride of their own
	spreadS   = 10        // s between records that have no time of their own, at most
	stepS     = 10        // s: a longer step forward is looked at twice
)

// stretch is records whose time stamps were missing or wrong and were put right.
type stretch struct{ from, to int } // records, to exclusive

// clock puts the time stamps of a file's records right.
type clock struct {
	times     []uint32
	at        []float64 // s since 1970; NaN: the record cannot be placed
	runs      []stretch // rides by the clock: within one no step is longer than jumpS
	repaired  []stretch
	backwards int // records that stand behind later ones
	lost      int // records that cannot be placed
	first     int // the first of those
}

// settle judges each time stamp by its neighbours. In order they are taken as
// they are. A single one out of line is replaced, as a missing one is, by a
// time between its neighbours; several in line with each other that go back
// are sorted in; a jump of days with a ride behind it begins a new one.
// fallback is when the first record was, if none has a time, s of FIT; hint is
// a time that something else before the records states, 0: nothing does.
func settle(times []uint32, fallback, hint uint32) *clock {
	c := &clock{times: append([]uint32(nil), times...), at: make([]float64, len(times))}
	begin, last := 0, uint32(0)
	for i, t := range c.times {
		if t == 0 {
			continue
		}
		if last == 0 {
			if (hint == 0 || apart(hint, t) > jumpS) && c.odd(i, func(next uint32) bool { return apart(next, t) > jumpS }) {
				c.times[i] = 0
				continue
			}
			last = t
			continue
		}
		switch step := int64(t) - int64(last); {
		case step >= 0 && step <= stepS:
		case step > jumpS || step < -jumpS:
			near := func(next uint32) bool { return apart(next, t) <= jumpS }
			more := c.count(i, ownRun-1, func(uint32) bool { return true }) // fewer at the file's end
			if more < lookahead-1 || c.count(i, ownRun-1, near) < more {
				c.times[i] = 0
				if c.odd(i, near) {
					c.drop(i)
				}
				continue
			}
			c.runs = append(c.runs, stretch{begin, i})
			begin = i
		case step > 0:
			if c.odd(i, func(next uint32) bool { return next >= last && next < t }) {
				c.times[i] = 0
				continue
			}
		default:
			if c.odd(i, func(next uint32) bool { return next >= last }) || !c.follows(i) {
				c.times[i] = 0
				continue
			}
			c.backwards++
		}
		last = t
	}
	c.runs = append(c.runs, stretch{begin, len(times)})
	for _, r := range c.runs {
		c.fill(r, fallback)
	}
	return c
}

func apart(a, b uint32) int64 {
	d := int64(a) - int64(b)
	return max(d, -d)
}

// count is how many of the next n time stamps satisfy.
func (c *clock) count(i, n int, ok func(uint32) bool) int {
	found, seen := 0, 0
	for j := i + 1; j < len(c.times) && seen < n && j < i+1+4*n; j++ {
		if c.times[j] == 0 {
			continue
		}
		seen++
		if ok(c.times[j]) {
			found++
		}
	}
	return found
}

// odd: most of the next time stamps speak against this one.
func (c *clock) odd(i int, against func(uint32) bool) bool {
	return 2*c.count(i, lookahead, against) > lookahead
}

// follows: there is a further time stamp after this one.
func (c *clock) follows(i int) bool { return c.count(i, 1, func(uint32) bool { return true }) > 0 }

// drop marks a record that belongs to no known time.
func (c *clock) drop(i int) {
	if c.lost == 0 {
		c.first = i
	}
	c.lost++
	c.at[i] = math.NaN()
}

// fill sets the times of one run and puts those that are missing between
// their neighbours.
func (c *clock) fill(r stretch, fallback uint32) {
	unix := func(i int) float64 { return float64(c.times[i]) + fitEpoch }
	before := -1
	for i := r.from; i < r.to; {
		if c.times[i] != 0 {
			c.at[i] = unix(i)
			before = i
			i++
			continue
		}
		j := i
		for j < r.to && c.times[j] == 0 {
			j++
		}
		n := 0
		for k := i; k < j; k++ {
			if !math.IsNaN(c.at[k]) {
				n++
			}
		}
		var from, step float64
		switch {
		case before >= 0 && j < r.to:
			from, step = unix(before), math.Max(0, unix(j)-unix(before))/float64(n+1)
			if step > spreadS {
				step = 1
			}
		case before >= 0:
			from, step = unix(before), 1
		case j < r.to:
			from, step = unix(j)-float64(n+1), 1
		default:
			from, step = float64(fallback)+fitEpoch-1, 1
		}
		for k := i; k < j; k++ {
			if !math.IsNaN(c.at[k]) {
				from += step
				c.at[k] = from
			}
		}
		if n > 0 {
			c.repaired = append(c.repaired, stretch{i, j})
		}
		i = j
	}
}

// losses says what was put right.
func (c *clock) losses() []Loss {
	var out []Loss
	if n := len(c.repaired); n > 0 {
		records := 0
		for _, r := range c.repaired {
			records += r.to - r.from
		}
		out = append(out, Loss{Where: fmt.Sprintf("record %d", c.repaired[0].from+1),
			What: fmt.Sprintf("time stamps missing or impossible, put between their neighbours: %d records in %d places, this is the first", records, n)})
	}
	if c.backwards > 0 {
		out = append(out, Loss{What: fmt.Sprintf("the clock goes back %d times: records are sorted by their time", c.backwards)})
	}
	if c.lost > 0 {
		out = append(out, Loss{Where: fmt.Sprintf("record %d", c.first+1),
			What: fmt.Sprintf("%d records lie days off the rest and are left out, this is the first", c.lost)})
	}
	if n := len(c.runs); n > 1 {
		out = append(out, Loss{Where: fmt.Sprintf("record %d", c.runs[1].from+1),
			What: "the clock jumps by days: what follows is a ride of its own"})
	}
	return out
}
