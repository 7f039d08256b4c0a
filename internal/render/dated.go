package render

import (
	"html/template"
	"regexp"
	"strings"
	"time"
)

// Days and times of day stand on a page in <time>, in the words of most places
// and with the moment itself beside them. A page is kept as it was made; who
// shows it to somebody with other habits writes what stands there anew.

// dated is a text with the place in it where a moment stands marked. Without a
// moment, or if it is not said there, it is the text alone.
func dated(text, iso, said string) template.HTML {
	before, after, there := strings.Cut(text, said)
	if !aMoment.MatchString(iso) || said == "" || !there {
		return template.HTML(template.HTMLEscapeString(text))
	}
	return template.HTML(template.HTMLEscapeString(before) + `<time datetime="` + iso + `">` + template.HTMLEscapeString(said) + "</time>" + template.HTMLEscapeString(after))
}

// momentWords is how a brief says the day or start that iso is.
func momentWords(iso string) string {
	if t, err := time.Parse("2006-01-02T15:04", iso); err == nil {
		return t.Format("Monday 2 January 2006, 15:04")
	}
	if t, err := time.Parse(time.DateOnly, iso); err == nil {
		return t.Format("Monday 2 January 2006")
	}
	return ""
}

var aMoment = regexp.MustCompile(`^[0-9T:\-]+$`)

var aClock = regexp.MustCompile(`^\d{1,2}:\d\d(:\d\d)?$`)

// clockISO is a time of day with two digits of hours; empty if it is none.
func clockISO(said string) string {
	switch {
	case !aClock.MatchString(said):
		return ""
	case strings.Index(said, ":") == 1:
		return "0" + said
	}
	return said
}
