package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

// The rides that are kept: the list, and what is done with one of them.

var errNoLibrary = refuse(http.StatusNotFound, "This program was started without a library of rides.")

// RidesPage lists rides by date.
type RidesPage struct {
	Base
	Empty   Empty
	Rider   *Field // whose rides; nil where there is one rider
	Months  []RideMonth
	Older   string // path of the rest; empty if these are all
	Waiting string // says that a ride belongs to nobody
	Imports []ImportLine
	Copy    *Form
	Folder  Field
	Seasons []RiderLink
}

// RiderLink is a way to something of a rider.
type RiderLink struct{ Path, Name string }

// RideMonth is a month of rides.
type RideMonth struct {
	Name  string
	Sum   string
	Rides []KeptRide
}

// KeptRide is a ride in the list.
type KeptRide struct {
	Path, Title, When, Who string
	Shape                  template.HTML
	Says                   []string
	Asks                   string // what is still to be said of it
}

// ImportLine is an import in a list.
type ImportLine struct{ Path, Says string }

// Template names the page's template.
func (*RidesPage) Template() string { return "rides.html" }

func (s *Server) libraryRoutes() {
	s.get("/rides", s.rides)
	s.post("/rides/copies", s.copyFolder)
	s.get("/import", s.askImport)
	s.handleStream("POST /import", s.beginImport)
	s.get("/import/{id}", s.importing)
	s.post("/import/{id}/stop", s.stopImport)
	s.post("/import/{id}/go-on", s.goOnImport)
	s.get("/share/open", s.askOpenShare)
	s.upload("/share/open", s.openShare)
	s.get("/rides/{id}", s.debrief)
	s.post("/rides/{id}/harder", s.answerRide)
	s.post("/rides/{id}/scales", s.weighRide)
	s.post("/rides/{id}/whose", s.assignRide)
	s.post("/rides/{id}/change", s.changeRide)
	s.get("/rides/{id}/file/{kind}", s.keptFile)
	s.get("/rides/{id}/share", s.shareRide)
	s.get("/rides/{id}/delete", s.askDeleteKept)
	s.post("/rides/{id}/delete", s.deleteKept)
	s.get("/season/{rider}", s.season)
	s.get("/coach", s.coach)
}

// ridesListed on a page.
const ridesListed = 60

func (s *Server) rides(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	folder, err := s.library.CopyFolder(r.Context())
	if err != nil {
		return err
	}
	return s.showRides(w, r, http.StatusOK, folder, nil)
}

func (s *Server) showRides(w http.ResponseWriter, r *http.Request, status int, folder string, errs map[string]string) error {
	ctx, q := r.Context(), r.URL.Query()
	f := service.RideFilter{Limit: ridesListed + 1}
	if t, err := time.Parse(time.DateOnly, q.Get("until")); err == nil {
		f.To = t
	}
	rows, err := s.library.Rides(ctx, q.Get("rider"), f)
	if err != nil {
		return err
	}
	names, riders, err := s.names(ctx, store.Rider)
	if err != nil {
		return err
	}
	units, err := s.units(ctx)
	if err != nil {
		return err
	}
	p := NewRidesPage(riders, q.Get("rider"))
	if len(rows) > ridesListed {
		last := rows[ridesListed].Start
		rows = rows[:ridesListed]
		p.Older = "/rides?rider=" + template.URLQueryEscaper(q.Get("rider")) + "&until=" + last.Format(time.DateOnly)
	}
	shapes := map[string][]float64{}
	for _, row := range rows {
		shapes[row.ID] = s.shapeOf(ctx, row)
	}
	p.List(rows, shapes, names, units, datesOf(r))
	imports, err := s.library.Imports(ctx)
	if err != nil {
		return err
	}
	for _, m := range imports {
		if m.State == service.ImportRunning || m.State == service.ImportLearning {
			p.Imports = append(p.Imports, ImportLine{"/import/" + string(m.ID), importShort(m)})
		}
	}
	p.AskCopies(folder, errs)
	return s.show(w, r, status, p)
}

// shapePieces are the steps of the small picture of a ride.
const shapePieces = 80

// shapeOf is a ride's small picture; the last are remembered, since a file has
// to be read for each.
func (s *Server) shapeOf(ctx context.Context, row service.RideRow) []float64 {
	key := fmt.Sprint(row.ID, row.CleanedChanges, row.Undone)
	if v, ok := s.shapes.Load(key); ok {
		return v.([]float64)
	}
	shape, err := s.library.RideShape(ctx, row.ID, shapePieces)
	if err != nil {
		s.log.Warn("a ride's picture could not be made", "ride", row.ID, "err", err)
		return nil
	}
	s.shapes.Store(key, shape)
	return shape
}

// names are those of a kind by ID, and as options.
func (s *Server) names(ctx context.Context, kind store.Kind) (map[string]string, []Option, error) {
	all, err := s.store.Objects(ctx, kind)
	if err != nil {
		return nil, nil, err
	}
	names, options := map[string]string{}, []Option{}
	for _, o := range all {
		names[o.ID] = o.Name
		options = append(options, Option{Value: o.ID, Label: o.Name})
	}
	return names, options, nil
}

// NewRidesPage is the list of rides, of a rider if one is chosen.
func NewRidesPage(riders []Option, rider string) *RidesPage {
	p := &RidesPage{Base: ridesBase("Rides"), Empty: Empty{Says: "No ride is kept yet.",
		Why: "Bring in what was recorded, one file or years of them: then the numbers say what you can do, and the next brief is better for it.", Path: "/import", Link: "Bring in rides"}}
	if len(riders) > 1 {
		f := NewForm("/rides", map[string]string{"rider": rider}, nil)
		q := f.Field(Field{Name: "rider", Label: "Whose", Kind: "select", Options: append([]Option{{Value: "", Label: "everybody"}}, riders...)})
		p.Rider = &q
	}
	for _, o := range riders {
		if rider == "" || rider == o.Value {
			p.Seasons = append(p.Seasons, RiderLink{"/season/" + o.Value, o.Label})
		}
	}
	return p
}

