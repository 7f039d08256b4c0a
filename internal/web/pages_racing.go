package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"chainline/estimate"
	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Forecasts keeps what simulated races came to.
type Forecasts interface {
	Forecasts(ctx context.Context, eventID string) ([]store.Forecast, error)
	PutForecast(ctx context.Context, f store.Forecast) error
}

// RacingPage puts all riders of a start list into fields.
type RacingPage struct {
	Base
	Back, When string
	Empty      Empty // the event is not one with fields
	Going      *WorkingPage
	Says       string
	Rows       []RacingRow
	Groups     []RacingGroup
	Unproved   string
	Absent     []string

	Form         *Form
	Course, Road Field
	Who          []RacingWho
	Button       string
}

// Template names the page's template.
func (*RacingPage) Template() string { return "racing.html" }

// RacingRow is one rider of the table, in watts and words.
type RacingRow struct {
	Path, Name, Field, Close, Chance, Sure, Why, Stale string
	New                                                bool
	Sheet                                              service.RaceSheet
}

// RacingGroup is who rides in a field.
type RacingGroup struct{ Field, Count, Names string }

// RacingWho asks whether a rider rides, and on what.
type RacingWho struct{ Rides, Rig Field }

// Numbers of a forecast in the app, as the command's.
const (
	raceRaces    = 60 // for each of three shelters
	raceStarters = 40
)

// noField stands where no field is advised.
const noField = "none"

func racesBase(title string) Base { return Base{Title: title, Section: "/races"} }

func (s *Server) racingRoutes() {
	s.get("/events/{id}/fields", s.racing)
	s.post("/events/{id}/fields", s.makeForecasts)
	s.get("/events/{id}/fields/{rider}", s.racingRider)
	s.post("/events/{id}/fields/{rider}", s.makeForecast)
	s.get("/events/{id}/fields/{rider}/sheet", s.raceSheetPage)
	s.get("/events/{id}/fields/{rider}/card", s.raceCard)
}

// racedEvent is an event as races need it.
type racedEvent struct {
	store.Object
	file input.EventFile
	kept []store.Forecast
}

func (s *Server) racedEvent(r *http.Request) (racedEvent, error) {
	o, err := s.keptEvent(r)
	if err != nil {
		return racedEvent{}, err
	}
	e := racedEvent{Object: o}
	if e.file, err = input.ReadEvent("event", strings.NewReader(o.Text)); err != nil {
		return e, err
	}
	e.kept, err = s.store.Forecasts(r.Context(), o.ID)
	return e, err
}

func (e racedEvent) path() string { return "/events/" + e.ID + "/fields" }

func (e racedEvent) about() string { return "races of " + e.ID }

// of is the kept forecast of a rider.
func (e racedEvent) of(rider string) (store.Forecast, bool) {
	for _, f := range e.kept {
		if f.RiderID == rider {
			return f, true
		}
	}
	return store.Forecast{}, false
}

// fields are the names of the event's categories.
func (e racedEvent) fields() []string {
	var names []string
	for _, c := range e.file.Categories {
		names = append(names, c.Name)
	}
	return names
}

// limits are what the event says of each field.
func (e racedEvent) limits() map[string]string {
	all := map[string]string{}
	for _, c := range e.file.Categories {
		all[c.Name] = categoryLimits(c)
	}
	return all
}

// when is the start in words.
func (e racedEvent) when(d dates) string {
	if !e.file.Start.Known {
		return ""
	}
	out := d.weekday(e.file.Start.Value)
	if e.file.HasClock {
		out += ", " + d.clock(e.file.Start.Value)
		if e.file.TimeZone != "" {
			out += " in " + e.file.TimeZone
		}
	}
	return out
}

// apart is what is ridden otherwise than as a bunch in fields.
func (e racedEvent) apart() Empty {
	switch e.file.Kind {
	case "time-trial":
		return Empty{Says: "A time trial is ridden alone: there is no field to choose.", Why: "The plan of the brief is all there is to it. Briefs for all of the start list are made in one go.", Path: "/events/" + e.ID + "/ready", Link: "Briefs for all"}
	case "handicap":
		return Empty{Says: "In a handicap slower riders start first: there is one start list and no fields.", Path: "/starts/new?event=" + e.ID, Link: "Make the start list"}
	case "group":
		return Empty{Says: "A ride together has no fields.", Why: "What the group can ride as one, who shelters and where to regroup is reckoned for riders and courses.", Path: "/riding-together", Link: "Plan the ride together"}
	}
	return Empty{}
}

