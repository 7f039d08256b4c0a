package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"

	"chainline/internal/form"
	"chainline/internal/store"
)

// RidersPage lists the riders.
type RidersPage struct {
	Base
	Empty  Empty
	Riders []RiderLine
}

// RiderLine is a rider in the list.
type RiderLine struct {
	ID, Name string
	Demo     bool
	Says     string
}

// RiderPage is what is known of a rider.
type RiderPage struct {
	Base
	ID        string
	Rig       string // the rig whose watts these are; empty if there is none yet
	Facts     []RiderFact
	Curve     template.HTML
	CurveRows []CurveRow // the curve in numbers
	Strokes   bool       // it has a piece with a stroke through it
	Unplaced  []string   // what is known and has no place on the curve
	Rests     string
	Evidence  []RiderEvidence
	Next      string
	Warnings  []string
	Health    []string // what follows from the health questions
	Asked     bool     // they were answered
	AskedOn   string   // when
	AskAgain  bool     // that was long ago
	Offered   string   // what the answers change
	Wrong     string   // why nothing can be said
}

// RiderFact is a number with its interval.
type RiderFact struct{ Label, Value, Range string }

// RiderEvidence is one thing known about the rider.
type RiderEvidence struct {
	Place, What, When, Used string
	LeftOut                 bool
}

// RiderFormPage asks for a part of a rider.
type RiderFormPage struct {
	Base
	Intro string
	Form  *Form
	Parts []RoadPart
	Keep  string // on the button
	Leave string // where one goes instead
	Kinds []RiderKind
	Drop  string // where a piece of evidence is removed; empty if there is none
}

// RiderKind is a kind of evidence to choose.
type RiderKind struct{ Path, Name, Says string }

// Template names the page's template.
func (*RidersPage) Template() string { return "riders.html" }

// Template names the page's template.
func (*RiderPage) Template() string { return "rider.html" }

// Template names the page's template.
func (*RiderFormPage) Template() string { return "rider-form.html" }

func (s *Server) riderRoutes() {
	s.learntRoutes()
	s.get("/riders", s.riders)
	s.get("/riders/new", s.newRider)
	s.post("/riders/new", s.addRider)
	s.get("/riders/{id}", s.rider)
	s.get("/riders/{id}/{part}", s.riderPart)
	s.post("/riders/{id}/{part}", s.changeRider)
	s.get("/riders/{id}/evidence/{at}", s.riderEvidence)
	s.post("/riders/{id}/evidence/{at}", s.changeEvidence)
	s.get("/riders/{id}/evidence/{at}/remove", s.askRemoveEvidence)
	s.post("/riders/{id}/evidence/{at}/remove", s.removeEvidence)
}

func riderBase(title string) Base { return Base{Title: title, Section: "/riders"} }

func (s *Server) riders(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Objects(r.Context(), store.Rider)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &RidersPage{Base: riderBase("Riders"), Empty: Empty{Says: "There is no rider yet.",
		Why: "What you weigh and how you ride are enough to start; the rest can come later.", Path: "/riders/new", Link: "Add yourself"}}
	for _, o := range all {
		line := RiderLine{ID: o.ID, Name: o.Name, Demo: o.Demo}
		if values, err := form.ValuesIn(form.Rider, o.Text, units); err == nil {
			line.Says = sayRider(values, units)
		}
		p.Riders = append(p.Riders, line)
	}
	return s.show(w, r, http.StatusOK, p)
}

func (s *Server) newRider(w http.ResponseWriter, r *http.Request) error {
	return s.showRiderForm(w, r, http.StatusOK, store.Object{}, partNew, map[string]string{}, nil)
}

func (s *Server) addRider(w http.ResponseWriter, r *http.Request) error {
	return s.keepRider(w, r, store.Object{Kind: store.Rider}, partNew)
}

func (s *Server) rider(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Rider, r.PathValue("id"))
	if err != nil {
		return err
	}
	rig, called, err := s.rigOf(r.Context(), o.ID)
	if err != nil {
		return err
	}
	p := s.told(o.Text, rig, s.taught(r.Context(), o.ID))
	p.Base, p.ID, p.Rig = riderBase(o.Name), o.ID, called
	p.date(datesOf(r))
	return s.show(w, r, http.StatusOK, &p)
}

// date writes the page's dates as whoever asks has them; what is remembered
// keeps the file's.
func (p *RiderPage) date(d dates) {
	p.AskedOn = d.iso(p.AskedOn)
	p.Evidence = slices.Clone(p.Evidence)
	for i := range p.Evidence {
		p.Evidence[i].When = d.iso(p.Evidence[i].When)
	}
}

