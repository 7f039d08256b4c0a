package calendar

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/teambition/rrule-go"

	"chainline/internal/problem"
)

// rule is a rule of repeats by the clock on the wall, and where it stands.
type rule struct {
	opt rrule.ROption
	at  property
}

const ruleExpected = "a rule like FREQ=WEEKLY;BYDAY=TU;COUNT=10 (RFC 5545, 3.3.10)"

// rule reads RRULE. The library expands it as if every wall time were in UTC;
// only UNTIL, which may be in UTC, is made a wall time first by toWall.
func (z *zones) rule(p property, start moment, toWall func(time.Time) time.Time) (rrule.ROption, error) {
	refuse := func(why string) (rrule.ROption, error) {
		return rrule.ROption{}, bad(z.file, p.line, p.name, p.value, ruleExpected+why)
	}
	var parts []string
	var until time.Time
	if len(p.value) > 2000 {
		return refuse("")
	}
	for _, part := range strings.Split(strings.ToUpper(strings.Trim(p.value, "; ")), ";") {
		key, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		switch key {
		case "UNTIL":
			wall, day, inUTC, ok := parseWall(value)
			switch {
			case !ok:
				return refuse("; UNTIL: " + momentExpected)
			case inUTC:
				wall = toWall(wall)
			case day && !start.day:
				wall = wall.Add(24*time.Hour - time.Second) // the whole day
			}
			until = wall
			continue
		case "DTSTART", "BYEASTER":
			return refuse("")
		case "COUNT", "INTERVAL":
			n, err := strconv.Atoi(value)
			if err != nil || n < 1 || n > 100000 {
				return refuse("; " + key + " from 1 to 100000")
			}
		}
		parts = append(parts, key+"="+value)
	}
	opt, err := rrule.StrToROption(strings.Join(parts, ";"))
	if err != nil {
		return refuse("; " + err.Error())
	}
	opt.Dtstart, opt.Until = start.wall, until
	if start.day {
		if opt.Freq > rrule.DAILY {
			return refuse("; whole days cannot repeat within a day")
		}
		opt.Byhour, opt.Byminute, opt.Bysecond = nil, nil, nil
	}
	if _, err := rrule.NewRRule(*opt); err != nil {
		return refuse("; " + err.Error())
	}
	if crowd(*opt) > mostCrowd {
		return refuse(fmt.Sprintf("; at most %d starts in one round of the rule", mostCrowd))
	}
	return *opt, nil
}

// mostCrowd is how many starts one round of a rule may have: the library
// makes them all at once.
const mostCrowd = 20000

func crowd(o rrule.ROption) int {
	at := func(list []int) int { return max(1, len(list)) }
	days := map[rrule.Frequency]int{rrule.YEARLY: 366, rrule.MONTHLY: 31, rrule.WEEKLY: 7}[o.Freq]
	return max(1, days) * at(o.Byhour) * at(o.Byminute) * at(o.Bysecond)
}

// budget is how much work one file may make.
type budget struct{ steps, barren int }

func newBudget() *budget { return &budget{mostStepsAll, mostBarren} }

var (
	errSteps  = errors.New("a rule with fewer repeats up to the days asked for (at most 200,000, and 2,000,000 in a file)")
	errBarren = errors.New("rules that happen at least once (20 that never do are borne)")
)

// each gives the starts of a rule in order, up to and including end, until do
// says false.
func (b *budget) each(opt rrule.ROption, end time.Time, do func(time.Time) bool) error {
	if !reachable(opt) {
		return nil
	}
	endless := opt.Until.IsZero()
	if endless {
		opt.Until = time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC) // else the library stops after 292 years
	}
	r, err := rrule.NewRRule(opt)
	if err != nil {
		return errors.New(ruleExpected)
	}
	next := r.Iterator()
	for n := 0; ; n++ {
		t, ok := next()
		if !ok && n == 0 && endless {
			if b.barren--; b.barren < 0 {
				return errBarren
			}
		}
		if !ok || t.After(end) || !do(t) {
			return nil
		}
		if b.steps--; n >= mostSteps || b.steps < 0 {
			return errSteps
		}
	}
}

// reachable says whether steps within a day ever meet the hours, minutes and
// seconds asked for. The library would look for them for ever.
func reachable(o rrule.ROption) bool {
	unit, day := 0, 0
	switch o.Freq {
	case rrule.HOURLY:
		unit, day = 3600, 24
	case rrule.MINUTELY:
		unit, day = 60, 24*60
	case rrule.SECONDLY:
		unit, day = 1, 24*3600
	default:
		return true
	}
	meets := func(list []int, v int) bool { return len(list) == 0 || slices.Contains(list, v) }
	h, m, s := o.Dtstart.Clock()
	at, step := (h*3600+m*60+s)/unit, max(1, o.Interval)%day
	for range day {
		if at = (at + step) % day; meets(o.Byhour, at*unit/3600) && (unit == 3600 || meets(o.Byminute, at*unit/60%60)) && (unit >= 60 || meets(o.Bysecond, at%60)) {
			return true
		}
	}
	return false
}

