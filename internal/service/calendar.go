package service

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"chainline/internal/calendar"
	"chainline/internal/input"
	"chainline/internal/problem"
)

// CalendarRequest asks what takes place, and what of it fits.
type CalendarRequest struct {
	Files   []string // iCalendar, CSV, or event files in YAML
	Open    func(name string) (io.ReadCloser, error)
	From    string // ISO 8601 date; empty: today
	To      string // the last day; empty: four weeks on
	Zone    string // of the rider; empty: that of Now
	Minutes float64
	Now     time.Time

	// Rider and Rig, files, say what state the rider is in; both or neither.
	Rider, Rig string

	// Form is how fresh the rider is, if rides are kept; nil: nothing is known.
	Form *RiderForm

	Dates Dates // of the sentences
}

// CalendarSheet is what takes place, soonest first.
type CalendarSheet struct {
	Schema  string          `json:"schema"`
	Zone    string          `json:"zone"` // of every start and end here
	From    string          `json:"from"`
	To      string          `json:"to"` // the last day
	Rider   string          `json:"rider,omitempty"`
	Minutes float64         `json:"minutes_at_hand,omitempty"`
	State   []string        `json:"state,omitempty"` // of the rider, in sentences
	Events  []CalendarEvent `json:"events"`
	Notes   []string        `json:"notes,omitempty"`

	Occurrences []calendar.Occurrence `json:"-"` // of Events, one for one
}

// CalendarEvent is one event on one day.
type CalendarEvent struct {
	Name    string    `json:"name"`
	Start   time.Time `json:"start"`
	End     time.Time `json:"end"`
	AllDay  bool      `json:"all_day,omitempty"`
	Minutes float64   `json:"minutes,omitempty"`   // 0: nobody says
	Zone    string    `json:"home_zone,omitempty"` // in which it is held
	Home    string    `json:"home_start,omitempty"`
	Where   string    `json:"where,omitempty"`
	About   string    `json:"about,omitempty"`
	Link    string    `json:"link,omitempty"`
	Kind    string    `json:"kind,omitempty"`
	Guessed bool      `json:"kind_guessed,omitempty"` // from its name
	Repeats bool      `json:"repeats,omitempty"`
	Moved   bool      `json:"moved,omitempty"`
	File    string    `json:"file"`
	Line    int       `json:"line,omitempty"`
	Clashes []string  `json:"clashes,omitempty"` // with what, and when
	Fits    string    `json:"fits,omitempty"`    // yes, no, perhaps; empty: nothing was asked
	Why     []string  `json:"why,omitempty"`
}

// mostDaysAsked is how long a stretch is looked at.
const mostDaysAsked = 800

// Calendar reads the files and says what takes place. Errors are
// *problem.Error.
func Calendar(q CalendarRequest) (CalendarSheet, error) {
	loc, err := q.zone()
	if err != nil {
		return CalendarSheet{}, err
	}
	from, to, err := q.days(loc)
	if err != nil {
		return CalendarSheet{}, err
	}
	if q.Minutes < 0 || q.Minutes > 24*60 || math.IsNaN(q.Minutes) {
		return CalendarSheet{}, problem.Bad("--minutes: found %g; expected 1 to 1440 minutes", q.Minutes)
	}
	sheet := CalendarSheet{Schema: "chainline.calendar/1", Zone: loc.String(), From: from.Format(time.DateOnly), To: to.AddDate(0, 0, -1).Format(time.DateOnly),
		Minutes: q.Minutes, Events: []CalendarEvent{}}
	var all []calendar.Occurrence
	for _, name := range q.Files {
		found, notes, err := q.read(name, loc, from, to)
		if err != nil {
			return sheet, err
		}
		all, sheet.Notes = append(all, found...), append(sheet.Notes, notes...)
	}
	calendar.Sort(all)
	all = slices.CompactFunc(all, func(a, b calendar.Occurrence) bool {
		return a.UID != "" && a.UID == b.UID && a.Start.Equal(b.Start) && a.Name == b.Name
	})
	state, err := q.state(&sheet)
	if err != nil {
		return sheet, err
	}
	sheet.Occurrences = all
	for _, o := range all {
		sheet.Events = append(sheet.Events, eventOf(o))
	}
	sheet.clash(all, q.Dates)
	if q.Minutes > 0 || state.known {
		for i := range sheet.Events {
			sheet.Events[i].judge(all[i], q, state)
		}
		closeOnes(sheet.Events)
	}
	return sheet, nil
}

func (q CalendarRequest) zone() (*time.Location, error) {
	if q.Zone == "" {
		return q.Now.Location(), nil
	}
	loc, err := time.LoadLocation(q.Zone)
	if err != nil || q.Zone == "Local" {
		return nil, problem.Bad("--zone: found %q; expected a zone like Europe/Dublin", q.Zone)
	}
	return loc, nil
}

