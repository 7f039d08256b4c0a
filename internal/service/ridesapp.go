package service

import (
	"cmp"
	"context"
	"io"
	"slices"
	"strings"
	"time"

	"chainline/internal/problem"
	"chainline/internal/store"
)

// NewApp opens the library of a store and goes on with imports that were
// running when the program stopped.
func NewApp(c AppConfig) *App {
	base, stop := context.WithCancel(context.Background())
	a := &App{c: c, base: base, stop: stop, jobs: map[ImportID]*importJob{}}
	a.goOn()
	return a
}

// Close stops what runs and waits for it; imports go on when the program is
// started again.
func (a *App) Close() error {
	a.stop()
	a.wait.Wait()
	return nil
}

// Rides lists rides, the newest first; of all riders if riderID is empty.
func (a *App) Rides(ctx context.Context, riderID string, f RideFilter) ([]RideRow, error) {
	all, err := a.c.Store.Rides(ctx, riderID)
	if err != nil {
		return nil, err
	}
	out := []RideRow{}
	for _, r := range all {
		k := openRide(r)
		if !f.takes(k) {
			continue
		}
		row := k.row()
		row.Cached = a.sheets.has(k.ID)
		if out = append(out, row); f.Limit > 0 && len(out) == f.Limit {
			break
		}
	}
	return out, nil
}

func (f RideFilter) takes(k keptRide) bool {
	day, text := k.day(), strings.ToLower(f.Text)
	switch {
	case !f.From.IsZero() && day.Before(dayOnly(f.From)), !f.To.IsZero() && day.After(dayOnly(f.To)):
		return false
	case f.Indoors != nil && *f.Indoors != k.facts.Indoors:
		return false
	case f.NoRider && k.RiderID != "":
		return false
	}
	return text == "" || strings.Contains(strings.ToLower(k.facts.Title+" "+k.Filename), text)
}

func dayOnly(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// Ride is one ride's row.
func (a *App) Ride(ctx context.Context, rideID string) (RideRow, error) {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return RideRow{}, err
	}
	row := k.row()
	row.Cached = a.sheets.has(k.ID)
	return row, nil
}

func (a *App) ride(ctx context.Context, id string) (keptRide, error) {
	r, err := a.c.Store.Ride(ctx, id)
	return openRide(r), err
}

// RideChanges are what cleaning found in a ride that is kept, in the order of
// time.
func (s DebriefSheet) RideChanges() []RideChange {
	made := map[string]bool{}
	for _, c := range s.Changes {
		made[changeKey(c)] = true
	}
	out := []RideChange{}
	for i, c := range s.found {
		out = append(out, RideChange{Change: c, Index: i, Undone: !made[changeKey(c)]})
	}
	return out
}

// RideOriginal is the file as it came.
func (a *App) RideOriginal(ctx context.Context, rideID string) (RideFile, error) {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return RideFile{}, err
	}
	b, err := a.c.Store.RideFile(k.Hash)
	return RideFile{k.Filename, b}, err
}

// say changes what a person said of a ride.
func (a *App) say(ctx context.Context, rideID string, change func(*rideSaid)) error {
	k, err := a.c.Store.ChangeRide(ctx, rideID, func(r *store.Ride) error {
		said := openRide(*r).said
		change(&said)
		r.Said = jsonOf(said)
		return nil
	})
	if err == nil {
		a.learnSoon(k.RiderID)
	}
	return err
}

// AnswerRide keeps the answer to 'could you have gone harder': no, little,
// much, or empty to take it back.
func (a *App) AnswerRide(ctx context.Context, rideID, harder string) error {
	if !slices.Contains([]string{"", "no", "little", "much"}, harder) {
		return problem.Bad("could you have gone harder: found %.40q; expected no, little or much", harder)
	}
	return a.say(ctx, rideID, func(s *rideSaid) { s.Harder = harder })
}

// WeighRide keeps what the scales said (kg) and what was drunk (l); all zero
// takes it back.
func (a *App) WeighRide(ctx context.Context, rideID string, before, after, drunk float64) error {
	if before == 0 && after == 0 && drunk == 0 {
		return a.say(ctx, rideID, func(s *rideSaid) { s.Weighed = nil })
	}
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return err
	}
	if err := k.weighable(before, after, drunk); err != nil {
		return err
	}
	return a.say(ctx, rideID, func(s *rideSaid) { s.Weighed = &[3]float64{before, after, drunk} })
}

