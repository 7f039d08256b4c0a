package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"chainline/internal/form"
	"chainline/internal/input"
	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
)

// The rig check: choosing what to look at.

// CheckPage asks what to check, and lists the checks there are.
type CheckPage struct {
	Base
	Form    *Form
	Missing []Empty
	Who     []Field
	What    Field
	Of      []RideOf
	More    []Field
	Climb   []Field // a climb outdoors that can judge a meter
	Least   string  // what a climb is to be at least
	Opened  bool    // More has an answer
	Climbed bool    // Climb has one
	Running []RideLine
	Done    []CheckLine
	NoRides bool // this program was started without rides
}

// CheckLine is a check in the list.
type CheckLine struct {
	Path, Title, When, Says string
}

// Template names the page's template.
func (*CheckPage) Template() string { return "check.html" }

func checkBase(title string) Base { return Base{Title: title, Section: "/rigs"} }

func (s *Server) checkRoutes() {
	s.get("/check", s.chooseCheck)
	s.upload("/check", s.beginCheck)
	s.get("/ride/{id}/check", s.checkRide)
	s.get("/ride/{id}/check/live", s.checkLive)
	s.post("/ride/{id}/check/key", s.checkKey)
	s.post("/ride/{id}/check/report", s.reportRide)
	s.get("/ride/{id}/check/end", s.askEndCheck)
	s.post("/ride/{id}/check/end", s.endCheck)
	s.get("/check/{id}", s.checkReport)
	s.get("/check/{id}/json", s.checkJSON)
	s.post("/check/{id}/apply", s.applyCorrection)
	s.post("/check/{id}/take-back", s.takeBackCorrection)
	s.post("/check/{id}/curve/use", s.useCurve)
	s.post("/check/{id}/curve/take-back", s.takeBackCurve)
	s.get("/check/{id}/delete", s.askDeleteCheck)
	s.post("/check/{id}/delete", s.deleteCheck)
}

// checkAsk is what a check is about; kept with a ride until its report is made.
type checkAsk struct {
	Rider   string  `json:"rider"`
	Rig     string  `json:"rig"`
	Host    string  `json:"host,omitempty"`
	WheelMM float64 `json:"wheel_mm,omitempty"`

	Climb      string   `json:"climb,omitempty"` // the text of its file
	OneLeg     []string `json:"one_leg,omitempty"`
	FlywheelKg float64  `json:"flywheel_kg,omitempty"`
	FlywheelSD float64  `json:"flywheel_sd_kg,omitempty"`
}

// settingCheck begins the keys of what is to be known of a ride that is a check.
const settingCheck = "check "

func (s *Server) chooseCheck(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	values := map[string]string{"what": "ride", "devices": "radio"}
	for _, name := range []string{"rider", "rig", "what", "ride", "devices", "fault"} {
		if v := q.Get(name); v != "" {
			values[name] = v
		}
	}
	return s.showChooseCheck(w, r, http.StatusOK, values, nil)
}

