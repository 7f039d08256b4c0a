package calendar

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// series is one event with all its repeats.
type series struct {
	uid, name, where, about, link, kind string
	line                                int
	start                               moment
	nominal                             span          // of its length
	exact                               time.Duration // of its length, if it came as an end
	known                               bool          // its length
	rules, without                      []rule
	dates                               []date
	except                              map[int64]bool // instants
	exceptDays                          map[string]bool
	changes                             []change
	cancelled                           bool
	sequence                            int
}

// date is one more start, with a length of its own if it has one.
type date struct {
	at    moment
	until time.Duration // 0: as the series
}

// change is an event that takes the place of one or more of a series.
type change struct {
	of     moment // RECURRENCE-ID
	onward bool
	series
}

// component is a part of an iCalendar file.
type component struct {
	name  string
	line  int
	props []property
	parts []*component
}

// mostDepth is how deep parts lie in parts: an alarm in an event in a calendar.
const mostDepth = 6

func readICal(name string, data []byte, local *time.Location) (File, error) {
	props, err := properties(name, data)
	if err != nil {
		return File{}, err
	}
	tops, err := components(name, props)
	if err != nil {
		return File{}, err
	}
	f := File{Name: name}
	z := &zones{file: name, local: local, defined: map[string][]observance{}, made: map[string]zone{}, budget: newBudget()}
	for _, c := range tops {
		if c.name != "VCALENDAR" {
			return f, bad(name, c.line, "BEGIN", c.name, "VCALENDAR")
		}
		if p, ok := c.first("X-WR-CALNAME", "NAME"); ok && f.Title == "" {
			f.Title = clean(p.value)
		}
		if err := z.define(c); err != nil {
			return f, err
		}
	}
	for _, c := range tops {
		if err := f.events(c, z); err != nil {
			return f, err
		}
	}
	return f, nil
}

// components nests properties by BEGIN and END.
func components(file string, props []property) ([]*component, error) {
	var tops, open []*component
	for _, p := range props {
		switch p.name {
		case "BEGIN":
			c := &component{name: strings.ToUpper(p.value), line: p.line}
			if len(open) == mostDepth {
				return nil, bad(file, p.line, "BEGIN", p.value, fmt.Sprintf("at most %d parts within each other", mostDepth))
			}
			if len(open) == 0 {
				tops = append(tops, c)
			} else {
				in := open[len(open)-1]
				in.parts = append(in.parts, c)
			}
			open = append(open, c)
		case "END":
			if len(open) == 0 || !strings.EqualFold(open[len(open)-1].name, p.value) {
				want := "no END outside of a part"
				if len(open) > 0 {
					want = fmt.Sprintf("END:%s for the part that begins at line %d", open[len(open)-1].name, open[len(open)-1].line)
				}
				return nil, bad(file, p.line, "END", p.value, want)
			}
			open = open[:len(open)-1]
		default:
			if len(open) == 0 {
				return nil, bad(file, p.line, p.name, p.value, "BEGIN:VCALENDAR first")
			}
			open[len(open)-1].props = append(open[len(open)-1].props, p)
		}
	}
	if len(open) > 0 {
		c := open[len(open)-1]
		return nil, bad(file, c.line, "BEGIN", c.name, "an END:"+c.name+" for it; the file seems to be cut off")
	}
	return tops, nil
}

func (c *component) first(names ...string) (property, bool) {
	for _, p := range c.props {
		if slices.Contains(names, p.name) {
			return p, true
		}
	}
	return property{}, false
}

// define takes in the zones of a calendar.
func (z *zones) define(c *component) error {
	for _, part := range c.parts {
		if part.name != "VTIMEZONE" {
			continue
		}
		id, ok := part.first("TZID")
		if !ok || id.value == "" {
			return bad(z.file, part.line, "VTIMEZONE", "no TZID", "a TZID")
		}
		var all []observance
		for _, o := range part.parts {
			if o.name != "STANDARD" && o.name != "DAYLIGHT" {
				continue
			}
			made, err := z.observance(o)
			if err != nil {
				return err
			}
			all = append(all, made)
		}
		if len(all) == 0 || len(all) > 400 {
			return bad(z.file, part.line, "VTIMEZONE", fmt.Sprintf("%d parts", len(all)), "1 to 400 of STANDARD and DAYLIGHT")
		}
		z.defined[id.value] = all
	}
	return nil
}

func (z *zones) observance(c *component) (o observance, err error) {
	o.line = c.line
	for _, p := range c.props {
		var ok bool
		switch p.name {
		case "DTSTART":
			var day, inUTC bool
			if o.start, day, inUTC, ok = parseWall(p.value); !ok || day || inUTC {
				return o, bad(z.file, p.line, p.name, p.value, "a local time like 20261025T030000")
			}
		case "TZOFFSETFROM", "TZOFFSETTO":
			offset, ok := parseOffset(p.value)
			if !ok {
				return o, bad(z.file, p.line, p.name, p.value, "an offset like +0100")
			}
			if p.name == "TZOFFSETFROM" {
				o.from = offset
			} else {
				o.to = offset
			}
		case "RRULE":
			o.rules = append(o.rules, p)
		case "RDATE":
			o.dates = append(o.dates, p)
		}
	}
	if o.start.IsZero() || len(o.rules) > mostRules || len(o.dates) > 400 {
		return o, bad(z.file, c.line, c.name, "no DTSTART, or too many rules", "a DTSTART and at most 4 rules")
	}
	return o, nil
}

