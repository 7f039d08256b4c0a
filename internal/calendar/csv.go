package calendar

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// columns are the names by which a CSV may call what an event has.
var columns = map[string][]string{
	"name":    {"name", "event", "title", "summary", "what"},
	"date":    {"date", "day", "start date", "when"},
	"time":    {"time", "clock", "start time", "start", "begins", "at"},
	"end":     {"end", "end time", "ends", "until time"},
	"minutes": {"minutes", "min", "duration", "length", "duration min", "duration minutes", "length min"},
	"zone":    {"zone", "time zone", "timezone", "tz", "tzid"},
	"where":   {"where", "location", "place", "course"},
	"about":   {"about", "notes", "note", "description", "remarks"},
	"repeats": {"repeats", "repeat", "rrule", "rule", "recurrence"},
	"until":   {"until", "repeat until", "last", "last day"},
	"kind":    {"kind", "type"},
	"link":    {"link", "url"},
}

func readCSV(name string, data []byte, local *time.Location) (File, error) {
	f := File{Name: name}
	if !utf8.Valid(data) {
		return f, bad(name, 1+bytes.Count(data[:firstInvalid(data)], []byte("\n")), "line", "bytes that are no text", "a CSV or iCalendar file in UTF-8")
	}
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord, r.Comma = -1, Delimiter(data)
	r.TrimLeadingSpace = r.Comma != '\t' // which is a space too
	head, err := r.Read()
	if err != nil {
		return f, csvError(name, err)
	}
	at := map[string]int{}
	for i, cell := range head {
		plain := strings.NewReplacer("_", " ", "-", " ", "(", "", ")", "").Replace(strings.ToLower(strings.TrimSpace(cell)))
		for key, names := range columns {
			if _, taken := at[key]; slices.Contains(names, plain) && !taken {
				at[key] = i
			}
		}
	}
	if at["time"], at["date"] = given(at, "time"), given(at, "date"); at["date"] < 0 {
		at["date"], at["time"] = at["time"], -1 // one column with both
	}
	if _, ok := at["name"]; !ok || at["date"] < 0 {
		return f, bad(name, 1, "header", strings.Join(head, string(r.Comma)), "columns name and date, and time, minutes, zone, repeats, until, where, kind, about as you like")
	}
	z := &zones{file: name, local: local, made: map[string]zone{}, budget: newBudget()}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return f, nil
		}
		if err != nil {
			return f, csvError(name, err)
		}
		line, _ := r.FieldPos(0)
		if strings.TrimSpace(strings.Join(row, "")) == "" {
			continue
		}
		if len(f.series) >= mostEvents {
			return f, bad(name, line, "line", "one more", fmt.Sprintf("at most %d events", mostEvents))
		}
		e, err := csvEvent(name, line, z, func(key string) string {
			if i, ok := at[key]; ok && i >= 0 && i < len(row) {
				return strings.TrimSpace(row[i])
			}
			return ""
		})
		if err != nil {
			return f, err
		}
		f.series = append(f.series, e)
	}
}

func given(at map[string]int, key string) int {
	if i, ok := at[key]; ok {
		return i
	}
	return -1
}

func firstInvalid(data []byte) int {
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n <= 1 {
			return i
		}
		i += n
	}
	return 0
}

func csvError(name string, err error) error {
	if e, ok := errors.AsType[*csv.ParseError](err); ok {
		return bad(name, e.Line, "line", e.Err.Error(), "cells in order, with quotes that close")
	}
	return bad(name, 1, "file", err.Error(), "a CSV or iCalendar file")
}

// Delimiter is what parts the cells: the one of tab, semicolon, comma and bar
// that the first line has most of.
func Delimiter(data []byte) rune {
	first, _, _ := bytes.Cut(bytes.TrimLeft(data, "\r\n"), []byte("\n"))
	best, most := ',', 0
	for _, c := range "\t;,|" {
		if n := bytes.Count(first, []byte(string(c))); n > most {
			best, most = c, n
		}
	}
	return best
}

