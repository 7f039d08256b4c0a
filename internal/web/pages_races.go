package web

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"chainline/internal/input"
	"chainline/internal/store"
)

// RacesPage leads to all that is about races and groups.
type RacesPage struct {
	Base
	Empty Empty
	Races []RacesRow
}

// Template names the page's template.
func (*RacesPage) Template() string { return "races.html" }

// RacesRow is an event with what can be done about it.
type RacesRow struct {
	Path, Name, When, Away, Kind string
	Says                         string // how far the forecast is
	Main, MainName               string // what one would want first
	Over                         bool
}

func (s *Server) racesRoutes() { s.get("/races", s.races) }

func (s *Server) races(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Objects(r.Context(), store.Event)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &RacesPage{Base: racesBase("Races and groups"), Empty: Empty{Says: "There is no event yet.", Why: "With an event and its categories this page says who rides in which field; without one a handicap or a ride together can be planned all the same.", Path: "/events/new", Link: "Add an event"}}
	var dated []datedEvent
	for _, o := range all {
		dated = append(dated, eventRow(o, s.now(), u, datesOf(r)))
	}
	slices.SortStableFunc(dated, func(a, b datedEvent) int {
		if a.over != b.over {
			return map[bool]int{true: 1, false: -1}[a.over]
		}
		return a.start.Compare(b.start) * map[bool]int{true: -1, false: 1}[a.over]
	})
	for _, e := range dated {
		i := slices.IndexFunc(all, func(o store.Object) bool { return o.ID == e.row.ID })
		row, err := s.racesRow(r, all[i], e)
		if err != nil {
			return err
		}
		p.Races = append(p.Races, row)
	}
	return s.show(w, r, http.StatusOK, p)
}

func (s *Server) racesRow(r *http.Request, o store.Object, e datedEvent) (RacesRow, error) {
	row := RacesRow{Path: "/events/" + o.ID, Name: o.Name, When: e.row.When, Away: e.row.Away, Kind: e.row.Kind, Over: e.over}
	file, err := input.ReadEvent("event", strings.NewReader(o.Text))
	if err != nil {
		return row, nil //nolint:nilerr // the event's page says it
	}
	row.Main, row.MainName = racesFirst(row.Path, o.ID, file.Kind, row.Over)
	if strings.HasSuffix(row.Main, "/fields") {
		kept, err := s.store.Forecasts(r.Context(), o.ID)
		if err != nil {
			return row, err
		}
		row.Says = "nobody's races were simulated yet"
		if len(kept) > 0 {
			row.Says = riderCount(len(kept)) + " put into fields"
		}
	}
	return row, nil
}

// racesFirst is what one would want of an event first.
func racesFirst(path, id, kind string, over bool) (to, name string) {
	switch {
	case over:
		return path + "/results", "Results"
	case kind == "time-trial":
		return path + "/ready", "Briefs for all"
	case kind == "handicap":
		return "/starts/new?event=" + id, "Make the start list"
	case kind == "group":
		return "/riding-together", "Plan the ride"
	}
	return path + "/fields", "Who rides in which field?"
}

// NewRacesRow is a row for the gallery.
func NewRacesRow(id, name, kind string, start, now time.Time, says string) RacesRow {
	row := RacesRow{Path: "/events/" + id, Name: name, When: dates{}.weekday(start) + ", " + dates{}.clock(start), Away: eventAway(now, start), Kind: kindLabel(kind), Says: says, Over: start.Before(now)}
	row.Main, row.MainName = racesFirst(row.Path, id, kind, row.Over)
	return row
}
