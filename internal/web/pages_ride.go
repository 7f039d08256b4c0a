package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/sensor"
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
	Own       Field // sentences of one's own
	How       []Field
	Sessions  []RideSession
	Running   []RideLine
	Left      []RideLine // not ended
	Done      []RideLine
	Available bool
}

// RideSession is a session of the library.
type RideSession struct {
	ID, Name, Purpose, For string
	Cautions               []string
}

// RideLine is a ride in a list.
type RideLine struct{ ID, Title, For, When, Says string }

// RidePage is a ride that goes on, or has just ended.
type RidePage struct {
	Base
	ID       string
	Of       string // rider
	Way      string
	V        RideView
	First    string // RideStrip as JSON, so that the first paint has it
	Canned   bool   // of the gallery: nothing is asked of the program
	Course   bool
	ByKey    bool // cues go by key
	ByMetres bool // or by a confirmed distance
	Bench    bool
	Group    string
	Cautions []string
	Kinds    []Option // of sensors that may be missing
	Sum      *RideSum
}

// RideSum is what came of a ride.
type RideSum struct {
	Lines   [][2]string
	Files   [][2]string // kind, words
	Missing []string
}

// Template names the page's template.
func (*RideChoosePage) Template() string { return "ride-choose.html" }

// Template names the page's template.
func (*RidePage) Template() string { return "ride.html" }

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
	s.get("/ride/{id}/delete", s.askDeleteRide)
	s.post("/ride/{id}/delete", s.deleteRide)
	s.groupRoutes()
}

var errNoRides = refuse(http.StatusNotFound, "This program was started without rides.")

func (s *Server) chooseRide(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	values := map[string]string{"devices": "bench", "way": "", "what": "session", "session": "easy-baseline"}
	for _, name := range []string{"rider", "rig", "course", "event", "road", "session", "what"} {
		if v := q.Get(name); v != "" {
			values[name] = v
		}
	}
	if values["course"] != "" && q.Get("what") == "" {
		values["what"] = "course"
	}
	return s.showChooseRide(w, r, http.StatusOK, values, nil)
}

func (s *Server) showChooseRide(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	p := NewRideChoosePage(choices, values, errs)
	if p.Available = s.live != nil; p.Available {
		if err := s.listRides(p, datesOf(r)); err != nil {
			return err
		}
	}
	return s.show(w, r, status, p)
}

// listRides fills in the rides there are.
func (s *Server) listRides(p *RideChoosePage, d dates) error {
	for _, x := range s.live.Rides() {
		p.Running = append(p.Running, RideLine{ID: x.ID, Title: x.Riding.Setup.Title, For: x.Riding.Setup.Rider.Name, Says: string(x.Engine.Snapshot().Stage)})
	}
	left, err := s.live.Unfinished()
	if err != nil {
		return err
	}
	for _, x := range left {
		p.Left = append(p.Left, rideLine(x, d))
	}
	done, err := s.live.Finished()
	if err != nil {
		return err
	}
	for _, x := range done[:min(len(done), mostRidesListed)] {
		p.Done = append(p.Done, rideLine(x, d))
	}
	return nil
}

const mostRidesListed = 50

