package service

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"chainline/brief"
	"chainline/capacity"
	"chainline/debrief"
	"chainline/internal/problem"
	"chainline/internal/store"
	"chainline/room"
)

// Taught is what rides that are kept teach a brief, beside the rider's file.
type Taught struct {
	Efforts []capacity.Evidence
	Rode    []int // days with a ride, rising: time off lies between
	Weighed room.SweatMeasurements
	Strays  *debrief.Strays // nil: no plan was ridden yet
}

// Keys of what was learnt, by which it is left out.
const (
	keyTimeOff = "time off"
	keyStrays  = "plans"
)

func keyRide(id string) string  { return "ride/" + id }
func keySweat(id string) string { return "sweat/" + id }
func keyHeld(id string) string  { return "plan/" + id }

// teach puts what rides taught into a brief's request, as of its day.
func (t *Taught) teach(ask *brief.Request, day time.Time) {
	if t == nil {
		return
	}
	for _, e := range t.Efforts {
		if e.Age = daysBefore(day, e.Date); e.Age >= 0 {
			ask.Rider.Evidence = append(ask.Rider.Evidence, e)
		}
	}
	today := dayNumber(day)
	rode := slices.DeleteFunc(slices.Clone(t.Rode), func(d int) bool { return d > today })
	ask.Rider.Off = append(ask.Rider.Off, debrief.TimeOff(rode, today)...)
	ask.Weighed = append(ask.Weighed, t.Weighed...)
	if t.Strays != nil {
		ask.Holding = t.Strays.Holding()
	}
}

// Taught is what a rider's rides teach the next brief. A rider without rides
// is taught nothing.
func (a *App) Taught(ctx context.Context, riderID string) (t *Taught, err error) {
	if riderID == "" {
		return nil, nil
	}
	of, err := a.taughtOf(ctx, riderID)
	if err != nil {
		return nil, err
	}
	if kept, ok := a.lessons.Load(riderID); ok && kept.(lesson).of == of {
		return kept.(lesson).taught, nil
	}
	h, err := a.learn(ctx, riderID, time.Time{}, "", nil)
	if err != nil {
		return nil, err
	}
	out, err := a.c.Store.LeftOut(ctx, riderID)
	if err != nil {
		return nil, err
	}
	t = &Taught{Efforts: h.efforts, Weighed: h.weighed}
	if !out[keyTimeOff] {
		t.Rode = h.rode
	}
	if !out[keyStrays] {
		t.Strays = strayed(h)
	}
	if len(h.rides) == 0 {
		t = nil
	}
	a.lessons.Store(riderID, lesson{of, t})
	return t, nil
}

// lesson is what a rider's rides teach, with the sum of what it came from.
type lesson struct {
	of     string
	taught *Taught
}

// taughtOf tells apart everything that could teach something else: the rider's
// file, the rigs, and every ride with what was said of it and left out.
func (a *App) taughtOf(ctx context.Context, riderID string) (string, error) {
	rides, err := a.c.Store.Rides(ctx, riderID)
	if err != nil {
		return "", err
	}
	out, err := a.c.Store.LeftOut(ctx, riderID)
	if err != nil {
		return "", err
	}
	rider, err := a.c.Store.Object(ctx, riderID)
	if err != nil {
		return "", err
	}
	rigs, err := a.c.Store.Objects(ctx, store.Rig)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	part := func(v ...any) { fmt.Fprintf(h, "%q\n", v) }
	part(riderID, rider.Text, slices.Sorted(maps.Keys(out)))
	for _, o := range rigs {
		part(o.ID, o.Text)
	}
	for _, r := range rides {
		part(r.ID, r.RigID, r.Repeats, string(r.Said), string(r.Facts), string(r.Learnt))
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}

// Sum tells apart what leads to another brief; empty for nothing.
func (t *Taught) Sum() string {
	if t == nil {
		return ""
	}
	sum := sha256.Sum256(jsonOf(t))
	return hex.EncodeToString(sum[:8])
}

// Learnt lists everything that rides taught of a rider, the newest first.
func (a *App) Learnt(ctx context.Context, riderID string) ([]LearntItem, error) {
	h, err := a.learn(ctx, riderID, time.Time{}, "", nil)
	if err != nil {
		return nil, err
	}
	out, err := a.c.Store.LeftOut(ctx, riderID)
	if err != nil {
		return nil, err
	}
	items := []LearntItem{}
	add := func(key, what, origin string) {
		items = append(items, LearntItem{Key: key, What: what, Origin: origin, LeftOut: out[key]})
	}
	if off := debrief.TimeOff(h.rode, dayNumber(a.c.Now())); len(off) > 0 {
		days := 0.0
		for _, o := range off {
			days += o.Days
		}
		stretches := "one stretch"
		if len(off) > 1 {
			stretches = fmt.Sprintf("%d stretches", len(off))
		}
		add(keyTimeOff, fmt.Sprintf("Days off the bike: %s of a week and more, %.0f days in all. Power is taken to have fallen meanwhile.", stretches, days), "the days on which you rode")
	}
	if s := strayed(h); s != nil {
		from := "one ride and its plan"
		if s.Rides > 1 {
			from = fmt.Sprintf("%d rides and their plans", s.Rides)
		}
		for _, p := range s.Places {
			if p.Rides > 0 {
				add(keyStrays, p.Words, from)
			}
		}
	}
	for _, k := range slices.Backward(h.rides) {
		if !k.counts() || !k.facts.Dated {
			continue
		}
		add := func(key, what string) {
			items = append(items, LearntItem{Key: key, What: what, Origin: k.Filename + ", " + k.day().Format(usualDay), File: k.Filename, Day: k.day().Format(time.DateOnly), RideID: k.ID, LeftOut: out[key]})
		}
		for _, e := range k.learnt.Efforts {
			told := slices.Contains(h.efforts, e)
			if told || out[keyRide(k.ID)] {
				add(keyRide(k.ID), effortWords(e))
			}
		}
		if w := k.said.Weighed; w != nil {
			add(keySweat(k.ID), fmt.Sprintf("Sweat: %.1f kg before, %.1f kg after, %.2f l drunk.", w[0], w[1], w[2]))
		}
		if f := k.learnt.Foretold; f != nil {
			add(keyHeld(k.ID), fmt.Sprintf("The forecast was %s (%s to %s), it took %s.", clockWords(f.Predicted.Mean), clockWords(f.Predicted.Low80), clockWords(f.Predicted.High80), clockWords(f.Actual)))
		}
	}
	return items, nil
}

func effortWords(e capacity.Evidence) string {
	what := fmt.Sprintf("%.0f W for %s", e.Watts, clockWords(e.Duration))
	switch e.Harder {
	case capacity.HarderNo:
		return what + ", and nothing was left."
	case capacity.HarderLittle:
		return what + ", and a little was left."
	case capacity.HarderMuch:
		return what + ", and much was left."
	}
	return what + ", at least."
}

func clockWords(s float64) string {
	if s < 60 {
		return fmt.Sprintf("%.0f s", s)
	}
	n := int(math.Round(s))
	return fmt.Sprintf("%d:%02d min", n/60, n%60)
}

// LeaveOut takes one thing that was learnt out of the next briefs, or back in.
func (a *App) LeaveOut(ctx context.Context, riderID, key string, out bool) error {
	if _, err := a.learner(ctx, riderID); err != nil {
		return err
	}
	if key == "" {
		return problem.Bad("what is to be left out is not said")
	}
	if err := a.c.Store.SetLeftOut(ctx, riderID, key, out); err != nil {
		return err
	}
	a.learnSoon(riderID)
	return nil
}
