package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/sensor"
)

// RidePage is a ride that goes on, or has just ended.
type RidePage struct {
	Base
	ID       string
	Of       string // rider
	Way      string
	V        RideView
	First    string   // RideStrip as JSON, so that the first paint has it
	Plan     []string // the strip in words
	Canned   bool     // of the gallery: nothing is asked of the program
	Course   bool
	Free     bool
	Steps    bool // there is a next one to go to by key
	ByKey    bool // cues go by key
	ByMetres bool // or by a confirmed distance
	Unit     string
	Per      string // m in a unit
	Bench    bool
	Group    string       // path of the group's page
	Phrases  []RidePhrase // that can be said to a live group by key; nil alone
	Cautions []string
	Kinds    []Option // of sensors that may be missing
	Step     *RideTry // for one that is
	Sum      *RideSum
}

// RidePhrase is a fixed phrase with the key that says it.
type RidePhrase struct{ Key, Value, Words string }

// RideTry is one thing to try for a sensor that does not appear.
type RideTry struct {
	Kind  string `json:"-"`
	Tried string `json:"-"` // causes so far, this one too
	Cause int    `json:"cause,omitempty"`
	Do    string `json:"do"`
	Why   string `json:"why,omitempty"`
}

// Template names the page's template.
func (*RidePage) Template() string { return "ride.html" }

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
	p.Draw(stripOf(x, units))
	if r.FormValue("kind") != "" {
		step, err := rideTry(x, r)
		if err != nil {
			return err
		}
		p.Step = &step
	}
	p.Cautions = x.Riding.Warnings
	for _, g := range s.live.Groups() {
		for _, one := range g.Rides() {
			if one.ID == x.ID {
				p.Group = "/group/" + g.ID
			}
		}
	}
	if path := s.togetherPath(x.ID); path != "" {
		p.Group = path
	}
	return s.show(w, r, http.StatusOK, p)
}

// togetherPath is the page of the live group a ride is in; empty if none.
func (s *Server) togetherPath(ride string) string {
	for _, g := range s.live.Meetings() {
		for _, one := range g.Rides() {
			if one.ID == ride {
				return "/together/" + g.ID()
			}
		}
	}
	for _, g := range s.live.Guests() {
		for _, one := range g.Rides() {
			if one.ID == ride {
				return "/join/" + g.ID()
			}
		}
	}
	return ""
}

