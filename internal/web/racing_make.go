package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// makeForecasts begins to race everybody who was ticked and is not up to date.
func (s *Server) makeForecasts(w http.ResponseWriter, r *http.Request) error {
	e, err := s.racedEvent(r)
	if err != nil {
		return err
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	riders, err := s.store.Objects(r.Context(), store.Rider)
	if err != nil {
		return err
	}
	var asks []briefAsk
	var names []string
	for _, o := range riders {
		if typed["rides."+o.ID] != "" {
			asks = append(asks, briefAsk{Rider: o.ID, Rig: typed["rig."+o.ID], Course: typed["course"], Road: typed["road"], Event: e.ID})
			names = append(names, o.Name)
		}
	}
	errs := map[string]string{}
	if len(asks) == 0 {
		errs[""] = "Tick at least one rider."
	} else if errs, err = s.briefWrong(r, asks[0]); err != nil {
		return err
	}
	for i, a := range asks[:min(1, len(asks))] {
		if says := errs["rig"]; says != "" {
			delete(errs, "rig")
			errs["rig."+a.Rider] = says + " (" + names[i] + ")"
		}
	}
	if len(errs) > 0 {
		return s.showRacing(w, r, http.StatusUnprocessableEntity, e, typed, errs)
	}
	return s.race(w, r, e, asks, names, e.path())
}

// race begins to race riders one after the other; each is kept when it is
// done.
func (s *Server) race(w http.ResponseWriter, r *http.Request, e racedEvent, asks []briefAsk, names []string, to string) error {
	return s.startWork(w, r, "The races are being simulated", e.about(), e.path(), func(ctx context.Context, say func(string)) (string, error) {
		var faults []string
		defer func() { s.raceFaults.Store(e.ID, faults) }()
		for i, a := range asks {
			where := names[i]
			if len(asks) > 1 {
				where = fmt.Sprintf("%s, %d of %d", names[i], i+1, len(asks))
			}
			say("simulating races for " + where)
			err := s.raceOne(ctx, e, a, func(what string) { say(what + " for " + where) })
			if wrong, ok := errors.AsType[*problem.Error](err); ok {
				faults = append(faults, names[i]+": "+oneLine(wrong))
			} else if err != nil {
				return "", err
			}
		}
		return to, nil
	})
}

func (s *Server) raceOne(ctx context.Context, e racedEvent, a briefAsk, say func(string)) error {
	p, rows, err := s.raceParts(ctx, e, a)
	if err != nil {
		return err
	}
	key := s.raceKey(e, p, rows)
	if f, ok := e.of(a.Rider); ok && f.Key == key {
		return nil
	}
	n := p.names
	sheet, err := service.Race(ctx, service.RaceRequest{Races: raceRaces, Starters: raceStarters, Rows: rows, Brief: service.BriefRequest{
		Rider: n[store.Rider], Rig: n[store.Rig], Road: n[store.Road], Course: n[store.Course], Event: n[store.Event], Today: s.now(), Seed: 1, Draws: briefDraws,
		Workers: s.workers, Taught: p.taught, Open: service.Texts(p.files), Progress: say}})
	if err != nil {
		return err
	}
	text, err := json.Marshal(sheet)
	if err != nil {
		return err
	}
	err = s.store.PutForecast(ctx, store.Forecast{EventID: e.ID, RiderID: a.Rider, RigID: a.Rig, CourseID: a.Course, RoadID: a.Road, Key: key, Sheet: text})
	if errors.Is(err, store.ErrNotFound) { // the others are raced all the same
		return problem.Bad("something that was chosen was deleted meanwhile")
	}
	return err
}

// raceParts are the texts that a forecast is made from, and the results of
// races on the same course that the fields are learnt from.
func (s *Server) raceParts(ctx context.Context, e racedEvent, a briefAsk) (briefParts, []service.ResultRow, error) {
	p, err := s.parts(ctx, a)
	if err != nil {
		return p, nil, err
	}
	kept, err := s.store.RaceResults(ctx, e.ID)
	if err != nil {
		return p, nil, err
	}
	rows, err := service.Learnable(kept, a.Course)
	return p, rows, err
}

// raceDay is the day of the race, today if the event has none.
func (s *Server) raceDay(e racedEvent) time.Time {
	if e.file.Start.Known {
		return e.file.Start.Value
	}
	return s.now()
}

// raceKey tells apart everything that leads to another forecast.
func (s *Server) raceKey(e racedEvent, p briefParts, rows []service.ResultRow) string {
	learnt, err := json.Marshal(rows)
	if err != nil {
		panic(err) // numbers and strings only
	}
	return courseHashOf(p.key(s.raceDay(e).Format("2006-01-02")), string(learnt), fmt.Sprint("races 1 ", raceRaces, " ", raceStarters))
}