// Between gives everything that takes place from one instant up to another,
// by start, as the clocks in a zone show it. What was called off is left out.
func (f File) Between(from, to time.Time, in *time.Location) ([]Occurrence, error) {
	b := newBudget()
	var all []Occurrence
	for i := range f.series {
		s := &f.series[i]
		found, err := s.between(f.Name, b, from, to, in)
		if err != nil {
			return nil, err
		}
		if all = append(all, found...); len(all) > mostFound {
			return nil, problem.Bad("%s: more than %d events from %s to %s; expected fewer, or fewer days", f.Name, mostFound, from.Format(time.DateOnly), to.Format(time.DateOnly))
		}
	}
	Sort(all)
	return all, nil
}

// Sort puts events in the order of their starts.
func Sort(all []Occurrence) {
	slices.SortStableFunc(all, func(a, b Occurrence) int {
		if c := a.Start.Compare(b.Start); c != 0 {
			return c
		}
		return strings.Compare(a.Name, b.Name)
	})
}

// start is one start of a series before changes.
type start struct {
	at    moment
	until time.Duration
}

// reach is how far before the days asked for something may begin and still go
// on, or stand in its rule and be moved into them.
const reach = (mostDays + 2) * 24 * time.Hour

func (s *series) between(file string, b *budget, from, to time.Time, in *time.Location) ([]Occurrence, error) {
	starts, err := s.starts(file, b, to.Add(reach))
	if err != nil {
		return nil, err
	}
	var all []Occurrence
	for _, st := range starts {
		as, moved := s.changed(st.at)
		if as.cancelled {
			continue
		}
		at := st.at
		if moved != nil {
			at = *moved
		}
		o := as.occurrence(at, st.until, in)
		o.Moved, o.Repeats, o.UID, o.File = moved != nil, len(starts) > 1 || len(s.rules) > 0, s.uid, file
		if o.Start.Before(to) && (o.End.After(from) || !o.Start.Before(from)) {
			all = append(all, o)
		}
	}
	return all, nil
}

// starts are all starts of a series up to an instant, without those excepted.
func (s *series) starts(file string, b *budget, to time.Time) ([]start, error) {
	end := s.start.zone.wall(to)
	out := map[int64]bool{}
	for _, r := range s.without {
		err := b.each(r.opt, end, func(t time.Time) bool { out[s.start.zone.at(t).Unix()] = true; return true })
		if err != nil {
			return nil, bad(file, r.at.line, r.at.name, r.at.value, err.Error())
		}
	}
	seen := map[int64]bool{}
	var all []start
	add := func(m moment, until time.Duration) {
		key := m.instant().Unix()
		day := s.start.zone.wall(m.instant())
		if m.day {
			day = m.wall
		}
		if !seen[key] && !out[key] && !s.except[key] && !s.exceptDays[day.Format(time.DateOnly)] {
			all = append(all, start{m, until})
		}
		seen[key] = true
	}
	add(s.start, 0) // is always the first, whether the rule gives it or not
	for _, r := range s.rules {
		n := 0
		err := b.each(r.opt, end, func(t time.Time) bool {
			if n++; n == 1 && !t.Equal(s.start.wall) {
				n++ // the first one counts
			}
			if r.opt.Count == 0 || n <= r.opt.Count {
				add(moment{t, s.start.day, s.start.zone}, 0)
			}
			return true
		})
		if err != nil {
			return nil, bad(file, r.at.line, r.at.name, r.at.value, err.Error())
		}
	}
	for _, d := range s.dates {
		add(d.at, d.until)
	}
	return all, nil
}

// changed is what a start became: as which event, and when if that differs.
func (s *series) changed(at moment) (as *series, moved *moment) {
	key := at.instant()
	as = s
	var latest *change
	for i := range s.changes {
		c := &s.changes[i]
		of := c.of.instant()
		switch {
		case of.Equal(key) || c.of.day && c.of.wall.Format(time.DateOnly) == s.start.zone.wall(key).Format(time.DateOnly):
			return &c.series, &c.start
		case c.onward && of.Before(key) && (latest == nil || latest.of.instant().Before(of)):
			latest = c
		}
	}
	if latest == nil {
		return s, nil
	}
	by := latest.start.wall.Sub(latest.of.zone.wall(latest.of.instant()))
	if latest.of.zone.name != latest.start.zone.name {
		by = latest.start.instant().Sub(latest.of.instant())
	}
	return &latest.series, &moment{wall: at.wall.Add(by), day: at.day, zone: at.zone}
}

func (s *series) occurrence(at moment, until time.Duration, in *time.Location) Occurrence {
	o := Occurrence{UID: s.uid, Name: s.name, Where: s.where, About: s.about, Link: s.link, Kind: s.kind, AllDay: at.day, LengthKnown: s.known || until > 0, Zone: at.zone.name, Line: s.line}
	home := at.zone
	if at.day {
		home = zone{loc: in} // a day is that day wherever one is
	}
	begin := home.at(at.wall)
	o.Home, o.Start = home.show(begin), begin.In(in)
	switch {
	case until > 0:
		o.End = o.Start.Add(until)
	case s.exact > 0:
		o.End = o.Start.Add(s.exact)
	default:
		o.End = s.nominal.after(at.wall, home).In(in)
	}
	if !o.LengthKnown {
		o.End = o.Start
	}
	return o
}
