package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/session"
)

// GroupNewPage asks for a session ridden by several at the same time.
type GroupNewPage struct {
	Base
	Form    *Form
	Session Field
	Rows    []GroupRow
	Groups  []RideLine // that go on
	Missing string
}

// GroupRow asks for one rider of a group.
type GroupRow struct{ Rider, Rig, Devices Field }

// GroupPage is a group session as its host sees it.
type GroupPage struct {
	Base
	ID     string
	Riders []GroupLine
}

// GroupLine is one rider of a group in words.
type GroupLine struct {
	ID     string  `json:"id"`
	Name   string  `json:"name"`
	Stage  string  `json:"stage"`
	Watts  string  `json:"watts"`
	Asked  string  `json:"asked"`
	Words  string  `json:"words"`
	Off    float64 `json:"off"` // share of the line, 0.5 is on target
	Lost   string  `json:"lost"`
	Step   string  `json:"step"`
	Target bool    `json:"target"` // something is asked
}

// Template names the page's template.
func (*GroupNewPage) Template() string { return "group-new.html" }

// Template names the page's template.
func (*GroupPage) Template() string { return "group.html" }

// mostGroup riders on one machine. Our judgement.
const mostGroup = 8

func (s *Server) groupRoutes() {
	s.get("/group", s.newGroup)
	s.post("/group", s.beginGroup)
	s.get("/group/{id}", s.groupPage)
	s.get("/group/{id}/live", s.groupLive)
	s.post("/group/{id}/key", s.groupKey)
}

// NewGroupNewPage asks who rides, given what there is to choose from.
func NewGroupNewPage(choices map[store.Kind][]Option, values, errs map[string]string) *GroupNewPage {
	p := &GroupNewPage{Base: rideBase("Ride a session together"), Form: NewForm("/group", values, errs)}
	var sessions []Option
	for _, x := range session.Library() {
		sessions = append(sessions, Option{Value: x.ID, Label: x.Session().Name})
	}
	p.Session = p.Form.Field(Field{Name: "session", Label: "Which session?", Kind: "select", Options: sessions, Hint: "Each rides it scaled to their own threshold, heart rate or feel."})
	if len(choices[store.Rider]) == 0 || len(choices[store.Rig]) == 0 {
		p.Missing = "A group needs riders and rigs; add them first."
		return p
	}
	nobody := append([]Option{{Label: "Nobody"}}, choices[store.Rider]...)
	devices := []Option{{Value: "bench", Label: "A simulated rig"}, {Value: "radio", Label: "What is in the room"}}
	for i := range mostGroup {
		if i >= 4 && values[fmt.Sprintf("rider.%d", i-1)] == "" {
			break
		}
		at := func(name string) string { return fmt.Sprintf("%s.%d", name, i) }
		p.Rows = append(p.Rows, GroupRow{
			p.Form.Field(Field{Name: at("rider"), Label: fmt.Sprintf("Rider %d", i+1), Kind: "select", Options: nobody}),
			p.Form.Field(Field{Name: at("rig"), Label: "Rig", Kind: "select", Options: choices[store.Rig]}),
			p.Form.Field(Field{Name: at("devices"), Label: "Devices", Kind: "select", Options: devices})})
	}
	return p
}

func (s *Server) newGroup(w http.ResponseWriter, r *http.Request) error {
	return s.showNewGroup(w, r, http.StatusOK, map[string]string{"session": "endurance-short"}, nil)
}

