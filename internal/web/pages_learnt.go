package web

import (
	"errors"
	"net/http"

	"chainline/internal/service"
	"chainline/internal/store"
)

// LearntPage is what a rider's rides taught: what every next brief uses beside
// what the rider told, each to be left out.
type LearntPage struct {
	Base
	ID    string
	Parts []LearntPart
	Empty Empty
}

// LearntPart is what is left out, or counts again, together.
type LearntPart struct {
	Key     string
	What    []string // in sentences
	From    string   // which rides it comes from
	Path    string   // of the one ride it comes from; empty: of several
	LeftOut bool
}

// Template names the page's template.
func (*LearntPage) Template() string { return "learnt.html" }

func (s *Server) learntRoutes() {
	s.get("/riders/{id}/learnt", s.learntOf)
	s.post("/riders/{id}/learnt", s.leaveOut)
}

// NewLearntPage lists what was learnt, the newest first.
func NewLearntPage(id, name string, items []service.LearntItem) *LearntPage {
	return newLearntPage(id, name, items, dates{})
}

func newLearntPage(id, name string, items []service.LearntItem, d dates) *LearntPage {
	p := &LearntPage{Base: riderBase(name + ": what rides taught"), ID: id}
	for _, x := range items {
		if n := len(p.Parts); n > 0 && p.Parts[n-1].Key == x.Key {
			p.Parts[n-1].What = append(p.Parts[n-1].What, x.What)
			continue
		}
		part := LearntPart{Key: x.Key, What: []string{x.What}, From: x.Origin, LeftOut: x.LeftOut}
		if x.RideID != "" {
			part.From, part.Path = x.File+", "+d.iso(x.Day), "/rides/"+x.RideID
		}
		p.Parts = append(p.Parts, part)
	}
	if len(p.Parts) == 0 {
		p.Empty = Empty{Says: "Rides have taught nothing yet.", Why: "Keep a ride and say whether you could have gone harder: then the next brief knows more.", Path: "/import?rider=" + id, Link: "Add rides"}
	}
	return p
}

func (s *Server) learntOf(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	o, err := s.ofKind(r.Context(), store.Rider, r.PathValue("id"))
	if err != nil {
		return err
	}
	items, err := s.library.Learnt(r.Context(), o.ID)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, newLearntPage(o.ID, o.Name, items, datesOf(r)))
}

// leaveOut takes one thing out of the next briefs, or back in.
func (s *Server) leaveOut(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	id, out := r.PathValue("id"), typed["out"] != ""
	items, err := s.library.Learnt(r.Context(), id)
	if errors.Is(err, store.ErrNotFound) {
		return notFound("There is no such rider. Perhaps it was deleted.")
	} else if err != nil {
		return err
	}
	known := false
	for _, x := range items {
		known = known || x.Key == typed["key"]
	}
	if !known {
		return notFound("That is not among what the rides taught any more.")
	}
	if err := s.library.LeaveOut(r.Context(), id, typed["key"], out); err != nil {
		return err
	}
	says := "It counts again in the next brief."
	if out {
		says = "Left out: the next brief does without it."
	}
	return s.see(w, r, "/riders/"+id+"/learnt", says)
}
