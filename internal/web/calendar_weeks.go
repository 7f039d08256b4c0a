package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"chainline/internal/service"
)

// CalendarWeek is a week as a line with a bead for each event.
type CalendarWeek struct {
	Title string
	Days  []CalendarCell
}

// CalendarCell is a day of a week's line.
type CalendarCell struct {
	Name  string // "Mon 30"
	Today bool
	Quiet bool // before the days asked for
	Beads []CalendarBead
}

// CalendarBead is an event on the line; the list below it says the rest.
type CalendarBead struct {
	Number int
	Fits   string // yes, perhaps, no; empty: nothing was asked
	Says   string // for who cannot see the line
	Clock  string
	Clash  bool
}

// CalendarDay is a day of the list.
type CalendarDay struct {
	ID, Name string
	Rows     []CalendarRow
}

// CalendarRow is an event of the list.
type CalendarRow struct {
	Number  int
	Clock   string
	Name    string
	Path    string // of the event's page, if it is one of ours
	Link    string // as its file has it
	Fits    string
	Verdict string // in words
	More    []string
	Why     []string
	Clashes []string
}

var fitWords = map[string]string{"yes": "fits", "perhaps": "may fit", "no": "does not fit"}

// NewCalendarDays are the events of a sheet as a list by days; paths leads from
// the files of events of ours to their pages.
func NewCalendarDays(sheet service.CalendarSheet, paths map[string]string, d dates) []CalendarDay {
	var days []CalendarDay
	for i, e := range sheet.Events {
		id := e.Start.Format(time.DateOnly)
		if len(days) == 0 || days[len(days)-1].ID != id {
			days = append(days, CalendarDay{ID: id, Name: d.near(e.Start)})
		}
		row := CalendarRow{Number: i + 1, Clock: calendarClock(e, d), Name: e.Name, Path: paths[e.File], Link: e.Link, Fits: e.Fits, Verdict: fitWords[e.Fits], Why: e.Why}
		if e.Fits == "" {
			row.Clashes = e.Clashes
		}
		if e.Where != "" {
			row.More = append(row.More, e.Where)
		}
		if e.Kind != "" {
			label := strings.ToLower(kindLabel(e.Kind))
			if e.Guessed {
				label += ", by its name"
			}
			row.More = append(row.More, label)
		}
		if e.Home != "" {
			if t, err := time.Parse("2006-01-02T15:04", e.Home); err == nil {
				row.More = append(row.More, d.clock(t)+" in "+e.Zone)
			}
		}
		if e.Moved {
			row.More = append(row.More, "not at its usual time")
		}
		last := &days[len(days)-1]
		last.Rows = append(last.Rows, row)
	}
	return days
}

func kindLabel(kind string) string {
	for _, k := range eventKinds {
		if k.Value == kind {
			return k.Label
		}
	}
	return kind
}

func calendarClock(e service.CalendarEvent, d dates) string {
	switch {
	case e.AllDay:
		return "all day"
	case e.Minutes > 0:
		return d.clock(e.Start) + " to " + d.clock(e.End)
	}
	return d.clock(e.Start)
}

// NewCalendarWeeks are the events of a sheet on the lines of its weeks, from
// Monday to Sunday.
func NewCalendarWeeks(sheet service.CalendarSheet, now time.Time, d dates) []CalendarWeek {
	first, err := time.Parse(time.DateOnly, sheet.From)
	last, err2 := time.Parse(time.DateOnly, sheet.To)
	if err != nil || err2 != nil {
		return nil
	}
	at := map[string][]CalendarBead{}
	for i, e := range sheet.Events {
		id := e.Start.Format(time.DateOnly)
		b := CalendarBead{Number: i + 1, Fits: e.Fits, Clock: calendarClock(e, d), Clash: len(e.Clashes) > 0}
		if !e.AllDay {
			b.Clock = d.clock(e.Start)
		}
		b.Says = e.Name
		if v := fitWords[e.Fits]; v != "" {
			b.Says += ", " + v
		}
		at[id] = append(at[id], b)
	}
	var weeks []CalendarWeek
	for day := first.AddDate(0, 0, -(int(first.Weekday())+6)%7); !day.After(last); {
		w := CalendarWeek{Title: fmt.Sprintf("Week of %s", d.near(day))}
		for range 7 {
			id := day.Format(time.DateOnly)
			w.Days = append(w.Days, CalendarCell{Name: day.Format("Mon 2"), Today: id == now.Format(time.DateOnly), Quiet: day.Before(first) || day.After(last), Beads: at[id]})
			day = day.AddDate(0, 0, 1)
		}
		weeks = append(weeks, w)
	}
	return weeks
}

// Fill puts a sheet on the page, with dates as most of the world writes them.
func (p *CalendarPage) Fill(sheet service.CalendarSheet, values map[string]string, paths map[string]string, now time.Time) {
	p.fill(sheet, values, paths, now, dates{})
}

func (p *CalendarPage) fill(sheet service.CalendarSheet, values, paths map[string]string, now time.Time, d dates) {
	if loc, err := time.LoadLocation(sheet.Zone); err == nil {
		now = now.In(loc)
	}
	p.Weeks, p.Days = NewCalendarWeeks(sheet, now, d), NewCalendarDays(sheet, paths, d)
	p.State, p.Notes = sheet.State, sheet.Notes
	p.Judged = slices.ContainsFunc(sheet.Events, func(e service.CalendarEvent) bool { return e.Fits != "" })
	p.turn(sheet, values, d)
}