func (s *Server) showNewGroup(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	if s.live == nil {
		return errNoRides
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	p := NewGroupNewPage(choices, values, errs)
	for _, g := range s.live.Groups() {
		p.Groups = append(p.Groups, RideLine{ID: g.ID, Title: g.Title, Says: fmt.Sprintf("%d riders", len(g.Rides()))})
	}
	return s.show(w, r, status, p)
}

func (s *Server) beginGroup(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	x, ok := session.Find(typed["session"])
	errs := map[string]string{}
	if !ok {
		errs["session"] = "Choose a session of the list."
	}
	var asks []briefAsk
	var views []session.View
	var rows []int
	for i := range mostGroup {
		at := fmt.Sprintf("rider.%d", i)
		if typed[at] == "" || len(errs) > 0 {
			continue
		}
		ask := briefAsk{Rider: typed[at], Rig: typed[fmt.Sprintf("rig.%d", i)]}
		scaling, _, err := s.scaling(r.Context(), ask.Rider, ask.Rig)
		if err != nil {
			errs[at] = err.Error()
			continue
		}
		asks, views, rows = append(asks, ask), append(views, scaling.View), append(rows, i)
	}
	var joint session.Joint
	if len(asks) > 0 && len(errs) == 0 { // what would end for each at another moment ends for all at one
		if joint, err = session.Together(x.Session(), views); err != nil {
			errs["session"] = err.Error()
		}
	}
	type one struct {
		riding service.Riding
		choice live.Choice
	}
	var all []one
	for k, ask := range asks {
		at := fmt.Sprintf("rider.%d", rows[k])
		if len(errs) > 0 {
			break
		}
		parts, err := s.parts(r.Context(), ask)
		if err != nil {
			errs[at] = err.Error()
			continue
		}
		q := service.RideRequest{Session: session.Print(joint.Session), Begun: s.now(), WaitForKey: true, Brief: service.BriefRequest{Rider: parts.names[store.Rider],
			Rig: parts.names[store.Rig], Today: s.now(), Seed: 1, Workers: s.workers, Taught: parts.taught, Open: service.Texts(parts.files)}, Of: ride.Of{Rider: ask.Rider, Rig: ask.Rig}}
		riding, err := service.Ride(r.Context(), q)
		if e, ok := errors.AsType[*problem.Error](err); ok {
			errs[at] = e.Message
			continue
		} else if err != nil {
			return err
		}
		all = append(all, one{riding, live.Choice{Kind: typed[fmt.Sprintf("devices.%d", rows[k])], Seed: uint64(s.now().UnixNano()) + uint64(k), Name: fmt.Sprintf("rig-%d", k+1)}})
	}
	if len(all) == 0 && len(errs) == 0 {
		errs["rider.0"] = "Choose at least one rider."
	}
	if len(errs) > 0 {
		return s.showNewGroup(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	var ids []string
	for _, o := range all {
		o.riding.Setup.ID = s.live.NewID()
		if _, err := s.live.Begin(context.WithoutCancel(r.Context()), o.riding, o.choice); err != nil {
			for _, id := range ids { // nobody rides alone what was meant for all
				if x, ok := s.live.Ride(id); ok {
					x.Engine.Key(ride.Key{Kind: ride.KeyEnd})
				}
			}
			return s.showNewGroup(w, r, http.StatusUnprocessableEntity, typed, map[string]string{"": err.Error()})
		}
		ids = append(ids, o.riding.Setup.ID)
	}
	g, err := s.live.Group(x.Session().Name, ids)
	if err != nil {
		return err
	}
	return s.see(w, r, "/group/"+g.ID, strings.Join(joint.Notes, " "))
}

func (s *Server) theGroup(r *http.Request) (*live.Group, error) {
	if s.live == nil {
		return nil, errNoRides
	}
	g, ok := s.live.FindGroup(r.PathValue("id"))
	if !ok {
		return nil, notFound("That group does not ride (any more).")
	}
	return g, nil
}

func (s *Server) groupPage(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGroup(r)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &GroupPage{Base: rideBase(g.Title), ID: g.ID, Riders: NewGroupLines(g.Status())})
}

// NewGroupLines puts the riders of a group into words.
func NewGroupLines(all []live.GroupRider) []GroupLine {
	var out []GroupLine
	for _, x := range all {
		l := GroupLine{ID: x.ID, Name: x.Name, Stage: string(x.Stage), Words: x.Words, Watts: fmt.Sprintf("%.0f W", x.Watts), Off: 0.5,
			Step: fmt.Sprintf("step %d, %s", x.Step+1, rideTime(x.IntoS))}
		if len(x.Lost) > 0 {
			l.Lost = strings.Join(x.Lost, ", ") + " lost"
		}
		if x.Target > 0 {
			l.Target, l.Asked = true, fmt.Sprintf("%.0f W asked", x.Target)
			l.Off = max(0, min(1, 0.5+x.Off/160))
		}
		out = append(out, l)
	}
	return out
}

// groupEvery is how often a host's page is sent what is new.
const groupEvery = 500 * time.Millisecond

func (s *Server) groupLive(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGroup(r)
	if err != nil {
		return err
	}
	send, err := stream(w)
	if err != nil {
		return err
	}
	tick := time.NewTicker(groupEvery)
	defer tick.Stop()
	for n := uint64(1); ; n++ {
		if send(n, NewGroupLines(g.Status())) != nil {
			return nil // whoever read it is gone
		}
		select {
		case <-tick.C:
		case <-r.Context().Done():
			return nil
		}
	}
}

// groupKey does what the host asks of all, or of one.
func (s *Server) groupKey(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGroup(r)
	if err != nil {
		return err
	}
	k, wrong, err := typedKey(r)
	if err != nil {
		return err
	}
	var to []string
	if id := r.PostFormValue("to"); id != "" {
		to = []string{id}
	}
	says := wrong
	if wrong == "" {
		says = groupWhy(g.Key(k, to...))
	}
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		return answerJSON(w, map[string]string{"why": says})
	}
	return s.see(w, r, "/group/"+g.ID, says)
}

// groupWhy says who refused a key, and why.
func groupWhy(refused map[string]string) string {
	var why []string
	for _, name := range sortedKeys(refused) {
		why = append(why, name+": "+refused[name])
	}
	return strings.Join(why, " ")
}
