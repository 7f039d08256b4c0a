package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"chainline/internal/calendar"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Calendars keeps calendars and results of races.
type Calendars interface {
	Calendars(ctx context.Context) ([]store.Calendar, error)
	PutCalendar(ctx context.Context, c store.Calendar) (store.Calendar, error)
	DeleteCalendar(ctx context.Context, id string) error

	RaceResults(ctx context.Context, eventID string) ([]store.RaceResults, error)
	PutRaceResults(ctx context.Context, r store.RaceResults) (store.RaceResults, error)
	DeleteRaceResults(ctx context.Context, id string) error
}

// CalendarPage says what takes place, what clashes and what fits.
type CalendarPage struct {
	Base
	Empty   Empty
	None    bool // neither an event nor a calendar
	Drop    CalendarDrop
	Form    *Form
	Choices []Field
	Span    string
	Before  string // path of the four weeks before
	After   string
	Export  string
	State   []string
	Weeks   []CalendarWeek
	Days    []CalendarDay
	Judged  bool
	Kept    []CalendarKept
	Notes   []string
}

// Template names the page's template.
func (*CalendarPage) Template() string { return "calendar.html" }

// CalendarDrop is the form that takes a calendar's file.
type CalendarDrop struct {
	Form *Form
	File Field
}

// CalendarKept is a calendar that was taken in.
type CalendarKept struct{ ID, Name, Says string }

func (s *Server) calendarRoutes() {
	s.get("/calendar", s.calendar)
	s.get("/calendar.ics", s.calendarFile)
	s.upload("/calendar", s.addCalendar)
	s.post("/calendar/{id}/delete", s.deleteCalendar)
	s.raceRoutes()
}

// calendarWeeks is how many weeks a page shows.
const calendarWeeks = 4

// NewCalendarDrop is the form that takes a file.
func NewCalendarDrop(errs map[string]string) CalendarDrop {
	f := NewForm("/calendar", nil, errs)
	return CalendarDrop{Form: f, File: f.Field(Field{Name: "file", Label: "iCalendar or CSV file", Kind: "file", Accept: ".ics,.csv,.tsv,.txt",
		Hint: "Drop it anywhere in this frame, or choose it. A CSV has columns like name, date, time, minutes, zone, repeats. A file of the same name takes the place of the old one."})}
}

// NewCalendarChoices are the questions above the calendar.
func NewCalendarChoices(values, errs map[string]string, riders, rigs []Option) (*Form, []Field) {
	f := NewForm("/calendar", values, errs)
	return f, []Field{
		f.Field(Field{Name: "from", Label: "From", Kind: "date"}),
		f.Field(Field{Name: "zone", Label: "By the clock of", Hint: "A city is enough."}),
		f.Field(Field{Name: "minutes", Label: "Time you have", Unit: "min", Numeric: true}),
		f.Field(Field{Name: "rider", Label: "Who rides", Kind: "select", Options: append([]Option{{Label: "Anybody"}}, riders...)}),
		f.Field(Field{Name: "rig", Label: "On what", Kind: "select", Options: append([]Option{{Label: "Any rig"}}, rigs...)}),
	}
}

// calendarSheet is what a page or a file asks, reckoned; errs is what is wrong
// with its questions.
func (s *Server) calendarSheet(r *http.Request) (sheet service.CalendarSheet, values, errs, paths map[string]string, kept []store.Calendar, err error) {
	ctx := r.Context()
	values, errs, paths = map[string]string{}, map[string]string{}, map[string]string{}
	for _, k := range []string{"from", "zone", "minutes", "rider", "rig"} {
		values[k] = strings.TrimSpace(r.URL.Query().Get(k))
	}
	events, err := s.store.Objects(ctx, store.Event)
	if err != nil {
		return
	}
	if kept, err = s.store.Calendars(ctx); err != nil {
		return
	}
	q := service.CalendarRequest{Now: s.now(), From: values["from"], Dates: datesOf(r).service()}
	files := map[string]string{}
	for _, e := range events {
		name := "event/" + e.ID + ".yaml"
		files[name], paths[name] = service.NamedEvent(e.Name, e.Text), "/events/"+e.ID
		q.Files = append(q.Files, name)
	}
	for _, c := range kept {
		files[c.Name] = string(c.Bytes)
		q.Files = append(q.Files, c.Name)
	}
	if values["zone"] == "" {
		values["zone"] = latestZone(events)
	}
	q.Zone = zoneNamed(values["zone"])
	if m := values["minutes"]; m != "" {
		v, e := strconv.ParseFloat(strings.Replace(m, ",", ".", 1), 64)
		if e != nil || !(v >= 1 && v <= 1440) {
			errs["minutes"] = "Write minutes from 1 to 1440, like 75."
		} else {
			q.Minutes = v
		}
	}
	if err = s.calendarRider(ctx, values, errs, files, &q); err != nil {
		return
	}
	q.Open = service.Texts(files)
	if len(errs) > 0 {
		q.Minutes = 0
	}
	sheet, err = service.Calendar(q)
	if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
		switch {
		case strings.HasPrefix(e.Message, "--zone"):
			errs["zone"] = "“" + values["zone"] + "” is no time zone; write one like Europe/Dublin."
			q.Zone = ""
		case strings.HasPrefix(e.Message, "--from"):
			errs["from"] = "Choose a day, like 2026-12-01."
			q.From = ""
		default:
			errs[""] = e.Message
			return sheet, values, errs, paths, kept, nil
		}
		sheet, err = service.Calendar(q)
	}
	return
}

