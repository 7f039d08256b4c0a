package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// StartLists keeps the start lists of handicaps.
type StartLists interface {
	StartLists(ctx context.Context) ([]store.StartList, error)
	StartList(ctx context.Context, id string) (store.StartList, error)
	PutStartList(ctx context.Context, l store.StartList) (store.StartList, error)
	DeleteStartList(ctx context.Context, id string) error
}

// startRaces are simulated to tell the chances of a start list.
const startRaces = 400

// rideOff is by how much of its length a ride may differ from the course to
// count as one over it. Our judgement.
const rideOff = 0.06

// startAsk is what a start list was made from. Files holds the texts of riders,
// road and event as they were, so that arrivals are read against the same list
// later; of the course only its hash.
type startAsk struct {
	Riders     []string          `json:"riders"`
	Names      []string          `json:"names"`
	Course     string            `json:"course"`
	CourseName string            `json:"course_name"`
	CourseHash string            `json:"course_hash"`
	Road       bool              `json:"road,omitempty"`
	Event      string            `json:"event,omitempty"`
	Bunches    int               `json:"bunches,omitempty"`
	Before     []float64         `json:"before,omitempty"`
	Files      map[string]string `json:"files"`
	Day        string            `json:"day,omitempty"`   // of whose capacity it is, like 2026-12-03; lists kept before this was: the day they were made
	After      string            `json:"after,omitempty"` // the list whose arrivals led to this one
}

func (s *Server) startRoutes() {
	s.get("/starts", s.startListsPage)
	s.get("/starts/new", s.newStart)
	s.post("/starts/new", s.makeStart)
	s.get("/starts/{id}", s.startPage)
	s.get("/starts/{id}/csv", s.startCSV)
	s.post("/starts/{id}/arrivals", s.startArrivals)
	s.get("/starts/{id}/delete", s.askDeleteStart)
	s.post("/starts/{id}/delete", s.deleteStart)
}

// StartsPage lists the start lists.
type StartsPage struct {
	Base
	Empty Empty
	Lists []StartRow
}

// Template names the page's template.
func (*StartsPage) Template() string { return "starts.html" }

// StartRow is one start list.
type StartRow struct{ ID, Title, Made, Says string }

func (s *Server) startListsPage(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.StartLists(r.Context())
	if err != nil {
		return err
	}
	p := &StartsPage{Base: racesBase("Handicap starts"), Empty: Empty{Says: "There is no start list yet.", Why: "In a handicap slower riders leave first, in few bunches, so that everybody may be first home.", Path: "/starts/new", Link: "Make a start list"}}
	for _, l := range all {
		var sheet service.HandicapSheet
		if err := json.Unmarshal(l.Sheet, &sheet); err != nil {
			return err
		}
		p.Lists = append(p.Lists, StartRow{l.ID, l.Title, datesOf(r).day(l.Made), fmt.Sprintf("%s in %s, %s", riderCount(len(l.Riders)), bunchCount(len(sheet.Bunches)), sheet.Course)})
	}
	return s.show(w, r, http.StatusOK, p)
}

func bunchCount(n int) string {
	if n == 1 {
		return "one bunch"
	}
	return fmt.Sprintf("%d bunches", n)
}

// StartNewPage asks for a start list.
type StartNewPage struct {
	Base
	Missing []Empty
	Form    *Form
	Top     []Field // name, course, road, bunches, event, what is carried over
	Riders  []Field
}

// Template names the page's template.
func (*StartNewPage) Template() string { return "start-new.html" }

func (s *Server) newStart(w http.ResponseWriter, r *http.Request) error {
	values := map[string]string{"event": r.URL.Query().Get("event"), "title": "Handicap"}
	riders, err := s.store.Objects(r.Context(), store.Rider)
	if err != nil {
		return err
	}
	for _, o := range riders {
		values["rides."+o.ID] = "yes"
	}
	if o, err := s.store.Object(r.Context(), values["event"]); err == nil {
		values["title"] = o.Name
	}
	return s.showNewStart(w, r, http.StatusOK, values, nil)
}

func (s *Server) showNewStart(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	lists, err := s.store.StartLists(r.Context())
	if err != nil {
		return err
	}
	var earlier []Option
	for _, l := range lists {
		earlier = append(earlier, Option{Value: l.ID, Label: l.Title + ", " + datesOf(r).day(l.Made)})
	}
	p := NewStartNewPage(choices, earlier, values, errs)
	return s.show(w, r, status, p)
}