// NewRidePage is the page of a ride at one instant.
func NewRidePage(set ride.Setup, snap ride.Snapshot, units form.Units) *RidePage {
	p := &RidePage{Base: rideBase(set.Title), ID: set.ID, Of: set.Rider.Name, Way: string(set.Way), Bench: set.Bench, V: NewRideView(set, snap, units),
		Course: set.Course != nil, Free: set.Course == nil && set.Session == nil, Steps: set.Session != nil}
	p.Dark = true
	strip := NewRideStrip(set, nil, snap.Plan).In(units)
	p.Draw(strip)
	if p.Unit, p.Per = "km", "1000"; units == form.Imperial {
		p.Unit, p.Per = "mi", "1609.344"
	}
	if k := set.Course; k != nil {
		p.ByKey, p.ByMetres = k.Advance == ride.ByKey, k.Advance == ride.ByDistance
		p.Steps = p.ByKey
	}
	if snap.Group != nil {
		for i, words := range ride.Phrases {
			p.Phrases = append(p.Phrases, RidePhrase{Key: fmt.Sprint(i + 1), Value: fmt.Sprint(i), Words: words})
		}
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

// Draw gives the page its strip, and says it in words.
func (p *RidePage) Draw(strip RideStrip) {
	p.Plan = strip.Lines()
	if b, err := json.Marshal(strip); err == nil {
		p.First = string(b)
	}
}

// rideLive sends the ride while a page is open: one view a tick.
func (s *Server) rideLive(w http.ResponseWriter, r *http.Request) error {
	return s.whileOpen(w, r, func(x *live.Ride, units form.Units) func(ride.Snapshot) any {
		return func(snap ride.Snapshot) any { return NewRideView(x.Riding.Setup, snap, units) }
	})
}

// whileOpen sends what is to be shown of a ride at every tick, until the ride
// is settled or the page is gone. Until its files are made, an ended ride is
// ending.
func (s *Server) whileOpen(w http.ResponseWriter, r *http.Request, showing func(x *live.Ride, units form.Units) func(ride.Snapshot) any) error {
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
	show := showing(x, units)
	for {
		select {
		case snap := <-snapshots:
			if snap.Stage == ride.Ended {
				snap.Stage = ride.Ending
			}
			if send(snap.Sequence, show(snap)) != nil {
				return nil // whoever read it is gone
			}
		case <-x.Settled():
			last := x.Engine.Snapshot()
			last.Stage = ride.Ended
			_ = send(last.Sequence+1, show(last))
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

// stripOf is a ride's strip with what was ridden so far.
func stripOf(x *live.Ride, u form.Units) RideStrip {
	var strip RideStrip
	x.Engine.Do(func(c *ride.Core, _ time.Time) string {
		strip = NewRideStrip(c.Setup(), c.Trace(600), c.Snapshot().Plan)
		return ""
	})
	if strip.Kind == "" { // it has ended
		strip = NewRideStrip(x.Riding.Setup, nil, 0)
	}
	return strip.In(u)
}

func (s *Server) rideStrip(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	return answerJSON(w, stripOf(x, units))
}

// rideKey does what a rider asks. A form is led back to the page; the script
// is answered with what could not be done.
func (s *Server) rideKey(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	k, why, err := typedKey(r)
	if err != nil {
		return err
	}
	if why == "" {
		why = x.Engine.Key(k)
	}
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		return answerJSON(w, map[string]string{"why": why})
	}
	return s.see(w, r, "/ride/"+x.ID, why)
}

// typedKey is a key as it was sent; why is what is wrong with what was typed
// beside it.
func typedKey(r *http.Request) (k ride.Key, why string, err error) {
	typed, err := Typed(r)
	if err != nil {
		return k, "", err
	}
	k = ride.Key{Kind: ride.KeyKind(typed["key"]), Text: typed["text"]}
	for _, v := range []struct {
		name string
		per  float64
	}{{"value", 1}, {"at", per(typed["per"])}} {
		text := strings.ReplaceAll(strings.TrimSpace(typed[v.name]), ",", ".")
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return k, fmt.Sprintf("“%.20s” is no number.", typed[v.name]), nil
		}
		k.Value = x * v.per
	}
	switch { // an empty field means nothing, not nought
	case k.Kind == ride.KeyConfirm && typed["at"] == "" && typed["value"] == "":
		why = "Write where you are."
	case k.Kind == ride.KeyCount && typed["value"] == "":
		why = "Write how many seconds, 0 to 3600."
	case k.Kind == ride.KeySay && k.Text == "":
		why = "Write what to say."
	}
	return k, why, nil
}

// per is how many metres are in the unit of a distance that was typed.
func per(unit string) float64 {
	if x, err := strconv.ParseFloat(unit, 64); err == nil && x > 0 && x < 1e4 {
		return x
	}
	return 1
}

// rideMissing is the next thing to try for a sensor that does not appear.
func (s *Server) rideMissing(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	step, err := rideTry(x, r)
	if err != nil {
		return err
	}
	return answerJSON(w, step)
}

func rideTry(x *live.Ride, r *http.Request) (RideTry, error) {
	kind, err := strconv.Atoi(r.FormValue("kind"))
	if err != nil {
		return RideTry{}, refuse(http.StatusBadRequest, "Say which sensor does not appear.")
	}
	var tried []sensor.Cause
	for t := range strings.SplitSeq(r.FormValue("tried"), ",") {
		if c, err := strconv.Atoi(t); err == nil {
			tried = append(tried, sensor.Cause(c))
		}
	}
	step, ok := x.Missing(sensor.Wanted(kind), "", tried)
	if !ok && len(tried) == 0 {
		return RideTry{Kind: r.FormValue("kind"), Do: "Nothing is wrong with it that is seen from here: look for it in the list."}, nil
	}
	if !ok {
		return RideTry{Kind: r.FormValue("kind"), Do: "Nothing more is known to try. The sensor's own manual comes next."}, nil
	}
	return RideTry{Kind: r.FormValue("kind"), Cause: int(step.Cause), Do: step.Do, Why: step.Why,
		Tried: strings.Trim(r.FormValue("tried")+","+strconv.Itoa(int(step.Cause)), ",")}, nil
}

// askEndRide is for whoever has no script: an end is asked for twice.
func (s *Server) askEndRide(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: rideBase("End " + x.Riding.Setup.Title + "?"), Action: "/ride/" + x.ID + "/end", Keep: "/ride/" + x.ID,
		Button: "End this ride", Stay: "Ride on", Says: "What was ridden is kept, and its files are made. An ended ride cannot be gone on with."})
}

func (s *Server) endRide(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	return s.see(w, r, "/ride/"+x.ID, x.Engine.Key(ride.Key{Kind: ride.KeyEnd}))
}
