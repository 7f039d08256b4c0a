package intake

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"chainline/recording"
)

// maxRows is the most rows or points of one file: ten days of every second
// are fewer.
const maxRows = 1_000_000

// column is what one field of a table said, row by row; NaN is a gap.
type column struct {
	quantity recording.Quantity
	source   string
	values   []float64
}

// table is a ride as rows, before its times are judged.
type table struct {
	at      []float64 // s since 1970; NaN: the row has no time
	columns []*column
	marks   []recording.Mark // Seconds is s since 1970
	back    float64          // s by which means stand before their row's time
}

// put sets a value of the last row.
func (t *table) put(q recording.Quantity, source string, v float64) {
	i := slices.IndexFunc(t.columns, func(c *column) bool { return c.quantity == q && c.source == source })
	if i < 0 {
		i = len(t.columns)
		t.columns = append(t.columns, &column{quantity: q, source: source})
	}
	c := t.columns[i]
	for len(c.values) < len(t.at) {
		c.values = append(c.values, math.NaN())
	}
	c.values[len(t.at)-1] = v
}

// settled puts the times right as far as neighbours tell: what is missing or
// alone out of line goes between them. It returns how many rows that were and
// the first of them.
func settled(at []float64) (fixed []float64, changed []int) {
	fixed = slices.Clone(at)
	last := math.NaN()
	for i, t := range fixed {
		if math.IsNaN(t) {
			continue
		}
		next := known(fixed[i+1:], 2)
		switch {
		case !math.IsNaN(last) && t < last && len(next) > 0 && next[0] >= last,
			len(next) == 2 && next[0] < t && next[1] < t && next[1] >= next[0] && (math.IsNaN(last) || next[0] >= last):
			fixed[i] = math.NaN()
			continue
		}
		last = t
	}
	for i := 0; i < len(fixed); i++ {
		if !math.IsNaN(fixed[i]) {
			continue
		}
		j := i
		for j < len(fixed) && math.IsNaN(fixed[j]) {
			changed = append(changed, j)
			j++
		}
		n := float64(j - i)
		from, step := 0.0, 1.0
		switch {
		case i > 0 && j < len(fixed):
			from, step = fixed[i-1], math.Max(0, fixed[j]-fixed[i-1])/(n+1)
			if step > 10 {
				step = 1
			}
		case i > 0:
			from = fixed[i-1]
		case j < len(fixed):
			from = fixed[j] - n - 1
		}
		for ; i < j; i++ {
			from += step
			fixed[i] = from
		}
	}
	return fixed, changed
}

// known is the next n times that are there, of the next twenty.
func known(at []float64, n int) []float64 {
	var out []float64
	for _, t := range at[:min(len(at), 20)] {
		if !math.IsNaN(t) {
			if out = append(out, t); len(out) == n {
				break
			}
		}
	}
	return out
}

// recording makes a recording of the table. row names its rows in losses.
func (t *table) recording(title, sport string, zone int, row func(i int) string) (recording.Recording, []string) {
	var losses []string
	at, changed := settled(t.at)
	if len(changed) > 0 {
		losses = append(losses, fmt.Sprintf("%s: time missing or out of line, put between its neighbours: %d in all, this is the first", row(changed[0]), len(changed)))
	}
	start := math.Inf(1)
	for _, s := range at {
		start = math.Min(start, s)
	}
	start -= t.back
	rec := recording.Recording{Title: title, StartUnix: math.Max(0, start), ZoneSeconds: zone, Sport: sport, Used: map[recording.Quantity]string{}, Whole: true}
	sorted := slices.IsSorted(at)
	if !sorted {
		losses = append(losses, "the times go back in places: sorted by time")
	}
	repeated, beyond := t.channels(&rec, at, start)
	if repeated > 0 {
		losses = append(losses, fmt.Sprintf("%d readings repeat an instant that has one already and are left out", repeated))
	}
	if beyond > 0 {
		losses = append(losses, fmt.Sprintf("%d readings lie more than ten days behind the start and are left out", beyond))
	}
	for _, m := range t.marks {
		if m.Seconds -= start; m.Seconds >= 0 && m.Seconds <= recording.MaxSeconds && len(rec.Marks) < recording.MaxMarks-2 {
			rec.Marks = append(rec.Marks, m)
		}
	}
	if n := len(changed); n > 0 && at[changed[0]]-start <= recording.MaxSeconds {
		rec.Marks = append(rec.Marks, recording.Mark{Seconds: max(0, at[changed[0]]-start), Kind: recording.Assumed, Words: losses[0]})
	}
	if end := slices.Max(append([]float64{start}, at...)) - start; t.back > 0 && end <= recording.MaxSeconds {
		// The last mean stands up to here, not only from its beginning.
		rec.Marks = append(rec.Marks, recording.Mark{Seconds: end, Kind: recording.Note, Words: "end of the file"})
	}
	slices.SortStableFunc(rec.Marks, func(a, b recording.Mark) int { return cmp.Compare(a.Seconds, b.Seconds) })
	return rec, losses
}

// channels gives the recording its channels; it returns how many readings
// repeat an instant and how many lie too far behind the start.
func (t *table) channels(rec *recording.Recording, at []float64, start float64) (repeated, beyond int) {
	for _, c := range t.columns {
		back := t.back
		if isState(c.quantity) {
			back = 0
		}
		ch := recording.Channel{Quantity: c.quantity, Source: c.source}
		for i, v := range c.values {
			if s := at[i] - back - start; math.IsNaN(v) || math.IsInf(v, 0) {
				continue
			} else if s > recording.MaxSeconds {
				beyond++
			} else {
				ch.Seconds, ch.Values = append(ch.Seconds, math.Max(0, s)), append(ch.Values, v)
			}
		}
		repeated += rising(&ch)
		if len(ch.Seconds) == 0 {
			continue
		}
		if _, ok := rec.Used[c.quantity]; !ok {
			rec.Used[c.quantity] = c.source
		}
		rec.Channels = append(rec.Channels, ch)
	}
	return repeated, beyond
}

// rising sorts a channel by time and leaves the first reading of each instant;
// it returns how many went.
func rising(c *recording.Channel) int {
	ok := true
	for i := 1; i < len(c.Seconds) && ok; i++ {
		ok = c.Seconds[i] > c.Seconds[i-1]
	}
	if ok {
		return 0
	}
	index := make([]int, len(c.Seconds))
	for i := range index {
		index[i] = i
	}
	slices.SortStableFunc(index, func(a, b int) int { return cmp.Compare(c.Seconds[a], c.Seconds[b]) })
	var seconds, values []float64
	for _, i := range index {
		if n := len(seconds); n == 0 || c.Seconds[i] > seconds[n-1] {
			seconds, values = append(seconds, c.Seconds[i]), append(values, c.Values[i])
		}
	}
	gone := len(c.Seconds) - len(seconds)
	c.Seconds, c.Values = seconds, values
	return gone
}

// isState tells what is read off at an instant from what is a mean over the
// time before it.
func isState(q recording.Quantity) bool {
	switch q {
	case recording.Position, recording.Altitude, recording.Latitude, recording.Longitude, recording.Battery, recording.Target, recording.Commanded, recording.Left:
		return true
	}
	return false
}

// clip makes a piece of somebody's file fit to be quoted on one line.
func clip(s string) string {
	var out []rune
	for _, r := range s {
		if r < ' ' || r >= 0x7F && r < 0xA0 || r == 0xFFFD {
			continue
		}
		if out = append(out, r); len(out) == 40 {
			return string(out) + "…"
		}
	}
	return string(out)
}