// NewStartNewPage asks for a start list, given what there is to choose from.
func NewStartNewPage(choices map[store.Kind][]Option, earlier []Option, values, errs map[string]string) *StartNewPage {
	p := &StartNewPage{Base: racesBase("A handicap start"), Form: NewForm("/starts/new", values, errs)}
	if len(choices[store.Rider]) < 2 {
		p.Missing = append(p.Missing, Empty{Says: "A handicap needs two riders at least.", Path: "/riders/new", Link: "Add a rider"})
	}
	if len(choices[store.Course]) == 0 {
		p.Missing = append(p.Missing, Empty{Says: "Where it is ridden is missing: a course.", Path: "/courses/new", Link: "Add a course"})
	}
	or := func(first string, of []Option) []Option { return append([]Option{{Label: first}}, of...) }
	ask := func(q Field) { p.Top = append(p.Top, p.Form.Field(q)) }
	ask(Field{Name: "title", Label: "What the list is called"})
	ask(Field{Name: "course", Label: "Course", Kind: "select", Options: choices[store.Course]})
	ask(Field{Name: "road", Label: "Ridden on", Kind: "select", Options: or("An ordinary open road", choices[store.Road])})
	ask(Field{Name: "event", Label: "For an event?", Kind: "select", Options: or("No event", choices[store.Event])})
	bunches := []Option{{Label: "At most five"}}
	for _, n := range []int{1, 2, 3, 4, 6, 8, 12, 20} {
		bunches = append(bunches, Option{Value: strconv.Itoa(n), Label: fmt.Sprint("At most ", n)})
	}
	ask(Field{Name: "bunches", Label: "Start bunches", Kind: "select", Options: bunches})
	if len(earlier) > 0 {
		ask(Field{Name: "carry", Label: "Carry over what arrivals taught", Kind: "select", Options: or("Nothing", earlier)})
	}
	for _, o := range choices[store.Rider] {
		p.Riders = append(p.Riders, p.Form.Field(Field{Name: "rides." + o.Value, Label: o.Label, Kind: "check"}))
	}
	return p
}

