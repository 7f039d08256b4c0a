package recording

import (
	"fmt"
	"math"
	"slices"
)

// Column is one channel of a Table. NaN is a gap.
type Column struct {
	Quantity Quantity
	Source   string
	Used     bool // as the ride went by it: power from one source after the other
	Values   []float64
}

// Table is a recording at even times. Row k covers the time from
// Seconds[k]-Every up to Seconds[k].
type Table struct {
	Every   float64
	Seconds []float64
	Paused  []bool // all of the row lies in a pause
	Columns []Column
}

// Column finds the column in use of a quantity; nil: there is none.
func (t *Table) Column(q Quantity) []float64 {
	for _, c := range t.Columns {
		if c.Quantity == q && c.Used {
			return c.Values
		}
	}
	return nil
}

// Rows is the recording at even times, a view of it: for each quantity the
// column in use, then each further source. What is measured over time (power,
// cadence, heart rate, speeds, gradient ...) is the mean over the row outside
// pauses, each reading standing until the next and at most Hold; what is a
// state (position, altitude, place, battery, target, W′ left) is the one at
// the row's end. A row of which less than half is known is a gap. Beats have
// no column. The error is for an impossible step: every is 0.1 to 3600 s.
func (r *Recording) Rows(every float64) (*Table, error) {
	if !(every >= 0.1 && every <= 3600) {
		return nil, fmt.Errorf("rows every %g s; expected 0.1 to 3600 s", every)
	}
	n := int(math.Ceil(r.End()/every - 1e-9))
	t := &Table{Every: every, Seconds: make([]float64, n), Paused: make([]bool, n)}
	spans := make([][]span, n)
	active := r.active(0, r.End())
	for k := range n {
		t.Seconds[k] = float64(k+1) * every
		from, to := float64(k)*every, t.Seconds[k]
		for len(active) > 0 && active[0].to <= from {
			active = active[1:]
		}
		for _, a := range active {
			if a.from >= to {
				break
			}
			spans[k] = append(spans[k], span{max(a.from, from), min(a.to, to)})
		}
		if spans[k] == nil {
			t.Paused[k] = true
			spans[k] = []span{{from, min(to, r.End())}}
		}
	}
	_, changed := r.switched()
	for _, q := range r.quantities() {
		c, _ := r.Signal(q, "")
		t.Columns = append(t.Columns, Column{q, c.Source, true, c.rows(t.Seconds, spans)})
		others := r.Sources(q)
		if q != Power || !changed {
			others = others[1:] // the first is the one in use, all through
		}
		for _, source := range others {
			c, _ := r.channel(q, source)
			t.Columns = append(t.Columns, Column{q, source, false, c.rows(t.Seconds, spans)})
		}
	}
	return t, nil
}

// quantities are those recorded, in the order of their first channels.
func (r *Recording) quantities() []Quantity {
	var qs []Quantity
	for _, c := range r.Channels {
		if c.Quantity != RRInterval && !slices.Contains(qs, c.Quantity) {
			qs = append(qs, c.Quantity)
		}
	}
	return qs
}

func (c *Channel) rows(seconds []float64, spans [][]span) []float64 {
	out := make([]float64, len(seconds))
	for k := range out {
		if c.Quantity.state() {
			out[k] = c.at(seconds[k])
			continue
		}
		width := 0.0
		for _, s := range spans[k] {
			width += s.to - s.from
		}
		area, known := c.integral(spans[k])
		out[k] = math.NaN()
		if known > 0 && known >= width/2-1e-9 {
			out[k] = area / known
		}
	}
	return out
}
