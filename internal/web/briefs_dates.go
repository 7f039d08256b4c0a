package web

import (
	"net/http"
	"regexp"
	"strings"
	"time"

	"chainline/internal/form"
)

// A brief's days and times of day stand marked in its page (internal/render,
// dated.go), so whoever writes them another way sees them so. Pages kept by
// older versions have no marks: they stay as they were made.

var (
	pageMoment = regexp.MustCompile(`<time datetime="([0-9T:\-]*)">([^<]*)</time>`)
	pageClock  = regexp.MustCompile(`(<text class="tick clock"[^>]*>)(\d{1,2}:\d\d)`)
)

// inDates is a page of a brief with its dates as somebody writes them.
func inDates(page string, d dates) string {
	if d == UsualDates {
		return page
	}
	page = pageMoment.ReplaceAllStringFunc(page, func(mark string) string {
		m := pageMoment.FindStringSubmatch(mark)
		return `<time datetime="` + m[1] + `">` + d.moment(m[1], m[2]) + "</time>"
	})
	return pageClock.ReplaceAllStringFunc(page, func(tick string) string {
		m := pageClock.FindStringSubmatch(tick)
		t, err := time.Parse("15:04", m[2])
		if err != nil || !d.halfDays {
			return tick
		}
		return m[1] + t.Format("3:04") // there is no room for more; the list has the halves
	})
}

// moment is a day, a start or a time of day, with the weekday if it was said
// with it; what is none of them stays as it was said.
func (d dates) moment(iso, said string) string {
	if t, err := time.Parse("2006-01-02T15:04", iso); err == nil {
		return d.long(t) + ", " + d.clock(t)
	}
	if t, err := time.Parse(time.DateOnly, iso); err == nil {
		if strings.HasPrefix(said, t.Format("Monday")) {
			return d.long(t)
		}
		return d.day(t)
	}
	for _, layout := range []string{"15:04", "15:04:05"} {
		if t, err := time.Parse(layout, iso); err == nil {
			return raceClock(t, d)
		}
	}
	return said
}

// shown is a brief's page in the units and with the dates of whoever asks.
// Names are what people called things.
func shown(r *http.Request, page []byte, u form.Units, names ...string) []byte {
	return []byte(inDates(inUnits(string(page), u, names...), datesOf(r)))
}
