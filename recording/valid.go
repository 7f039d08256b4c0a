package recording

import (
	"fmt"
	"math"
)

// Limits of a recording. Ten days are longer than any ride and short enough
// that a wrong clock is noticed.
const (
	MaxSeconds  = 864000.0
	MaxChannels = 1000
	MaxReadings = 20_000_000 // in all channels
	MaxMarks    = 100_000
	MaxText     = 1000 // bytes of a title, source or words
)

// Validate says what is wrong first, in one line; nil: nothing is. It judges
// the form, not whether the values are likely.
func (r *Recording) Validate() error {
	switch {
	case !(r.StartUnix >= 0 && r.StartUnix < 4e9):
		return fmt.Errorf("start: %g s is no time of a ride; expected seconds since 1970, below 4e9", r.StartUnix)
	case r.ZoneSeconds < -18*3600 || r.ZoneSeconds > 18*3600:
		return fmt.Errorf("zone: %d s; expected local time minus UTC within 18 hours", r.ZoneSeconds)
	case len(r.Title) > MaxText || len(r.Sport) > MaxText:
		return fmt.Errorf("title or sport: more than %d bytes", MaxText)
	case len(r.Channels) > MaxChannels:
		return fmt.Errorf("%d channels; expected at most %d", len(r.Channels), MaxChannels)
	case len(r.Marks) > MaxMarks:
		return fmt.Errorf("%d marks; expected at most %d", len(r.Marks), MaxMarks)
	}
	if err := r.validChannels(); err != nil {
		return err
	}
	return r.validMarks()
}

type key struct {
	quantity Quantity
	source   string
}

func (r *Recording) validChannels() error {
	seen := map[key]bool{}
	readings := 0
	for i := range r.Channels {
		c := &r.Channels[i]
		k := key{c.Quantity, c.Source}
		if seen[k] {
			return fmt.Errorf("channel %s of %q stands twice", c.Quantity, c.Source)
		}
		seen[k] = true
		if err := c.valid(); err != nil {
			return fmt.Errorf("channel %s of %q: %w", c.Quantity, c.Source, err)
		}
		if readings += len(c.Values); readings > MaxReadings {
			return fmt.Errorf("more than %d readings", MaxReadings)
		}
	}
	for q, source := range r.Used {
		if !seen[key{q, source}] {
			return fmt.Errorf("used: there is no channel %s of %q", q, source)
		}
	}
	return nil
}

func (c *Channel) valid() error {
	if !isName(string(c.Quantity)) {
		return fmt.Errorf("a quantity is named by 1 to 40 of a-z, 0-9 and _")
	}
	if len(c.Source) > MaxText {
		return fmt.Errorf("a source's name has at most %d bytes", MaxText)
	}
	if len(c.Seconds) != len(c.Values) {
		return fmt.Errorf("%d times for %d values", len(c.Seconds), len(c.Values))
	}
	last := math.Inf(-1)
	for i, s := range c.Seconds {
		if !isTime(s) {
			return fmt.Errorf("reading %d: %g s; expected 0 to %g s", i+1, s, MaxSeconds)
		}
		if s <= last {
			return fmt.Errorf("reading %d: %g s after %g s; times rise strictly", i+1, s, last)
		}
		if !isFinite(c.Values[i]) {
			return fmt.Errorf("reading %d: %g; a gap is left out, not written", i+1, c.Values[i])
		}
		last = s
	}
	return nil
}

func (r *Recording) validMarks() error {
	last := 0.0
	for i, m := range r.Marks {
		switch {
		case !isTime(m.Seconds):
			return fmt.Errorf("mark %d: %g s; expected 0 to %g s", i+1, m.Seconds, MaxSeconds)
		case m.Seconds < last:
			return fmt.Errorf("mark %d: %g s after %g s; marks stand in order", i+1, m.Seconds, last)
		case !isName(string(m.Kind)):
			return fmt.Errorf("mark %d: a kind is named by 1 to 40 of a-z, 0-9 and _", i+1)
		case len(m.Words) > MaxText || len(m.Source) > MaxText:
			return fmt.Errorf("mark %d: more than %d bytes of words", i+1, MaxText)
		}
		last = m.Seconds
	}
	return nil
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func isTime(s float64) bool { return s >= 0 && s <= MaxSeconds }

func isName(s string) bool {
	for _, r := range s {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' {
			return false
		}
	}
	return len(s) >= 1 && len(s) <= 40
}
