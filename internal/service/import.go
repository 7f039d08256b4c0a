package service

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/internal/store"
)

// StartImport begins an import in the background.
func (a *App) StartImport(ctx context.Context, q ImportRequest) (ImportID, error) {
	if len(q.Paths)+len(q.Spooled) == 0 {
		return "", problem.Bad("nothing to import; expected files, archives or folders of recordings")
	}
	for i, p := range q.Paths {
		full, err := filepath.Abs(p)
		if err != nil {
			return "", problem.Bad("%s: cannot be found", p)
		}
		if _, err := os.Stat(full); err != nil {
			return "", problem.Bad("%s: there is no such file or folder; expected recordings, archives or folders of them", p)
		}
		q.Paths[i] = full
	}
	for _, s := range q.Spooled {
		if _, err := a.spooledFile(s); err != nil {
			return "", err
		}
	}
	m, err := a.c.Store.PutRideImport(ctx, store.RideImport{Made: a.c.Now(), State: string(ImportRunning), Request: jsonOf(q), Progress: jsonOf(ImportProgress{})}, nil)
	if err != nil {
		return "", err
	}
	return ImportID(m.ID), a.run(ctx, m)
}

// StartOrResume goes on with an import of the same that did not come to its
// end, or begins one.
func (a *App) StartOrResume(ctx context.Context, q ImportRequest) (ImportID, error) {
	for i, p := range q.Paths {
		if full, err := filepath.Abs(p); err == nil {
			q.Paths[i] = full
		}
	}
	all, err := a.c.Store.RideImports(ctx)
	if err != nil {
		return "", err
	}
	for _, m := range all {
		if ImportState(m.State) != ImportDone && string(m.Request) == string(jsonOf(q)) {
			return ImportID(m.ID), a.ResumeImport(ctx, ImportID(m.ID))
		}
	}
	return a.StartImport(ctx, q)
}

