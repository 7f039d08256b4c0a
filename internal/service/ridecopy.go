package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"chainline/internal/fitfile"
	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/internal/store"
	"chainline/recording"
)

// LiveRide is a ride of this program that has ended.
type LiveRide struct {
	ID, Title string
	File      string // its recording
	Bench     bool   // on a simulated rig
	RiderID   string // empty: the one of this name, if there is one only
	RigID     string
	CourseID  string
	RoadID    string
	Rider     string
}

// TakeLive takes a ride of this program into the library, once, and copies it
// to the folder of choice. A ride on a simulated rig is kept and teaches
// nothing, unless somebody says otherwise.
func (a *App) TakeLive(ctx context.Context, l LiveRide) error {
	all, err := a.c.Store.Rides(ctx, "")
	if err != nil {
		return err
	}
	if slices.ContainsFunc(all, func(r store.Ride) bool { return r.Live == l.ID }) {
		return nil
	}
	b, err := os.ReadFile(l.File)
	if err != nil {
		return &problem.Error{Message: "the recording of a ride cannot be read: " + err.Error(), Err: err}
	}
	name := l.ID + ".recording"
	got, err := recordingOf(name, b, 1)
	if err != nil {
		return err
	}
	if l.Title != "" {
		got.Recording.Title = l.Title
	}
	facts, best, err := factsOf(&got.Recording, got.Kind, got.Losses, nil)
	if err != nil {
		return problem.Bad("%s: nothing can be said of it: %v", name, err)
	}
	facts.Bench = l.Bench
	r := store.Ride{Start: startOf(&got.Recording), Hash: got.Hash, Number: 1, Filename: name, Live: l.ID, Fingerprint: intake.Fingerprint(&got.Recording),
		Facts: jsonOf(facts), Said: jsonOf(rideSaid{Left: l.Bench}), Best: packed(best)}
	if err := a.belongs(ctx, &r, l); err != nil {
		return err
	}
	put, err := a.c.Store.AddRides(ctx, []store.Ride{r}, map[string][]byte{got.Hash: b})
	if err != nil {
		return err
	}
	a.learnSoon(put[0].RiderID)
	return a.copySoon(ctx, put[0].ID)
}

// TakeUp takes in, in the background, what rides of this program are not in the
// library yet, and copies what waits for it.
func (a *App) TakeUp(rides []LiveRide) {
	a.wait.Go(func() {
		for _, l := range rides {
			if a.base.Err() != nil {
				return
			}
			if err := a.TakeLive(a.base, l); err != nil {
				a.c.Log.Warn("a ride of before is not in the library", "ride", l.ID, "error", err)
			}
		}
		if err := a.copyWaiting(a.base); err != nil {
			a.c.Log.Warn("rides are not copied", "error", err)
		}
	})
}

// DeleteLive really deletes the ride that a live one became.
func (a *App) DeleteLive(ctx context.Context, live string) error {
	all, err := a.c.Store.Rides(ctx, "")
	for _, r := range all {
		if r.Live == live {
			err = errors.Join(err, a.DeleteRide(ctx, r.ID))
		}
	}
	return err
}

