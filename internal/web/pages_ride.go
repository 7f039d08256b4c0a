package web

import (
	"context"
	"errors"
	"net/http"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/session"
)

// RideChoosePage asks what to ride, and shows the rides there are.
type RideChoosePage struct {
	Base
	Form      *Form
	Missing   []Empty
	Who       []Field
	What      []Field
	Of        []RideOf
	How       []Field
	Preview   *RidePreview
	Sessions  []RideCard
	Running   []RideLine
	Together  []TogetherLine // live groups of a course
	Left      []RideLine     // not ended
	Done      []RideLine
	Available bool
}

// RideOf are the questions of one answer to 'what?'.
type RideOf struct {
	What   string
	Fields []Field
}

// RideLine is a ride in a list.
type RideLine struct {
	ID, Title, For, When, Says string
	Clock                      string      // when it began
	Files                      [][2]string // kind, words
}

// Template names the page's template.
func (*RideChoosePage) Template() string { return "ride-choose.html" }

func rideBase(title string) Base { return Base{Title: title, Section: "/ride"} }

func (s *Server) rideRoutes() {
	s.get("/ride", s.chooseRide)
	s.post("/ride", s.beginRide)
	s.get("/ride/{id}", s.ridePage)
	s.get("/ride/{id}/live", s.rideLive)
	s.get("/ride/{id}/strip", s.rideStrip)
	s.post("/ride/{id}/key", s.rideKey)
	s.get("/ride/{id}/missing", s.rideMissing)
	s.get("/ride/{id}/file/{kind}", s.rideFile)
	s.post("/ride/{id}/go-on", s.goOnRide)
	s.post("/ride/{id}/as-it-is", s.setRideAside)
	s.get("/ride/{id}/end", s.askEndRide)
	s.post("/ride/{id}/end", s.endRide)
	s.get("/ride/{id}/delete", s.askDeleteRide)
	s.post("/ride/{id}/delete", s.deleteRide)
	s.groupRoutes()
	s.togetherRoutes()
}

var errNoRides = refuse(http.StatusNotFound, "This program was started without rides.")

func (s *Server) chooseRide(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	devices, err := s.usualDevices(r.Context(), q.Get("rider"))
	if err != nil {
		return err
	}
	values := map[string]string{"devices": devices, "way": "", "what": "session", "session": "easy-baseline"}
	for _, name := range []string{"rider", "rig", "course", "event", "road", "session", "what", "own", "devices", "way", "advance"} {
		if v := q.Get(name); v != "" {
			values[name] = v
		}
	}
	if values["course"] != "" && q.Get("what") == "" {
		values["what"] = "course"
	}
	return s.showChooseRide(w, r, http.StatusOK, values, nil)
}

// usualDevices are those in the room, but for riders who are invented: nobody
// sits on their bike.
func (s *Server) usualDevices(ctx context.Context, rider string) (string, error) {
	riders, err := s.store.Objects(ctx, store.Rider)
	if err != nil {
		return "", err
	}
	for _, o := range riders {
		if !o.Demo && (rider == "" || rider == o.ID) {
			return "radio", nil
		}
	}
	return "bench", nil
}

func (s *Server) showChooseRide(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	p := NewRideChoosePage(choices, values, errs)
	if err := s.preview(r.Context(), p, values, datesOf(r)); err != nil {
		return err
	}
	if p.Available = s.live != nil; p.Available {
		if err := s.listRides(p, datesOf(r)); err != nil {
			return err
		}
	}
	return s.show(w, r, status, p)
}

// NewRideChoosePage asks what to ride, given what there is to choose from.
func NewRideChoosePage(choices map[store.Kind][]Option, values, errs map[string]string) *RideChoosePage {
	p := &RideChoosePage{Base: rideBase("Ride"), Form: NewForm("/ride", values, errs), Available: true}
	f := p.Form
	for _, need := range []struct {
		kind              store.Kind
		label, says, path string
	}{{store.Rider, "Who rides?", "Who rides is missing.", "/riders/new"}, {store.Rig, "On what?", "What you ride on is missing.", "/rigs/new"}} {
		if len(choices[need.kind]) == 0 {
			p.Missing = append(p.Missing, Empty{Says: need.says, Path: need.path, Link: "Add a " + string(need.kind)})
			continue
		}
		p.Who = append(p.Who, f.Field(Field{Name: string(need.kind), Label: need.label, Kind: "select", Options: choices[need.kind]}))
	}
	what := []Option{{Value: "session", Label: "A session", Hint: "Steps one after another, scaled to you."}}
	if len(choices[store.Course]) > 0 {
		what = append(what, Option{Value: "course", Label: "A course", Hint: "By its plan, which is made anew while you ride."})
	}
	what = append(what, Option{Value: "own", Label: "Your own sentences"}, Option{Value: "free", Label: "As you like", Hint: "Nothing is asked; everything is written down."})
	p.What = append(p.What, f.Field(Field{Name: "what", Label: "What?", Kind: "radio", Options: what}))
	p.Of = append(p.Of, RideOf{"session", []Field{f.Field(Field{Name: "session", Label: "Which session?", Kind: "select", Options: rideSessions()})}})
	if len(choices[store.Course]) > 0 {
		of := []Field{f.Field(Field{Name: "course", Label: "Which course?", Kind: "select", Options: choices[store.Course]})}
		if len(choices[store.Road]) > 0 {
			of = append(of, f.Field(Field{Name: "road", Label: "On which road?", Kind: "select", Options: append([]Option{{Label: "An ordinary open road"}}, choices[store.Road]...)}))
		}
		of = append(of, f.Field(Field{Name: "advance", Label: "What moves its cues on?", Kind: "select", Options: []Option{
			{Value: "", Label: "The place, by your watts"}, {Value: "time", Label: "The plan's clock"}, {Value: "key", Label: "A key you press"}, {Value: "distance", Label: "The place, put right by you"}}}))
		p.Of = append(p.Of, RideOf{"course", of})
	}
	p.Of = append(p.Of, RideOf{"own", []Field{f.Field(Field{Name: "own", Label: "Your own session", Kind: "area",
		Hint: "A line for each step, such as: ride 5 min at 80 % of threshold. Repeat some with 'three times:' before and 'end' after them."})}})
	p.How = append(p.How,
		f.Field(Field{Name: "devices", Label: "Which devices?", Kind: "radio", Options: []Option{
			{Value: "radio", Label: "What is in the room", Hint: "Trainer and sensors by low-energy radio."},
			{Value: "bench", Label: "A simulated rig: try it without a bike", Hint: "A trainer that sets its brake, a power meter, a heart belt, and somebody who pedals."},
			{Value: "plain bench", Label: "A simulated plain trainer", Hint: "It has only a speed sensor."}}}),
		f.Field(Field{Name: "way", Label: "How shall the program be there?", Kind: "radio", Options: []Option{
			{Value: "", Label: "As the rig can", Hint: "It sets the brake where there is one to set, and only shows where there is none."},
			{Value: "controlling", Label: "Set the brake", Hint: rideWays[ride.Controlling]},
			{Value: "showing", Label: "Only show", Hint: rideWays[ride.Showing]},
			{Value: "listening", Label: "Only listen", Hint: rideWays[ride.Listening]}}}))
	return p
}

