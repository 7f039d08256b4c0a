package web

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"maps"
	"net/http"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/store"
)

// Kind is what an object is, for those who make pages without a store.
type Kind = store.Kind

// BriefsPage lists the briefs, the newest first.
type BriefsPage struct {
	Base
	Empty  Empty
	Briefs []BriefRow
}

// BriefRow is one brief of the list.
type BriefRow struct {
	ID, Title string
	For, Made string
	Demo      bool
}

// BriefNewPage asks for a brief.
type BriefNewPage struct {
	Base
	Form    *Form
	Who     []Field // rider, rig, course
	When    []Field // event, date
	More    []Field // road, style
	Missing []Empty // what has to be there first
}

// BriefMakingPage says how far a brief is. It asks again by itself.
type BriefMakingPage struct {
	Base
	ID, Doing, Since string
}

// BriefPage is one brief in the app: the sheet, and what would change it.
type BriefPage struct {
	Base
	ID     string
	Sheet  template.HTML // from BriefSheet; empty: it can only be opened by itself
	Form   *Form         // nil: it cannot be changed
	Fields []Field
	Style  Field
	Why    string // it cannot be changed
	Newer  string // what was changed since it was made
	Again  string // path of a form for the same again
	Asked  bool   // something was changed
	Moved  []BriefMoved
	Moving *BriefMoving // it is still being reckoned; nil: it is not
}

// Template names the page's template.
func (*BriefsPage) Template() string { return "briefs.html" }

// Template names the page's template.
func (*BriefNewPage) Template() string { return "brief-new.html" }

// Template names the page's template.
func (*BriefMakingPage) Template() string { return "brief-making.html" }

// Template names the page's template.
func (*BriefPage) Template() string { return "brief.html" }

func (s *Server) briefRoutes() {
	s.get("/briefs", s.briefs)
	s.get("/briefs/new", s.newBrief)
	s.post("/briefs/new", s.makeBrief)
	s.get("/briefs/making/{job}", s.makingBrief)
	s.post("/briefs/making/{job}/stop", s.stopBrief)
	s.get("/briefs/{id}", s.brief)
	s.post("/briefs/{id}", s.keepChangedBrief)
	s.get("/briefs/{id}/{face}", s.briefFace)
	s.post("/briefs/{id}/stop", s.stopMove)
	s.post("/briefs/{id}/delete", s.deleteBrief)
}

func briefsBase(title string) Base { return Base{Title: title, Section: "/briefs"} }

func (s *Server) briefs(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Briefs(r.Context(), "")
	if err != nil {
		return err
	}
	names := map[string]string{}
	for _, kind := range []store.Kind{store.Rider, store.Course} {
		os, err := s.store.Objects(r.Context(), kind)
		if err != nil {
			return err
		}
		for _, o := range os {
			names[o.ID] = o.Name
		}
	}
	p := &BriefsPage{Base: briefsBase("Briefs"), Empty: Empty{Says: "There is no brief yet.", Why: "A brief is the sheet you take to the start: what to hold where, and when you are likely home.", Path: "/briefs/new", Link: "Make a brief"}}
	for _, b := range all {
		row := BriefRow{ID: b.ID, Title: b.Title, For: names[b.RiderID], Made: datesOf(r).day(b.Made), Demo: b.Demo}
		if course := names[b.CourseID]; course != "" && course != b.Title {
			row.For += ", " + course
		}
		p.Briefs = append(p.Briefs, row)
	}
	return s.show(w, r, http.StatusOK, p)
}

func (s *Server) newBrief(w http.ResponseWriter, r *http.Request) error {
	values := map[string]string{"style": "normal"}
	for _, name := range []string{"rider", "rig", "course", "road", "event", "date", "style"} {
		if v := r.URL.Query().Get(name); v != "" {
			values[name] = v
		}
	}
	return s.showNewBrief(w, r, http.StatusOK, values, nil)
}

// showNewBrief asks, with what was typed and what is wrong with it.
func (s *Server) showNewBrief(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	title := "A new brief"
	if status != http.StatusOK {
		title = "Not made yet: a new brief"
	}
	p := NewBriefNewPage(choices, values, errs)
	p.Base = briefsBase(title)
	return s.show(w, r, status, p)
}

