package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"

	"chainline/internal/form"
	"chainline/internal/store"
)

// RigsPage lists the rigs.
type RigsPage struct {
	Base
	Empty Empty
	Rigs  []RigLine
}

// RigLine is a rig in the list.
type RigLine struct {
	ID, Name string
	Demo     bool
	Said     RigSaid
	Room     string // empty if nothing is known of it
	Unknown  string // of the room, in words; empty if all is known
	Unread   string // why it cannot be shown; empty if it can
}

// RigAskPage asks what can be seen of a rig.
type RigAskPage struct {
	Base
	Form      *Form
	Questions []Field
	Said      RigSaid
	Next      string // where one goes on with these answers
}

// RigPage asks for the rest, of a new rig or one that is there.
type RigPage struct {
	Base
	Form *RigForm
	Said RigSaid
	ID   string // empty if it is new
	Ask  string // where the questions are asked again
}

// Template names the page's template.
func (*RigsPage) Template() string { return "rigs.html" }

// Template names the page's template.
func (*RigAskPage) Template() string { return "rig-ask.html" }

// Template names the page's template.
func (*RigPage) Template() string { return "rig.html" }

func (s *Server) rigRoutes() {
	s.get("/rigs", s.rigs)
	s.get("/rigs/new", s.newRig)
	s.get("/rigs/new/details", s.newRigDetails)
	s.post("/rigs/new/details", s.addRig)
	s.get("/rigs/{id}", s.rig)
	s.post("/rigs/{id}", s.changeRig)
	s.get("/rigs/{id}/kind", s.rigKind)
	s.get("/rigs/{id}/delete", s.askDeleteRig)
	s.post("/rigs/{id}/delete", s.deleteRig)
}

func rigBase(title string) Base { return Base{Title: title, Section: "/rigs"} }

func (s *Server) rigs(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Objects(r.Context(), store.Rig)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &RigsPage{Base: rigBase("Rigs"), Empty: Empty{Says: "There is no rig yet.",
		Why:  "A rig is what you ride on and the room it stands in. Four questions on what you can see are enough, and you may not know any of the answers.",
		Path: "/rigs/new", Link: "Add a rig"}}
	for _, o := range all {
		p.Rigs = append(p.Rigs, rigLine(o, units))
	}
	return s.show(w, r, http.StatusOK, p)
}

func rigLine(o store.Object, units form.Units) RigLine {
	line := RigLine{ID: o.ID, Name: o.Name, Demo: o.Demo}
	text, err := asKeys(o.Text)
	if err == nil {
		var values map[string]string
		if values, err = rigValues(text, units); err == nil {
			line.Said, err = saidOf(form.AnswersFromRig(values), values["sensors"])
			var unknown []string
			line.Room, unknown = sayRoom(values, units)
			line.Unknown = inWords(unknown)
		}
	}
	if err != nil {
		line = RigLine{ID: o.ID, Name: o.Name, Demo: o.Demo, Unread: "This rig cannot be read by this version of the program."}
	}
	return line
}

// theRig is a rig by its id, in keys.
func (s *Server) theRig(ctx context.Context, id string) (o store.Object, text string, err error) {
	if o, err = s.ofKind(ctx, store.Rig, id); err != nil {
		return o, "", err
	}
	text, err = asKeys(o.Text)
	return o, text, err
}

// ofKind is an object by its id, if it is of the kind.
func (s *Server) ofKind(ctx context.Context, kind store.Kind, id string) (store.Object, error) {
	o, err := s.store.Object(ctx, id)
	if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != kind {
		return store.Object{}, notFound("There is no such " + string(kind) + " (any more).")
	}
	return o, err
}

// answersIn are the answers in a request's address; asked tells whether there
// are any.
func answersIn(q url.Values) (answers map[string]string, asked bool) {
	answers = map[string]string{}
	for _, a := range form.Answers {
		if q.Has(a.Question) {
			answers[a.Question], asked = q.Get(a.Question), true
		}
	}
	return answers, asked
}

func answersSent(sent map[string]string) map[string]string {
	answers := map[string]string{}
	for _, a := range form.Answers {
		answers[a.Question] = sent["ask."+a.Question]
	}
	return answers
}

// with is a path with the answers behind it.
func with(path string, answers map[string]string) string {
	q := url.Values{}
	for name, v := range answers {
		q.Set(name, v)
	}
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}

func (s *Server) newRig(w http.ResponseWriter, r *http.Request) error {
	answers, _ := answersIn(r.URL.Query())
	return s.showAsk(w, r, "A new rig", answers, "", "/rigs/new", "/rigs/new/details")
}

