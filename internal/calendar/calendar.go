// Package calendar reads events from iCalendar (RFC 5545) and CSV files,
// expands those that repeat, keeps every start at the right instant through
// changes of daylight saving, finds clashes, and writes iCalendar. Repeats are
// reckoned by the clock on the wall of the event's own zone.
package calendar

import (
	"bytes"
	"fmt"
	"io"
	"time"
	_ "time/tzdata" // zones without a database of the system, as on Windows

	"chainline/internal/problem"
)

// Limits of what is read. Our judgement: many times what a club's calendar has.
const (
	MostBytes     = 8 << 20
	mostEvents    = 20000
	mostLines     = 400000
	mostTextBytes = 8000 // of one text
	mostDates     = 5000 // of one event's lists
	mostRules     = 4    // of one event
	mostSteps     = 200000
	mostStepsAll  = 2000000
	mostBarren    = 20
	mostFound     = 20000
)

// Years in which a start may lie. Zones are often said to begin in 1601.
const firstYear, lastYear = 1600, 2200

// File is a calendar as it was read.
type File struct {
	Name   string // of the file, for sentences
	Title  string // as the calendar calls itself
	Notes  []string
	series []series
}

// Len is how many events the file has, each counted once however often it
// repeats.
func (f File) Len() int { return len(f.series) }

// Occurrence is one time at which an event takes place.
type Occurrence struct {
	UID         string
	Name        string
	Where       string
	About       string
	Link        string
	Kind        string // "time-trial", "mass", "handicap", "group"; empty if the file does not say
	Start, End  time.Time
	LengthKnown bool // else End is Start
	AllDay      bool
	Zone        string    // in which the event is held; empty: wherever one is
	Home        time.Time // Start by the clocks of Zone
	Repeats     bool
	Moved       bool   // not where its rule put it
	File        string // and line it comes from
	Line        int
}

// Read reads a calendar: iCalendar if it begins like one, else CSV. local is
// the zone of times without one.
func Read(name string, r io.Reader, local *time.Location) (File, error) {
	data, err := io.ReadAll(io.LimitReader(r, MostBytes+1))
	if err != nil {
		return File{}, &problem.Error{Kind: problem.Failed, Message: name + ": cannot be read; expected a calendar", Err: err}
	}
	if len(data) > MostBytes {
		return File{}, problem.Bad("%s: is larger than %d MB; expected a calendar", name, MostBytes>>20)
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(bytes.TrimSpace(data)) == 0 {
		return File{}, problem.Bad("%s: is empty; expected an iCalendar or CSV file", name)
	}
	head := bytes.TrimSpace(data)
	if len(head) >= 6 && bytes.EqualFold(head[:6], []byte("BEGIN:")) {
		return readICal(name, data, local)
	}
	return readCSV(name, data, local)
}

// bad is what is wrong at a line.
func bad(file string, line int, field, found, expected string) error {
	if len(found) > 80 {
		found = found[:77] + "..."
	}
	e := problem.Bad("%s:%d: %s: found %q; expected %s", file, line, field, found, clean(expected))
	e.Path = field
	return e
}

// NoteLimit is how many notes one file gives.
const noteLimit = 20

func (f *File) note(line int, format string, args ...any) {
	if len(f.Notes) < noteLimit {
		f.Notes = append(f.Notes, fmt.Sprintf("%s:%d: ", f.Name, line)+fmt.Sprintf(format, args...))
	}
}