func rideLine(x live.Summary, d dates) RideLine {
	t := x.Totals
	says := fmt.Sprintf("%s, %.0f kJ, %.0f W on average", rideTime(t.Moving), t.WorkJ/1000, t.MeanW)
	if x.Bench {
		says += ", on a simulated rig"
	}
	return RideLine{ID: x.ID, Title: x.Title, For: x.Rider, When: d.day(x.Begun) + ", " + d.clock(x.Begun), Says: says}
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
	what = append(what, Option{Value: "own", Label: "Your own sentences"}, Option{Value: "free", Label: "As you like"})
	p.What = append(p.What, f.Field(Field{Name: "what", Label: "What?", Kind: "radio", Options: what}))
	var sessions []Option
	for _, x := range session.Library() {
		y := x.Session()
		sessions = append(sessions, Option{Value: x.ID, Label: y.Name})
		p.Sessions = append(p.Sessions, RideSession{x.ID, y.Name, y.Purpose, y.For, y.Cautions})
	}
	p.What = append(p.What, f.Field(Field{Name: "session", Label: "Which session?", Kind: "select", Options: sessions}))
	if len(choices[store.Course]) > 0 {
		p.What = append(p.What, f.Field(Field{Name: "course", Label: "Which course?", Kind: "select", Options: choices[store.Course]}))
		if len(choices[store.Road]) > 0 {
			p.What = append(p.What, f.Field(Field{Name: "road", Label: "On which road?", Kind: "select", Options: append([]Option{{Label: "An ordinary open road"}}, choices[store.Road]...)}))
		}
	}
	p.Own = f.Field(Field{Name: "own", Label: "Your own session", Kind: "area", Hint: "Such as: warm up 10 min from 50 to 70 % of threshold. A line for each step; three times: … end."})
	p.How = append(p.How,
		f.Field(Field{Name: "devices", Label: "Which devices?", Kind: "radio", Options: []Option{
			{Value: "radio", Label: "What is in the room", Hint: "Trainer and sensors by low-energy radio."},
			{Value: "bench", Label: "A simulated rig", Hint: "A trainer that sets its brake, a power meter, a heart belt and somebody who rides: try it without a bicycle."},
			{Value: "plain bench", Label: "A simulated plain trainer", Hint: "Only a speed sensor."}}}),
		f.Field(Field{Name: "way", Label: "How shall the program be there?", Kind: "radio", Options: []Option{
			{Value: "", Label: "As the rig can"},
			{Value: "controlling", Label: "Set the brake", Hint: "The program tells the trainer what to hold."},
			{Value: "showing", Label: "Only show", Hint: "A plain trainer: you hold wheel speed or watts."},
			{Value: "listening", Label: "Only listen", Hint: "Nothing is ever written to a trainer: another program may hold it."}}}),
		f.Field(Field{Name: "advance", Label: "What moves a course's cues on?", Kind: "select", Options: []Option{
			{Value: "", Label: "The place, by your watts"}, {Value: "time", Label: "The plan's clock"}, {Value: "key", Label: "A key you press"}, {Value: "distance", Label: "The place, put right by you"}}}))
	return p
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
		Today: s.now(), Seed: 1, Draws: rideDraws, Workers: s.workers, Open: service.Texts(parts.files)}
	return q, nil, nil
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

// theRide is a ride that goes on or has just ended.
func (s *Server) theRide(r *http.Request) (*live.Ride, error) {
	if s.live == nil {
		return nil, errNoRides
	}
	x, ok := s.live.Ride(r.PathValue("id"))
	if !ok {
		return nil, notFound("That ride does not go on (any more).")
	}
	return x, nil
}

