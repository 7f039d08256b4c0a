package calendar

import (
	"strconv"
	"strings"
	"time"
)

// A wall time is what a clock on the wall shows: a time.Time in UTC that is
// not meant to be in UTC. A zone says which instant it is.

// moment is a DATE or DATE-TIME as written.
type moment struct {
	wall time.Time
	day  bool // a date without a clock
	zone zone
}

func (m moment) instant() time.Time { return m.zone.at(m.wall) }

// zone finds the instant of a wall time.
type zone struct {
	name   string         // empty: floating
	loc    *time.Location // of the IANA database, or of the reader if floating
	shifts []shift        // of a VTIMEZONE; loc is nil then
}

var utc = zone{name: "UTC", loc: time.UTC}

// offset in seconds east of Greenwich at an instant.
func (z zone) offset(t time.Time) int {
	if z.loc != nil {
		_, o := t.In(z.loc).Zone()
		return o
	}
	return offsetAt(z.shifts, t.Unix())
}

// at is the instant of a wall time, by RFC 5545, 3.3.5: one that comes twice
// is the first, one that is skipped is read by the offset before the gap.
func (z zone) at(wall time.Time) time.Time {
	before := z.offset(wall.Add(-26 * time.Hour))
	after := z.offset(wall.Add(26 * time.Hour))
	for _, o := range []int{before, after} {
		t := wall.Add(-time.Duration(o) * time.Second)
		if z.offset(t) == o {
			return z.show(t)
		}
	}
	return z.show(wall.Add(-time.Duration(before) * time.Second))
}

// wall is what the clock there shows at an instant.
func (z zone) wall(t time.Time) time.Time {
	return t.UTC().Add(time.Duration(z.offset(t)) * time.Second)
}

// show is an instant in the zone.
func (z zone) show(t time.Time) time.Time {
	if z.loc != nil {
		return t.In(z.loc)
	}
	return t.In(time.FixedZone(z.name, z.offset(t)))
}

// named is a zone of the IANA database. Some programs put their own name and a
// slash before it.
func named(id string) (zone, bool) {
	parts := strings.Split(strings.Trim(id, "/"), "/")
	for from := range parts {
		name := strings.Join(parts[from:], "/")
		if name == "" || name == "Local" || len(name) > 64 {
			continue
		}
		if loc, err := time.LoadLocation(name); err == nil {
			return zone{name: name, loc: loc}, true
		}
	}
	return zone{}, false
}

const momentExpected = "a date like 20261203, or a time like 20261203T193000 or 20261203T183000Z"

// parseWall reads DATE or DATE-TIME.
func parseWall(s string) (wall time.Time, day, inUTC, ok bool) {
	s = strings.ToUpper(strings.TrimSpace(s))
	if s, inUTC = strings.CutSuffix(s, "Z"); inUTC && len(s) == 8 {
		return wall, false, false, false
	}
	layout := "20060102T150405"
	if len(s) == 8 {
		layout, day = "20060102", true
	}
	wall, err := time.Parse(layout, s)
	if err != nil && strings.HasSuffix(s, "60") && len(s) == 15 { // a leap second is the second before (3.3.5)
		wall, err = time.Parse(layout, s[:13]+"59")
	}
	return wall, day, inUTC, err == nil && wall.Year() >= firstYear && wall.Year() <= lastYear
}

// span is a DURATION: whole days by the calendar, the rest by the stopwatch.
type span struct {
	days  int
	exact time.Duration
}

// parseSpan reads a DURATION like PT1H30M, P1D or P2W; negative ones make no
// sense for an event.
func parseSpan(s string) (span, bool) {
	rest, ok := strings.CutPrefix(strings.TrimPrefix(strings.ToUpper(strings.TrimSpace(s)), "+"), "P")
	if !ok || rest == "" {
		return span{}, false
	}
	var d span
	units, clock := "WD", false
	for rest != "" {
		if rest[0] == 'T' && !clock {
			units, clock, rest = "HMS", true, rest[1:]
			if rest == "" {
				return span{}, false
			}
			continue
		}
		n := 0
		for n < len(rest) && rest[n] >= '0' && rest[n] <= '9' {
			n++
		}
		if n == 0 || n > 7 || n == len(rest) {
			return span{}, false
		}
		at := strings.IndexByte(units, rest[n])
		if at < 0 {
			return span{}, false
		}
		value, _ := strconv.Atoi(rest[:n])
		switch rest[n] {
		case 'W':
			d.days += 7 * value
		case 'D':
			d.days += value
		case 'H':
			d.exact += time.Duration(value) * time.Hour
		case 'M':
			d.exact += time.Duration(value) * time.Minute
		case 'S':
			d.exact += time.Duration(value) * time.Second
		}
		units, rest = units[at+1:], rest[n+1:]
	}
	return d, d.days <= mostDays && d.exact <= mostDays*24*time.Hour
}

// mostDays an event may take.
const mostDays = 400

// after is the end of something that begins at a wall time and takes d.
func (d span) after(wall time.Time, z zone) time.Time {
	if d.days == 0 {
		return z.at(wall).Add(d.exact)
	}
	return z.at(wall.AddDate(0, 0, d.days)).Add(d.exact)
}
