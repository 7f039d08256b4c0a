package web

import (
	"net/http"

	"chainline/internal/form"
	"chainline/internal/store"
)

// RoadsPage lists the roads.
type RoadsPage struct {
	Base
	Usual string // temperature on the open road
	Roads []RoadLine
}

// RoadLine is a road in the list.
type RoadLine struct {
	ID, Name string
	Demo     bool
	Says     string // what was given
	Unread   string // why it cannot be shown; empty if it can
}

// RoadPage asks for a road, a new one or one that is there.
type RoadPage struct {
	Base
	Form  *Form
	Parts []RoadPart
	ID    string // empty if it is new
}

// Template names the page's template.
func (*RoadsPage) Template() string { return "roads.html" }

// Template names the page's template.
func (*RoadPage) Template() string { return "road.html" }

func (s *Server) roadRoutes() {
	s.get("/roads", s.roads)
	s.get("/roads/new", s.newRoad)
	s.post("/roads/new", s.addRoad)
	s.get("/roads/{id}", s.road)
	s.post("/roads/{id}", s.changeRoad)
	s.get("/roads/{id}/delete", s.askDeleteRoad)
	s.post("/roads/{id}/delete", s.deleteRoad)
}

func roadBase(title string) Base { return Base{Title: title, Section: "/roads"} }

func (s *Server) roads(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Objects(r.Context(), store.Road)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &RoadsPage{Base: roadBase("Roads"), Usual: units.Temperature(15)}
	for _, o := range all {
		line := RoadLine{ID: o.ID, Name: o.Name, Demo: o.Demo}
		if values, err := form.ValuesIn(form.Road, o.Text, units); err == nil {
			line.Says = sayRoad(values, units)
		} else {
			line.Unread = "This road cannot be read by this version of the program."
		}
		p.Roads = append(p.Roads, line)
	}
	return s.show(w, r, http.StatusOK, p)
}

func (s *Server) newRoad(w http.ResponseWriter, r *http.Request) error {
	return s.showRoad(w, r, http.StatusOK, store.Object{}, map[string]string{}, nil)
}

func (s *Server) road(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Road, r.PathValue("id"))
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	values, err := roadValues(o, units)
	if err != nil {
		return err
	}
	return s.showRoad(w, r, http.StatusOK, o, values, nil)
}

// roadValues are what the form of a road that is kept shows.
func roadValues(o store.Object, units form.Units) (map[string]string, error) {
	values, err := form.ValuesIn(form.Road, o.Text, units)
	if err == nil {
		values["name"] = o.Name
	}
	return values, err
}

// showRoad shows the form of a road, which is new if o has no ID.
func (s *Server) showRoad(w http.ResponseWriter, r *http.Request, status int, o store.Object, values, errs map[string]string) error {
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &RoadPage{Base: roadBase("A new road"), ID: o.ID}
	action := "/roads/new"
	if o.ID != "" {
		p.Title, action = o.Name, "/roads/"+o.ID
	}
	p.Form, p.Parts = NewRoadForm(action, values, errs, units)
	p.Form.Version = version(o)
	return s.show(w, r, status, p)
}

func (s *Server) addRoad(w http.ResponseWriter, r *http.Request) error {
	return s.keepRoad(w, r, store.Object{Kind: store.Road})
}

func (s *Server) changeRoad(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Road, r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.keepRoad(w, r, o)
}

// keepRoad writes what was sent into the road, or shows it again with what is
// wrong.
func (s *Server) keepRoad(w http.ResponseWriter, r *http.Request, o store.Object) error {
	sent, err := Typed(r)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	typed := Answers(sent)
	var text string
	var errs map[string]string
	if o.ID == "" {
		text, errs = form.YAML(form.Road, typed, units)
	} else {
		text, errs = form.Change(form.Road, o.Text, typed, units)
	}
	var name string
	if len(errs) == 0 {
		values, err := form.Values(form.Road, text)
		if err != nil {
			return err
		}
		if name = values["name"]; name == "" {
			errs = map[string]string{"name": "Give it a name, by which a course can be ridden on it."}
		}
	} else if sent["name"] == "" {
		errs["name"] = "Give it a name, by which a course can be ridden on it."
	}
	if meanwhile(r, o) {
		now, err := roadValues(o, units)
		if err != nil {
			return err
		}
		sent, errs = overtaken(sent, now, errs)
		return s.showRoad(w, r, http.StatusConflict, o, sent, errs)
	}
	if len(errs) > 0 {
		return s.showRoad(w, r, http.StatusUnprocessableEntity, o, sent, errs)
	}
	old := o
	o.Name, o.Text, o.Original = name, text, nil
	if _, done, err := s.put(r.Context(), o, old, func(now store.Object) error { return s.keepRoad(w, r, now) }); !done {
		return err
	}
	return s.see(w, r, "/roads", "Kept: "+o.Name+"."+readAs(form.Road, old.Text, typed, units))
}

func (s *Server) askDeleteRoad(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Road, r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: roadBase("Delete " + o.Name + "?"), Action: "/roads/" + o.ID + "/delete", Keep: "/roads",
		Button: "Delete " + o.Name, Says: "The road is really deleted; there is no way back. Briefs made on it stay as they are."})
}

func (s *Server) deleteRoad(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Road, r.PathValue("id"))
	if err != nil {
		return err
	}
	if err := s.store.Delete(r.Context(), o.ID); err != nil {
		return err
	}
	return s.see(w, r, "/roads", "Deleted: "+o.Name+".")
}
