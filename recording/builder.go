package recording

import (
	"fmt"
	"maps"
	"slices"
	"sort"
)

// Builder makes a recording from readings as they arrive, or as they are read
// back from a journal.
type Builder struct {
	rec   Recording
	index map[key]int
	// Repeated counts readings left out because their channel already had
	// one of that instant.
	Repeated int
}

// NewBuilder begins a recording; see Recording for the fields.
func NewBuilder(title string, startUnix float64, zoneSeconds int, sport string) *Builder {
	return &Builder{
		rec:   Recording{Title: title, StartUnix: startUnix, ZoneSeconds: zoneSeconds, Sport: sport, Used: map[Quantity]string{}},
		index: map[key]int{},
	}
}

// Add takes one reading. One that comes late is put where it belongs; a
// second one of the same instant is left out and counted. Beats are the
// exception: several arrive in one message, oldest first, so that each
// further one is set a microsecond later. The error is for what cannot be a
// reading: no number, or a time outside the recording.
func (b *Builder) Add(q Quantity, source string, seconds, value float64) error {
	if !isTime(seconds) || !isFinite(value) {
		return fmt.Errorf("%s of %q: %g at %g s is no reading", q, source, value, seconds)
	}
	k := key{q, source}
	i, known := b.index[k]
	if !known {
		i = len(b.rec.Channels)
		b.index[k] = i
		b.rec.Channels = append(b.rec.Channels, Channel{Quantity: q, Source: source})
	}
	c := &b.rec.Channels[i]
	at := len(c.Seconds)
	if at > 0 && seconds <= c.Seconds[at-1] { // most readings come in order
		at = sort.SearchFloat64s(c.Seconds, seconds)
	}
	for q == RRInterval && at < len(c.Seconds) && c.Seconds[at]-seconds < 1e-7 {
		seconds += 1e-6
		at++
	}
	if at < len(c.Seconds) && c.Seconds[at] == seconds {
		b.Repeated++
		return nil
	}
	c.Seconds = slices.Insert(c.Seconds, at, seconds)
	c.Values = slices.Insert(c.Values, at, value)
	return nil
}

// Mark takes one mark; one that comes late is put where it belongs, behind
// those of the same instant.
func (b *Builder) Mark(m Mark) error {
	if !isTime(m.Seconds) {
		return fmt.Errorf("mark %s at %g s: outside a recording", m.Kind, m.Seconds)
	}
	at, _ := slices.BinarySearchFunc(b.rec.Marks, m.Seconds, func(a Mark, s float64) int {
		if a.Seconds <= s {
			return -1
		}
		return 1
	})
	b.rec.Marks = slices.Insert(b.rec.Marks, at, m)
	return nil
}

// Use says that from seconds on the ride goes by this source. For power this
// leaves a Switched mark, the first time too.
func (b *Builder) Use(q Quantity, source string, seconds float64, words string) error {
	if have, ok := b.rec.Used[q]; ok && have == source {
		return nil
	}
	b.rec.Used[q] = source
	if q != Power {
		return nil
	}
	return b.Mark(Mark{Seconds: seconds, Kind: Switched, Source: source, Words: words})
}

// Recording is what there is so far, a copy. A source that was to be used
// and never spoke is not among Used.
func (b *Builder) Recording(whole bool) Recording {
	r := b.rec
	r.Whole = whole
	r.Channels = make([]Channel, len(b.rec.Channels))
	for i, c := range b.rec.Channels {
		c.Seconds, c.Values = slices.Clone(c.Seconds), slices.Clone(c.Values)
		r.Channels[i] = c
	}
	r.Marks = slices.Clone(b.rec.Marks)
	r.Used = maps.Clone(b.rec.Used)
	maps.DeleteFunc(r.Used, func(q Quantity, source string) bool {
		_, spoke := b.index[key{q, source}]
		return !spoke
	})
	return r
}
