package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// ReadyPage is the table for the host of an event.
type ReadyPage struct {
	Base
	Back   string
	Says   string
	Rows   []ReadyLine
	Absent []string // who could not be looked at, and why
	Empty  Empty

	Making string // how far the briefs for all are; empty: none are being made
	Form   *Form  // to make them; nil: none is missing
	Course Field
	Button string
}

// Template names the page's template.
func (*ReadyPage) Template() string { return "calendar-ready.html" }

// ReadyLine is one rider of the table.
type ReadyLine struct {
	service.ReadyRow
	Path string // of the rider
	Rig  string // its name
	Make string // path to make a brief; empty: there is one

	riderID, rigID string
}

// RaceResultsPage takes result lists of an event and shows what they came to.
type RaceResultsPage struct {
	Base
	Back      string
	Form      *Form
	File      Field
	Me, Names Field
	Course    Field
	Ride      Field // empty kind: no ride is kept
	Sheets    []ResultsShown
}

// Template names the page's template.
func (*RaceResultsPage) Template() string { return "calendar-results.html" }

// ResultsShown is one list in words.
type ResultsShown struct {
	ID, Added string
	Says      string // of the field
	Mine      string
	Learnt    string // what a forecast takes from it
	Demands   []DemandLine
	Moments   []MomentLine // what the stretches of the course asked of me
	Notes     []string
}

// MomentLine is a stretch of a race in words.
type MomentLine struct {
	What, Where, Lasts, Watts, Of string
	Hardest                       bool
}

// DemandLine is what one category asked for.
type DemandLine struct{ Category, Results, Finish, Range, WPerKg, Front string }

func (s *Server) raceRoutes() {
	s.get("/events/{id}/ready", s.eventReady)
	s.post("/events/{id}/ready", s.makeStartListBriefs)
	s.get("/events/{id}/results", s.eventResults)
	s.upload("/events/{id}/results", s.addResults)
	s.post("/events/{id}/results/{list}/delete", s.deleteResults)
	s.workRoutes()
	s.racingRoutes()
	s.startRoutes()
	s.companyRoutes()
	s.racesRoutes()
}

// eventReady shows who of the riders kept here is ready.
func (s *Server) eventReady(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	courses, err := s.store.Objects(r.Context(), store.Course)
	if err != nil {
		return err
	}
	p := &ReadyPage{Base: Base{Title: "Who is ready for " + o.Name, Section: "/events"}, Back: "/events/" + o.ID,
		Empty: Empty{Says: "Nobody can be looked at yet.", Why: "A start list is made of the riders and rigs that are kept here.", Path: "/riders", Link: "To the riders"}}
	// What goes on is asked before the table is read: a brief that is made in
	// between is then at worst said to be under way.
	making, failed, running := s.startLists.says(o.ID)
	p.Making = making
	if p.Rows, p.Absent, err = s.readyLines(r.Context(), o, datesOf(r)); err != nil {
		return err
	}
	ready, missing := 0, 0
	for _, l := range p.Rows {
		if l.Ready {
			ready++
		}
		if l.Make != "" {
			missing++
		}
	}
	are := "are"
	if ready == 1 {
		are = "is"
	}
	p.Says = fmt.Sprintf("%d of %d %s ready.", ready, len(p.Rows), are)
	p.Absent = append(p.Absent, failed...)
	if missing > 0 && !running && len(courses) > 0 {
		p.Ask(o.ID, missing, courseOptions(courses))
	}
	return s.show(w, r, http.StatusOK, p)
}

// Ask offers to make the briefs that are missing.
func (p *ReadyPage) Ask(event string, missing int, courses []Option) {
	p.Form = NewForm("/events/"+event+"/ready", nil, nil)
	p.Course = p.Form.Field(Field{Name: "course", Label: "Course", Kind: "select", Options: courses})
	p.Button = fmt.Sprintf("Make %d briefs", missing)
	if missing == 1 {
		p.Button = "Make the brief that is missing"
	}
}

func courseOptions(all []store.Object) []Option {
	var out []Option
	for _, o := range all {
		out = append(out, Option{Value: o.ID, Label: o.Name})
	}
	return out
}

