package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/input"
	"chainline/internal/store"
)

type datedEvent struct {
	row   EventRow
	start time.Time
	over  bool
	dated bool
}

// eventSections are the events: coming, without a day, over.
func eventSections(all []store.Object, now time.Time, u form.Units, d dates) []EventSection {
	var coming, open, over []datedEvent
	for _, o := range all {
		e := eventRow(o, now, u, d)
		switch {
		case !e.dated:
			open = append(open, e)
		case e.over:
			over = append(over, e)
		default:
			coming = append(coming, e)
		}
	}
	slices.SortStableFunc(coming, func(a, b datedEvent) int { return a.start.Compare(b.start) })
	slices.SortStableFunc(over, func(a, b datedEvent) int { return b.start.Compare(a.start) })
	var sections []EventSection
	for _, s := range []struct {
		id, title string
		events    []datedEvent
	}{{"coming", "Coming", coming}, {"open", "No day yet", open}, {"over", "Over", over}} {
		if len(s.events) == 0 {
			continue
		}
		section := EventSection{ID: s.id, Title: s.title}
		for _, e := range s.events {
			section.Events = append(section.Events, e.row)
		}
		sections = append(sections, section)
	}
	return sections
}

func eventRow(o store.Object, now time.Time, u form.Units, d dates) datedEvent {
	e := datedEvent{row: EventRow{ID: o.ID, Name: o.Name}}
	file, err := input.ReadEvent("event", strings.NewReader(o.Text))
	if err != nil {
		e.row.More = []string{"It cannot be read any more: " + oneLine(err)}
		return e
	}
	for _, k := range eventKinds {
		if k.Value == file.Kind {
			e.row.Kind = k.Label
		}
	}
	if e.start, e.dated = file.Start.Value, file.Start.Known; e.dated {
		e.row.When = d.weekday(e.start)
		end := e.start.AddDate(0, 0, 1) // a day without a clock
		if file.HasClock {
			e.row.When += ", " + d.clock(e.start)
			end = e.start
		}
		e.over = !now.Before(end)
		e.row.Zone = file.TimeZone
		e.row.Away = eventAway(now, e.start)
	}
	e.row.More = eventMore(file, u)
	return e
}

// eventAway is how many days it is to a start, by the calendar there.
func eventAway(now, start time.Time) string {
	y, m, d := now.In(start.Location()).Date()
	sy, sm, sd := start.Date()
	days := int(time.Date(sy, sm, sd, 0, 0, 0, 0, time.UTC).Sub(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)).Hours() / 24)
	switch {
	case days == 0:
		return "today"
	case days == 1:
		return "tomorrow"
	case days > 1:
		return fmt.Sprintf("in %d days", days)
	}
	return ""
}

func eventMore(file input.EventFile, u form.Units) []string {
	var more []string
	if file.Laps.Known && file.Laps.Value > 1 {
		more = append(more, fmt.Sprintf("%d laps", file.Laps.Value))
	}
	if file.LeadIn.Known && file.LeadIn.Value > 0 {
		more = append(more, u.Distance(file.LeadIn.Value)+" lead-in")
	}
	if file.Pen.Known && file.Pen.Value > 0 {
		more = append(more, form.Duration(file.Pen.Value)+" in the pen")
	}
	switch n := len(file.Categories); {
	case n == 1:
		more = append(more, "one category")
	case n > 1:
		more = append(more, fmt.Sprintf("%d categories", n))
	}
	return more
}

// latestZone is the zone of the event changed last: most events are at home.
func latestZone(all []store.Object) string {
	zone, when := "", time.Time{}
	for _, o := range all {
		file, err := input.ReadEvent("event", strings.NewReader(o.Text))
		if err == nil && file.TimeZone != "" && o.Updated.After(when) {
			zone, when = file.TimeZone, o.Updated
		}
	}
	return zone
}