func csvEvent(file string, line int, z *zones, cell func(string) string) (e series, err error) {
	refuse := func(field, expected string) (series, error) { return e, bad(file, line, field, cell(field), expected) }
	e = series{line: line, name: clean(cell("name")), where: clean(cell("where")), about: cleanLines(cell("about")), except: map[int64]bool{}, exceptDays: map[string]bool{}}
	if e.name == "" {
		return refuse("name", "what the event is called")
	}
	e.uid = fmt.Sprintf("%s-%d", e.name, line)
	in := zone{loc: z.local}
	if id := cell("zone"); id != "" {
		var ok bool
		if in, ok = named(id); !ok {
			return refuse("zone", "a zone like Europe/Dublin")
		}
	}
	day, clock, _ := strings.Cut(strings.ReplaceAll(cell("date"), "T", " "), " ")
	wall, ok := csvDay(cell("date"))
	if !ok {
		if wall, ok = csvDay(day); !ok {
			return refuse("date", "a date like 2026-12-03 or 3 Dec 2026; 03/12/2026 can be read two ways")
		}
	} else {
		clock = ""
	}
	field := "date"
	if cell("time") != "" {
		field, clock = "time", cell("time")
	}
	e.start = moment{wall: wall, day: clock == "", zone: in}
	if clock != "" {
		hands, ok := csvClock(clock)
		if !ok {
			return refuse(field, "a time like 19:30 or 7:30 pm")
		}
		e.start.wall = wall.Add(hands)
	} else {
		e.nominal, e.known, e.start.zone = span{days: 1}, true, zone{loc: z.local}
	}
	if k := strings.ToLower(cell("kind")); k != "" {
		if e.kind = k; !slices.Contains(kinds, k) {
			return refuse("kind", "time-trial, mass, handicap or group")
		}
	}
	if link := cell("link"); strings.HasPrefix(link, "http://") || strings.HasPrefix(link, "https://") {
		e.link = clip(clean(link), 1000)
	}
	if err := csvLength(&e, wall, cell, refuse); err != nil {
		return e, err
	}
	return e, csvRepeats(&e, z, line, cell, refuse)
}

func csvLength(e *series, day time.Time, cell func(string) string, refuse func(string, string) (series, error)) error {
	if s := cell("minutes"); s != "" && !e.start.day {
		d, ok := csvSpan(s)
		if !ok {
			_, err := refuse("minutes", "minutes like 75, or a length like 1:15")
			return err
		}
		e.exact, e.known = d, true
	} else if s := cell("end"); s != "" && !e.start.day {
		hands, ok := csvClock(s)
		if !ok {
			_, err := refuse("end", "a time like 20:45")
			return err
		}
		end := day.Add(hands)
		if !end.After(e.start.wall) {
			end = end.AddDate(0, 0, 1) // past midnight
		}
		e.exact, e.known = e.start.zone.at(end).Sub(e.start.instant()), true
	}
	return nil
}

// csvRepeats reads weekly and the like, or a rule of RFC 5545.
func csvRepeats(e *series, z *zones, line int, cell func(string) string, refuse func(string, string) (series, error)) error {
	s := strings.ToUpper(cell("repeats"))
	if s == "" || s == "NO" || s == "NONE" || s == "NEVER" {
		return nil
	}
	if s == "DAILY" || s == "WEEKLY" || s == "MONTHLY" || s == "YEARLY" {
		s = "FREQ=" + s
	}
	s = strings.TrimPrefix(s, "RRULE:")
	if !strings.HasPrefix(s, "FREQ=") {
		_, err := refuse("repeats", "daily, weekly, monthly, yearly, or "+ruleExpected)
		return err
	}
	if last := cell("until"); last != "" {
		day, ok := csvDay(last)
		if !ok {
			_, err := refuse("until", "a date like 2026-12-03")
			return err
		}
		s += ";UNTIL=" + day.Format("20060102")
	}
	p := property{name: "repeats", value: s, line: line}
	opt, err := z.rule(p, e.start, e.start.zone.wall)
	if err != nil {
		return err
	}
	e.rules = []rule{{opt, p}}
	return nil
}

func csvDay(s string) (time.Time, bool) {
	for _, layout := range []string{"2006-01-02", "2006/01/02", "2.1.2006", "2 Jan 2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006", "Mon 2 Jan 2006", "Monday 2 January 2006"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, t.Year() >= firstYear && t.Year() <= lastYear
		}
	}
	return time.Time{}, false
}

func csvClock(s string) (time.Duration, bool) {
	s = strings.ToLower(strings.Join(strings.Fields(s), " "))
	for _, layout := range []string{"15:04", "15:04:05", "15.04", "3:04 pm", "3:04pm", "3 pm", "3pm"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.Sub(t.Truncate(24 * time.Hour)), true
		}
	}
	return 0, false
}

// csvSpan reads minutes, h:mm, or a number with a unit.
func csvSpan(s string) (time.Duration, bool) {
	s = strings.ToLower(strings.ReplaceAll(s, " ", ""))
	if h, m, ok := strings.Cut(s, ":"); ok {
		hours, err := strconv.ParseUint(h, 10, 8)
		minutes, err2 := strconv.ParseUint(m, 10, 8)
		return time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute, err == nil && err2 == nil && minutes < 60
	}
	unit := time.Minute
	if rest, ok := strings.CutSuffix(s, "min"); ok {
		s = rest
	} else if rest, ok := strings.CutSuffix(s, "h"); ok {
		s, unit = rest, time.Hour
	}
	n, err := strconv.ParseFloat(s, 64)
	d := time.Duration(n * float64(unit))
	return d, err == nil && n > 0 && n < 100000 && d <= mostDays*24*time.Hour
}