// AssignRide says whose ride it is, on what, along which course.
func (a *App) AssignRide(ctx context.Context, rideID string, to Assignment) error {
	if to.BriefID != nil && *to.BriefID != "" {
		b, err := a.c.Store.Brief(ctx, *to.BriefID)
		if err != nil {
			return err
		}
		fill := func(into **string, id string) {
			if *into == nil && id != "" {
				*into = &id
			}
		}
		fill(&to.RiderID, b.RiderID)
		fill(&to.RigID, b.RigID)
		fill(&to.CourseID, b.CourseID)
		fill(&to.RoadID, b.RoadID)
	}
	var was string
	k, err := a.c.Store.ChangeRide(ctx, rideID, func(r *store.Ride) error {
		was = r.RiderID
		for from, into := range map[*string]*string{to.RiderID: &r.RiderID, to.RigID: &r.RigID, to.CourseID: &r.CourseID, to.RoadID: &r.RoadID, to.BriefID: &r.BriefID} {
			if from != nil {
				*into = *from
			}
		}
		said := openRide(*r).said
		if to.Alone != nil {
			said.Alone = *to.Alone
		}
		if to.Left != nil {
			said.Left = *to.Left
		}
		r.Said = jsonOf(said)
		return nil
	})
	if err != nil {
		return err
	}
	a.learnSoon(was)
	a.learnSoon(k.RiderID)
	return nil
}

// SetChange takes one change of cleaning back, or makes it again.
func (a *App) SetChange(ctx context.Context, rideID string, index int, undone bool) error {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return err
	}
	got, err := a.recording(k)
	if err != nil {
		return err
	}
	changes := suspects(&got.Recording)
	if index < 0 || index >= len(changes) {
		return problem.Bad("there is no change %d; cleaning found %d", index, len(changes))
	}
	key := changeKey(changes[index])
	changed, err := a.c.Store.ChangeRide(ctx, rideID, func(r *store.Ride) error {
		k := openRide(*r)
		k.said.Undone = slices.DeleteFunc(k.said.Undone, func(x string) bool { return x == key })
		if undone {
			k.said.Undone = append(k.said.Undone, key)
		}
		facts, best, err := factsOf(&got.Recording, k.facts.Kind, k.facts.Losses, k.said.Undone)
		if err != nil {
			return problem.Bad("%s: without this change nothing can be said: %v", k.Filename, err)
		}
		facts.Bench, facts.Title = k.facts.Bench, k.facts.Title
		r.Facts, r.Said, r.Best = jsonOf(facts), jsonOf(k.said), packed(best)
		return nil
	})
	if err == nil {
		a.learnSoon(changed.RiderID)
	}
	return err
}

// DeleteRide really deletes a ride, its file and what it taught.
func (a *App) DeleteRide(ctx context.Context, rideID string) error {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return err
	}
	a.sheets.drop(rideID)
	if err := a.c.Store.DeleteRide(ctx, rideID); err != nil {
		return err
	}
	a.learnSoon(k.RiderID)
	return nil
}

// FindRider is the rider of this ID or name; of several of one name none.
func (a *App) FindRider(ctx context.Context, name string) (id string, err error) {
	return a.find(ctx, store.Rider, name)
}

// FindRig is the rig of this ID or name.
func (a *App) FindRig(ctx context.Context, name string) (id string, err error) {
	return a.find(ctx, store.Rig, name)
}

func (a *App) find(ctx context.Context, kind store.Kind, name string) (string, error) {
	if name == "" {
		return "", nil
	}
	all, err := a.c.Store.Objects(ctx, kind)
	if err != nil {
		return "", err
	}
	var found, names []string
	for _, o := range all {
		if o.ID == name {
			return o.ID, nil
		}
		if strings.EqualFold(o.Name, name) {
			found = append(found, o.ID)
		}
		names = append(names, o.Name)
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		return "", problem.Bad("--%s: %d are called %q; expected an ID", kind, len(found), name).WithHint("They are " + strings.Join(found, ", ") + ".")
	case len(names) == 0:
		return "", problem.Bad("--%s: found %q; none is kept yet", kind, name).WithHint("Add one in 'chainline serve'.")
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Compare(strings.ToLower(a), strings.ToLower(b)) })
	return "", problem.Bad("--%s: found %q; expected one of %q", kind, name, names)
}

// Spool keeps an uploaded file until an import has taken it in; the name it
// returns is for ImportRequest.Spooled.
func (a *App) Spool(ctx context.Context, filename string, r io.Reader) (string, error) {
	return a.spool(ctx, filename, r)
}
