package service

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"chainline/capacity"
	"chainline/debrief"
	"chainline/estimate"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/store"
)

// SeasonPoint is what the rider could do before one ride.
type SeasonPoint struct {
	Date      string           `json:"date"`
	RideID    string           `json:"ride"`
	Threshold debrief.Interval `json:"threshold_w"`
}

// Season is what a rider's rides come to, as of a day (zero: today): rides
// after it are not looked at.
func (a *App) Season(ctx context.Context, riderID string, asOf time.Time) (DebriefSeason, error) {
	today := dayOnly(a.c.Now())
	if !asOf.IsZero() {
		today = dayOnly(asOf)
	}
	h, err := a.learn(ctx, riderID, today.AddDate(0, 0, 1).Add(14*time.Hour), "", nil) // zones reach that far behind
	if err != nil {
		return DebriefSeason{}, err
	}
	l, err := a.learner(ctx, riderID)
	if err != nil {
		return DebriefSeason{}, err
	}
	d := &debriefed{q: DebriefRequest{Brief: BriefRequest{Seed: 1, Rider: riderID}}, loads: map[int]float64{}}
	d.last.EasyOnly = l.rider.EasyOnly
	counted := map[string]int{}
	var out []DebriefLeftOut
	for _, k := range h.rides {
		if !k.counts() || k.facts.Dated && k.day().After(today) {
			continue
		}
		counted[k.ID] = len(d.files)
		d.files = append(d.files, k.Filename)
		d.ids = append(d.ids, k.ID)
		date := ""
		if k.facts.Dated {
			date = k.day().Format(time.DateOnly)
			d.rode = append(d.rode, dayNumber(k.day()))
			d.loads[dayNumber(k.day())] += k.learnt.Load.Mean
		} else {
			out = append(out, DebriefLeftOut{k.Filename, k.Filename + ": the recording does not say when it was ridden, so that its load is not counted"})
		}
		d.days = append(d.days, date)
	}
	if err := a.bestsOf(ctx, riderID, d, counted); err != nil {
		return DebriefSeason{}, err
	}
	d.asOf = dayNumber(today)
	if d.events, err = a.eventsAhead(ctx, riderID, today); err != nil {
		return DebriefSeason{}, err
	}
	s := d.season(out)
	s.Rides = len(d.files)
	a.developed(ctx, &s, l, h, today)
	return s, nil
}

// bestsOf goes through the bests of a rider's rides, one in memory at a time.
func (a *App) bestsOf(ctx context.Context, riderID string, d *debriefed, counted map[string]int) error {
	return a.c.Store.Bests(ctx, riderID, func(r store.Ride) error {
		if is, ok := counted[r.ID]; ok && len(r.Best) > 0 {
			d.bestOf(unpacked(r.Best), is)
		}
		return nil
	})
}

// developed adds how the rider developed, the record of the forecasts, and how
// plans are held.
func (a *App) developed(ctx context.Context, s *DebriefSeason, l *learner, h history, today time.Time) {
	var told []debrief.Foretold
	for _, k := range h.rides {
		if !k.counts() || k.facts.Dated && k.day().After(today) {
			continue
		}
		if k.learnt.Threshold != nil && k.facts.Dated {
			s.Timeline = append(s.Timeline, SeasonPoint{k.day().Format(time.DateOnly), k.ID, *k.learnt.Threshold})
		}
		if f := k.learnt.Foretold; f != nil && !l.out[keyHeld(k.ID)] {
			told = append(told, *f)
		}
		if len(s.Numbers) == 0 && len(k.learnt.Numbers) > 0 {
			s.Numbers = slices.Clone(k.learnt.Numbers)
		}
	}
	if len(told) > 0 {
		record := debrief.KeepRecord(told)
		s.Record, s.Foretold = &record, told
	}
	s.Strays = strayed(h)
	if len(s.Numbers) == 0 {
		return
	}
	// What is known today, with the days since the last ride.
	rig := ""
	if n := len(h.rides); n > 0 {
		rig = h.rides[n-1].RigID
	}
	source, err := l.source(ctx, rig)
	if err != nil {
		return // the rides' own numbers stand
	}
	learnt, _ := capacity.Infer(l.riderAt(today.AddDate(0, 0, 1), source.Name, h), source, estimate.Stream(1, 0))
	s.Places = learnt.Places.Words()
	for i, now := range debrief.Numbers(learnt.Displayed) {
		s.Numbers[i].After = now
	}
}

// eventsAhead are the events of a rider's briefs and of the store that are
// still to come.
func (a *App) eventsAhead(ctx context.Context, riderID string, today time.Time) ([]debrief.Event, error) {
	briefs, err := a.c.Store.Briefs(ctx, riderID)
	if err != nil {
		return nil, err
	}
	var out []debrief.Event
	seen := map[string]bool{}
	for _, b := range briefs {
		if b.EventID == "" || seen[b.EventID] {
			continue
		}
		seen[b.EventID] = true
		o, err := a.c.Store.Object(ctx, b.EventID)
		if err != nil {
			return nil, err
		}
		name, text := o.File()
		e, err := input.ReadEvent(name, strings.NewReader(text))
		if err != nil || !e.Start.Known || dayOnly(e.Start.Value).Before(today) {
			continue // one that cannot be read is said where it is edited
		}
		out = append(out, debrief.Event{Day: dayNumber(e.Start.Value), Name: problem.OneLine(o.Name)})
	}
	slices.SortFunc(out, func(a, b debrief.Event) int { return a.Day - b.Day })
	return out, nil
}

// SeasonGrid are the durations (s) a list of bests goes by.
func SeasonGrid(longest int) (out []int) {
	for n := 5; n <= longest; n = max(n+1, int(math.Round(1.25*float64(n)))) {
		out = append(out, n)
	}
	return out
}
