package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"slices"
	"strings"
	"sync"
	"time"

	"chainline/debrief"
	"chainline/internal/problem"
	"chainline/internal/store"
	"chainline/recording"
	"chainline/room"
)

// debriefDraws are enough for the forecast that a ride is laid against.
const debriefDraws = 400

// RideDebrief is a ride's debrief as it stands now. It takes a second, with a
// brief some, unless the row says it is cached.
func (a *App) RideDebrief(ctx context.Context, rideID string) (DebriefSheet, error) {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return DebriefSheet{}, err
	}
	q, t, notes, err := a.debriefRequest(ctx, k)
	if err != nil {
		return DebriefSheet{}, err
	}
	rests := []any{t.files, notes, k.Hash, k.Number, k.Said, k.RiderID, k.RigID, k.RoadID, k.CourseID, k.BriefID, q.Brief.Style, q.Brief.Today.Format(time.DateOnly)}
	quick, err := a.quickSum(ctx, k.RiderID, rests)
	if err != nil {
		return DebriefSheet{}, err
	}
	if s, ok := a.sheets.get(k.ID, quick); ok {
		return s, nil
	}
	var h history
	if k.RiderID != "" {
		if h, err = a.learn(ctx, k.RiderID, k.Start, k.ID, nil); err != nil {
			return DebriefSheet{}, err
		}
	}
	q.Brief.Taught = h.taught()
	of := sha256.Sum256(jsonOf(append(rests, h.efforts, h.rode, h.weighed, h.held)))
	if s, ok := a.sheets.again(k.ID, of, quick); ok {
		return s, nil
	}
	s, err := a.sheet(ctx, k, h, q)
	if err != nil {
		return DebriefSheet{}, err
	}
	s.Notes = append(notes, s.Notes...)
	a.sheets.put(k.ID, of, s)
	return s, a.keepLooked(ctx, k, s)
}

// quickSum tells apart everything a debrief could rest on, and more: all rides
// of the rider, not only those before it. It costs less than to go through them.
func (a *App) quickSum(ctx context.Context, riderID string, rests []any) ([32]byte, error) {
	taught := ""
	if riderID != "" {
		var err error
		if taught, err = a.taughtOf(ctx, riderID); err != nil {
			return [32]byte{}, err
		}
	}
	return sha256.Sum256(jsonOf([]any{taught, rests})), nil
}

// debriefRequest is what is asked of a ride: with what is known of it.
func (a *App) debriefRequest(ctx context.Context, k keptRide) (q DebriefRequest, t texts, notes []string, err error) {
	ids := map[store.Kind]string{store.Rider: k.RiderID, store.Rig: k.RigID, store.Road: k.RoadID, store.Course: k.CourseID}
	q.Harder, q.Alone, q.Weighed = k.said.Harder, k.said.Alone, k.said.Weighed
	style := ""
	if k.BriefID != "" {
		b, err := a.c.Store.Brief(ctx, k.BriefID)
		if err != nil {
			return q, t, nil, err
		}
		ids[store.Event] = b.EventID
		var asked struct {
			Style  string            `json:"style"`
			Change map[string]string `json:"change"`
		}
		_ = json.Unmarshal(b.Request, &asked) // of another form: asked for otherwise than by a page
		style = asked.Style
		if len(asked.Change) > 0 {
			notes = append(notes, "The brief was changed by hand; the ride is laid against it without these changes.")
		}
	}
	if k.RiderID == "" {
		ids = nil
		q.Harder, q.Weighed = "", nil
		notes = append(notes, "It is not said whose ride this is: nothing is said of capacity, load and W′.")
	}
	if t, err = a.texts(ctx, ids); err != nil {
		return q, t, nil, err
	}
	n := t.names
	if n[store.Rig] == "" && n[store.Course] != "" {
		delete(n, store.Course)
		notes = append(notes, "It is not said what was ridden on, so that the ride is not laid against a brief.")
	}
	if n[store.Course] == "" {
		delete(n, store.Event)
	}
	if n[store.Rig] == "" && q.Weighed != nil {
		q.Weighed = nil
		notes = append(notes, "What the scales said is not looked at, because the room is not known without a rig.")
	}
	q.keep = func(c recording.Change) bool { return !slices.Contains(k.said.Undone, changeKey(c)) }
	q.Brief = BriefRequest{Rider: n[store.Rider], Rig: n[store.Rig], Road: n[store.Road], Course: n[store.Course], Event: n[store.Event], Open: t.open,
		Today: a.c.Now(), Seed: 1, Draws: debriefDraws, Workers: a.c.Workers, Style: style}
	return q, t, notes, nil
}