// readyLines look at every rider kept here, each on the rig of their latest
// brief for the event, else of their latest brief, else the first one.
func (s *Server) readyLines(ctx context.Context, event store.Object, d dates) (lines []ReadyLine, absent []string, err error) {
	riders, err := s.store.Objects(ctx, store.Rider)
	if err != nil {
		return nil, nil, err
	}
	rigs, err := s.store.Objects(ctx, store.Rig)
	if err != nil || len(rigs) == 0 {
		return nil, nil, err
	}
	for _, rider := range riders {
		line, err := s.readyLine(ctx, event, rider, rigs, d)
		if e, ok := errors.AsType[*problem.Error](err); ok {
			absent = append(absent, rider.Name+": "+e.Message)
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		lines = append(lines, line)
	}
	return lines, absent, nil
}

func (s *Server) readyLine(ctx context.Context, event, rider store.Object, rigs []store.Object, d dates) (ReadyLine, error) {
	briefs, err := s.store.Briefs(ctx, rider.ID)
	if err != nil {
		return ReadyLine{}, err
	}
	rig, made := rigs[0], time.Time{}
	for i := len(briefs) - 1; i >= 0; i-- { // the newest counts
		for _, x := range rigs {
			if briefs[i].RigID == x.ID && (briefs[i].EventID == event.ID || made.IsZero()) {
				rig = x
			}
		}
		if briefs[i].EventID == event.ID {
			made = briefs[i].Made
		}
	}
	st := service.Starter{Rider: "rider", Rig: "rig", Brief: made}
	checks, err := s.store.RigChecks(ctx, rig.ID)
	if err != nil {
		return ReadyLine{}, err
	}
	if len(checks) > 0 {
		st.Checked = checks[0].Made
	}
	key := courseHashOf(event.Text, rider.Text, rig.Text, s.now().Format(time.DateOnly), st.Brief.String(), st.Checked.String(), fmt.Sprint(d))
	sheet, err := s.readySheets.of(key, func() (service.ReadySheet, error) {
		return service.Ready(service.ReadyRequest{Event: "event", Now: s.now(), Dates: d.service(), Starters: []service.Starter{st},
			Open: service.Texts(map[string]string{"event": event.Text, "rider": rider.Text, "rig": rig.Text})})
	})
	if err != nil {
		return ReadyLine{}, err
	}
	line := ReadyLine{ReadyRow: sheet.Riders[0], Path: "/riders/" + rider.ID, Rig: rig.Name, riderID: rider.ID, rigID: rig.ID}
	line.Rider = rider.Name
	if made.IsZero() {
		line.Make = "/briefs/new?rider=" + rider.ID + "&rig=" + rig.ID + "&event=" + event.ID
	}
	return line, nil
}

// NewRaceResultsPage is the form with what was typed, and the lists kept.
func NewRaceResultsPage(action string, courses []Option, values, errs map[string]string) *RaceResultsPage {
	f := NewForm(action, values, errs)
	return &RaceResultsPage{Form: f,
		Course: f.Field(Field{Name: "course", Label: "Course it was ridden on", Kind: "select", Options: append([]Option{{Label: "None of these, or not known"}}, courses...), Hint: "The next forecast on that course draws its fields from these times."}),
		File:   f.Field(Field{Name: "file", Label: "Result list as CSV", Kind: "file", Accept: ".csv,.tsv,.txt", Hint: "Drop it anywhere in this frame, or choose it. It has a column time, gap or place, and name or number, category, watts, W/kg if there are any."}),
		Me:     f.Field(Field{Name: "me", Label: "Which one are you?", Hint: "Your name or start number as the list has it. Empty if you did not ride."}),
		Names: f.Field(Field{Name: "names", Label: "Keep the names, numbers and watts of the others too", Kind: "check",
			Hint: "Without it they are forgotten as soon as you are found."})}
}

func (s *Server) eventResults(w http.ResponseWriter, r *http.Request) error {
	return s.showResults(w, r, http.StatusOK, nil, nil)
}

func (s *Server) showResults(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	all, err := s.store.RaceResults(r.Context(), o.ID)
	if err != nil {
		return err
	}
	courses, err := s.store.Objects(r.Context(), store.Course)
	if err != nil {
		return err
	}
	if values == nil {
		values = map[string]string{}
		if kept, err := s.store.Forecasts(r.Context(), o.ID); err == nil && len(kept) > 0 {
			values["course"] = kept[0].CourseID
		}
	}
	p := NewRaceResultsPage("/events/"+o.ID+"/results", courseOptions(courses), values, errs)
	p.Base, p.Back = Base{Title: "Results of " + o.Name, Section: "/events"}, "/events/"+o.ID
	d := datesOf(r)
	rides, err := s.rideOptions(r.Context(), d)
	if err != nil {
		return err
	}
	p.AskRide(rides)
	for _, x := range all {
		var sheet service.ResultsSheet
		if err := json.Unmarshal(x.Sheet, &sheet); err != nil {
			return err
		}
		shown := NewResultsShown(x.ID, d.day(x.Added), sheet)
		for _, c := range courses {
			if c.ID == sheet.CourseID && sheet.CourseID != "" {
				shown.Learnt = "The next forecast on " + c.Name + " draws its fields from these times."
			}
		}
		p.Sheets = append(p.Sheets, shown)
	}
	return s.show(w, r, status, p)
}

// NewResultsShown puts results into words.
func NewResultsShown(id, added string, s service.ResultsSheet) ResultsShown {
	out := ResultsShown{ID: id, Added: added, Notes: s.Notes, Learnt: "On which course it was ridden is not known, so no forecast learns from it."}
	out.Says = fmt.Sprintf("%d finished, %d did not. The front group, within five seconds of the fifth, had %d.", s.Field.Finishers, s.Field.Out, s.Field.Front)
	if s.Category != "" {
		out.Says = "Category " + s.Category + ": " + out.Says
	}
	if s.Me != nil {
		out.Mine = s.Me.Sentence
	}
	for _, q := range s.Demands {
		l := DemandLine{Category: q.Category, Results: fmt.Sprint(q.Results)}
		if l.Category == "" {
			l.Category = "all"
		}
		if q.FinishS.Results > 0 {
			l.Finish = form.Duration(q.FinishS.Median)
			l.Range = form.Duration(q.FinishS.P10) + " to " + form.Duration(q.FinishS.P90)
		}
		if q.WPerKg.Results > 0 {
			l.WPerKg = fmt.Sprintf("%.2f", q.WPerKg.Median)
			if q.WPerKg.High95 > 0 {
				l.WPerKg += fmt.Sprintf(" (%.2f to %.2f)", q.WPerKg.Low95, q.WPerKg.High95)
			}
		}
		if q.Front.Results > 0 {
			l.Front = fmt.Sprintf("%.2f", q.Front.Median)
		}
		out.Demands = append(out.Demands, l)
	}
	for _, m := range s.Moments {
		l := MomentLine{What: m.What, Where: fmt.Sprintf("%.1f to %.1f km", m.FromM/1000, m.ToM/1000), Lasts: lastsWords(m.Seconds), Watts: fmt.Sprintf("%.0f W", m.Watts), Of: fmt.Sprintf("%.2f of your mean", m.OfMean), Hardest: m.Hardest}
		if m.OfPossible > 0 {
			l.Of += fmt.Sprintf(", %.0f %% of what you could hold so long when fresh", 100*m.OfPossible)
		}
		out.Moments = append(out.Moments, l)
	}
	return out
}

// isCourse is whether a course is kept, or none was chosen.
func (s *Server) isCourse(ctx context.Context, id string) bool {
	c, err := s.store.Object(ctx, id)
	return id == "" || err == nil && c.Kind == store.Course
}

// AskRide offers the rides that are kept.
func (p *RaceResultsPage) AskRide(rides []Option) {
	if len(rides) > 0 {
		p.Ride = p.Form.Field(Field{Name: "ride", Label: "Your ride of it", Kind: "select", Options: append([]Option{{Label: "None of these"}}, rides...), Hint: "With it and its course the sheet says what the decisive stretches asked of you in watts."})
	}
}

// mostRidesOffered is of how many rides a form lets one choose.
const mostRidesOffered = 40

// rideOptions are the newest rides that are kept.
func (s *Server) rideOptions(ctx context.Context, d dates) ([]Option, error) {
	if s.library == nil {
		return nil, nil
	}
	all, err := s.library.Rides(ctx, "", service.RideFilter{Limit: mostRidesOffered})
	if err != nil {
		return nil, err
	}
	var out []Option
	for _, x := range all {
		name := x.Title
		if name == "" {
			name = x.File
		}
		if o, err := s.store.Object(ctx, x.RiderID); err == nil {
			name = o.Name + ", " + name
		}
		out = append(out, Option{Value: x.ID, Label: name + ", " + d.day(x.Start)})
	}
	return out, nil
}

// raceRide puts a kept ride of the race, and what it was ridden by, into a
// request about results; again is what is wrong with the choice.
func (s *Server) raceRide(ctx context.Context, rideID, courseID string, q *service.ResultsRequest, files map[string]string) (again string, err error) {
	if s.library == nil {
		return "No rides are kept here.", nil
	}
	if courseID == "" {
		return "Choose the course too: without it nobody knows where you were.", nil
	}
	row, err := s.library.Ride(ctx, rideID)
	if errors.Is(err, store.ErrNotFound) {
		return "That ride is not there any more; choose another.", nil
	}
	if err != nil {
		return "", err
	}
	file, err := s.library.RideOriginal(ctx, rideID)
	if err != nil {
		return "", err
	}
	q.Recording = "ride/" + file.Name
	files[q.Recording] = string(file.Bytes)
	course, err := s.store.Object(ctx, courseID)
	if err != nil {
		return "", err
	}
	name, text := briefFile(course)
	q.Course, files[name] = name, text
	if row.RiderID == "" || row.RigID == "" {
		return "", nil
	}
	for id, to := range map[string]*string{row.RiderID: &q.Rider, row.RigID: &q.Rig} {
		o, err := s.store.Object(ctx, id)
		if err != nil {
			return "", err
		}
		name, text := briefFile(o)
		*to, files[name] = name, text
	}
	return "", nil
}

// raceMe takes whoever of the riders kept here is called as I am in the list
// for me, since a minor's W/kg are left out.
func (s *Server) raceMe(ctx context.Context, q *service.ResultsRequest, files map[string]string) error {
	if q.Rider != "" {
		return nil
	}
	riders, err := s.store.Objects(ctx, store.Rider)
	if file, text := service.Called(q.Me, riders); file != "" {
		q.Rider, files[file] = file, text
	}
	return err
}

// resultsWrong is the field that a fault of a list belongs to, and what to say.
func resultsWrong(e *problem.Error, q service.ResultsRequest) (field, says string) {
	switch {
	case strings.HasPrefix(e.Message, "--me"):
		return "me", strings.TrimPrefix(e.Message, "--me: ") + "."
	case q.Recording != "" && strings.HasPrefix(e.Message, q.Recording):
		return "ride", "The ride" + strings.TrimPrefix(e.Message, q.Recording) + "."
	}
	return "file", e.Message + "."
}

func (s *Server) addResults(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	again := func(field, says string) error {
		return s.showResults(w, r, http.StatusUnprocessableEntity, typed, map[string]string{field: says})
	}
	sent, head, err := r.FormFile("file")
	if err != nil || head.Filename == "" {
		return again("file", "No file came with it; choose a result list as CSV.")
	}
	defer sent.Close()
	data, err := io.ReadAll(sent)
	if err != nil {
		return err
	}
	name := service.CalendarName(head.Filename)
	if !s.isCourse(r.Context(), typed["course"]) {
		return again("course", "That course is not there any more; choose another.")
	}
	files := map[string]string{name: string(data), "event.yaml": o.Text}
	q := service.ResultsRequest{File: name, Event: "event.yaml", Me: typed["me"], Names: typed["names"] != "", Now: s.now(), Open: service.Texts(files)}
	if typed["ride"] != "" {
		says, err := s.raceRide(r.Context(), typed["ride"], typed["course"], &q, files)
		if err != nil {
			return err
		}
		if says != "" {
			return again("ride", says)
		}
	}
	if err := s.raceMe(r.Context(), &q, files); err != nil {
		return err
	}
	sheet, err := service.Results(r.Context(), q)
	if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
		return again(resultsWrong(e, q))
	}
	if err != nil {
		return err
	}
	sheet.CourseID = typed["course"]
	text, err := json.Marshal(sheet)
	if err != nil {
		return err
	}
	if _, err := s.store.PutRaceResults(r.Context(), store.RaceResults{EventID: o.ID, Sheet: text}); err != nil {
		if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
			return again("file", e.Message+".")
		}
		return err
	}
	return s.see(w, r, "/events/"+o.ID+"/results", "The results are kept.")
}

func (s *Server) deleteResults(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	err = s.store.DeleteRaceResults(r.Context(), r.PathValue("list"))
	if errors.Is(err, store.ErrNotFound) {
		return notFound("There are no such results. Perhaps they were removed.")
	}
	if err != nil {
		return err
	}
	return s.see(w, r, "/events/"+o.ID+"/results", "The results are removed.")
}