// choices are the objects there are to choose from, by kind.
func (s *Server) choices(ctx context.Context) (map[store.Kind][]Option, error) {
	choices := map[store.Kind][]Option{}
	for _, kind := range store.Kinds {
		all, err := s.store.Objects(ctx, kind)
		if err != nil {
			return nil, err
		}
		for _, o := range all {
			choices[kind] = append(choices[kind], Option{Value: o.ID, Label: o.Name})
		}
	}
	return choices, nil
}

// NewBriefNewPage asks for a brief, given what there is to choose from.
func NewBriefNewPage(choices map[store.Kind][]Option, values, errs map[string]string) *BriefNewPage {
	p := &BriefNewPage{Base: briefsBase("A new brief"), Form: NewForm("/briefs/new", values, errs)}
	for _, need := range []struct {
		kind              store.Kind
		label, says, path string
	}{{store.Rider, "Who rides?", "A brief is for somebody: a rider is missing.", "/riders/new"},
		{store.Rig, "On what?", "What you ride on indoors is missing: a rig.", "/rigs/new"},
		{store.Course, "Where?", "Where to ride is missing: a course.", "/courses/new"}} {
		if len(choices[need.kind]) == 0 {
			p.Missing = append(p.Missing, Empty{Says: need.says, Path: need.path, Link: "Add a " + string(need.kind)})
			continue
		}
		p.Who = append(p.Who, p.Form.Field(Field{Name: string(need.kind), Label: need.label, Kind: "select", Options: choices[need.kind]}))
	}
	or := func(first string, kind store.Kind) []Option {
		return append([]Option{{Label: first}}, choices[kind]...)
	}
	if len(choices[store.Event]) > 0 {
		p.When = append(p.When, p.Form.Field(Field{Name: "event", Label: "For an event?", Kind: "select", Options: or("No event", store.Event)}))
	}
	p.When = append(p.When, p.Form.Field(Field{Name: "date", Label: "Which day?", Kind: "date", Hint: "Left empty: the event's day, else today."}))
	if len(choices[store.Road]) > 0 {
		p.More = append(p.More, p.Form.Field(Field{Name: "road", Label: "Bicycle and road that are pictured", Kind: "select", Options: or("An ordinary open road", store.Road)}))
	}
	p.More = append(p.More, p.Form.Field(Field{Name: "style", Label: "How bold shall the plan be?", Kind: "radio", Options: briefStyles}))
	return p
}