// events takes in the events of a calendar.
func (f *File) events(c *component, z *zones) error {
	by := map[string]int{}
	var changes []change
	passed := 0
	for _, part := range c.parts {
		if part.name != "VEVENT" {
			if part.name != "VTIMEZONE" {
				passed++
			}
			continue
		}
		e, of, err := f.event(part, z)
		if err != nil {
			return err
		}
		if of != nil {
			changes = append(changes, change{of.at, of.onward, e})
			continue
		}
		if at, there := by[e.uid]; there && e.uid != "" {
			if e.sequence >= f.series[at].sequence {
				f.series[at] = e
			}
			f.note(part.line, "the event stands there twice; the newer one is used")
			continue
		}
		if len(f.series) >= mostEvents {
			return bad(f.Name, part.line, "VEVENT", "one more", fmt.Sprintf("at most %d events", mostEvents))
		}
		if e.uid != "" {
			by[e.uid] = len(f.series)
		}
		f.series = append(f.series, e)
	}
	for _, x := range changes {
		at, there := by[x.uid]
		if !there { // only that one was exported
			f.series = append(f.series, x.series)
			continue
		}
		f.series[at].changes = append(f.series[at].changes, x)
	}
	if passed > 0 {
		f.note(c.line, "%d tasks, notes or other parts that are no events are passed over", passed)
	}
	return nil
}

// replaced is the RECURRENCE-ID of an event.
type replaced struct {
	at     moment
	onward bool
}

func (f *File) event(c *component, z *zones) (e series, of *replaced, err error) {
	e = series{line: c.line, except: map[int64]bool{}, exceptDays: map[string]bool{}}
	p, ok := c.first("DTSTART")
	if !ok {
		return e, nil, bad(f.Name, c.line, "VEVENT", "no DTSTART", "a DTSTART")
	}
	if e.start, err = f.moment(p, p.value, z); err != nil {
		return e, nil, err
	}
	seen := map[string]bool{}
	for _, p := range c.props {
		if once := !slices.Contains([]string{"RRULE", "EXRULE", "RDATE", "EXDATE", "CATEGORIES"}, p.name); once && seen[p.name] {
			return e, nil, bad(f.Name, p.line, p.name, "a second one", "one "+p.name+" in an event")
		}
		seen[p.name] = true
		switch p.name {
		case "RECURRENCE-ID":
			at, err := f.moment(p, p.value, z)
			if err != nil {
				return e, nil, err
			}
			of = &replaced{at, strings.EqualFold(p.param("RANGE"), "THISANDFUTURE")}
		case "RRULE", "EXRULE", "RDATE", "EXDATE":
			err = f.repeats(p, z, &e)
		case "DTEND", "DURATION":
			err = f.length(p, z, &e)
		default:
			e.say(p)
		}
		if err != nil {
			return e, nil, err
		}
	}
	if !e.known && e.start.day {
		e.nominal, e.known = span{days: 1}, true
	}
	if e.name == "" {
		e.name = "An event without a name"
	}
	return e, of, nil
}

// say takes what is only text.
func (e *series) say(p property) {
	switch p.name {
	case "UID":
		e.uid = clip(p.value, 400)
	case "SUMMARY":
		e.name = clean(p.value)
	case "LOCATION":
		e.where = clean(p.value)
	case "DESCRIPTION":
		e.about = cleanLines(p.value)
	case "URL":
		if strings.HasPrefix(p.value, "https://") || strings.HasPrefix(p.value, "http://") {
			e.link = clip(p.value, 1000)
		}
	case "STATUS":
		e.cancelled = strings.EqualFold(p.value, "CANCELLED")
	case "SEQUENCE":
		e.sequence, _ = strconv.Atoi(p.value)
	case "CATEGORIES":
		for _, k := range strings.Split(strings.ToLower(p.value), ",") {
			if k = strings.TrimSpace(k); slices.Contains(kinds, k) {
				e.kind = k
			}
		}
	}
}

// kinds of events, in the words of an event file.
var kinds = []string{"time-trial", "mass", "handicap", "group"}

func (f *File) moment(p property, value string, z *zones) (moment, error) {
	wall, day, inUTC, ok := parseWall(value)
	if asked := p.param("VALUE"); !ok || strings.EqualFold(asked, "DATE") && !day {
		return moment{}, bad(f.Name, p.line, p.name, value, momentExpected)
	}
	if inUTC {
		return moment{wall: wall, zone: utc}, nil
	}
	if day {
		return moment{wall: wall, day: true, zone: zone{loc: z.local}}, nil
	}
	in, err := z.of(p)
	return moment{wall: wall, zone: in}, err
}

