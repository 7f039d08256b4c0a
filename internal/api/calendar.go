package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// CalendarEntry is a calendar that is kept.
type CalendarEntry struct {
	ID     string `json:"id"`
	Name   string `json:"name" doc:"Of the file."`
	Added  string `json:"added" format:"date-time"`
	Events int    `json:"events" doc:"Each counted once however often it repeats."`
}

type (
	calendarInput struct {
		From    string  `query:"from" doc:"Day like 2026-12-03; left out: today."`
		To      string  `query:"to" doc:"Last day; left out: four weeks on."`
		Zone    string  `query:"zone" maxLength:"60" doc:"Of the rider's clock, like Europe/Dublin; left out: this machine's."`
		Minutes float64 `query:"minutes" minimum:"0" maximum:"1440" doc:"What the rider has, with warm-up and all; 0: not asked."`
		Rider   string  `query:"rider" maxLength:"40" doc:"ID of a rider whose state is looked at, with rig."`
		Rig     string  `query:"rig" maxLength:"40" doc:"ID of a rig."`
	}
	calendarOutput     struct{ Body service.CalendarSheet }
	calendarFileOutput struct {
		Type        string `header:"Content-Type"`
		Disposition string `header:"Content-Disposition"`
		Body        []byte
	}
	calendarUpload struct {
		Filename string `query:"filename" required:"true" minLength:"1" maxLength:"100" example:"club.ics"`
		RawBody  []byte `contentType:"text/calendar"`
	}
	calendarCreated struct {
		Location string `header:"Location"`
		Body     CalendarEntry
	}
	calendarsOutput struct {
		Body struct {
			Items []CalendarEntry `json:"items"`
		}
	}
)

func (a *api) calendarRoutes() {
	huma.Register(a.huma, operation(http.MethodGet, "/calendar", "calendar", "What takes place by the rider's clock, what clashes, and what fits", "calendar", http.StatusUnprocessableEntity),
		func(ctx context.Context, in *calendarInput) (*calendarOutput, error) {
			sheet, err := a.calendar(ctx, in)
			return &calendarOutput{sheet}, err
		})
	file := operation(http.MethodGet, "/calendar.ics", "calendar-file", "The same as iCalendar (RFC 5545)", "calendar", http.StatusUnprocessableEntity)
	file.Description = "Without what does not fit, if that was asked."
	a.raw(&file, "200", "text/calendar", "The calendar", nil)
	huma.Register(a.huma, file, func(ctx context.Context, in *calendarInput) (*calendarFileOutput, error) {
		sheet, err := a.calendar(ctx, in)
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		err = sheet.WriteICalendar(&b, false, a.Now())
		return &calendarFileOutput{"text/calendar; charset=utf-8", attachment("chainline.ics"), b.Bytes()}, a.failed(ctx, err)
	})
	huma.Register(a.huma, operation(http.MethodGet, "/calendars", "list-calendars", "The calendars that are kept", "calendar"), a.calendars)
	add := operation(http.MethodPost, "/calendars", "add-calendar", "Keep a calendar from an iCalendar or CSV file", "calendar", http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity)
	add.Description = "The body is the file as it is. One of the same name takes the place of the old one."
	add.DefaultStatus, add.MaxBodyBytes = http.StatusCreated, maxUpload
	raw := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	add.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"text/calendar": raw, "text/csv": raw, "application/octet-stream": raw}}
	huma.Register(a.huma, add, a.addCalendar)
	huma.Register(a.huma, operation(http.MethodDelete, "/calendars/{id}", "delete-calendar", "Delete a calendar for good", "calendar", http.StatusNotFound, http.StatusUnprocessableEntity),
		func(ctx context.Context, in *IDInput) (*struct{}, error) {
			return nil, a.failed(ctx, a.Store.DeleteCalendar(ctx, in.ID))
		})
}

// calendar reckons what takes place from events and calendars that are kept.
func (a *api) calendar(ctx context.Context, in *calendarInput) (service.CalendarSheet, error) {
	none := service.CalendarSheet{}
	q := service.CalendarRequest{Now: a.Now(), From: in.From, To: in.To, Zone: in.Zone, Minutes: in.Minutes}
	files := map[string]string{}
	events, err := a.Store.Objects(ctx, store.Event)
	if err != nil {
		return none, a.failed(ctx, err)
	}
	for _, o := range events {
		name, text := o.File()
		files[name] = service.NamedEvent(o.Name, text)
		q.Files = append(q.Files, name)
	}
	kept, err := a.Store.Calendars(ctx)
	if err != nil {
		return none, a.failed(ctx, err)
	}
	for _, c := range kept {
		files[c.Name] = string(c.Bytes)
		q.Files = append(q.Files, c.Name)
	}
	for _, want := range []struct {
		kind store.Kind
		id   string
		to   *string
	}{{store.Rider, in.Rider, &q.Rider}, {store.Rig, in.Rig, &q.Rig}} {
		if want.id == "" {
			continue
		}
		o, err := a.object(ctx, want.kind, want.id)
		if err != nil {
			return none, a.failed(ctx, problem.Bad("%s: there is no %s %.60q; expected the ID of one that is kept", want.kind, want.kind, want.id))
		}
		name, text := o.File()
		*want.to, files[name] = name, text
	}
	if a.Library != nil && in.Rider != "" {
		if q.Form, err = service.FormOf(ctx, a.Library, in.Rider, a.Now()); err != nil {
			return none, a.failed(ctx, err)
		}
	}
	q.Open = service.Texts(files)
	sheet, err := service.Calendar(q)
	return sheet, a.computed(ctx, err)
}

func (a *api) calendars(ctx context.Context, _ *struct{}) (*calendarsOutput, error) {
	all, err := a.Store.Calendars(ctx)
	out := &calendarsOutput{}
	out.Body.Items = []CalendarEntry{}
	for _, c := range all {
		out.Body.Items = append(out.Body.Items, a.calendarEntry(c))
	}
	return out, a.failed(ctx, err)
}

func (a *api) calendarEntry(c store.Calendar) CalendarEntry {
	n, _ := service.CheckCalendar(c.Name, c.Bytes, a.Now()) // it was read when it was taken in
	return CalendarEntry{ID: c.ID, Name: c.Name, Added: c.Added.Format("2006-01-02T15:04:05Z07:00"), Events: n}
}

func (a *api) addCalendar(ctx context.Context, in *calendarUpload) (*calendarCreated, error) {
	name := service.CalendarName(in.Filename)
	if _, err := service.CheckCalendar(name, in.RawBody, a.Now()); err != nil {
		return nil, a.computed(ctx, err)
	}
	kept, err := a.Store.PutCalendar(ctx, store.Calendar{Name: name, Bytes: in.RawBody})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	return &calendarCreated{Location: Prefix + "/calendars/" + kept.ID, Body: a.calendarEntry(kept)}, nil
}