func (s *Server) showChooseCheck(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	var rides []Option
	if s.live != nil {
		done, err := s.live.Finished()
		if err != nil {
			return err
		}
		for _, x := range done[:min(len(done), mostRidesListed)] {
			line := rideLine(x, datesOf(r))
			rides = append(rides, Option{Value: x.ID, Label: line.Title + ", " + line.For + ", " + line.When})
		}
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := NewCheckPage(choices, rides, values, errs, units)
	p.NoRides = s.live == nil
	if err := s.listChecks(r, p, choices[store.Rig]); err != nil {
		return err
	}
	return s.show(w, r, status, p)
}

// NewCheckPage asks what to check, given what there is to choose from.
func NewCheckPage(choices map[store.Kind][]Option, rides []Option, values, errs map[string]string, units form.Units) *CheckPage {
	p := &CheckPage{Base: checkBase("Rig check"), Form: NewForm("/check", values, errs)}
	f := p.Form
	for _, need := range []struct {
		kind              store.Kind
		label, says, path string
	}{{store.Rider, "Who rides?", "Who rides is missing: errors are stated at their threshold.", "/riders/new"}, {store.Rig, "Which rig?", "What is to be checked is missing: a rig.", "/rigs/new"}} {
		if len(choices[need.kind]) == 0 {
			p.Missing = append(p.Missing, Empty{Says: need.says, Path: need.path, Link: "Add a " + string(need.kind)})
			continue
		}
		p.Who = append(p.Who, f.Field(Field{Name: string(need.kind), Label: need.label, Kind: "select", Options: choices[need.kind]}))
	}
	what := []Option{{Value: "ride", Label: "Ride the check now", Hint: "Half an hour of easy riding, one instruction at a time. It shows the most."}}
	if len(rides) > 0 {
		what = append(what, Option{Value: "ridden", Label: "Look at a ride of this program"})
	}
	what = append(what, Option{Value: "files", Label: "Look at recordings from elsewhere", Hint: "One, or two that recorded the same ride."})
	p.What = f.Field(Field{Name: "what", Label: "What shall be looked at?", Kind: "radio", Options: what})
	faults := []Option{{Label: "Nothing"}}
	for _, x := range service.BenchFaults {
		faults = append(faults, Option{Value: x.Name, Label: capital(x.Says)})
	}
	p.Of = append(p.Of, RideOf{"ride", []Field{
		f.Field(Field{Name: "devices", Label: "Which devices?", Kind: "radio", Options: []Option{
			{Value: "radio", Label: "What is in the room", Hint: "Trainer and sensors by low-energy radio. All meters you have should be awake."},
			{Value: "bench", Label: "A simulated rig", Hint: "To see what a check is like without a bike."},
			{Value: "at once", Label: "A simulated rig, ridden at once", Hint: "To see what a report looks like."}}}),
		f.Field(Field{Name: "fault", Label: "What is wrong with the simulated rig?", Kind: "select", Options: faults}),
		f.Field(Field{Name: "sprint", Label: "With a sprint of eight seconds", Kind: "check", Hint: "All out. Only for riders who passed the health questions; the check is worth much without it."})}})
	if len(rides) > 0 {
		p.Of = append(p.Of, RideOf{"ridden", []Field{f.Field(Field{Name: "ride", Label: "Which ride?", Kind: "select", Options: rides})}})
	}
	p.Of = append(p.Of, RideOf{"files", []Field{
		f.Field(Field{Name: "first", Label: "Recording", Kind: "file", Accept: checkEndings, Hint: "FIT, GPX or CSV, an archive of one, or a recording of this program."}),
		f.Field(Field{Name: "second", Label: "The same ride as another device recorded it", Kind: "file", Accept: checkEndings, Hint: "If there is one. Its clock may differ."})}})
	p.More = append(p.More,
		f.Field(Field{Name: "wheel", Label: "The wheel's circumference, measured with a tape", Numeric: true, Unit: "mm", Hint: "Mark tyre and floor, roll one turn sitting on it. Leave empty what was not measured."}),
		f.Field(Field{Name: "host", Label: "A host to time the way to", Hint: "If you ride online with others: a name and a port, such as example.org:443. Left empty, nothing is asked of anybody."}))
	climb, more := toldFields(f, units)
	p.Climb, p.More, p.Least = climb, append(p.More, more...), units.Words(service.EasiestClimb)
	p.Opened, p.Climbed = toldOpen(p.More), toldOpen(climb)
	return p
}

// checkEndings are those of what a check can look at.
const checkEndings = ".fit,.gpx,.csv,.tsv,.txt,.zip,.gz,.recording"

// listChecks fills in the checks that go on and those that were made.
func (s *Server) listChecks(r *http.Request, p *CheckPage, rigs []Option) error {
	if s.live != nil {
		for _, x := range s.live.Rides() {
			if set := x.Riding.Setup; set.Session != nil && isCheck(set) {
				p.Running = append(p.Running, RideLine{ID: x.ID, Title: set.Title, For: set.Rider.Name, Says: string(x.Engine.Snapshot().Stage)})
			}
		}
	}
	all, err := s.store.RigChecks(r.Context(), "")
	if err != nil {
		return err
	}
	names := map[string]string{}
	for _, o := range rigs {
		names[o.Value] = o.Label
	}
	d := datesOf(r)
	for _, c := range all[:min(len(all), mostRidesListed)] {
		line := CheckLine{Path: "/check/" + c.ID, Title: names[c.RigID], When: d.day(c.Made) + ", " + d.clock(c.Made)}
		if whole, sheet, err := s.sheetOf(r.Context(), c.ID); err == nil {
			line.Says = inShort(sheet)
			line.When = d.day(whole.Made) + ", " + d.clock(whole.Made)
		}
		p.Done = append(p.Done, line)
	}
	return nil
}

// inShort is a report in one line.
func inShort(c service.CheckSheet) string {
	var all []string
	for _, v := range c.Verdicts {
		all = append(all, v.Source+": "+v.Verdict)
	}
	if len(all) == 0 {
		return "what the watts are worth cannot be said"
	}
	return strings.Join(all, "; ")
}

// beginCheck does what the form asks: begins a ride, or makes a report.
func (s *Server) beginCheck(w http.ResponseWriter, r *http.Request) error {
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	path, heard, errs, err := s.beginCheckOf(r, typed)
	if e, ok := errors.AsType[*problem.Error](err); ok {
		message, hint := problem.ForPerson(e)
		errs, err = map[string]string{"": strings.TrimSpace(capital(message) + ". " + hint)}, nil
	}
	if err != nil {
		return err
	}
	if len(errs) > 0 {
		return s.showChooseCheck(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	return s.see(w, r, path, strings.TrimSpace(heard))
}

func (s *Server) beginCheckOf(r *http.Request, typed map[string]string) (path, heard string, errs map[string]string, err error) {
	units, err := s.units(r.Context())
	if err != nil {
		return "", "", nil, err
	}
	a, heard, errs := checkAskOf(typed, units)
	if len(errs) > 0 {
		return "", "", errs, nil
	}
	path, errs, err = s.beginCheckAs(r, a, typed)
	return path, heard, errs, err
}

func (s *Server) beginCheckAs(r *http.Request, a checkAsk, typed map[string]string) (path string, errs map[string]string, err error) {
	parts, err := s.parts(r.Context(), briefAsk{Rider: a.Rider, Rig: a.Rig})
	if err != nil {
		return "", nil, err
	}
	switch typed["what"] {
	case "ride":
		return s.beginCheckRide(r.Context(), a, parts, typed)
	case "ridden":
		if s.live == nil {
			return "", nil, errNoRides
		}
		c, err := s.reportOf(r.Context(), a, parts, typed["ride"])
		return "/check/" + c.ID, nil, err
	case "files":
		return s.checkFiles(r, a, parts)
	}
	return "", map[string]string{"what": "Choose what shall be looked at."}, nil
}

// wheelKey is the circumference of a wheel.
var wheelKey = input.Key{Form: "number", Unit: "mm", Low: 300, High: 5000}

// checkAskOf is what a form asks for, how it was read where that may be
// doubted, and what is wrong with it.
func checkAskOf(typed map[string]string, units form.Units) (a checkAsk, heard string, errs map[string]string) {
	a = checkAsk{Rider: typed["rider"], Rig: typed["rig"], Host: typed["host"]}
	errs = map[string]string{}
	for kind, id := range map[store.Kind]string{store.Rider: a.Rider, store.Rig: a.Rig} {
		if id == "" {
			errs[string(kind)] = "Choose a " + string(kind) + "."
		}
	}
	mm, wrong := units.Number(wheelKey, typed["wheel"])
	if wrong != "" {
		errs["wheel"] = "A wheel's circumference is 300 to 5000 mm; most are near 2100."
	}
	a.WheelMM = mm
	if h := a.Host; h != "" && (strings.Count(h, ":") == 0 || strings.ContainsAny(h, "/ ") || strings.HasSuffix(h, ":") || strings.HasPrefix(h, ":")) {
		errs["host"] = "Write a name and a port, such as example.org:443, or leave it empty."
	}
	return a, a.told(typed, errs, units), errs
}

// beginCheckRide begins the guided check, or rides it at once on a simulated
// rig.
func (s *Server) beginCheckRide(ctx context.Context, a checkAsk, parts briefParts, typed map[string]string) (path string, errs map[string]string, err error) {
	if s.live == nil {
		return "", nil, errNoRides
	}
	q := service.RideRequest{Begun: s.now(), ID: s.live.NewID(), Brief: s.checkBrief(parts)}
	text, err := service.CheckSession(q, typed["sprint"] != "")
	if e, ok := errors.AsType[*problem.Error](err); ok {
		return "", map[string]string{"sprint": capital(e.Message) + "."}, nil
	} else if err != nil {
		return "", nil, err
	}
	q.Session = text
	riding, err := service.Ride(ctx, q)
	if err != nil {
		return "", nil, err
	}
	choice, errs := checkChoice(string(riding.Setup.Way), typed)
	if len(errs) > 0 {
		return "", errs, nil
	}
	choice.Seed = uint64(s.now().UnixNano())
	riding.Setup.Bench = choice.Kind != "radio"
	b, err := json.Marshal(a)
	if err != nil {
		return "", nil, err
	}
	if err := s.store.SetSetting(ctx, settingCheck+q.ID, string(b)); err != nil {
		return "", nil, err
	}
	if typed["devices"] == "at once" {
		c, err := s.checkAtOnce(ctx, a, parts, riding, choice)
		return "/check/" + c.ID, nil, err
	}
	x, err := s.live.Begin(context.WithoutCancel(ctx), riding, choice)
	if e, ok := errors.AsType[*problem.Error](err); ok {
		return "", map[string]string{"devices": capital(e.Message) + "."}, nil
	} else if err != nil {
		return "", nil, err
	}
	s.guideCheck(x)
	return "/ride/" + q.ID + "/check", nil, nil
}

// checkChoice is what devices a check is ridden on.
func checkChoice(way string, typed map[string]string) (live.Choice, map[string]string) {
	c := live.Choice{Kind: "radio"}
	switch typed["devices"] {
	case "radio":
		return c, nil
	case "bench", "at once":
	default:
		return c, map[string]string{"devices": "Choose which devices."}
	}
	if c.Kind = "bench"; way == "showing" {
		c.Kind = "plain bench"
	}
	if typed["fault"] == "" {
		return c, nil
	}
	change, _, err := service.ChosenFaults([]string{typed["fault"]}, c.Kind == "plain bench")
	if err != nil {
		return c, map[string]string{"fault": "This rig, simulated, cannot have that fault. Choose another."}
	}
	c.Tweak = change
	return c, nil
}

func (s *Server) checkBrief(parts briefParts) service.BriefRequest {
	n := parts.names
	return service.BriefRequest{Rider: n[store.Rider], Rig: n[store.Rig], Today: s.now(), Seed: 1, Draws: 1, Workers: s.workers, Open: service.Texts(parts.files)}
}

// checkFiles reads one or two recordings that were sent.
func (s *Server) checkFiles(r *http.Request, a checkAsk, parts briefParts) (path string, errs map[string]string, err error) {
	var look looked
	for _, field := range []string{"first", "second"} {
		sent, head, err := r.FormFile(field)
		if err != nil || head.Filename == "" {
			if field == "first" {
				return "", map[string]string{"first": "No recording came with it; choose a file."}, nil
			}
			continue
		}
		data, err := io.ReadAll(io.LimitReader(sent, recording.MaxStored))
		sent.Close()
		if err != nil {
			return "", nil, err
		}
		name := courseFilename(head.Filename)
		rec, losses, err := service.ReadRecording(name, data)
		if err != nil {
			return "", map[string]string{field: oneLine(err)}, nil
		}
		look.looks = append(look.looks, service.CheckLook{Recording: rec, Name: name})
		look.from = append(append(look.from, name), losses...)
	}
	c, err := s.makeCheck(r.Context(), a, parts, look)
	return "/check/" + c.ID, nil, err
}

// checkAgain is the form for a check of the same rider and rig.
func checkAgain(rider, rig string) string {
	return "/check?" + url.Values{"rider": {rider}, "rig": {rig}}.Encode()
}

func checkTitle(rig string) string { return fmt.Sprintf("Check of %s", rig) }
