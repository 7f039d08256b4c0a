package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"chainline/course"
	"chainline/internal/form"
	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
)

// TogetherNewPage asks for a live group course: what is ridden, how strong the
// shelter is, and who of this machine rides.
type TogetherNewPage struct {
	Base
	Form    *Form
	Name    Field
	Of      []Field // course, road, event
	Shelter Field   // how much
	Rows    []GroupRow
	Missing []Empty
	Going   []TogetherLine // groups that go on
}

// TogetherLine is a group in a list.
type TogetherLine struct{ Path, Title, Says string }

// Template names the page's template.
func (*TogetherNewPage) Template() string { return "together-new.html" }

// TogetherPage is a live group course before and while it is ridden, as its
// host sees it, or as a guest does before the ride.
type TogetherPage struct {
	Base
	Path     string // below which everything of it is asked
	State    string // changes when the page is to be loaded anew
	Canned   bool   // of the gallery
	Host     bool
	Ended    bool   // by its host
	Course   string // name, length and ascent in words
	First    string // RideStrip as JSON
	Company  *Company
	Mine     []TogetherRider // who rides on this machine
	Phrases  []string
	Most     string // of the host's help
	Strength Field
	Tell     []Field // where the group is opened
	Invited  *live.Invited
	Chunks   []string // of the invitation
	Add      *TogetherAdd
}

// TogetherRider is a rider of this machine.
type TogetherRider struct {
	Name, Ride, Says string // Ride is its ID
	Brief            bool   // there is one
}

// TogetherAdd asks for one more rider of this machine.
type TogetherAdd struct {
	Form    *Form
	Row     GroupRow
	Missing []Empty
	Open    bool
}

// Template names the page's template.
func (*TogetherPage) Template() string { return "together.html" }

// JoinPage asks for the address and the invitation of a group.
type JoinPage struct {
	Base
	Form                *Form
	Address, Invitation Field
	Visited             []TogetherLine
}

// Template names the page's template.
func (*JoinPage) Template() string { return "join.html" }

// mostTogether riders of a live group on one machine. Our judgement.
const mostTogether = 8

func (s *Server) togetherRoutes() {
	s.get("/together", s.newTogether)
	s.post("/together", s.beginTogether)
	s.get("/together/{id}", s.hostPage)
	s.get("/together/{id}/live", s.hostLive)
	s.post("/together/{id}/do", s.hostDo)
	s.post("/together/{id}/ride", s.hostRides)
	s.get("/together/{id}/end", s.askEndTogether)
	s.post("/together/{id}/end", s.endTogether)
	s.get("/join", s.join)
	s.post("/join", s.visitGroup)
	s.get("/join/{id}", s.guestPage)
	s.get("/join/{id}/live", s.guestLive)
	s.post("/join/{id}/ride", s.guestRides)
	s.post("/join/{id}/leave", s.leaveGroup)
	s.get("/ride/{id}/brief", s.rideBrief)
}

// shelterOptions say in plain words how much shelter there is.
func shelterOptions() []Option {
	var out []Option
	for _, o := range []struct{ value, label, like string }{
		{live.StrengthLow, "Little", "Everybody works for themselves: differences show soon."},
		{live.StrengthMiddle, "Middling", "About what a group that rides loosely gives."},
		{live.StrengthHigh, "Much", "Close to a tight line: riders of unlike strength stay together longer."}} {
		second, best := service.ShelterTakesOff(o.value)
		out = append(out, Option{Value: o.value, Label: o.label, Hint: fmt.Sprintf("%s The second rider is spared %.0f %% of the air drag, the best placed %.0f %%.", o.like, 100*second, 100*best)})
	}
	return out
}

// rideableCourses are those whose climbs have places: a sketch cannot be
// ridden.
func rideableCourses(all []store.Object) []Option {
	var out []Option
	for _, o := range all {
		if o.Original != nil {
			out = append(out, Option{Value: o.ID, Label: o.Name})
		}
	}
	return out
}

// NewTogetherNewPage asks for a group, given what there is to choose from;
// courses are those that can be ridden.
func NewTogetherNewPage(choices map[store.Kind][]Option, courses []Option, values, errs map[string]string) *TogetherNewPage {
	p := &TogetherNewPage{Base: rideBase("Ride a course together"), Form: NewForm("/together", values, errs)}
	f := p.Form
	if len(courses) == 0 {
		p.Missing = append(p.Missing, Empty{Says: "There is no course to ride yet.", Why: "A group rides a course that came from a file; a sketch does not say where its climbs stand.", Path: "/courses/new", Link: "Add a course"})
		return p
	}
	p.Name = f.Field(Field{Name: "title", Label: "What is it called?", Hint: "Everybody sees it. Empty: the course's name."})
	p.Of = append(p.Of, f.Field(Field{Name: "course", Label: "Which course?", Kind: "select", Options: courses}))
	if len(choices[store.Road]) > 0 {
		p.Of = append(p.Of, f.Field(Field{Name: "road", Label: "On which road?", Kind: "select", Options: append([]Option{{Label: "An ordinary open road"}}, choices[store.Road]...)}))
	}
	if len(choices[store.Event]) > 0 {
		p.Of = append(p.Of, f.Field(Field{Name: "event", Label: "For an event?", Kind: "select", Options: append([]Option{{Label: "For none"}}, choices[store.Event]...)}))
	}
	p.Shelter = f.Field(Field{Name: "strength", Label: "How much shelter do riders give each other?", Kind: "radio", Options: shelterOptions(),
		Hint: "The host can change it on the way."})
	for i := range mostTogether {
		if i >= 4 && values[fmt.Sprintf("rider.%d", i-1)] == "" {
			break
		}
		p.Rows = append(p.Rows, togetherRow(f, choices, fmt.Sprintf(".%d", i), fmt.Sprintf("Rider %d", i+1)))
	}
	return p
}