func (s *Server) rigKind(w http.ResponseWriter, r *http.Request) error {
	o, text, err := s.theRig(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	values, err := form.Values(form.Rig, text)
	if err != nil {
		return err
	}
	answers, asked := answersIn(r.URL.Query())
	if !asked {
		answers = form.AnswersFromRig(values)
	}
	return s.showAsk(w, r, o.Name, answers, values["sensors"], "/rigs/"+o.ID+"/kind", "/rigs/"+o.ID)
}

func (s *Server) showAsk(w http.ResponseWriter, r *http.Request, title string, answers map[string]string, sensors, here, next string) error {
	said, err := saidOf(answers, sensors)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &RigAskPage{Base: rigBase(title), Form: NewForm(here, answers, nil),
		Questions: RigQuestions(answers), Said: said, Next: with(next, answers)})
}

func (s *Server) newRigDetails(w http.ResponseWriter, r *http.Request) error {
	answers, _ := answersIn(r.URL.Query())
	return s.showRig(w, r, http.StatusOK, store.Object{}, map[string]string{}, nil, answers)
}

func (s *Server) rig(w http.ResponseWriter, r *http.Request) error {
	o, text, err := s.theRig(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	values, err := rigValues(text, units)
	if err != nil {
		return err
	}
	values["called"] = o.Name
	answers, asked := answersIn(r.URL.Query())
	if !asked {
		answers = form.AnswersFromRig(values)
	}
	return s.showRig(w, r, http.StatusOK, o, values, nil, answers)
}

// showRig shows the form of a rig, which is new if o has no ID.
func (s *Server) showRig(w http.ResponseWriter, r *http.Request, status int, o store.Object, values, errs, answers map[string]string) error {
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	said, err := saidOf(answers, sensorsTyped(values, map[string]string{}))
	if err != nil {
		return err
	}
	p := &RigPage{Base: rigBase("A new rig"), Said: said, ID: o.ID, Ask: with("/rigs/new", answers)}
	action := "/rigs/new/details"
	if o.ID != "" {
		p.Title, action = o.Name, "/rigs/"+o.ID
		p.Ask = with(action+"/kind", answers)
	}
	p.Form = NewRigForm(action, values, errs, answers, units)
	p.Form.Version = version(o)
	return s.show(w, r, status, p)
}

func (s *Server) addRig(w http.ResponseWriter, r *http.Request) error {
	return s.keepRig(w, r, store.Object{Kind: store.Rig}, "")
}

func (s *Server) changeRig(w http.ResponseWriter, r *http.Request) error {
	o, text, err := s.theRig(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.keepRig(w, r, o, text)
}

// keepRig writes what was sent into the rig, or shows it again with what is
// wrong.
func (s *Server) keepRig(w http.ResponseWriter, r *http.Request, o store.Object, old string) error {
	sent, err := Typed(r)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	answers := answersSent(sent)
	kinds, _ := form.RigFromAnswers(answers)
	text, errs, err := rigText(sent, old, kinds, units)
	if err != nil {
		return err
	}
	if meanwhile(r, o) {
		now, err := rigValues(old, units)
		if err != nil {
			return err
		}
		now["called"] = o.Name
		sent, errs = overtaken(sent, now, errs)
		return s.showRig(w, r, http.StatusConflict, o, sent, errs, answers)
	}
	if len(errs) > 0 {
		return s.showRig(w, r, http.StatusUnprocessableEntity, o, sent, errs, answers)
	}
	was := o
	o.Name, o.Text, o.Original = sent["called"], text, nil
	if o.Name == "" {
		if o.Name, err = s.unnamed(r.Context(), o, "My rig"); err != nil {
			return err
		}
	}
	if _, done, err := s.put(r.Context(), o, was, func(store.Object) error { return s.changeRig(w, r) }); !done {
		return err
	}
	return s.see(w, r, "/rigs", "Kept: "+o.Name+"."+readAs(form.Rig, was.Text, Answers(sent), units))
}

func (s *Server) askDeleteRig(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Rig, r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: rigBase("Delete " + o.Name + "?"), Action: "/rigs/" + o.ID + "/delete", Keep: "/rigs",
		Button: "Delete " + o.Name, Says: "The rig and its room are really deleted; there is no way back. Briefs made with it stay as they are."})
}

func (s *Server) deleteRig(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Rig, r.PathValue("id"))
	if err != nil {
		return err
	}
	if err := s.store.Delete(r.Context(), o.ID); err != nil {
		return err
	}
	return s.see(w, r, "/rigs", "Deleted: "+o.Name+".")
}