func (q CalendarRequest) days(loc *time.Location) (from, to time.Time, err error) {
	now := q.Now.In(loc)
	from = time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, loc)
	to = from.AddDate(0, 0, 28)
	for _, x := range []struct {
		flag, value string
		to          *time.Time
	}{{"--from", q.From, &from}, {"--to", q.To, &to}} {
		if x.value == "" {
			continue
		}
		t, err := time.ParseInLocation(time.DateOnly, x.value, loc)
		if err != nil || t.Year() < 1970 || t.Year() > 2099 {
			return from, to, problem.Bad("%s: found %q; expected a date like 2026-12-03", x.flag, x.value)
		}
		*x.to = t
	}
	if q.To != "" {
		to = to.AddDate(0, 0, 1)
	} else if q.From != "" {
		to = from.AddDate(0, 0, 28)
	}
	if days := to.Sub(from).Hours() / 24; days <= 0.5 || days > mostDaysAsked {
		return from, to, problem.Bad("--to: found %s; expected a day from %s on, at most %d days later", to.AddDate(0, 0, -1).Format(time.DateOnly), from.Format(time.DateOnly), mostDaysAsked)
	}
	return from, to, nil
}

func (q CalendarRequest) open(name string) (io.ReadCloser, error) {
	if q.Open != nil {
		return q.Open(name)
	}
	return OpenFile(name)
}

// read is what a file says takes place.
func (q CalendarRequest) read(name string, loc *time.Location, from, to time.Time) ([]calendar.Occurrence, []string, error) {
	r, err := q.open(name)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	if ending := strings.ToLower(filepath.Ext(name)); ending == ".yaml" || ending == ".yml" {
		o, notes, err := eventOccurrence(name, r)
		if err != nil || o == nil || !o.Start.Before(to) || o.End.Before(from) {
			return nil, notes, err
		}
		o.Start, o.End = o.Start.In(loc), o.End.In(loc)
		return []calendar.Occurrence{*o}, notes, nil
	}
	f, err := calendar.Read(name, r, loc)
	if err != nil {
		return nil, nil, err
	}
	found, err := f.Between(from, to, loc)
	return found, f.Notes, err
}

// eventOccurrence is an event file of docs/formats.md as the calendar has it.
func eventOccurrence(name string, r io.Reader) (*calendar.Occurrence, []string, error) {
	e, err := input.ReadEvent(name, r)
	if err != nil {
		return nil, nil, err
	}
	if !e.Start.Known {
		return nil, []string{name + ": has no day yet"}, nil
	}
	title := e.Name
	if title == "" {
		title = strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))
	}
	o := calendar.Occurrence{UID: name, Name: title, Kind: e.Kind, Start: e.Start.Value, End: e.Start.Value, Home: e.Start.Value, Zone: e.TimeZone, File: name}
	if !e.HasClock {
		o.AllDay, o.End, o.LengthKnown = true, o.Start.AddDate(0, 0, 1), true
	}
	return &o, nil, nil
}

func eventOf(o calendar.Occurrence) CalendarEvent {
	e := CalendarEvent{Name: o.Name, Start: o.Start, End: o.End, AllDay: o.AllDay, Where: o.Where, About: o.About, Link: o.Link, Kind: o.Kind,
		Repeats: o.Repeats, Moved: o.Moved, File: o.File, Line: o.Line}
	if o.LengthKnown && !o.AllDay {
		e.Minutes = o.End.Sub(o.Start).Minutes()
	}
	if o.Zone != "" {
		e.Zone = o.Zone
		_, here := o.Start.Zone()
		if _, there := o.Home.Zone(); there != here {
			e.Home = o.Home.Format("2006-01-02T15:04")
		}
	}
	if e.Kind == "" {
		e.Kind = guessKind(o.Name)
		e.Guessed = e.Kind != ""
	}
	return e
}

// guessKind reads the kind of an event off its name.
func guessKind(name string) string {
	low := " " + strings.ToLower(name) + " "
	for _, g := range []struct{ kind, words string }{{"time-trial", "time trial|time-trial| tt |against the clock"}, {"handicap", "handicap"},
		{"mass", " race|criterium| crit "}, {"group", "group|together|club ride|social| ride "}} {
		for w := range strings.SplitSeq(g.words, "|") {
			if strings.Contains(low, w) {
				return g.kind
			}
		}
	}
	return ""
}

// clash says of every event what goes on at the same time.
func (s *CalendarSheet) clash(all []calendar.Occurrence, d Dates) {
	for _, c := range calendar.Clashes(all, 0) {
		a, b := &s.Events[c.First], &s.Events[c.Second]
		a.Clashes = append(a.Clashes, b.named(d))
		b.Clashes = append(b.Clashes, a.named(d))
	}
}

// named is an event with its times.
func (e *CalendarEvent) named(d Dates) string {
	out := fmt.Sprintf("%s, %s", e.Name, d.clock(e.Start))
	if e.Minutes > 0 {
		return out + " to " + d.clock(e.End)
	}
	return out + " (taken to last an hour)"
}

// Fitting are the occurrences that fit or may fit; all of them if that was not
// asked, or if all is true.
func (s CalendarSheet) Fitting(all bool) []calendar.Occurrence {
	var out []calendar.Occurrence
	for i, o := range s.Occurrences {
		e := s.Events[i]
		if !all && e.Fits == "no" {
			continue
		}
		for _, w := range e.Why {
			if o.About != "" {
				o.About += "\n"
			}
			o.About += w
		}
		out = append(out, o)
	}
	return out
}