// rideSessions are the sessions of the library to choose from.
func rideSessions() []Option {
	var out []Option
	for _, x := range session.Library() {
		out = append(out, Option{Value: x.ID, Label: x.Session().Name})
	}
	return out
}

// rideAskOf is what a form asks for, with what is wrong with it.
func (s *Server) rideAskOf(r *http.Request, typed map[string]string) (service.RideRequest, map[string]string, error) {
	q := service.RideRequest{Way: ride.Way(typed["way"]), Advance: ride.Advance(typed["advance"]), Begun: s.now()}
	a := briefAsk{Rider: typed["rider"], Rig: typed["rig"]}
	errs := map[string]string{}
	switch typed["what"] {
	case "course":
		a.Course, a.Road = typed["course"], typed["road"]
		if a.Course == "" {
			errs["course"] = "Choose a course, or something else to ride."
		}
	case "session":
		x, ok := session.Find(typed["session"])
		if !ok {
			errs["session"] = "Choose a session of the list."
		}
		q.Session = x.Text
	case "own":
		q.Session = typed["own"]
		if _, err := session.Parse(q.Session); err != nil {
			errs["own"] = err.Error()
		}
	case "free":
	default:
		errs["what"] = "Choose what to ride."
	}
	for kind, id := range map[store.Kind]string{store.Rider: a.Rider, store.Rig: a.Rig} {
		if id == "" {
			errs[string(kind)] = "Choose a " + string(kind) + "."
		}
	}
	if len(errs) > 0 {
		return q, errs, nil
	}
	parts, err := s.parts(r.Context(), a)
	if err != nil {
		return q, map[string]string{"": err.Error()}, nil
	}
	n := parts.names
	q.Brief = service.BriefRequest{Rider: n[store.Rider], Rig: n[store.Rig], Road: n[store.Road], Course: n[store.Course],
		Today: s.now(), Seed: 1, Draws: rideDraws, Workers: s.workers, Taught: parts.taught, Open: service.Texts(parts.files)}
	q.Of = ride.Of{Rider: a.Rider, Rig: a.Rig, Course: a.Course, Road: a.Road}
	if q.Corrections, err = s.rideCorrections(r.Context(), a.Rig); err != nil {
		return q, nil, err
	}
	q.DeadTime, q.Lag, err = s.brakeTimes(r.Context(), a.Rig, typed["devices"] != "radio")
	return q, nil, err
}

// rideDraws are enough for a forecast that is made anew on the way.
const rideDraws = 400

func (s *Server) beginRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	q, errs, err := s.rideAskOf(r, typed)
	if err != nil {
		return err
	}
	var riding service.Riding
	if len(errs) == 0 {
		q.ID = s.live.NewID()
		riding, err = service.Ride(r.Context(), q)
		if e, ok := errors.AsType[*problem.Error](err); ok {
			errs = map[string]string{"": e.Message}
		} else if err != nil {
			return err
		}
	}
	if len(errs) == 0 {
		words, err := s.correctionWords(r.Context(), typed["rig"], datesOf(r))
		if err != nil {
			return err
		}
		riding.Warnings = append(riding.Warnings, words...)
	}
	if len(errs) == 0 {
		_, err = s.live.Begin(context.WithoutCancel(r.Context()), riding, live.Choice{Kind: typed["devices"], Seed: uint64(s.now().UnixNano())})
		if e, ok := errors.AsType[*problem.Error](err); ok {
			errs = map[string]string{"devices": e.Message}
		} else if err != nil {
			return err
		}
	}
	if len(errs) > 0 {
		return s.showChooseRide(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	return s.see(w, r, "/ride/"+q.ID, "")
}