// belongs fills in whose ride it was and on what, as far as that is still here.
func (a *App) belongs(ctx context.Context, r *store.Ride, l LiveRide) error {
	for kind, at := range map[store.Kind]struct {
		id   string
		into *string
	}{store.Rider: {l.RiderID, &r.RiderID}, store.Rig: {l.RigID, &r.RigID}, store.Course: {l.CourseID, &r.CourseID}, store.Road: {l.RoadID, &r.RoadID}} {
		if at.id == "" {
			continue
		}
		o, err := a.c.Store.Object(ctx, at.id)
		if err == nil && o.Kind == kind {
			*at.into = at.id
		} else if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	if r.RiderID != "" || l.Rider == "" {
		return nil
	}
	riders, err := a.c.Store.Objects(ctx, store.Rider)
	if err != nil {
		return err
	}
	riders = slices.DeleteFunc(riders, func(o store.Object) bool { return o.Name != l.Rider })
	if len(riders) == 1 {
		r.RiderID = riders[0].ID
	}
	return nil
}

// Settings of the copies.
const (
	settingCopyTo = "rides.copy"         // the folder; empty: none
	settingCopies = "rides.copy.waiting" // rides that are not copied yet, JSON
)

// CopyFolder is the folder that finished rides are copied to; empty: none.
func (a *App) CopyFolder(ctx context.Context) (string, error) {
	return a.c.Store.Setting(ctx, settingCopyTo)
}

// SetCopyFolder chooses it; empty: rides are copied no longer. The folder must
// be there and writable. Rides that wait for a folder are copied.
func (a *App) SetCopyFolder(ctx context.Context, folder string) error {
	if folder != "" {
		if !filepath.IsAbs(folder) {
			return problem.Bad("%s: found a name without a place; expected all of the folder's path", folder)
		}
		f, err := os.CreateTemp(folder, ".chainline-*")
		if err != nil {
			return problem.Bad("%s: cannot be written to; expected a folder that is there and that you may write to", folder)
		}
		if err := errors.Join(f.Close(), os.Remove(f.Name())); err != nil {
			return problem.Bad("%s: cannot be written to: %v", folder, err)
		}
	}
	if err := a.c.Store.SetSetting(ctx, settingCopyTo, folder); err != nil {
		return err
	}
	return a.copyWaiting(ctx)
}

// CopiesWaiting are rides that could not be copied yet.
func (a *App) CopiesWaiting(ctx context.Context) ([]string, error) {
	text, err := a.c.Store.Setting(ctx, settingCopies)
	if err != nil || text == "" {
		return nil, err
	}
	var ids []string
	_ = json.Unmarshal([]byte(text), &ids) // unreadable: nothing waits
	return ids, nil
}

// copySoon puts a ride among those to be copied, and copies them.
func (a *App) copySoon(ctx context.Context, id string) error {
	folder, err := a.CopyFolder(ctx)
	if err != nil || folder == "" {
		return err
	}
	a.copying.Lock()
	ids, err := a.CopiesWaiting(ctx)
	if err == nil {
		err = a.c.Store.SetSetting(ctx, settingCopies, string(jsonOf(append(ids, id))))
	}
	a.copying.Unlock()
	if err != nil {
		return err
	}
	return a.copyWaiting(ctx)
}

// copyWaiting copies what waits. What fails stays and is tried with the next
// ride and when the program is started; it is said once until it works again.
func (a *App) copyWaiting(ctx context.Context) error {
	a.copying.Lock()
	defer a.copying.Unlock()
	folder, err := a.CopyFolder(ctx)
	if err != nil || folder == "" {
		return err
	}
	ids, err := a.CopiesWaiting(ctx)
	if err != nil || len(ids) == 0 {
		return err
	}
	var left []string
	for _, id := range ids {
		err := a.copy(ctx, folder, id)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			left = append(left, id)
			if !a.copySaid {
				a.c.Log.Warn("a finished ride could not be copied; it is in the library and is copied later", "folder", folder, "error", err)
			}
			a.copySaid = true
		}
	}
	if len(left) == 0 {
		a.copySaid = false
		return a.c.Store.SetSetting(ctx, settingCopies, "")
	}
	return a.c.Store.SetSetting(ctx, settingCopies, string(jsonOf(left)))
}

// copy writes one ride as FIT and CSV, each whole or not at all.
func (a *App) copy(ctx context.Context, folder, id string) error {
	k, err := a.ride(ctx, id)
	if err != nil {
		return err
	}
	got, err := a.recording(k)
	if err != nil {
		return err
	}
	name := strings.TrimSuffix(k.Filename, filepath.Ext(k.Filename))
	if k.Live != "" {
		name = k.Live
	}
	for ending, write := range map[string]func(io.Writer, *recording.Recording) error{
		".fit": func(w io.Writer, r *recording.Recording) error { return fitfile.Activity(w, r, fitfile.Options{}) },
		".csv": func(w io.Writer, r *recording.Recording) error { return r.WriteCSV(w, 1) },
	} {
		if err := writeWhole(filepath.Join(folder, name+ending), &got.Recording, write); err != nil {
			return err
		}
	}
	return nil
}

func writeWhole(path string, r *recording.Recording, write func(io.Writer, *recording.Recording) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".chainline-*")
	if err != nil {
		return fmt.Errorf("copying a ride: %w", err)
	}
	if err := errors.Join(write(f, r), f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return os.Rename(f.Name(), path)
}