func (s *Server) makeStart(w http.ResponseWriter, r *http.Request) error {
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	a, errs, err := s.startAsked(r.Context(), typed)
	if err != nil {
		return err
	}
	if typed["title"] == "" {
		errs["title"] = "A name is needed to find it again."
	}
	if len(errs) > 0 {
		return s.showNewStart(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	a.Day = s.now().Format(time.DateOnly)
	return s.reckonStart(w, r, a, typed["title"], nil, "/starts/new")
}

// startAsked fetches what a start list is made from, all at one moment.
func (s *Server) startAsked(ctx context.Context, typed map[string]string) (a startAsk, errs map[string]string, err error) {
	errs, a.Files = map[string]string{}, map[string]string{}
	riders, err := s.store.Objects(ctx, store.Rider)
	if err != nil {
		return a, errs, err
	}
	for _, o := range riders {
		if typed["rides."+o.ID] != "" {
			a.Files[fmt.Sprintf("rider-%d.yaml", len(a.Riders))] = o.Text
			a.Riders, a.Names = append(a.Riders, o.ID), append(a.Names, o.Name)
		}
	}
	if n := len(a.Riders); n < 2 || n > service.MostRiders {
		errs[""] = fmt.Sprintf("Tick two riders at least and %d at most.", service.MostRiders)
	}
	get := func(name string, kind store.Kind) (store.Object, bool) {
		o, e := s.store.Object(ctx, typed[name])
		if errors.Is(e, store.ErrNotFound) || e == nil && o.Kind != kind {
			errs[name] = "That " + string(kind) + " is not there any more; choose another."
			return o, false
		}
		err = errors.Join(err, e)
		return o, e == nil
	}
	if typed["course"] == "" {
		errs["course"] = "Choose a course."
	} else if o, ok := get("course", store.Course); ok {
		_, text := briefFile(o)
		a.Course, a.CourseName, a.CourseHash = o.ID, o.Name, courseHashOf(text)
	}
	if typed["road"] != "" {
		if o, ok := get("road", store.Road); ok {
			a.Files["road.yaml"], a.Road = o.Text, true
		}
	}
	if typed["event"] != "" {
		if o, ok := get("event", store.Event); ok {
			a.Files["event.yaml"], a.Event = o.Text, o.ID
		}
	}
	if n := typed["bunches"]; n != "" {
		if a.Bunches, _ = strconv.Atoi(n); a.Bunches < 1 || a.Bunches > 20 {
			errs["bunches"] = "Choose one of these."
		}
	}
	if typed["carry"] != "" && err == nil {
		err = s.carryOver(ctx, &a, typed["carry"], errs)
	}
	return a, errs, err
}

// carryOver takes what arrivals taught of riders from another list.
func (s *Server) carryOver(ctx context.Context, a *startAsk, id string, errs map[string]string) error {
	old, sheet, err := s.startList(ctx, id)
	if errors.Is(err, store.ErrNotFound) {
		errs["carry"] = "That list is not there any more; choose another."
		return nil
	}
	if err != nil {
		return err
	}
	a.Before = make([]float64, len(a.Riders))
	for i, rider := range a.Riders {
		if k := slices.Index(old.Riders, rider); k >= 0 && k < len(sheet.Taught) {
			a.Before[i] = sheet.Taught[k]
		}
	}
	return nil
}

// startList is a kept list opened.
func (s *Server) startList(ctx context.Context, id string) (a startAsk, sheet service.HandicapSheet, err error) {
	l, err := s.store.StartList(ctx, id)
	if err == nil {
		err = errors.Join(json.Unmarshal(l.Request, &a), json.Unmarshal(l.Sheet, &sheet))
	}
	return a, sheet, err
}

// reckonStart begins to make a start list; with arrivals, the one for next
// time.
func (s *Server) reckonStart(w http.ResponseWriter, r *http.Request, a startAsk, title string, arrived []float64, back string) error {
	return s.startWork(w, r, "The start list is being made", "start list "+courseHashOf(a.Riders...), back, func(ctx context.Context, say func(string)) (string, error) {
		o, err := s.store.Object(ctx, a.Course)
		if errors.Is(err, store.ErrNotFound) {
			return "", problem.Bad("the course of this list is not there any more")
		}
		if err != nil {
			return "", err
		}
		name, text := briefFile(o)
		if courseHashOf(text) != a.CourseHash {
			return "", problem.Bad("the course has changed since this list was made, so arrivals cannot be read against it")
		}
		day, err := time.Parse(time.DateOnly, a.Day)
		if err != nil {
			return "", err
		}
		files := map[string]string{name: text}
		q := service.GroupRequest{Names: a.Names, Courses: []string{name}, Bunches: a.Bunches, Races: startRaces, Today: day, Seed: 1, Workers: s.workers,
			Before: a.Before, ArrivedS: arrived, Progress: say}
		for f, text := range a.Files {
			files[f] = text
		}
		for i := range a.Riders {
			q.Riders = append(q.Riders, fmt.Sprintf("rider-%d.yaml", i))
		}
		if a.Road {
			q.Road = "road.yaml"
		}
		if a.Files["event.yaml"] != "" {
			q.Event = "event.yaml"
		}
		q.Open = service.Texts(files)
		sheet, err := service.Handicap(ctx, q)
		if err != nil {
			return "", err
		}
		sheet.Course = a.CourseName
		a.Before = sheet.Taught
		request, err := json.Marshal(a)
		if err != nil {
			return "", err
		}
		result, err := json.Marshal(sheet)
		if err != nil {
			return "", err
		}
		kept, err := s.store.PutStartList(ctx, store.StartList{Title: title, Riders: a.Riders, Request: request, Sheet: result})
		return "/starts/" + kept.ID, err
	})
}

func (s *Server) keptStart(r *http.Request) (store.StartList, startAsk, service.HandicapSheet, error) {
	l, err := s.store.StartList(r.Context(), r.PathValue("id"))
	if errors.Is(err, store.ErrNotFound) {
		return l, startAsk{}, service.HandicapSheet{}, notFound("There is no such start list. Perhaps it was deleted, or one of its riders was.")
	}
	if err != nil {
		return l, startAsk{}, service.HandicapSheet{}, err
	}
	var a startAsk
	var sheet service.HandicapSheet
	err = errors.Join(json.Unmarshal(l.Request, &a), json.Unmarshal(l.Sheet, &sheet))
	return l, a, sheet, err
}

func (s *Server) startPage(w http.ResponseWriter, r *http.Request) error {
	return s.showStart(w, r, http.StatusOK, nil, nil)
}

func (s *Server) showStart(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	l, a, sheet, err := s.keptStart(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &StartPage{Base: racesBase(l.Title), Path: "/starts/" + l.ID, Made: datesOf(r).day(l.Made)}
	p.Fill(sheet, u)
	if a.After != "" {
		p.After = "/starts/" + a.After
	}
	if a.Event != "" {
		p.Event = "/events/" + a.Event
		if e, err := input.ReadEvent("event", strings.NewReader(a.Files["event.yaml"])); err == nil && e.Start.Known && e.HasClock {
			p.Clocks(e.Start.Value, e.TimeZone, datesOf(r))
		}
	}
	if values == nil {
		if values, p.Taken, err = s.arrivedRides(r.Context(), l, a, sheet); err != nil {
			return err
		}
	}
	p.AskArrivals(a.Names, values, errs)
	return s.show(w, r, status, p)
}

// arrivedRides are the arrivals that kept rides tell: of each rider the newest
// ride on the course since the list was made, counted from their own start.
func (s *Server) arrivedRides(ctx context.Context, l store.StartList, a startAsk, sheet service.HandicapSheet) (values map[string]string, taken int, err error) {
	values = map[string]string{}
	if s.library == nil {
		return values, 0, nil
	}
	gaps := map[int]float64{}
	for _, b := range sheet.Bunches {
		for _, x := range b.Riders {
			gaps[x.Number-1] = b.GapS
		}
	}
	for i, rider := range a.Riders {
		all, err := s.library.Rides(ctx, rider, service.RideFilter{})
		if err != nil {
			return nil, 0, err
		}
		for _, x := range all { // the newest first; a simulated rig says nothing of a rider
			if !x.Bench && x.CourseID == a.Course && x.Start.After(l.Made) && x.Seconds > 0 && math.Abs(x.Metres/sheet.LengthM-1) < rideOff {
				values[fmt.Sprintf("arrive.%d", i)] = clockOf(gaps[i] + x.Seconds)
				taken++
				break
			}
		}
	}
	return values, taken, nil
}

// startArrivals makes the list for next time from who came when.
func (s *Server) startArrivals(w http.ResponseWriter, r *http.Request) error {
	l, a, _, err := s.keptStart(r)
	if err != nil {
		return err
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	errs, arrived, home := map[string]string{}, make([]float64, len(a.Riders)), 0
	for i := range arrived {
		arrived[i] = math.NaN()
		name := fmt.Sprintf("arrive.%d", i)
		if typed[name] == "" {
			continue
		}
		t, ok := service.ArrivalSeconds(typed[name])
		if !ok || t <= 0 {
			errs[name] = "Write minutes and seconds after the first start, like 31:20."
			continue
		}
		arrived[i] = t
		home++
	}
	if home < 2 && len(errs) == 0 {
		errs[""] = "Two riders at least must have come home."
	}
	if len(errs) > 0 {
		return s.showStart(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	a.After = l.ID
	if a.Day == "" {
		a.Day = l.Made.Format(time.DateOnly)
	}
	title := l.Title
	if !strings.HasSuffix(title, ", next time") {
		title += ", next time"
	}
	return s.reckonStart(w, r, a, title, arrived, "/starts/"+l.ID)
}

// startCSV is the list for a spreadsheet.
func (s *Server) startCSV(w http.ResponseWriter, r *http.Request) error {
	l, _, sheet, err := s.keptStart(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	c := csv.NewWriter(&b)
	_ = c.Write([]string{"bunch", "start_gap_s", "start", "rider", "chance_of_first", "chance_se", "arrives_s", "arrives_low80_s", "arrives_high80_s"})
	for i, x := range sheet.Bunches {
		for _, y := range x.Riders {
			_ = c.Write([]string{strconv.Itoa(i + 1), fmt.Sprintf("%.0f", x.GapS), clockOf(x.GapS), plainCell(y.Name), fmt.Sprintf("%.3f", y.Chance), fmt.Sprintf("%.3f", y.SE),
				fmt.Sprintf("%.0f", y.Arrives.Mean), fmt.Sprintf("%.0f", y.Arrives.Low80), fmt.Sprintf("%.0f", y.Arrives.High80)})
		}
	}
	c.Flush()
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": "start list " + l.Title + ".csv"}))
	h.Set("Cache-Control", "no-store")
	_, err = w.Write(b.Bytes())
	return err
}

// plainCell keeps a spreadsheet from taking a name for a formula.
func plainCell(s string) string {
	if s != "" && strings.ContainsRune("=+-@", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (s *Server) askDeleteStart(w http.ResponseWriter, r *http.Request) error {
	l, _, _, err := s.keptStart(r)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: racesBase("Delete " + l.Title + "?"), Action: "/starts/" + l.ID + "/delete", Keep: "/starts/" + l.ID, Button: "Delete it",
		Says: "The start list is really deleted, with what arrivals taught in it. The riders and the course stay."})
}

func (s *Server) deleteStart(w http.ResponseWriter, r *http.Request) error {
	l, _, _, err := s.keptStart(r)
	if err != nil {
		return err
	}
	if err := s.store.DeleteStartList(r.Context(), l.ID); err != nil {
		return err
	}
	return s.see(w, r, "/starts", l.Title+" is deleted.")
}
