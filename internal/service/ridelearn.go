package service

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"slices"
	"strings"
	"time"

	"chainline/capacity"
	"chainline/debrief"
	"chainline/internal/input"
	"chainline/internal/store"
	"chainline/recording"
	"chainline/room"
)

// Rides are learnt from in the order of time: what a ride teaches depends on
// what was known before it. What was learnt is kept with the ride, and with it
// a sum of everything it was learnt from: where that is still the same, it
// stands; else it is learnt again.

// rideLearnt is what a ride taught, as the store keeps it.
type rideLearnt struct {
	Of        string              `json:"of"`                  // the sum of what it was learnt from
	Threshold *debrief.Interval   `json:"threshold,omitempty"` // W, before the ride
	Load      debrief.Interval    `json:"load_th"`
	Efforts   []capacity.Evidence `json:"efforts,omitempty"`
	Numbers   []debrief.Moved     `json:"numbers,omitempty"`
	Unsaid    []string            `json:"unsaid,omitempty"`

	// What follows is of the debrief.
	Looked   bool              `json:"looked,omitempty"` // it was made
	Foretold *debrief.Foretold `json:"foretold,omitempty"`
	Held     []debrief.Held    `json:"held,omitempty"`
	Road     *debrief.RoadFit  `json:"road,omitempty"`
}

// history is what was known of a rider from rides up to a moment.
type history struct {
	efforts []capacity.Evidence // that tell something, in the order of time
	rode    []int               // days, rising
	weighed room.SweatMeasurements
	held    [][]debrief.Held
	rides   []keptRide // all of them, the oldest first
}

// learner has what learning from a rider's rides needs.
type learner struct {
	app   *App
	rider input.RiderFile
	out   map[string]bool
	rigs  map[string]capacity.Source
}

func (a *App) learner(ctx context.Context, riderID string) (*learner, error) {
	o, err := a.c.Store.Object(ctx, riderID)
	if err == nil && o.Kind != store.Rider {
		err = store.ErrNotFound
	}
	if err != nil {
		return nil, err
	}
	name, text := o.File()
	l := &learner{app: a, rigs: map[string]capacity.Source{}}
	if l.rider, err = input.ReadRider(name, strings.NewReader(text)); err != nil {
		return nil, err
	}
	l.out, err = a.c.Store.LeftOut(ctx, riderID)
	return l, err
}

// source is that of a rig; of none, an assumed one's.
func (l *learner) source(ctx context.Context, rigID string) (capacity.Source, error) {
	if s, ok := l.rigs[rigID]; ok {
		return s, nil
	}
	name, text := "rig", assumedRigText
	if rigID != "" {
		o, err := l.app.c.Store.Object(ctx, rigID)
		if err != nil {
			return capacity.Source{}, err
		}
		name, text = o.File()
	}
	set, err := input.ReadRig(name, strings.NewReader(text))
	if err != nil {
		return capacity.Source{}, err
	}
	sd, _ := set.Rig.SourceSD()
	l.rigs[rigID] = capacity.Source{Name: set.Rig.Source.Name, SD: sd}
	return l.rigs[rigID], nil
}

// riderAt is the rider as known before a day.
func (l *learner) riderAt(day time.Time, source string, h history) capacity.Rider {
	r := riderOf(l.rider, day)
	r.Evidence = slices.DeleteFunc(r.Evidence, func(e capacity.Evidence) bool { return e.Date != "" && e.Age < 1 })
	for i := range r.Evidence {
		if e := &r.Evidence[i]; e.Source == "" && e.Kind != capacity.HillTime {
			e.Source = source
		}
	}
	for _, e := range h.efforts {
		if e.Age = daysBefore(day, e.Date); e.Age >= 1 {
			r.Evidence = append(r.Evidence, e)
		}
	}
	if !l.out[keyTimeOff] {
		r.Off = debrief.TimeOff(h.rode, dayNumber(day))
	}
	return r
}

// learn goes through the rides of a rider up to a start (zero: all), learns
// from those that were not learnt from yet, and says what is known then; one
// ride may be left out of that. progress may be nil.
func (a *App) learn(ctx context.Context, riderID string, until time.Time, without string, progress func(done, total int)) (history, error) {
	a.learning.Lock()
	defer a.learning.Unlock()
	var h history
	l, err := a.learner(ctx, riderID)
	if err != nil {
		return h, err
	}
	all, err := a.c.Store.Rides(ctx, riderID)
	if err != nil {
		return h, err
	}
	slices.Reverse(all)
	if !until.IsZero() {
		all = slices.DeleteFunc(all, func(r store.Ride) bool { return r.Start.After(until) })
	}
	for i, r := range all {
		if err := ctx.Err(); err != nil {
			return h, err
		}
		k := openRide(r)
		if err := l.one(ctx, &k, h); err != nil {
			return h, err
		}
		if k.ID != without {
			l.carry(&h, k)
		}
		if progress != nil {
			progress(i+1, len(all))
		}
	}
	return h, nil
}

// carry adds what a ride taught to what is known.
func (l *learner) carry(h *history, k keptRide) {
	h.rides = append(h.rides, k)
	if !k.counts() || !k.facts.Dated {
		return
	}
	day := dayNumber(k.day())
	if n := len(h.rode); n == 0 || h.rode[n-1] < day {
		h.rode = append(h.rode, day)
	}
	if !l.out[keyRide(k.ID)] {
		h.efforts = telling(append(h.efforts, k.learnt.Efforts...))
	}
	if w := k.said.Weighed; w != nil && !l.out[keySweat(k.ID)] {
		h.weighed = append(h.weighed, room.SweatMeasurement{BeforeKg: w[0], AfterKg: w[1], DrinkL: w[2], Seconds: k.facts.MovingS})
	}
	if len(k.learnt.Held) > 0 && !l.out[keyHeld(k.ID)] {
		h.held = append(h.held, k.learnt.Held)
	}
}