func togetherRow(f *Form, choices map[store.Kind][]Option, at, label string) GroupRow {
	nobody := append([]Option{{Label: "Nobody"}}, choices[store.Rider]...)
	return GroupRow{
		f.Field(Field{Name: "rider" + at, Label: label, Kind: "select", Options: nobody}),
		f.Field(Field{Name: "rig" + at, Label: "Rig", Kind: "select", Options: choices[store.Rig]}),
		f.Field(Field{Name: "devices" + at, Label: "Devices", Kind: "select", Options: []Option{{Value: "bench", Label: "A simulated rig"}, {Value: "radio", Label: "What is in the room"}, {Value: "plain bench", Label: "A simulated plain trainer"}}})}
}

func (s *Server) newTogether(w http.ResponseWriter, r *http.Request) error {
	values := map[string]string{"strength": live.StrengthMiddle, "course": r.FormValue("course"), "event": r.FormValue("event"), "road": r.FormValue("road"),
		"rider.0": r.FormValue("rider"), "rig.0": r.FormValue("rig")}
	return s.showNewTogether(w, r, http.StatusOK, values, nil)
}

func (s *Server) showNewTogether(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	if s.live == nil {
		return errNoRides
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	courses, err := s.store.Objects(r.Context(), store.Course)
	if err != nil {
		return err
	}
	p := NewTogetherNewPage(choices, rideableCourses(courses), values, errs)
	p.Going = s.goingTogether()
	return s.show(w, r, status, p)
}

// goingTogether are the groups hosted here and those visited from here.
func (s *Server) goingTogether() []TogetherLine {
	var out []TogetherLine
	for _, x := range s.live.Meetings() {
		out = append(out, TogetherLine{"/together/" + x.ID(), x.Title(), "hosted here, " + countRiders(x.Sheet())})
	}
	for _, g := range s.live.Guests() {
		if g.Ended() {
			continue
		}
		out = append(out, TogetherLine{"/join/" + g.ID(), g.Title(), "hosted elsewhere, " + countRiders(g.Sheet())})
	}
	return out
}

func countRiders(s ride.GroupSheet) string {
	switch n := len(s.Riders); n {
	case 0:
		return "nobody is there yet"
	case 1:
		return "one rider"
	default:
		return few(n) + " riders"
	}
}

// groupCourse is what is ridden, from what is kept.
func (s *Server) groupCourse(ctx context.Context, typed map[string]string) (service.GroupCourse, map[string]string, error) {
	var g service.GroupCourse
	errs := map[string]string{}
	for _, of := range []struct {
		name string
		kind store.Kind
	}{{"course", store.Course}, {"road", store.Road}, {"event", store.Event}} {
		if typed[of.name] == "" {
			if of.kind == store.Course {
				errs["course"] = "Choose a course."
			}
			continue
		}
		o, err := s.store.Object(ctx, typed[of.name])
		if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != of.kind {
			errs[of.name] = "The " + string(of.kind) + " that was chosen is not there any more."
			continue
		}
		if err != nil {
			return g, nil, err
		}
		name, text := briefFile(o)
		switch of.kind {
		case store.Course:
			if o.Original == nil {
				errs["course"] = o.Name + " is a sketch: it does not say where its climbs stand, so it cannot be ridden."
			}
			g.Name, g.CourseText = o.Name, text
			g.CourseFile = name[strings.LastIndex(name, "/")+1:]
		case store.Road:
			g.RoadText = text
		case store.Event:
			g.EventText = text
		}
	}
	return g, errs, nil
}

// togetherAsk is one rider of this machine in a group.
type togetherAsk struct {
	at      string // ends the names of its fields
	rider   string
	rig     string
	devices string
}

// prepared is a ride that can be begun.
type prepared struct {
	ask    togetherAsk
	riding service.Riding
	choice live.Choice
}

// prepareTogether makes the plan of one rider on the group's course; a *problem.Error
// is for the form.
func (s *Server) prepareTogether(ctx context.Context, g service.GroupCourse, a togetherAsk, n int, d dates) (prepared, error) {
	out := prepared{ask: a}
	parts, err := s.parts(ctx, briefAsk{Rider: a.rider, Rig: a.rig})
	if err != nil {
		return out, err
	}
	q := service.RideRequest{ID: s.live.NewID(), Begun: s.now(), Of: ride.Of{Rider: a.rider, Rig: a.rig},
		Brief: service.BriefRequest{Rider: parts.names[store.Rider], Rig: parts.names[store.Rig], Today: s.now(), Seed: 1, Draws: rideDraws,
			Workers: s.workers, Taught: parts.taught, Open: service.Texts(parts.files)}}
	if q.Corrections, err = s.rideCorrections(ctx, a.rig); err != nil {
		return out, err
	}
	if q.DeadTime, q.Lag, err = s.brakeTimes(ctx, a.rig, a.devices != "radio"); err != nil {
		return out, err
	}
	if out.riding, err = service.Ride(ctx, g.For(q)); err != nil {
		return out, err
	}
	words, err := s.correctionWords(ctx, a.rig, d)
	if err != nil {
		return out, err
	}
	out.riding.Warnings = append(out.riding.Warnings, words...)
	out.choice = live.Choice{Kind: a.devices, Seed: uint64(s.now().UnixNano()) + uint64(n), Name: fmt.Sprintf("rig-%s-%d", q.ID, n)}
	return out, nil
}

// forPerson says what an error is that a person can do something about, and
// what that is.
func forPerson(err error) (string, bool) {
	if e, ok := errors.AsType[*problem.Error](err); ok {
		says := capital(strings.TrimSuffix(e.Message, ".")) + "."
		if e.Hint != "" {
			says += " " + e.Hint
		}
		return says, true
	}
	if e, ok := errors.AsType[*refusal](err); ok {
		return e.message, true
	}
	return "", false
}

func (s *Server) beginTogether(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	g, errs, err := s.groupCourse(r.Context(), typed)
	if err != nil {
		return err
	}
	var all []prepared
	for i := range mostTogether {
		at := fmt.Sprintf(".%d", i)
		a := togetherAsk{at, typed["rider"+at], typed["rig"+at], typed["devices"+at]}
		if a.rider == "" || len(errs) > 0 {
			continue
		}
		one, err := s.prepareTogether(r.Context(), g, a, i, datesOf(r))
		if says, ok := forPerson(err); ok {
			errs["rider"+at] = says
		} else if err != nil {
			return err
		}
		all = append(all, one)
	}
	var x *live.Meeting
	if len(errs) == 0 {
		x, err = s.live.HostGroup(context.WithoutCancel(r.Context()), live.GroupPlan{Title: typed["title"], Course: g, Strength: typed["strength"]})
		if says, ok := forPerson(err); ok {
			errs[""] = says
		} else if err != nil {
			return err
		}
	}
	if len(errs) > 0 {
		return s.showNewTogether(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	for i, one := range all {
		one.riding.Setup.ID = s.live.NewID()
		_, err := x.Ride(context.WithoutCancel(r.Context()), one.riding, one.choice)
		if err == nil {
			continue
		}
		says, ok := forPerson(err)
		if !ok {
			return err
		}
		for _, ridden := range x.Rides() { // nobody rides alone what was meant for all
			ridden.Engine.Key(ride.Key{Kind: ride.KeyEnd})
		}
		if err := x.End(); err != nil {
			s.log.Warn("a group that could not begin", "err", err)
		}
		return s.showNewTogether(w, r, http.StatusUnprocessableEntity, typed, map[string]string{"devices" + all[i].ask.at: says})
	}
	return s.see(w, r, "/together/"+x.ID(), "")
}

// groupCourseWords are a course in a few words, and its strip without anybody's
// plan.
func groupCourseWords(name string, p course.Profile, u form.Units) (words, strip string) {
	words = fmt.Sprintf("%s, %s, %s up", name, u.Distance(p.Length()), u.Elevation(p.Ascent()))
	out := RideStrip{Kind: "course", Length: p.Length(), Most: 1, Pieces: []RidePiece{}, Words: name}
	if p.Length() > 0 {
		thin := course.Thin(p, 240)
		for i := range thin.Distance {
			out.Hill = append(out.Hill, [2]float64{thin.Distance[i] / out.Length, thin.Elevation[i]})
		}
	}
	b, err := json.Marshal(out.In(u))
	if err != nil {
		return words, ""
	}
	return words, string(b)
}

// companyEvery is how often the pages of a group are sent what is new.
const companyEvery = 500 * time.Millisecond

// companyMessage is what a page of a group is sent.
type companyMessage struct {
	Company *Company `json:"company"`
	State   string   `json:"state"`
}

// sendCompany sends what say answers until the page is gone.
func (s *Server) sendCompany(w http.ResponseWriter, r *http.Request, say func() (companyMessage, bool)) error {
	send, err := stream(w)
	if err != nil {
		return err
	}
	tick := time.NewTicker(companyEvery)
	defer tick.Stop()
	for n := uint64(1); ; n++ {
		m, goesOn := say()
		if send(n, m) != nil || !goesOn {
			return nil // whoever read it is gone, or there is nothing more to say
		}
		select {
		case <-tick.C:
		case <-r.Context().Done():
			return nil
		}
	}
}