// makeBrief begins a brief and shows it, or how far it is.
func (s *Server) makeBrief(w http.ResponseWriter, r *http.Request) error {
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	a := briefAsk{Rider: typed["rider"], Rig: typed["rig"], Road: typed["road"], Course: typed["course"], Event: typed["event"], Date: typed["date"], Style: typed["style"]}
	errs, err := s.briefWrong(r, a)
	if err != nil {
		return err
	}
	if len(errs) > 0 {
		return s.showNewBrief(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	p, err := s.parts(r.Context(), a)
	if err != nil {
		return s.briefRefused(w, r, typed, err)
	}
	return s.begin(w, r, p, typed)
}

// begin starts to make a brief and leads to it.
func (s *Server) begin(w http.ResponseWriter, r *http.Request, p briefParts, typed map[string]string) error {
	j, err := s.startBrief(r.Context(), p, typed)
	if err != nil {
		return err
	}
	if j.wait(r.Context(), briefBox) {
		return s.briefDone(w, r, j)
	}
	if r.Context().Err() != nil { // nobody waits for it
		j.stop()
		return r.Context().Err()
	}
	return s.see(w, r, "/briefs/making/"+j.id, "")
}

// briefWrong is what cannot be taken, by field.
func (s *Server) briefWrong(r *http.Request, a briefAsk) (map[string]string, error) {
	errs := map[string]string{}
	for kind, id := range a.refs() {
		if *id == "" {
			if kind == store.Rider || kind == store.Rig || kind == store.Course {
				errs[string(kind)] = "Choose a " + string(kind) + "."
			}
			continue
		}
		o, err := s.store.Object(r.Context(), *id)
		if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != kind {
			errs[string(kind)] = "That " + string(kind) + " is not there any more; choose another."
		} else if err != nil {
			return nil, err
		}
	}
	if a.Date != "" {
		if t, err := time.Parse(time.DateOnly, a.Date); err != nil || t.Year() < 1990 || t.Year() > 2099 {
			errs["date"] = "That is no day; write one like 2026-12-03, from 1990 to 2099."
		}
	}
	if a.Style != "" && a.Style != "careful" && a.Style != "normal" && a.Style != "bold" {
		errs["style"] = "Choose one of these."
	}
	return errs, nil
}

// briefRefused shows the form again with why the brief could not be made.
func (s *Server) briefRefused(w http.ResponseWriter, r *http.Request, typed map[string]string, err error) error {
	wrong, ok := errors.AsType[*problem.Error](err)
	if !ok || typed == nil {
		return err
	}
	message, hint := problem.ForPerson(wrong)
	return s.showNewBrief(w, r, http.StatusUnprocessableEntity, typed, map[string]string{"": strings.TrimSpace(message + " " + hint)})
}

func (s *Server) briefDone(w http.ResponseWriter, r *http.Request, j *briefJob) error {
	if j.err != nil {
		return s.briefRefused(w, r, j.typed, j.err)
	}
	return s.see(w, r, briefPath(j.brief), "")
}

func briefPath(id string) string { return "/briefs/" + id }

// makingBrief waits a little for a brief that is being made. The page asks
// again by itself, by a header that needs no script.
func (s *Server) makingBrief(w http.ResponseWriter, r *http.Request) error {
	j := s.briefJobs.get(r.PathValue("job"))
	if j == nil {
		return s.see(w, r, "/briefs", "That brief is not being made any more. If it is not among these, make it again.")
	}
	if j.wait(r.Context(), briefAsking) {
		return s.briefDone(w, r, j)
	}
	w.Header().Set("Refresh", "0")
	return s.show(w, r, http.StatusOK, &BriefMakingPage{Base: briefsBase("Your brief is being made"), ID: j.id, Doing: j.progress(), Since: j.since(s.now())})
}

func (s *Server) stopBrief(w http.ResponseWriter, r *http.Request) error {
	if j := s.briefJobs.get(r.PathValue("job")); j != nil {
		j.stop()
		s.briefJobs.forget(j.id)
	}
	return s.see(w, r, "/briefs", "Stopped. Nothing was kept.")
}

func (s *Server) keptBrief(r *http.Request) (store.Brief, error) {
	b, err := s.store.Brief(r.Context(), r.PathValue("id"))
	if errors.Is(err, store.ErrNotFound) {
		return b, notFound("There is no such brief. Perhaps it was deleted.")
	}
	return b, err
}

// brief shows a brief, or what it would be with the changes in the address.
func (s *Server) brief(w http.ResponseWriter, r *http.Request) error {
	b, err := s.keptBrief(r)
	if err != nil {
		return err
	}
	p, base, next, err := s.briefPage(r, b, queryValues(r))
	if err != nil {
		return err
	}
	status, page := http.StatusOK, b.Page
	if p.Asked {
		moved, err := s.move(r, p, base, next)
		if err != nil {
			return err
		}
		if moved != nil {
			page = moved
		}
	} else {
		s.prepare(r.Context(), base)
	}
	if p.Form != nil && len(p.Form.Errors) > 0 {
		status = http.StatusUnprocessableEntity
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	if p.Sheet, err = BriefSheet(shown(r, page, u, s.namesOf(r.Context(), b)...)); err != nil {
		p.Sheet = "" // it can be opened by itself
	}
	return s.show(w, r, status, p)
}

// namesOf are what people called the things of a brief.
func (s *Server) namesOf(ctx context.Context, b store.Brief) []string {
	names := []string{b.Title}
	for _, id := range []string{b.RiderID, b.RigID, b.RoadID, b.CourseID, b.EventID} {
		if o, err := s.store.Object(ctx, id); id != "" && err == nil {
			names = append(names, o.Name)
		}
	}
	return names
}

// queryValues are the changes in an address.
func queryValues(r *http.Request) map[string]string {
	typed := map[string]string{}
	for name, v := range r.URL.Query() {
		typed[name] = strings.TrimSpace(v[len(v)-1])
	}
	return typed
}

// briefPage is the page of a kept brief with its form as typed, and what it is
// made from, before and after the changes.
func (s *Server) briefPage(r *http.Request, b store.Brief, typed map[string]string) (p *BriefPage, base, next briefParts, err error) {
	p = &BriefPage{Base: briefsBase(b.Title), ID: b.ID}
	a, ok := askedFor(b)
	if !ok {
		p.Why = "What this brief was made from is not all here any more, so it stays as it is."
		return p, base, next, nil
	}
	u, err := s.units(r.Context())
	if err != nil {
		return p, base, next, err
	}
	if base, err = s.parts(r.Context(), a); err != nil {
		return p, base, next, err
	}
	if p.Newer = base.newer(b.Made); p.Newer != "" {
		p.Again = a.again()
	}
	if errs := base.change(a.Change, asFiled); len(errs) > 0 {
		p.Why = "What this brief was made from has changed, so it stays as it is."
		return p, base, next, nil
	}
	now, err := base.now(u)
	if err != nil {
		p.Why = "What this brief was made from cannot be read any more, so it stays as it is."
		return p, base, next, nil
	}
	next = base
	var errs map[string]string
	if len(typed) > 0 {
		next, p.Asked, errs = base.changed(typed, now, u)
		p.Asked = p.Asked && len(errs) == 0
	}
	shown := maps.Clone(now)
	if v, ok := typed["style"]; ok {
		shown["style"] = v
	}
	for _, c := range briefChanges {
		if v, ok := typed[c.name]; ok {
			shown[c.name] = v
		}
	}
	p.ask(shown, errs, u)
	return p, base, next, nil
}

// NewBriefPage is a page of a brief with its questions; the gallery makes
// some.
func NewBriefPage(id, title string, values, errs map[string]string, units form.Units) *BriefPage {
	p := &BriefPage{Base: briefsBase(title), ID: id}
	p.ask(values, errs, units)
	return p
}

// ask fills in the questions of what would change the brief.
func (p *BriefPage) ask(values, errs map[string]string, units form.Units) {
	p.Form = NewForm(briefPath(p.ID), values, errs)
	for _, c := range briefChanges {
		q := c.field
		q.Name = c.name
		if about, ok := form.About(string(c.kind), c.path, units); ok && about.Form == "number" {
			q.Numeric, q.Unit = true, about.Unit
		}
		p.Fields = append(p.Fields, p.Form.Field(q))
	}
	p.Style = p.Form.Field(Field{Name: "style", Label: "How bold", Kind: "select", Options: briefStyles})
}

// move reckons the brief before and after, and gives the changed page; none
// while it is still being reckoned.
func (s *Server) move(r *http.Request, p *BriefPage, base, next briefParts) ([]byte, error) {
	u, err := s.units(r.Context())
	if err != nil {
		return nil, err
	}
	j, err := s.startMove(r.Context(), base, next)
	if err != nil {
		return nil, err
	}
	box := briefBox
	if s.now().Sub(j.began) > briefBox {
		box = briefAsking
	}
	if !s.waitMove(r.Context(), j, box) {
		p.Moving, p.Waits = s.moving(j), true
		return nil, r.Context().Err()
	}
	if j.err != nil {
		s.briefMoves.forget(j)
	}
	if errors.Is(j.err, context.Canceled) { // somebody stopped it
		p.Asked = false
		return nil, nil
	}
	if wrong, ok := errors.AsType[*problem.Error](j.err); ok {
		p.Form.Errors = map[string]string{"": oneLine(wrong)}
		return nil, nil
	}
	if j.err != nil {
		return nil, j.err
	}
	p.Moved = briefMoved(j.before, j.after, u)
	var page bytes.Buffer
	err = render.HTML(&page, j.after)
	return page.Bytes(), err
}

// keepChangedBrief makes the changed brief with all draws and keeps it beside
// the one it came from.
func (s *Server) keepChangedBrief(w http.ResponseWriter, r *http.Request) error {
	b, err := s.keptBrief(r)
	if err != nil {
		return err
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	p, _, next, err := s.briefPage(r, b, typed)
	if err != nil {
		return err
	}
	if p.Form == nil {
		return refuse(http.StatusConflict, p.Why)
	}
	if len(p.Form.Errors) > 0 || !p.Asked {
		u, err := s.units(r.Context())
		if err != nil {
			return err
		}
		if p.Sheet, err = BriefSheet(shown(r, b.Page, u, s.namesOf(r.Context(), b)...)); err != nil {
			p.Sheet = ""
		}
		return s.show(w, r, http.StatusUnprocessableEntity, p)
	}
	return s.begin(w, r, next, nil)
}

func (s *Server) deleteBrief(w http.ResponseWriter, r *http.Request) error {
	b, err := s.keptBrief(r)
	if err != nil {
		return err
	}
	if err := s.store.DeleteBrief(r.Context(), b.ID); err != nil {
		return err
	}
	return s.see(w, r, "/briefs", b.Title+" is deleted.")
}