// one learns from a ride, if that was not done from the same before.
func (l *learner) one(ctx context.Context, k *keptRide, h history) error {
	if !k.facts.Power {
		return nil
	}
	source, err := l.source(ctx, k.RigID)
	if err != nil {
		return err
	}
	day := k.day()
	if !k.facts.Dated {
		day = dayOnly(l.app.c.Now())
	}
	harder, _ := capacity.ParseHarder(k.said.Harder)
	q := debrief.LearnRequest{Rider: l.riderAt(day, source.Name, h), Source: source, Answer: harder, Where: k.where(), Seed: 1}
	if k.facts.Dated {
		q.Date = day.Format(time.DateOnly)
	}
	if of := sumOfLearning(q, k); k.known && k.learnt.Of == of {
		return nil
	} else if k.learnt.Of != of {
		k.learnt.Of = of
	}
	if err := l.again(ctx, k, q); err != nil {
		return err
	}
	k.known = true
	return l.app.c.Store.SetLearnt(ctx, k.ID, k.Said, jsonOf(k.learnt))
}

// again learns from the ride itself.
func (l *learner) again(_ context.Context, k *keptRide, q debrief.LearnRequest) error {
	got, err := l.app.recording(*k)
	if err != nil {
		return err
	}
	clean, _ := cleanedBut(&got.Recording, k.said.Undone)
	if q.Watts, err = debrief.Filled(clean, ""); err != nil {
		return err
	}
	learnt := debrief.Learn(q)
	k.learnt.Efforts, k.learnt.Numbers, k.learnt.Unsaid = learnt.Added, learnt.Numbers, learnt.Unsaid
	t := learnt.Numbers[0].Before
	k.learnt.Threshold = &t
	load := func(threshold float64) float64 { return capacity.Load(k.facts.KnownS, k.facts.EquivalentW, threshold) }
	k.learnt.Load = debrief.Interval{Mean: load(t.Mean), Low80: load(t.High80), High80: load(t.Low80)}
	return nil
}

// sumOfLearning tells apart everything that leads to other learning.
func sumOfLearning(q debrief.LearnRequest, k *keptRide) string {
	q.Watts, q.Best = nil, nil
	sum := sha256.Sum256(append(jsonOf(q), jsonOf([]any{learningForm, k.Hash, k.Number, k.said.Undone})...))
	return hex.EncodeToString(sum[:12])
}

// learningForm is counted up when the same ride would teach something else.
const learningForm = 1

// learnSoon learns from a rider's rides in the background, and looks at those
// that had a plan.
func (a *App) learnSoon(riderID string) {
	if riderID == "" {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.base.Err() != nil {
		return
	}
	running := len(a.toLearn) > 0
	if a.toLearn == nil {
		a.toLearn = map[string]bool{}
	}
	a.toLearn[riderID] = true
	if running {
		return
	}
	a.wait.Go(func() {
		for {
			id, ok := a.nextToLearn()
			if !ok {
				return
			}
			err := a.learnAndLook(a.base, id)
			a.mu.Lock()
			delete(a.toLearn, id)
			a.mu.Unlock()
			if err != nil && !errors.Is(err, context.Canceled) && !errors.Is(err, store.ErrNotFound) {
				a.c.Log.Warn("rides could not be learnt from", "rider", id, "error", err)
			}
		}
	})
}

func (a *App) nextToLearn() (id string, ok bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.base.Err() != nil {
		return "", false
	}
	for id := range a.toLearn {
		return id, true
	}
	return "", false
}

// learnAndLook learns, and makes the debriefs of rides along a course, and of
// those ridden alone on a road that others reckoned, that nobody has looked at
// yet: so that the forecast's record, the rider's habits and the road know them.
func (a *App) learnAndLook(ctx context.Context, riderID string) error {
	h, err := a.learn(ctx, riderID, time.Time{}, "", nil)
	if err != nil {
		return err
	}
	for _, k := range h.rides {
		planned := k.CourseID != "" && k.RigID != ""
		if !planned && !k.tellsRoad() || k.learnt.Looked || !k.counts() || !k.facts.Power {
			continue
		}
		if _, err := a.RideDebrief(ctx, k.ID); err != nil {
			return err
		}
	}
	return nil
}

// suspects is what cleaning finds in a recording.
func suspects(r *recording.Recording) []recording.Change { return recording.Suspect(r) }

// texts are the files of objects by the names a request gives them.
type texts struct {
	names map[store.Kind]string
	files map[string]string
}

func (a *App) texts(ctx context.Context, ids map[store.Kind]string) (texts, error) {
	t := texts{names: map[store.Kind]string{}, files: map[string]string{}}
	for _, kind := range store.Kinds {
		id := ids[kind]
		if id == "" {
			continue
		}
		o, err := a.c.Store.Object(ctx, id)
		if err != nil {
			return t, err
		}
		if kind == store.Course && o.Original == nil {
			continue // a sketch, along which no ride can be laid
		}
		name, text := o.File()
		t.names[kind], t.files[name] = name, text
	}
	return t, nil
}

func (t texts) open(name string) (io.ReadCloser, error) { return Texts(t.files)(name) }
