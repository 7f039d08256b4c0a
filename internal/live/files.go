package live

import (
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"chainline/internal/fitfile"
	"chainline/internal/journal"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/recording"
)

// The files of a finished ride stand beside its journal: a FIT activity, a
// table, and the recording with everything that was measured.
var kinds = map[string]string{"fit": ".fit", "csv": ".csv", "recording": ".recording", "journal": ride.Suffix, "summary": ".summary"}

// Summary is a ride in a line, as kept beside its files.
type Summary struct {
	ID      string           `json:"id"`
	Title   string           `json:"title"`
	Rider   string           `json:"rider"`
	Begun   time.Time        `json:"begun"`
	Last    time.Time        `json:"last"` // of the last state
	Bench   bool             `json:"bench,omitempty"`
	Ended   bool             `json:"ended"`
	Rode    bool             `json:"rode"` // somebody began
	Whole   bool             `json:"whole"`
	Missing []string         `json:"missing,omitempty"` // what is, in words
	Totals  recording.Totals `json:"totals"`
	Of      ride.Of          `json:"of,omitzero"`
	// Company is what a live group did to the ride; nil for one ridden alone.
	Company *recording.Company `json:"company,omitempty"`
}

func summary(id string, r ride.Read) Summary {
	s := Summary{Of: r.Setup.Of, ID: id, Title: r.Setup.Title, Rider: r.Setup.Rider.Name, Begun: r.Setup.Begun, Last: r.Setup.Begun, Bench: r.Setup.Bench,
		Ended: r.Ended, Whole: r.Recording.Whole, Missing: r.Damage}
	if r.Last != nil {
		s.Last = s.Begun.Add(time.Duration(r.Last.T * float64(time.Second)))
		s.Rode = r.Last.Stage != ride.Waiting
	}
	s.Totals = r.Recording.Totals("")
	s.Totals.Watts = nil
	if c, ok := r.Recording.Company(); ok {
		s.Company = &c
	}
	return s
}

// files makes what is missing of a ride's files, each whole or not at all. A
// ride without a second ridden gives none.
func (m *Manager) files(id string) (ride.Read, error) {
	r, err := ride.Load(m.journal(id))
	if err != nil {
		return r, err
	}
	if !r.Ended || r.Recording.End() < 1 {
		return r, nil
	}
	makers := map[string]func(io.Writer) error{
		"fit":       func(w io.Writer) error { return fitfile.Activity(w, &r.Recording, fitfile.Options{}) },
		"csv":       func(w io.Writer) error { return r.Recording.WriteCSV(w, 1) },
		"recording": func(w io.Writer) error { return recording.Write(w, &r.Recording) },
		"summary":   func(w io.Writer) error { return json.NewEncoder(w).Encode(noNaN(summary(id, r))) },
	}
	for _, kind := range []string{"recording", "csv", "fit", "summary"} {
		path := filepath.Join(m.c.Folder, id+kinds[kind])
		if _, err := os.Stat(path); err == nil {
			continue
		}
		if err := whole(path, makers[kind]); err != nil {
			return r, &problem.Error{Kind: problem.Failed, Message: "the ride's " + kind + " file cannot be made: " + err.Error(), Err: err}
		}
	}
	return r, nil
}

// noNaN makes what is not known of a ride's totals zero, since JSON knows no
// other word for it.
func noNaN(s Summary) Summary {
	for _, v := range []*float64{&s.Totals.WorkJ, &s.Totals.MeanW, &s.Totals.MaxW, &s.Totals.MeanCadence, &s.Totals.MaxCadence, &s.Totals.MeanHeart,
		&s.Totals.MaxHeart, &s.Totals.DistanceM, &s.Totals.MaxSpeed, &s.Totals.AscentM} {
		if math.IsNaN(*v) {
			*v = 0
		}
	}
	return s
}