// run starts or goes on with an import.
func (a *App) run(ctx context.Context, m store.RideImport) error {
	j := &importJob{app: a, id: ImportID(m.ID), made: m.Made, state: ImportRunning, done: make(chan struct{}),
		here: map[string]int{}, seen: map[string]bool{}, files: map[string][]byte{}, open: map[string][]store.Ride{}, openFile: map[string][]byte{}, weaker: map[string]string{}, spooled: map[string]string{}}
	if err := errors.Join(json.Unmarshal(m.Request, &j.q), json.Unmarshal(m.Progress, &j.progress)); err != nil {
		return problem.Bad("the import %s cannot be understood", m.ID)
	}
	dealt, err := a.c.Store.ImportFiles(ctx, m.ID, false)
	if err != nil {
		return err
	}
	for _, f := range dealt {
		j.seen[f.Hash] = true
	}
	all, err := a.c.Store.Rides(ctx, "")
	if err != nil {
		return err
	}
	for _, r := range all {
		j.here[r.Hash]++
		j.catalog.Add(intake.Entry{ID: r.ID, Fingerprint: r.Fingerprint, StartUnix: float64(r.Start.UnixMilli()) / 1000})
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if old := a.jobs[j.id]; old != nil && !old.ended() {
		return nil // it runs already
	}
	if a.base.Err() != nil {
		return problem.Bad("the program is closing")
	}
	var inner context.Context
	inner, j.cancel = context.WithCancelCause(a.base)
	a.jobs[j.id] = j
	a.wait.Go(func() { j.run(inner) })
	return nil
}

// Import is how an import stands.
func (a *App) Import(ctx context.Context, id ImportID) (ImportProgress, error) {
	a.mu.Lock()
	j := a.jobs[id]
	a.mu.Unlock()
	if j != nil {
		j.mu.Lock()
		defer j.mu.Unlock()
		p := j.progress
		p.ID, p.Made, p.State = j.id, j.made, j.state
		p.Refused = slices.Clone(p.Refused)
		return p, nil
	}
	m, err := a.c.Store.RideImport(ctx, string(id))
	if err != nil {
		return ImportProgress{}, err
	}
	return a.progressOf(ctx, m)
}

func (a *App) progressOf(ctx context.Context, m store.RideImport) (p ImportProgress, err error) {
	if err := json.Unmarshal(m.Progress, &p); err != nil {
		return p, problem.Bad("the import %s cannot be understood", m.ID)
	}
	p.ID, p.Made, p.State = ImportID(m.ID), m.Made, ImportState(m.State)
	files, err := a.c.Store.ImportFiles(ctx, m.ID, true)
	for _, f := range files {
		p.Refused = append(p.Refused, ImportRefused{f.File, f.Refused})
	}
	return p, err
}

// Imports lists imports, the newest first.
func (a *App) Imports(ctx context.Context) ([]ImportProgress, error) {
	all, err := a.c.Store.RideImports(ctx)
	out := []ImportProgress{}
	for _, m := range all {
		p, err := a.Import(ctx, ImportID(m.ID))
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, err
}

// ImportRequestOf is what an import was asked for.
func (a *App) ImportRequestOf(ctx context.Context, id ImportID) (q ImportRequest, err error) {
	m, err := a.c.Store.RideImport(ctx, string(id))
	if err == nil {
		err = json.Unmarshal(m.Request, &q)
	}
	return q, err
}

// Wait waits until an import has ended or ctx does.
func (a *App) Wait(ctx context.Context, id ImportID) error {
	a.mu.Lock()
	j := a.jobs[id]
	a.mu.Unlock()
	if j == nil {
		return nil
	}
	select {
	case <-j.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// CancelImport stops an import and waits until it has; what it took in stays.
func (a *App) CancelImport(ctx context.Context, id ImportID) error {
	a.mu.Lock()
	j := a.jobs[id]
	a.mu.Unlock()
	if j == nil {
		_, err := a.c.Store.RideImport(ctx, string(id))
		return err
	}
	j.cancel(errCancelled)
	return a.Wait(ctx, id)
}

// ResumeImport goes on with one that was cancelled or failed.
func (a *App) ResumeImport(ctx context.Context, id ImportID) error {
	m, err := a.c.Store.RideImport(ctx, string(id))
	if err != nil || ImportState(m.State) == ImportDone {
		return err
	}
	files, err := a.c.Store.ImportFiles(ctx, m.ID, true)
	if err != nil {
		return err
	}
	var p ImportProgress
	if err := json.Unmarshal(m.Progress, &p); err != nil {
		return problem.Bad("the import %s cannot be understood", m.ID)
	}
	for _, f := range files {
		p.Refused = append(p.Refused, ImportRefused{f.File, f.Refused})
	}
	m.Progress = jsonOf(p)
	return a.run(ctx, m)
}

// goOn takes up imports that were running when the program stopped.
func (a *App) goOn() {
	all, err := a.c.Store.RideImports(a.base)
	for _, m := range all {
		if s := ImportState(m.State); err == nil && (s == ImportRunning || s == ImportLearning) {
			err = a.ResumeImport(a.base, ImportID(m.ID))
		}
	}
	if err != nil {
		a.c.Log.Warn("imports could not be gone on with", "error", err)
	}
}

// Uploaded files wait in a folder of the store until an import has them.

const spoolFolder = "spool"

func (a *App) spool(_ context.Context, filename string, r io.Reader) (name string, err error) {
	dir := filepath.Join(a.c.Store.Dir(), spoolFolder)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", &problem.Error{Message: "the upload cannot be kept: " + err.Error(), Err: err}
	}
	plain := strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>|`, r) || r < ' ' {
			return '_'
		}
		return r
	}, nameOf(filename))
	name = store.NewID() + "-" + plain[max(0, len(plain)-100):]
	f, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", &problem.Error{Message: "the upload cannot be kept: " + err.Error(), Err: err}
	}
	_, err = io.Copy(f, r)
	if err = errors.Join(err, f.Close()); err != nil {
		return "", errors.Join(&problem.Error{Message: "the upload broke off: " + err.Error(), Err: err}, os.Remove(f.Name()))
	}
	return name, nil
}

func spooledName(s string) string {
	_, name, _ := strings.Cut(s, "-")
	return name
}

func (a *App) spooledFile(name string) (string, error) {
	path := filepath.Join(a.c.Store.Dir(), spoolFolder, name)
	if name == "" || name != filepath.Base(name) || name[0] == '.' {
		return "", problem.Bad("there is no uploaded file %.80q", name)
	}
	if _, err := os.Stat(path); err != nil {
		return "", problem.Bad("there is no uploaded file %.80q any more", name)
	}
	return path, nil
}

func (a *App) unspool(name string) {
	if path, err := a.spooledFile(name); err == nil {
		if err := os.Remove(path); err != nil {
			a.c.Log.Warn("an uploaded file could not be removed", "error", err)
		}
	}
}