func (s *Server) ridePage(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	x, ok := s.live.Ride(r.PathValue("id"))
	if !ok {
		return s.rideDone(w, r, r.PathValue("id"))
	}
	select {
	case <-x.Settled():
		return s.rideDone(w, r, x.ID)
	default:
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := NewRidePage(x.Riding.Setup, x.Engine.Snapshot(), units)
	p.Cautions = x.Riding.Warnings
	for _, g := range s.live.Groups() {
		for _, one := range g.Rides() {
			if one.ID == x.ID {
				p.Group = g.ID
			}
		}
	}
	return s.show(w, r, http.StatusOK, p)
}

// NewRidePage is the page of a ride at one instant.
func NewRidePage(set ride.Setup, snap ride.Snapshot, units form.Units) *RidePage {
	p := &RidePage{Base: rideBase(set.Title), ID: set.ID, Of: set.Rider.Name, Way: string(set.Way), Bench: set.Bench, V: NewRideView(snap, units),
		Course: set.Course != nil}
	p.Draw(NewRideStrip(set, nil, snap.Plan))
	if k := set.Course; k != nil {
		p.ByKey, p.ByMetres = k.Advance == ride.ByKey, k.Advance == ride.ByDistance
	}
	for _, k := range missingKinds {
		p.Kinds = append(p.Kinds, Option{Value: fmt.Sprint(int(k.kind)), Label: k.label})
	}
	return p
}

var missingKinds = []struct {
	kind  sensor.Wanted
	label string
}{{sensor.WantTrainer, "trainer"}, {sensor.WantPowerMeter, "power meter"}, {sensor.WantHeartBelt, "heart belt"}, {sensor.WantSpeedCadence, "speed or cadence sensor"}}

// Draw gives the page its strip.
func (p *RidePage) Draw(strip RideStrip) {
	if b, err := json.Marshal(strip); err == nil {
		p.First = string(b)
	}
}

// rideDone shows what came of a ride.
func (s *Server) rideDone(w http.ResponseWriter, r *http.Request, id string) error {
	sum, err := s.live.Summary(id)
	if err != nil {
		return notFound("There is no such ride.")
	}
	p := &RidePage{Base: rideBase(sum.Title), ID: id, Of: sum.Rider, Bench: sum.Bench, Sum: NewRideSum(sum)}
	p.V.Stage = string(ride.Ended)
	if !sum.Ended {
		p.V.Stage = "left"
	}
	for _, kind := range []string{"fit", "csv", "recording"} {
		if _, err := s.live.File(id, kind); err == nil {
			p.Sum.Files = append(p.Sum.Files, [2]string{kind, rideFiles[kind]})
		}
	}
	return s.show(w, r, http.StatusOK, p)
}

var rideFiles = map[string]string{"fit": "FIT activity", "csv": "Table, a row a second (CSV)", "recording": "Everything that was measured"}

// NewRideSum is what came of a ride, in lines.
func NewRideSum(x live.Summary) *RideSum {
	t := x.Totals
	out := &RideSum{Missing: x.Missing}
	add := func(what, value string) { out.Lines = append(out.Lines, [2]string{what, value}) }
	add("Ridden", rideTime(t.Moving))
	add("Work", fmt.Sprintf("%.0f kJ", t.WorkJ/1000))
	add("Power on average", fmt.Sprintf("%.0f W", t.MeanW))
	if t.DistanceM > 0 {
		add("Distance", fmt.Sprintf("%.1f km", t.DistanceM/1000))
	}
	if t.MeanHeart > 0 {
		add("Heart on average", fmt.Sprintf("%.0f", t.MeanHeart))
	}
	if t.MeanCadence > 0 {
		add("Cadence on average", fmt.Sprintf("%.0f rpm", t.MeanCadence))
	}
	return out
}

func (s *Server) rideFile(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	kind := r.PathValue("kind")
	if _, ok := rideFiles[kind]; !ok {
		return notFound("A ride has no such file.")
	}
	path, err := s.live.File(r.PathValue("id"), kind)
	if err != nil {
		return notFound("A ride has no such file.")
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	media := map[string]string{"fit": "application/vnd.ant.fit", "csv": "text/csv; charset=utf-8", "recording": "application/octet-stream"}[kind]
	w.Header().Set("Content-Type", media)
	w.Header().Set("Content-Disposition", `attachment; filename="`+r.PathValue("id")+"."+kind+`"`)
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

// rideLive sends the ride while a page is open: one view a tick.
func (s *Server) rideLive(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	snapshots, stop := x.Engine.Watch()
	defer stop()
	send, err := stream(w)
	if err != nil {
		return err
	}
	for {
		select {
		case snap := <-snapshots:
			if snap.Stage == ride.Ended { // its files are not made yet
				snap.Stage = ride.Ending
			}
			if send(snap.Sequence, NewRideView(snap, units)) != nil {
				return nil // whoever read it is gone
			}
		case <-x.Settled():
			last := NewRideView(x.Engine.Snapshot(), units)
			last.Stage = string(ride.Ended)
			_ = send(last.Seq+1, last)
			return nil
		case <-r.Context().Done():
			return nil
		}
	}
}

// stream begins an answer that goes on, and gives what sends one message.
func stream(w http.ResponseWriter) (send func(id uint64, message any) error, err error) {
	c := http.NewResponseController(w)
	if err := c.SetWriteDeadline(time.Time{}); err != nil {
		return nil, err
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusOK)
	if _, err := fmt.Fprint(w, "retry: 1000\n\n"); err != nil {
		return nil, err
	}
	return func(id uint64, message any) error {
		b, err := json.Marshal(message)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "id: %d\ndata: %s\n\n", id, b); err != nil {
			return err
		}
		return c.Flush()
	}, nil
}

func answerJSON(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	return json.NewEncoder(w).Encode(v)
}

func (s *Server) rideStrip(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	var strip RideStrip
	x.Engine.Do(func(c *ride.Core, _ time.Time) string {
		strip = NewRideStrip(c.Setup(), c.Trace(600), c.Snapshot().Plan)
		return ""
	})
	if strip.Kind == "" {
		strip = NewRideStrip(x.Riding.Setup, nil, 0)
	}
	return answerJSON(w, strip)
}

// rideKey does what a rider asks. A form is led back to the page; the script
// is answered with what could not be done.
func (s *Server) rideKey(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	k, err := typedKey(r)
	if err != nil {
		return err
	}
	why := x.Engine.Key(k)
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		return answerJSON(w, map[string]string{"why": why})
	}
	return s.see(w, r, "/ride/"+x.ID, why)
}

// typedKey is a key as it was sent.
func typedKey(r *http.Request) (ride.Key, error) {
	typed, err := Typed(r)
	if err != nil {
		return ride.Key{}, err
	}
	k := ride.Key{Kind: ride.KeyKind(typed["key"]), Text: typed["text"]}
	if v := typed["value"]; v != "" {
		if _, err := fmt.Sscanf(v, "%g", &k.Value); err != nil {
			return k, refuse(http.StatusBadRequest, "That is no number.")
		}
	}
	return k, nil
}

// rideMissing is the next thing to try for a sensor that does not appear.
func (s *Server) rideMissing(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	var kind int
	if _, err := fmt.Sscan(r.FormValue("kind"), &kind); err != nil {
		return refuse(http.StatusBadRequest, "Say which sensor does not appear.")
	}
	var tried []sensor.Cause
	for _, t := range strings.Split(r.FormValue("tried"), ",") {
		var c int
		if _, err := fmt.Sscan(t, &c); err == nil {
			tried = append(tried, sensor.Cause(c))
		}
	}
	step, ok := x.Missing(sensor.Wanted(kind), "", tried)
	if !ok {
		return answerJSON(w, map[string]any{"over": true, "do": "Nothing more is known to try. The sensor's own manual comes next."})
	}
	return answerJSON(w, map[string]any{"cause": int(step.Cause), "do": step.Do, "why": step.Why})
}

func (s *Server) goOnRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	id := r.PathValue("id")
	sum, err := s.live.Summary(id)
	if err != nil {
		return notFound("There is no such ride.")
	}
	kind := "radio"
	if sum.Bench {
		kind = "bench"
	}
	if _, err := s.live.GoOn(context.WithoutCancel(r.Context()), id, live.Choice{Kind: kind, Seed: uint64(s.now().UnixNano())}); err != nil {
		return err
	}
	return s.see(w, r, "/ride/"+id, "")
}

func (s *Server) setRideAside(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	if err := s.live.SetAside(r.PathValue("id")); err != nil {
		return err
	}
	return s.see(w, r, "/ride/"+r.PathValue("id"), "The ride is ended as it is.")
}

func (s *Server) askDeleteRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	sum, err := s.live.Summary(r.PathValue("id"))
	if err != nil {
		return notFound("There is no such ride.")
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: rideBase("Delete " + sum.Title + "?"), Action: "/ride/" + sum.ID + "/delete", Keep: "/ride/" + sum.ID,
		Button: "Delete this ride", Says: "The ride of " + datesOf(r).day(sum.Begun) + ", " + datesOf(r).clock(sum.Begun) + " and its files are really deleted; there is no way back."})
}

func (s *Server) deleteRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	if err := s.live.Delete(r.PathValue("id")); err != nil {
		return err
	}
	return s.see(w, r, "/ride", "The ride is deleted.")
}