// calendarRider puts the chosen rider and rig into the request.
func (s *Server) calendarRider(ctx context.Context, values, errs, files map[string]string, q *service.CalendarRequest) error {
	if values["rider"] == "" && values["rig"] == "" {
		return nil
	}
	for _, x := range []struct {
		kind store.Kind
		to   *string
	}{{store.Rider, &q.Rider}, {store.Rig, &q.Rig}} {
		id := values[string(x.kind)]
		if id == "" {
			errs[string(x.kind)] = "What a rider can hold depends on both; choose this one too."
			continue
		}
		o, err := s.store.Object(ctx, id)
		if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != x.kind {
			errs[string(x.kind)] = "It is not there any more; choose another."
			continue
		}
		if err != nil {
			return err
		}
		files[string(x.kind)], *x.to = o.Text, string(x.kind)
	}
	if q.Rider == "" || q.Rig == "" {
		q.Rider, q.Rig = "", ""
	}
	if q.Rider != "" && s.library != nil {
		form, err := service.FormOf(ctx, s.library, values["rider"], s.now())
		if err != nil { // the calendar does without
			s.log.Warn("a rider's season is left out of the calendar", "rider", values["rider"], "error", err)
			return nil
		}
		q.Form = form
	}
	return nil
}

func (s *Server) calendar(w http.ResponseWriter, r *http.Request) error {
	return s.showCalendar(w, r, http.StatusOK, nil)
}

func (s *Server) showCalendar(w http.ResponseWriter, r *http.Request, status int, dropErrs map[string]string) error {
	sheet, values, errs, paths, kept, err := s.calendarSheet(r)
	if err != nil {
		return err
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	if len(errs) > 0 && status == http.StatusOK {
		status = http.StatusUnprocessableEntity
	}
	p := &CalendarPage{Base: Base{Title: "Calendar", Section: "/events"}, Drop: NewCalendarDrop(dropErrs), None: len(kept) == 0 && len(paths) == 0,
		Empty: Empty{Says: "Nothing takes place yet.", Why: "Take in a club's calendar, or add an event: then this page says when it is by your own clock, what clashes, and what fits the time you have."}}
	if errs["from"] == "" {
		values["from"] = sheet.From
	}
	p.Form, p.Choices = NewCalendarChoices(values, errs, choices[store.Rider], choices[store.Rig])
	d := datesOf(r)
	p.fill(sheet, values, paths, s.now(), d)
	for _, c := range kept {
		p.Kept = append(p.Kept, CalendarKept{c.ID, c.Name, fmt.Sprintf("taken in on %s", d.day(c.Added))})
	}
	return s.show(w, r, status, p)
}

// turn sets the ways to the weeks before and after, and to the file.
func (p *CalendarPage) turn(sheet service.CalendarSheet, values map[string]string, d dates) {
	first, err := time.Parse(time.DateOnly, sheet.From)
	last, err2 := time.Parse(time.DateOnly, sheet.To)
	if err != nil || err2 != nil {
		return
	}
	p.Span = d.day(first) + " to " + d.day(last)
	path := func(at string, from time.Time) string {
		v := url.Values{}
		for k, x := range values {
			if x != "" {
				v.Set(k, x)
			}
		}
		v.Set("from", from.Format(time.DateOnly))
		return at + "?" + v.Encode()
	}
	p.Before, p.After = path("/calendar", first.AddDate(0, 0, -7*calendarWeeks)), path("/calendar", first.AddDate(0, 0, 7*calendarWeeks))
	p.Export = path("/calendar.ics", first)
}

func (s *Server) calendarFile(w http.ResponseWriter, r *http.Request) error {
	sheet, _, errs, _, _, err := s.calendarSheet(r)
	if err != nil {
		return err
	}
	if len(errs) > 0 {
		return refuse(http.StatusUnprocessableEntity, "An answer needs another look: go back to the calendar.")
	}
	var b bytes.Buffer
	if err := sheet.WriteICalendar(&b, false, s.now()); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="chainline.ics"`)
	h.Set("Cache-Control", "no-store")
	_, err = w.Write(b.Bytes())
	return err
}

// addCalendar keeps a calendar once it can be read whole.
func (s *Server) addCalendar(w http.ResponseWriter, r *http.Request) error {
	again := func(says string) error {
		return s.showCalendar(w, r, http.StatusUnprocessableEntity, map[string]string{"file": says})
	}
	sent, head, err := r.FormFile("file")
	if err != nil || head.Filename == "" {
		return again("No file came with it; choose an iCalendar or CSV file.")
	}
	defer sent.Close()
	data, err := io.ReadAll(io.LimitReader(sent, calendar.MostBytes+1))
	if err != nil {
		return err
	}
	name := service.CalendarName(head.Filename)
	events, err := service.CheckCalendar(name, data, s.now())
	if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
		return again(e.Message + ".")
	}
	if err != nil {
		return err
	}
	if _, err := s.store.PutCalendar(r.Context(), store.Calendar{Name: name, Bytes: data}); err != nil {
		if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
			return again(e.Message + ".")
		}
		return err
	}
	return s.see(w, r, "/calendar", fmt.Sprintf("%s is kept: %d events, each counted once.", name, events))
}

func (s *Server) deleteCalendar(w http.ResponseWriter, r *http.Request) error {
	err := s.store.DeleteCalendar(r.Context(), r.PathValue("id"))
	if errors.Is(err, store.ErrNotFound) {
		return notFound("There is no such calendar. Perhaps it was removed.")
	}
	if err != nil {
		return err
	}
	return s.see(w, r, "/calendar", "The calendar is removed, with all its events.")
}
