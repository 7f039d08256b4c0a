package web

import (
	"html/template"
	"net/http"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/store"
)

// NextPage is what is coming, what is missing before it, and the one thing to
// do now.
type NextPage struct {
	Base
	Now     NextStep
	First   []NextStep // the way from nothing to a first brief; none once there is one
	Done    int        // of First
	Demo    bool       // offer the invented club
	Rider   string
	Riders  []Field // to choose from, if there are several
	Event   *NextEvent
	Missing []NextStep
	Worth   []NextWorth
	From    string // of which brief Worth is
	Path    []NextRide
	Picture template.HTML // of Path
}

// Template names the page's template.
func (*NextPage) Template() string { return "next.html" }

func (s *Server) nextRoutes() {
	s.get("/{$}", s.nextRide)
	s.post("/riders/{id}/first-rides", s.sayRidden)
}

// sayRidden keeps that a newcomer rode one of the first rides today, which no
// recording shows, or that it was not so.
func (s *Server) sayRidden(w http.ResponseWriter, r *http.Request) error {
	o, err := s.ofKind(r.Context(), store.Rider, r.PathValue("id"))
	if err != nil {
		return err
	}
	ride, day := r.PostFormValue("ride"), s.now().Format(time.DateOnly)
	said := "Kept: ridden today."
	if r.PostFormValue("not") != "" {
		day, said = "", "Taken back."
	}
	switch ride {
	case "easy", "test", "group":
	default:
		return notFound("There is no such first ride.")
	}
	text, errs := form.Change(form.Rider, o.Text, map[string]string{"first_rides." + ride: day}, asFiled)
	if len(errs) > 0 {
		return refuse(http.StatusConflict, "That cannot be kept: what is known of this rider cannot be read.")
	}
	old := o
	o.Text = text
	if _, done, err := s.put(r.Context(), o, old, func(store.Object) error { return s.sayRidden(w, r) }); !done {
		return err
	}
	return s.see(w, r, "/?rider="+o.ID, said)
}

func (s *Server) nextRide(w http.ResponseWriter, r *http.Request) error {
	v, err := s.look(r.Context(), r.URL.Query().Get("rider"), datesOf(r))
	if err != nil {
		return err
	}
	p := &NextPage{Base: Base{Title: "Next ride", Section: "/"}}
	steps := v.first()
	for _, step := range steps {
		if step.Done {
			p.Done++
		} else if p.Now.Says == "" {
			p.Now = step
		}
	}
	if len(v.briefs) == 0 {
		p.First, p.Demo = steps, p.Done == 0
	}
	if v.rider.ID == "" || len(v.kept[store.Rig]) == 0 || len(v.kept[store.Course]) == 0 {
		return s.show(w, r, http.StatusOK, p)
	}
	if err := s.fillNext(r, p, v); err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, p)
}

// fillNext says what is to be said once there is something to ride.
func (s *Server) fillNext(r *http.Request, p *NextPage, v nextView) error {
	p.Rider = v.rider.Name
	if riders := v.kept[store.Rider]; len(riders) > 1 {
		f := NewForm("/", map[string]string{"rider": v.rider.ID}, nil)
		var options []Option
		for _, o := range riders {
			options = append(options, Option{Value: o.ID, Label: o.Name})
		}
		p.Riders = []Field{f.Field(Field{Name: "rider", Label: "For", Kind: "select", Options: options})}
	}
	p.Missing = s.missing(v)
	p.Path = v.firstRides()
	p.Picture = PathPicture(p.Path)
	if v.event != nil {
		e := v.event.row
		p.Event = &NextEvent{Name: e.Name, When: e.When, Away: e.Away, Path: "/events/" + e.ID,
			Brief: NextStep{Path: "/briefs/new?event=" + e.ID + "&rider=" + v.rider.ID, Link: "Make its brief"}}
		if v.brief != nil {
			p.Event.Brief = NextStep{Path: briefPath(v.brief.ID), Link: "Read its brief", Done: true}
		}
	}
	latest := v.brief
	if latest == nil && len(v.briefs) > 0 {
		latest = &v.briefs[0]
	}
	var kept briefKept
	if latest != nil {
		whole, err := s.store.Brief(r.Context(), latest.ID)
		if err != nil {
			return err
		}
		if kept, err = readKept(whole.Result); err == nil {
			p.Worth, p.From = worthOf(kept), latest.Title
		}
	}
	p.Now = v.one(p, kept, latest)
	return nil
}

// one is the one thing to do now: a brief, then what stands before a safe
// ride, then what is worth most.
func (v nextView) one(p *NextPage, kept briefKept, latest *store.Brief) NextStep {
	switch {
	case latest == nil && p.Event == nil:
		return NextStep{Says: "Make a brief.", Why: "Everything it needs is here.", Path: "/briefs/new?rider=" + v.rider.ID, Link: "Make the brief"}
	case p.Event != nil && !p.Event.Brief.Done:
		return NextStep{Says: "Make the brief for " + p.Event.Name + ".", Why: "It is " + p.Event.Away + ".", Path: p.Event.Brief.Path, Link: "Make the brief"}
	}
	for _, ride := range p.Path {
		if ride.State == "next" {
			return NextStep{Says: ride.Name + ": " + ride.When + ".", Why: ride.Why, Path: ride.Path, Link: ride.Link}
		}
	}
	switch {
	case len(p.Missing) > 0:
		return p.Missing[0]
	case kept.NextTest.Recommended && kept.NextTest.Sentence != "":
		return NextStep{Says: kept.NextTest.Sentence, Path: "/riders/" + v.rider.ID + "/evidence/new", Link: "Enter what came of it"}
	}
	for _, worth := range p.Worth {
		if worth.Gain == "surer" || strings.HasPrefix(worth.What, "Ride ") {
			continue // not a thing to do before the start
		}
		return NextStep{Says: "Before the start: " + strings.ToLower(worth.What[:1]) + worth.What[1:] + ".", Why: worth.Why, Path: briefPath(latest.ID), Link: "Read the brief"}
	}
	return NextStep{Says: "You are ready. Read the brief once more.", Path: briefPath(latest.ID), Link: "Read the brief"}
}