func (s *Server) racing(w http.ResponseWriter, r *http.Request) error {
	e, err := s.racedEvent(r)
	if err != nil {
		return err
	}
	return s.showRacing(w, r, http.StatusOK, e, nil, nil)
}

// showRacing shows the table and the form, with what was typed.
func (s *Server) showRacing(w http.ResponseWriter, r *http.Request, status int, e racedEvent, values, errs map[string]string) error {
	p := &RacingPage{Base: racesBase("Who rides in which field? " + e.Name), Back: "/events/" + e.ID, When: e.when(datesOf(r)), Empty: e.apart(), Unproved: "Never checked against a real race."}
	if p.Empty.Says != "" {
		return s.show(w, r, status, p)
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	for _, need := range []struct {
		kind       store.Kind
		says, path string
	}{{store.Rider, "Nobody is kept here yet who could race.", "/riders/new"}, {store.Rig, "What is ridden on is missing: a rig.", "/rigs/new"}, {store.Course, "Where the race is ridden is missing: a course.", "/courses/new"}} {
		if len(choices[need.kind]) == 0 {
			p.Empty = Empty{Says: need.says, Path: need.path, Link: "Add a " + string(need.kind)}
			return s.show(w, r, status, p)
		}
	}
	if values == nil {
		if values, err = s.whoRides(r.Context(), e, choices[store.Rider]); err != nil {
			return err
		}
	}
	if x := s.works.on(e.about()); x != nil {
		p.Going = &WorkingPage{ID: x.id, Doing: x.progress()}
	}
	if faults, ok := s.raceFaults.Load(e.ID); ok {
		for _, f := range faults.([]string) { // of whoever is still kept here
			if slices.ContainsFunc(choices[store.Rider], func(o Option) bool { return strings.HasPrefix(f, o.Label+": ") }) {
				p.Absent = append(p.Absent, f)
			}
		}
	}
	if p.Rows, err = s.racingRows(r, e, choices[store.Rider]); err != nil {
		return err
	}
	p.Sort(e.fields())
	p.Ask(e.path(), choices, values, errs)
	return s.show(w, r, status, p)
}

// Ask asks who rides, on what and where.
func (p *RacingPage) Ask(action string, choices map[store.Kind][]Option, values, errs map[string]string) {
	p.Form = NewForm(action, values, errs)
	p.Course = p.Form.Field(Field{Name: "course", Label: "Course", Kind: "select", Options: choices[store.Course]})
	p.Road = p.Form.Field(Field{Name: "road", Label: "Ridden on", Kind: "select", Options: append([]Option{{Label: "An ordinary open road"}}, choices[store.Road]...)})
	for _, o := range choices[store.Rider] {
		p.Who = append(p.Who, RacingWho{p.Form.Field(Field{Name: "rides." + o.Value, Label: o.Label, Kind: "check"}),
			p.Form.Field(Field{Name: "rig." + o.Value, Label: "Rig of " + o.Label, Kind: "select", Options: choices[store.Rig]})})
	}
	p.Button = "Simulate their races"
}

// Sort puts the rows into the order of the event's fields and says what they
// come to.
func (p *RacingPage) Sort(fields []string) {
	at := func(field string) int {
		if i := slices.Index(fields, field); i >= 0 {
			return i
		}
		return len(fields)
	}
	slices.SortStableFunc(p.Rows, func(a, b RacingRow) int { return at(a.Field) - at(b.Field) })
	steered := 0
	for _, row := range p.Rows {
		if row.Sheet.Steered {
			steered++
		}
		if u := row.Sheet.Unproved; u != "" && u != p.Unproved {
			p.Unproved = u
		}
		if n := len(p.Groups); n > 0 && p.Groups[n-1].Field == row.Field {
			p.Groups[n-1].Names += ", " + row.Name
			continue
		}
		p.Groups = append(p.Groups, RacingGroup{Field: row.Field, Names: row.Name})
	}
	for i, g := range p.Groups {
		p.Groups[i].Count = riderCount(1 + strings.Count(g.Names, ", "))
	}
	out := 0
	for _, row := range p.Rows {
		if row.Field == noField {
			out++
		}
	}
	p.Says = fmt.Sprintf("%s in %s.", riderCount(len(p.Rows)-out), fieldCount(len(p.Groups)-min(out, 1)))
	if out > 0 {
		p.Says += fmt.Sprintf(" For %d no field is advised.", out)
	}
	if steered > 0 {
		p.Says += fmt.Sprintf(" %s steered to a friendlier field than others like them: they are new to races.", map[bool]string{true: "One is", false: fmt.Sprintf("%d are", steered)}[steered == 1])
	}
}

func riderCount(n int) string {
	if n == 1 {
		return "1 rider"
	}
	return fmt.Sprintf("%d riders", n)
}

func fieldCount(n int) string {
	if n == 0 {
		return "no field"
	}
	if n == 1 {
		return "one field"
	}
	return fmt.Sprintf("%d fields", n)
}

// whoRides is how the form is filled before anybody typed: who raced the event
// last, else everybody.
func (s *Server) whoRides(ctx context.Context, e racedEvent, riders []Option) (map[string]string, error) {
	values := map[string]string{}
	if len(e.kept) > 0 {
		values["course"], values["road"] = e.kept[0].CourseID, e.kept[0].RoadID
	}
	for _, o := range riders {
		f, raced := e.of(o.Value)
		if raced || len(e.kept) == 0 {
			values["rides."+o.Value] = "yes"
		}
		rig := f.RigID
		if !raced {
			var err error
			if rig, err = s.rigToRace(ctx, o.Value, e.ID); err != nil {
				return nil, err
			}
		}
		values["rig."+o.Value] = rig
	}
	return values, nil
}

// rigToRace is what a rider is likely to ride on: the rig of their latest brief for
// an event, else of their latest brief, else the one whose watts most of what
// is known of them came from.
func (s *Server) rigToRace(ctx context.Context, riderID, eventID string) (string, error) {
	briefs, err := s.store.Briefs(ctx, riderID)
	if err != nil {
		return "", err
	}
	latest := ""
	for _, b := range briefs { // the newest first
		if b.RigID != "" && b.EventID == eventID && eventID != "" {
			return b.RigID, nil
		}
		if latest == "" {
			latest = b.RigID
		}
	}
	if latest != "" {
		return latest, nil
	}
	rider, err := s.store.Object(ctx, riderID)
	if err != nil {
		return "", err
	}
	rigs, err := s.store.Objects(ctx, store.Rig)
	if err != nil || len(rigs) == 0 {
		return "", err
	}
	from := map[string]int{}
	if f, err := input.ReadRider("rider", strings.NewReader(rider.Text)); err == nil {
		for _, x := range f.Evidence {
			if x.Source != "" {
				from[x.Source]++
			}
		}
	}
	best, most := rigs[0].ID, 0
	for _, o := range rigs {
		if f, err := input.ReadRig("rig", strings.NewReader(o.Text)); err == nil && from[f.Rig.Source.Name] > most {
			best, most = o.ID, from[f.Rig.Source.Name]
		}
	}
	return best, nil
}

// racingRows are the kept forecasts in words.
func (s *Server) racingRows(r *http.Request, e racedEvent, riders []Option) ([]RacingRow, error) {
	var rows []RacingRow
	for _, o := range riders {
		f, ok := e.of(o.Value)
		if !ok {
			continue
		}
		var sheet service.RaceSheet
		if err := json.Unmarshal(f.Sheet, &sheet); err != nil {
			return nil, err
		}
		p, rows2, err := s.raceParts(r.Context(), e, briefAsk{Rider: f.RiderID, Rig: f.RigID, Course: f.CourseID, Road: f.RoadID, Event: e.ID})
		if err != nil {
			return nil, err
		}
		row := NewRacingRow(o.Label, sheet)
		if why := service.Withheld(sheet, p.files[p.names[store.Rider]], s.raceDay(e)); why != "" {
			row = RacingRow{Name: o.Label, Field: noField, Chance: "–", Why: why}
		} else if s.raceKey(e, p, rows2) != f.Key {
			row.Stale = "Something it rests on has changed since; simulate again."
		}
		row.Path = e.path() + "/" + o.Value
		rows = append(rows, row)
	}
	return rows, nil
}

// NewRacingRow puts a sheet into one line of the table.
func NewRacingRow(name string, sheet service.RaceSheet) RacingRow {
	row := RacingRow{Name: name, Field: sheet.Enter, Sure: unbroken(sheet.Sure), Why: unbroken(sheet.Reason), New: sheet.Newcomer, Sheet: sheet}
	if row.Field == "" {
		row.Field = noField
	}
	if sheet.NotSure {
		row.Close = "a close call"
	}
	for _, c := range sheet.Categories {
		if c.Name == sheet.Enter && c.Forecast {
			row.Chance = fmt.Sprintf("%s ± %.0f", estimate.Chance(c.Chance), 100*c.ChanceSE)
		}
	}
	return row
}

// unbroken keeps numbers and their units on one line.
func unbroken(s string) string {
	return strings.NewReplacer(" %", "\u00a0%", " W ", "\u00a0W ", " W;", "\u00a0W;").Replace(s)
}