func (f *File) length(p property, z *zones, e *series) error {
	if e.known {
		return bad(f.Name, p.line, p.name, p.value, "either DTEND or DURATION")
	}
	e.known = true
	if p.name == "DURATION" {
		var ok bool
		if e.nominal, ok = parseSpan(p.value); !ok || e.start.day && e.nominal.exact != 0 {
			return bad(f.Name, p.line, p.name, p.value, "a length like PT1H30M, not below zero and at most 400 days; whole days for an event of days")
		}
		return nil
	}
	end, err := f.moment(p, p.value, z)
	if err != nil {
		return err
	}
	if end.day != e.start.day {
		return bad(f.Name, p.line, p.name, p.value, "a date if DTSTART is one, else a time")
	}
	if end.day {
		e.nominal.days = int(end.wall.Sub(e.start.wall).Hours() / 24)
		if e.nominal.days == 0 {
			e.nominal.days = 1 // some programs write the last day
		}
	} else {
		e.exact = end.instant().Sub(e.start.instant())
	}
	if e.nominal.days < 0 || e.exact < 0 || e.nominal.days > mostDays || e.exact > mostDays*24*time.Hour {
		return bad(f.Name, p.line, p.name, p.value, "an end after DTSTART, at most 400 days later")
	}
	return nil
}

// repeats takes one property about repeats.
func (f *File) repeats(p property, z *zones, e *series) error {
	switch p.name {
	case "RRULE", "EXRULE":
		opt, err := z.rule(p, e.start, e.start.zone.wall)
		if err != nil {
			return err
		}
		to := &e.rules
		if p.name == "EXRULE" {
			to = &e.without
		}
		if *to = append(*to, rule{opt, p}); len(*to) > mostRules {
			return bad(f.Name, p.line, p.name, "one more", fmt.Sprintf("at most %d rules for an event", mostRules))
		}
		return nil
	}
	for _, value := range strings.Split(p.value, ",") {
		begin, end, period := strings.Cut(value, "/")
		at, err := f.moment(property{name: p.name, line: p.line, params: paramsWithout(p, period)}, begin, z)
		if err != nil {
			return err
		}
		if len(e.dates)+len(e.except)+len(e.exceptDays) >= mostDates {
			return bad(f.Name, p.line, p.name, "more", fmt.Sprintf("at most %d dates for an event", mostDates))
		}
		switch {
		case p.name == "EXDATE" && at.day:
			e.exceptDays[at.wall.Format(time.DateOnly)] = true
		case p.name == "EXDATE":
			e.except[at.instant().Unix()] = true
		case at.day != e.start.day:
			return bad(f.Name, p.line, p.name, value, "dates if DTSTART is one, else times")
		default:
			d := date{at: at}
			if period {
				if d.until, err = f.period(p, at, end, z); err != nil {
					return err
				}
			}
			e.dates = append(e.dates, d)
		}
	}
	return nil
}

// period is the length of a PERIOD that begins at a moment.
func (f *File) period(p property, at moment, end string, z *zones) (time.Duration, error) {
	if d, ok := parseSpan(end); ok {
		return d.after(at.wall, at.zone).Sub(at.instant()), nil
	}
	until, err := f.moment(property{name: p.name, line: p.line, params: paramsWithout(p, true)}, end, z)
	if err != nil {
		return 0, err
	}
	d := until.instant().Sub(at.instant())
	if d <= 0 || d > mostDays*24*time.Hour {
		return 0, bad(f.Name, p.line, p.name, end, "a period that ends after it begins, at most 400 days later")
	}
	return d, nil
}

// paramsWithout are the parameters without VALUE=PERIOD.
func paramsWithout(p property, period bool) map[string][]string {
	if !period {
		return p.params
	}
	if id := p.param("TZID"); id != "" {
		return map[string][]string{"TZID": {id}}
	}
	return nil
}

func dateList(file string, p property) ([]time.Time, error) {
	var all []time.Time
	for _, v := range strings.Split(p.value, ",") {
		t, day, inUTC, ok := parseWall(v)
		if !ok || day || inUTC || len(all) > mostShifts {
			return nil, bad(file, p.line, p.name, v, "at most 700 local times like 20261025T030000")
		}
		all = append(all, t)
	}
	return all, nil
}

// clean is a text as one line without control characters.
func clean(s string) string { return strings.Join(strings.Fields(cleanLines(s)), " ") }

// cleanLines keeps the lines.
func cleanLines(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return ' '
		}
		return r
	}, s)
	return strings.TrimSpace(clip(s, mostTextBytes))
}

// clip cuts a text at a whole character.
func clip(s string, most int) string {
	if len(s) <= most {
		return s
	}
	for most > 0 && s[most]&0xc0 == 0x80 {
		most--
	}
	return s[:most] + "…"
}