// rigOf is the rig a rider rode last by their briefs, else the only one there
// is; empty words and a rig that shows its own watts if neither is known.
func (s *Server) rigOf(ctx context.Context, rider string) (text, name string, err error) {
	briefs, err := s.store.Briefs(ctx, rider)
	if err != nil {
		return "", "", err
	}
	rigs, err := s.store.Objects(ctx, store.Rig)
	if err != nil {
		return "", "", err
	}
	for _, b := range briefs {
		for _, o := range rigs {
			if o.ID == b.RigID {
				return o.Text, o.Name, nil
			}
		}
	}
	if len(rigs) == 1 {
		return rigs[0].Text, rigs[0].Name, nil
	}
	return sameForAll, "", nil
}

func (s *Server) riderPart(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Rider, r.PathValue("id"))
	if err != nil {
		return err
	}
	part := r.PathValue("part")
	if part == "delete" {
		briefs, err := s.store.Briefs(r.Context(), o.ID)
		if err != nil {
			return err
		}
		says := "The rider is really deleted; there is no way back."
		switch n := len(briefs); {
		case n == 1:
			says += " So is one brief made for them."
		case n > 1:
			says += fmt.Sprintf(" So are %d briefs made for them.", n)
		}
		return s.show(w, r, http.StatusOK, &DeletePage{Base: riderBase("Delete " + o.Name + "?"), Action: "/riders/" + o.ID + "/delete", Keep: "/riders/" + o.ID,
			Button: "Delete " + o.Name, Says: says})
	}
	if part != partBasics && part != partHealth {
		return notFound("There is no such page of a rider.")
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	values, err := form.ValuesIn(form.Rider, o.Text, units)
	if err != nil {
		return err
	}
	return s.showRiderForm(w, r, http.StatusOK, o, part, values, nil)
}

func (s *Server) changeRider(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Rider, r.PathValue("id"))
	if err != nil {
		return err
	}
	switch part := r.PathValue("part"); part {
	case "delete":
		if err := s.store.Delete(r.Context(), o.ID); err != nil {
			return err
		}
		return s.see(w, r, "/riders", "Deleted: "+o.Name+".")
	case partBasics, partHealth:
		return s.keepRider(w, r, o, part)
	}
	return notFound("There is no such page of a rider.")
}

// showRiderForm shows the questions of a part.
func (s *Server) showRiderForm(w http.ResponseWriter, r *http.Request, status int, o store.Object, part string, values, errs map[string]string) error {
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := NewRiderForm(o.ID, o.Name, part, values, errs, units)
	p.Form.Version = version(o)
	return s.show(w, r, status, p)
}

// keepRider writes what was sent into the rider, or shows it again with what
// is wrong.
func (s *Server) keepRider(w http.ResponseWriter, r *http.Request, o store.Object, part string) error {
	sent, err := Typed(r)
	if err != nil {
		return err
	}
	if part == partHealth {
		sent["screening.date"] = s.now().Format("2006-01-02")
	}
	text, name, errs, err := s.riderText(r, o, Answers(sent))
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	if meanwhile(r, o) {
		now, err := form.ValuesIn(form.Rider, o.Text, units)
		if err != nil {
			return err
		}
		sent, errs = overtaken(sent, now, errs)
		return s.showRiderForm(w, r, http.StatusConflict, o, part, sent, errs)
	}
	if len(errs) > 0 {
		return s.showRiderForm(w, r, http.StatusUnprocessableEntity, o, part, sent, errs)
	}
	old := o
	o.Name, o.Text = name, text
	o, done, err := s.put(r.Context(), o, old, func(now store.Object) error { return s.keepRider(w, r, now, part) })
	if !done {
		return err
	}
	return s.see(w, r, "/riders/"+o.ID, "Kept: "+o.Name+"."+readAs(form.Rider, old.Text, Answers(sent), units))
}

// riderText is the rider's file with what was typed, and their name.
func (s *Server) riderText(r *http.Request, o store.Object, typed map[string]string) (text, name string, errs map[string]string, err error) {
	units, err := s.units(r.Context())
	if err != nil {
		return "", "", nil, err
	}
	if o.ID == "" {
		text, errs = form.YAML(form.Rider, typed, units)
	} else {
		text, errs = form.Change(form.Rider, o.Text, typed, units)
	}
	if len(errs) > 0 {
		return "", "", errs, nil
	}
	values, err := form.Values(form.Rider, text)
	if err != nil {
		return "", "", nil, err
	}
	if name = values["name"]; name == "" {
		name, err = s.unnamed(r.Context(), o, "You")
	}
	return text, name, nil, err
}

// unnamed is what an object is called that nobody gave a name: always the
// same, with a number if another is called so already.
func (s *Server) unnamed(ctx context.Context, o store.Object, base string) (string, error) {
	all, err := s.store.Objects(ctx, o.Kind)
	if err != nil {
		return "", err
	}
	name := base
	for n := 2; slices.ContainsFunc(all, func(other store.Object) bool { return other.ID != o.ID && other.Name == name }); n++ {
		name = fmt.Sprintf("%s %d", base, n)
	}
	return name, nil
}