// sheet makes the debrief; a ride that cannot be laid against its brief is
// looked at without it, and it is said why.
func (a *App) sheet(ctx context.Context, k keptRide, h history, q DebriefRequest) (s DebriefSheet, err error) {
	got, err := a.recording(k)
	if err != nil {
		return s, err
	}
	q.Each = func(made DebriefSheet) error { s = made; return nil }
	try := func() error {
		d := &debriefed{q: q, loads: map[int]float64{}, learnt: slices.Clone(h.efforts), rode: slices.Clone(h.rode)}
		q.Files = []string{k.Filename}
		d.q.Files = q.Files
		if err := d.check(); err != nil {
			return err
		}
		return d.one(ctx, taken{file: k.Filename, kind: got.Kind, number: k.Number, start: got.Recording.StartUnix, losses: got.Losses, recording: &got.Recording, whole: got.Recording.Whole})
	}
	err = try()
	if err != nil && ctx.Err() == nil && q.Brief.Course != "" {
		why, _ := problem.ForPerson(err)
		q.Brief.Course, q.Brief.Event = "", ""
		if err = try(); err == nil {
			s.Notes = append(s.Notes, "The ride is not laid against its brief: "+strings.TrimSuffix(why, ".")+".")
		}
	}
	s.ID = k.ID
	return s, err
}

// keepLooked keeps what a debrief says for the forecast's record, the rider's
// habits and the road.
func (a *App) keepLooked(ctx context.Context, k keptRide, s DebriefSheet) error {
	if k.RiderID == "" {
		return nil
	}
	a.learning.Lock()
	defer a.learning.Unlock()
	now, err := a.ride(ctx, k.ID) // learning may have been here
	if err != nil || string(now.Said) != string(k.Said) || !now.known {
		return nil //nolint:nilerr // it was deleted or changed: another debrief will follow
	}
	l := now.learnt
	l.Looked = true
	l.Road = nil
	if r := s.Debrief.Road; r != nil && r.CdA.Unsaid == "" {
		l.Road = r
	}
	l.Held, l.Foretold = nil, nil
	if against := s.Debrief.Against; against != nil {
		l.Held = against.Held()
		if f, finished := against.Foretold(); finished {
			f.Date, f.Name = s.Date, s.Debrief.Title
			l.Foretold = &f
		}
	}
	kept := jsonOf(l)
	if string(kept) == string(now.Learnt) {
		return nil
	}
	return a.c.Store.SetLearnt(ctx, k.ID, k.Said, kept)
}

// weighable says whether a weighing can be of this ride.
func (k keptRide) weighable(before, after, drunk float64) error {
	if _, err := room.SweatFromWeighing(room.SweatMeasurement{BeforeKg: before, AfterKg: after, DrinkL: drunk, Seconds: k.facts.MovingS}); err != nil {
		return problem.Bad("%v", err)
	}
	if !k.facts.Power {
		return problem.Bad("weighed: sweat goes with the watts; expected a ride with power")
	}
	return nil
}

// strayed is how the rider holds plans, once a ride has shown it.
func strayed(h history) *debrief.Strays {
	if len(h.held) == 0 {
		return nil
	}
	s := debrief.LearnStrays(h.held)
	if s.Rides == 0 {
		return nil
	}
	return &s
}

// taught is what a debrief's own brief goes by beside the evidence.
func (h history) taught() *Taught { return &Taught{Weighed: h.weighed, Strays: strayed(h)} }

// sheetCache keeps the last debriefs, with the sums of what they were made from.
type sheetCache struct {
	mu    sync.Mutex
	kept  map[string]cachedSheet
	order []string // by last use
}

// cachedSheet is a debrief with the sum of exactly what it was made from, and
// that of quickSum when it was last found to stand.
type cachedSheet struct {
	of, quick [32]byte
	sheet     DebriefSheet
}

// heldSheets bounds the memory: a five-hour ride takes some megabytes.
const heldSheets = 12

// get is a ride's debrief, if nothing at all has changed since it was found to
// stand.
func (c *sheetCache) get(id string, quick [32]byte) (DebriefSheet, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	x, ok := c.kept[id]
	if !ok || x.quick != quick {
		return DebriefSheet{}, false
	}
	c.use(id)
	return x.sheet, true
}

// again is a ride's debrief, if what changed was not what it rests on.
func (c *sheetCache) again(id string, of, quick [32]byte) (DebriefSheet, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	x, ok := c.kept[id]
	if !ok || x.of != of {
		return DebriefSheet{}, false
	}
	x.quick = quick
	c.kept[id] = x
	c.use(id)
	return x.sheet, true
}

func (c *sheetCache) use(id string) {
	c.order = append(slices.DeleteFunc(c.order, func(x string) bool { return x == id }), id)
}

func (c *sheetCache) put(id string, of [32]byte, s DebriefSheet) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil {
		c.kept = map[string]cachedSheet{}
	}
	c.kept[id] = cachedSheet{of: of, sheet: s} // what it taught is kept after it: the quick sum is another then
	c.use(id)
	if len(c.order) > heldSheets {
		delete(c.kept, c.order[0])
		c.order = c.order[1:]
	}
}

func (c *sheetCache) has(id string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	_, ok := c.kept[id]
	return ok
}

func (c *sheetCache) drop(id string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.kept, id)
	c.order = slices.DeleteFunc(c.order, func(x string) bool { return x == id })
}
