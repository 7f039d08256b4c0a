package web

import (
	"errors"
	"net/http"

	"chainline/internal/form"
	"chainline/internal/store"
)

// EventsPage lists the events: what is coming first, soonest at the top.
type EventsPage struct {
	Base
	Empty    Empty
	Sections []EventSection
}

// Template names the page's template.
func (*EventsPage) Template() string { return "events.html" }

// EventSection is a part of the list under its heading.
type EventSection struct {
	ID, Title string
	Events    []EventRow
}

// EventRow is one event of the list.
type EventRow struct {
	ID, Name string
	When     string // day and clock in words
	Zone     string
	Away     string // "in 8 days"
	Kind     string
	More     []string // lead-in, laps, pen, categories
}

// EventPage asks for an event.
type EventPage struct {
	Base
	Form     *Form
	Name     Field
	Day      Field
	Clock    Field
	Zone     Field
	Zones    []string
	Kind     Field
	Way      []Field // lead-in, laps, pen
	Rows     []EventCategoryRow
	Paste    Field
	Delete   string // path; empty for a new one
	MoreOpen bool
	Together string // path to a live group course for it; empty for a new one
}

// Template names the page's template.
func (*EventPage) Template() string { return "event.html" }

// EventCategoryRow asks for one category.
type EventCategoryRow struct {
	Number int
	Fields []Field
}

func (s *Server) eventRoutes() {
	s.get("/events", s.events)
	s.get("/events/new", s.newEvent)
	s.post("/events/new", s.addEvent)
	s.get("/events/{id}", s.editEvent)
	s.post("/events/{id}", s.changeEvent)
	s.get("/events/{id}/delete", s.askDeleteEvent)
	s.post("/events/{id}/delete", s.deleteEvent)
}

func (s *Server) keptEvent(r *http.Request) (store.Object, error) {
	o, err := s.store.Object(r.Context(), r.PathValue("id"))
	if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != store.Event {
		return o, notFound("There is no such event. Perhaps it was deleted.")
	}
	return o, err
}

func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Objects(r.Context(), store.Event)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &EventsPage{
		Base:     Base{Title: "Events", Section: "/events"},
		Empty:    Empty{Says: "There is no event yet.", Why: "An event is a start with a time: a brief for it knows how long the warm-up may be and who starts beside you.", Path: "/events/new", Link: "Add an event"},
		Sections: eventSections(all, s.now(), u, datesOf(r)),
	})
}

func (s *Server) newEvent(w http.ResponseWriter, r *http.Request) error {
	values := map[string]string{}
	all, err := s.store.Objects(r.Context(), store.Event)
	if err != nil {
		return err
	}
	values["time_zone"] = latestZone(all)
	return s.showEvent(w, r, http.StatusOK, store.Object{}, values, nil, 2)
}

func (s *Server) showEvent(w http.ResponseWriter, r *http.Request, status int, o store.Object, values, errs map[string]string, blank int) error {
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	title, action, remove := "A new event", "/events/new", ""
	if o.ID != "" {
		title, action, remove = o.Name, "/events/"+o.ID, "/events/"+o.ID+"/delete"
	}
	p := NewEventPage(action, values, errs, blank, u)
	p.Form.Version = version(o)
	p.Base, p.Delete = Base{Title: title, Section: "/events"}, remove
	if o.ID != "" && s.live != nil {
		p.Together = "/together?event=" + o.ID
	}
	return s.show(w, r, status, p)
}

func (s *Server) editEvent(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	values, err := eventValues(o, u)
	if err != nil {
		return err
	}
	return s.showEvent(w, r, http.StatusOK, o, values, nil, 1)
}

// eventValues are what the form of an event that is kept shows.
func eventValues(o store.Object, u form.Units) (map[string]string, error) {
	values, err := form.ValuesIn(form.Event, o.Text, u)
	if err != nil {
		return nil, err
	}
	if values["name"] == "" {
		values["name"] = o.Name
	}
	return shownEvent(values), nil
}

func (s *Server) addEvent(w http.ResponseWriter, r *http.Request) error {
	return s.keepEvent(w, r, store.Object{Kind: store.Event})
}

func (s *Server) changeEvent(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	return s.keepEvent(w, r, o)
}

// keepEvent keeps what was typed, or shows it again: with another row, or
// with what is wrong.
func (s *Server) keepEvent(w http.ResponseWriter, r *http.Request, o store.Object) error {
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	values, errs := typedEvent(typed)
	if typed["another"] != "" {
		return s.showEvent(w, r, http.StatusOK, o, values, errs, 2)
	}
	text, errs := eventText(values, errs, u)
	if meanwhile(r, o) {
		now, err := eventValues(o, u)
		if err != nil {
			return err
		}
		mine, theirs := len(form.Entries(values, "categories")), len(form.Entries(now, "categories"))
		values, errs = overtaken(values, now, errs)
		return s.showEvent(w, r, http.StatusConflict, o, values, errs, 1+max(0, theirs-mine))
	}
	if len(errs) > 0 {
		return s.showEvent(w, r, http.StatusUnprocessableEntity, o, values, errs, 1)
	}
	old := o
	o.Text, o.Name = text, values["name"]
	if _, done, err := s.put(r.Context(), o, old, func(now store.Object) error { return s.keepEvent(w, r, now) }); !done {
		return err
	}
	return s.see(w, r, "/events", o.Name+" is kept."+readAs(form.Event, old.Text, values, u))
}

func (s *Server) askDeleteEvent(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: Base{Title: "Delete " + o.Name + "?", Section: "/events"}, Action: "/events/" + o.ID + "/delete", Keep: "/events/" + o.ID,
		Button: "Delete it", Says: o.Name + " is really deleted. Briefs already made stay as they are."})
}

func (s *Server) deleteEvent(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	if err := s.store.Delete(r.Context(), o.ID); err != nil {
		return err
	}
	return s.see(w, r, "/events", o.Name+" is deleted.")
}
