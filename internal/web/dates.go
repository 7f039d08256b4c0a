package web

import (
	"net/http"
	"strings"
	"time"

	"chainline/internal/service"
)

// dates writes days and clocks the way the browser's first language has them.
// Months are always words, so that nobody reads a date the other way round;
// what differs is whether the day or the month comes first, and the clock.
type dates struct {
	monthFirst bool
	halfDays   bool // 7:30 pm rather than 19:30
}

// English-speaking places that do not write 2 January and 19:30: common
// practice. Everywhere else both are understood.
var dateHabits = map[string]dates{
	"en-us": {true, true}, "en-ph": {true, true},
	"en-au": {false, true}, "en-nz": {false, true}, "en-in": {false, true}, "en-ca": {true, true},
}

// UsualDates are those of most places.
var UsualDates = dates{}

// datesOf are those of whoever asks.
func datesOf(r *http.Request) dates {
	first, _, _ := strings.Cut(r.Header.Get("Accept-Language"), ",")
	first, _, _ = strings.Cut(first, ";")
	return dateHabits[strings.ToLower(strings.TrimSpace(first))]
}

func (d dates) day(t time.Time) string {
	if d.monthFirst {
		return t.Format("January 2, 2006")
	}
	return t.Format("2 January 2006")
}

func (d dates) weekday(t time.Time) string {
	if d.monthFirst {
		return t.Format("Mon, January 2, 2006")
	}
	return t.Format("Mon 2 January 2006")
}

// long is a day with all of its weekday.
func (d dates) long(t time.Time) string {
	if d.monthFirst {
		return t.Format("Monday, January 2, 2006")
	}
	return t.Format("Monday 2 January 2006")
}

// service writes the sentences that come with dates in them.
func (d dates) service() service.Dates { return service.Dates{Day: d.day, Clock: d.clock} }

// near is a day of the coming weeks.
func (d dates) near(t time.Time) string {
	if d.monthFirst {
		return t.Format("Monday, January 2")
	}
	return t.Format("Monday 2 January")
}

// short is a day on a picture.
func (d dates) short(t time.Time) string {
	if d.monthFirst {
		return t.Format("Jan 2")
	}
	return t.Format("2 Jan")
}

func (d dates) clock(t time.Time) string {
	if d.halfDays {
		return t.Format("3:04 pm")
	}
	return t.Format("15:04")
}

// iso is a file's date; what is none stays as it is.
func (d dates) iso(day string) string {
	t, err := time.Parse(time.DateOnly, day[:min(len(day), 10)])
	if err != nil {
		return day
	}
	return d.day(t)
}