// AskCopies asks for the folder that finished rides are copied to.
func (p *RidesPage) AskCopies(folder string, errs map[string]string) {
	f := NewForm("/rides/copies", map[string]string{"folder": folder}, errs)
	p.Folder = f.Field(Field{Name: "folder", Label: "Copy every finished ride to a folder", Hint: "As FIT. Leave it empty for none."})
	p.Copy = f
}

// List fills in rides, the newest first.
func (p *RidesPage) List(rows []service.RideRow, shapes map[string][]float64, names map[string]string, u form.Units, d dates) {
	var seconds, load float64
	end := func() {
		if n := len(p.Months); n > 0 {
			m := &p.Months[n-1]
			m.Sum = fmt.Sprintf("%d rides, %s h", len(m.Rides), hours(seconds))
			if len(m.Rides) == 1 {
				m.Sum = fmt.Sprintf("1 ride, %s h", hours(seconds))
			}
			if load > 0 {
				m.Sum += fmt.Sprintf(", load %.1f th", load)
			}
		}
		seconds, load = 0, 0
	}
	nobody := 0
	for _, row := range rows {
		month := "Without a date"
		if row.Dated {
			month = row.Start.Format("January 2006")
		}
		if n := len(p.Months); n == 0 || p.Months[n-1].Name != month {
			end()
			p.Months = append(p.Months, RideMonth{Name: month})
		}
		m := &p.Months[len(p.Months)-1]
		m.Rides = append(m.Rides, keptRideOf(row, shapes[row.ID], names, u, d))
		seconds += row.Seconds
		if row.Load != nil {
			load += row.Load.Mean
		}
		if row.RiderID == "" {
			nobody++
		}
	}
	end()
	if nobody > 0 {
		p.Waiting = fmt.Sprintf("Of %d rides it is not said whose they are; open them to say it.", nobody)
		if nobody == 1 {
			p.Waiting = "Of one ride it is not said whose it is; open it to say so."
		}
	}
}

func keptRideOf(row service.RideRow, shape []float64, names map[string]string, u form.Units, d dates) KeptRide {
	k := KeptRide{Path: "/rides/" + row.ID, Title: row.Title, Who: names[row.RiderID], Shape: render.RideShape(shape, 0)}
	if k.Title == "" {
		k.Title = row.File
	}
	if row.Dated {
		k.When = d.weekday(row.Start) + ", " + d.clock(row.Start)
	}
	add := func(words string) { k.Says = append(k.Says, words) }
	add(rideTime(row.Seconds))
	if row.Metres > 0 {
		add(u.Distance(row.Metres))
	}
	if row.EquivalentWatts > 0 {
		add(fmt.Sprintf("equivalent power %.0f W", row.EquivalentWatts))
	}
	if row.Load != nil {
		add(fmt.Sprintf("load %.2f th", row.Load.Mean))
	}
	switch {
	case row.Repeats != "":
		add("the same ride from another device: not counted")
	case row.Left:
		add("left out on purpose")
	case row.RiderID == "":
		k.Asks = "Whose is it?"
	case row.Answer == "" && !row.Bench:
		k.Asks = "Could you have gone harder?"
	}
	return k
}

func hours(seconds float64) string {
	m := int(seconds/60 + 0.5)
	return fmt.Sprintf("%d:%02d", m/60, m%60)
}

func (s *Server) copyFolder(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	if err := s.library.SetCopyFolder(r.Context(), typed["folder"]); err != nil {
		return s.showRides(w, r, http.StatusUnprocessableEntity, typed["folder"], map[string]string{"folder": oneLine(err)})
	}
	if typed["folder"] == "" {
		return s.see(w, r, "/rides", "Rides are not copied any more.")
	}
	return s.see(w, r, "/rides", "Every finished ride is copied to that folder from now on.")
}

// keptOf finds a ride of the library.
func (s *Server) keptOf(r *http.Request) (service.RideRow, error) {
	if s.library == nil {
		return service.RideRow{}, errNoLibrary
	}
	row, err := s.library.Ride(r.Context(), r.PathValue("id"))
	if errors.Is(err, store.ErrNotFound) {
		return row, notFound("There is no such ride. Perhaps it was deleted.")
	}
	return row, err
}

func (s *Server) askDeleteKept(w http.ResponseWriter, r *http.Request) error {
	row, err := s.keptOf(r)
	if err != nil {
		return err
	}
	at := "/rides/" + row.ID
	return s.show(w, r, http.StatusOK, &DeletePage{Base: ridesBase("Delete this ride?"), Action: at + "/delete", Keep: at, Button: "Delete this ride",
		Says: "The ride, its file as it came and all that it taught are really deleted; there is no way back. The file you brought it in from stays where it is."})
}

func (s *Server) deleteKept(w http.ResponseWriter, r *http.Request) error {
	row, err := s.keptOf(r)
	if err != nil {
		return err
	}
	if err := s.library.DeleteRide(r.Context(), row.ID); err != nil {
		return err
	}
	return s.see(w, r, "/rides", "The ride is deleted.")
}

// without are the things a form leaves out of what is handed over.
func without(q map[string][]string) (out []string) {
	for _, what := range []string{"heart_rate", "mass", "name"} {
		if len(q["without-"+what]) > 0 && strings.TrimSpace(q["without-"+what][0]) != "" {
			out = append(out, what)
		}
	}
	return out
}