// whole writes a file under another name first.
func whole(path string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".making-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// File is the path of one file of a ride.
func (m *Manager) File(id, kind string) (string, error) {
	ext, ok := kinds[kind]
	if !ok {
		return "", problem.Bad("a ride has no file of the kind %q", kind)
	}
	if err := m.known(id); err != nil {
		return "", err
	}
	path := filepath.Join(m.c.Folder, id+ext)
	if _, err := os.Stat(path); err != nil {
		return "", problem.Bad("ride %s has no such file: nothing was ridden, or it has not ended", id)
	}
	return path, nil
}

// list is every ride of the folder that nobody is riding, the newest first. A
// journal that cannot be understood is left alone and said in the log.
func (m *Manager) list() ([]Summary, error) {
	entries, err := os.ReadDir(m.c.Folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []Summary
	for _, e := range entries {
		id, ok := strings.CutSuffix(e.Name(), ride.Suffix)
		if !ok || m.busy(id) {
			continue
		}
		s, err := m.Summary(id)
		if err != nil {
			m.c.Log.Warn("a ride's journal cannot be understood and is left alone", "ride", id, "error", err)
			continue
		}
		out = append(out, s)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Begun.After(out[j].Begun) })
	return out, nil
}

func (m *Manager) busy(id string) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, ok := m.rides[id]
	return ok && (r == nil || running(r))
}

// Unfinished are the rides without an end, the newest first. Those in which
// nobody began are left out.
func (m *Manager) Unfinished() ([]Summary, error) {
	all, err := m.list()
	return slices.DeleteFunc(all, func(s Summary) bool { return s.Ended || !s.Rode }), err
}

// Finished are the rides that have ended, the newest first.
func (m *Manager) Finished() ([]Summary, error) {
	all, err := m.list()
	return slices.DeleteFunc(all, func(s Summary) bool { return !s.Ended || !s.Rode }), err
}

// Summary is one ride's, from beside its files where it has ended, else from
// its journal.
func (m *Manager) Summary(id string) (Summary, error) {
	if err := m.known(id); err != nil {
		return Summary{}, err
	}
	if b, err := os.ReadFile(filepath.Join(m.c.Folder, id+kinds["summary"])); err == nil {
		var s Summary
		if json.Unmarshal(b, &s) == nil && s.ID == id {
			return s, nil
		}
	}
	r, err := ride.Load(m.journal(id))
	if err != nil {
		return Summary{}, err
	}
	return noNaN(summary(id, r)), nil
}

// SetAside ends an unfinished ride as it is. Its files are made of what is
// there.
func (m *Manager) SetAside(id string) error {
	if err := m.known(id); err != nil {
		return err
	}
	if err := m.claim(id, Choice{}); err != nil {
		return err
	}
	defer m.release(id)
	w, found, err := journal.Continue(m.journal(id))
	if err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "that ride cannot be ended: " + err.Error(), Err: err}
	}
	last := 0.0
	if r, err := ride.Understand(found); err == nil && r.Last != nil {
		last = r.Last.T
	}
	if err := errors.Join(w.Append(ride.EndRecord(last)), w.Close()); err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "that ride cannot be ended: " + err.Error(), Err: err}
	}
	if _, err = m.files(id); err == nil {
		m.finished(id)
	}
	return err
}

// finished says that a ride has ended and its files are there.
func (m *Manager) finished(id string) {
	if m.c.Finished == nil {
		return
	}
	if s, err := m.Summary(id); err != nil {
		m.c.Log.Warn("a ride that ended", "ride", id, "error", err)
	} else if s.Ended && s.Rode {
		m.c.Finished(s)
	}
}

// Delete removes a ride that does not go on, journal and files: a person asked
// for it.
func (m *Manager) Delete(id string) error {
	if err := m.known(id); err != nil {
		return err
	}
	if err := m.claim(id, Choice{}); err != nil {
		return err
	}
	defer m.release(id)
	paths, err := journal.Files(m.journal(id))
	for kind, ext := range kinds {
		if kind != "journal" {
			paths = append(paths, filepath.Join(m.c.Folder, id+ext))
		}
	}
	for _, p := range paths {
		if e := os.Remove(p); e != nil && !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, e)
		}
	}
	return err
}

// Missing is the next thing to try for a sensor that does not appear.
func (r *Ride) Missing(kind sensor.Wanted, id string, tried []sensor.Cause) (sensor.Step, bool) {
	var step sensor.Step
	found := false
	r.Engine.Do(func(c *ride.Core, now time.Time) string {
		step, found = c.Missing(kind, id, tried)
		return ""
	})
	return step, found
}
