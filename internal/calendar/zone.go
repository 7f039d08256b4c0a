package calendar

import (
	"slices"
	"sort"
	"strconv"
	"time"
)

// shift is a change of a zone's clocks.
type shift struct {
	at       int64 // s since 1970
	from, to int   // s east of Greenwich before and after
}

// offsetAt is the offset of the last change that has happened; before the
// first one, what that changed from.
func offsetAt(shifts []shift, at int64) int {
	n := sort.Search(len(shifts), func(i int) bool { return shifts[i].at > at })
	if n == 0 {
		if len(shifts) == 0 {
			return 0
		}
		return shifts[0].from
	}
	return shifts[n-1].to
}

// zones are the zones of one file.
type zones struct {
	file    string
	local   *time.Location
	defined map[string][]observance
	made    map[string]zone
	budget  *budget
}

// observance is a STANDARD or DAYLIGHT part of a VTIMEZONE.
type observance struct {
	line     int
	start    time.Time // wall, by the clocks before the change
	from, to int
	rules    []property
	dates    []property
}

// of is the zone of a property. A name that the IANA database knows means that
// zone, whatever the file says of it: its rules are kept up to date and reach
// further back. Any other name must be defined in the file.
func (z *zones) of(p property) (zone, error) {
	id := p.param("TZID")
	if id == "" {
		return zone{loc: z.local}, nil
	}
	if known, ok := z.made[id]; ok {
		return known, nil
	}
	found, ok := named(id)
	if !ok {
		parts, defined := z.defined[id]
		if !defined {
			return zone{}, bad(z.file, p.line, p.name+" TZID", id, "a zone like Europe/Dublin, or one that a VTIMEZONE of the file defines")
		}
		shifts, err := z.shifts(parts)
		if err != nil {
			return zone{}, err
		}
		found = zone{name: id, shifts: shifts}
	}
	z.made[id] = found
	return found, nil
}

// zoneYears is how far the changes of a defined zone are reckoned ahead.
const zoneEnd = 2100

// mostShifts of one part of a zone: two centuries and more of one a year.
const mostShifts = 700

func (z *zones) shifts(parts []observance) ([]shift, error) {
	var all []shift
	for _, o := range parts {
		starts := []time.Time{o.start}
		for _, p := range o.rules {
			opt, err := z.rule(p, moment{wall: o.start}, func(t time.Time) time.Time { return t.Add(time.Duration(o.from) * time.Second) })
			if err != nil {
				return nil, err
			}
			err = z.budget.each(opt, time.Date(zoneEnd, 1, 1, 0, 0, 0, 0, time.UTC), func(t time.Time) bool {
				starts = append(starts, t)
				return len(starts) < mostShifts
			})
			if err != nil {
				return nil, bad(z.file, p.line, p.name, p.value, err.Error())
			}
		}
		for _, p := range o.dates {
			dates, err := dateList(z.file, p)
			if err != nil {
				return nil, err
			}
			starts = append(starts, dates...)
		}
		for _, t := range starts {
			all = append(all, shift{t.Unix() - int64(o.from), o.from, o.to})
		}
	}
	slices.SortFunc(all, func(a, b shift) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	return all, nil
}

// parseOffset reads +0100 or -033000, in seconds.
func parseOffset(s string) (int, bool) {
	if len(s) != 5 && len(s) != 7 || s[0] != '+' && s[0] != '-' {
		return 0, false
	}
	n := 0
	for i, unit := range []int{3600, 60, 1} {
		if 1+2*i >= len(s) {
			break
		}
		v, err := strconv.ParseUint(s[1+2*i:3+2*i], 10, 8)
		if err != nil || i > 0 && v > 59 || v > 18 && i == 0 {
			return 0, false
		}
		n += unit * int(v)
	}
	if s[0] == '-' {
		n = -n
	}
	return n, true
}
