package service

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/internal/store"
	"chainline/recording"
)

// An import runs in the background. What it has dealt with is kept with every
// batch of rides, so that one that was stopped goes on where it was.

// importJob is an import that runs.
type importJob struct {
	app    *App
	id     ImportID
	made   time.Time
	q      ImportRequest
	cancel context.CancelCauseFunc
	done   chan struct{}

	mu       sync.Mutex // holds everything below
	progress ImportProgress
	state    ImportState
	here     map[string]int  // rides by hash that are in the library
	seen     map[string]bool // hashes that this import has dealt with
	catalog  intake.Catalogue
	rides    []store.Ride // to be written
	files    map[string][]byte
	bytes    int
	dealt    []store.ImportFile
	open     map[string][]store.Ride // of files of which more recordings come, by hash
	openFile map[string][]byte
	weaker   map[string]string // rides without power, by another device's of the same ride that has it
	spooled  map[string]string // what uploaded files are called, by path
}

// A batch is written when it has so many rides or bytes: few enough that
// little is lost and held, many enough that the disk is not waited for.
const batchRides, batchBytes = 32, 8 << 20

// errCancelled stops an import that a person cancelled.
var errCancelled = errors.New("the import was cancelled")

func (j *importJob) ended() bool {
	select {
	case <-j.done:
		return true
	default:
		return false
	}
}

// run does all of it and says how it ended.
func (j *importJob) run(ctx context.Context) {
	defer close(j.done)
	defer j.cancel(nil)
	err := j.all(ctx)
	if cause := context.Cause(ctx); err != nil && cause != nil {
		err = cause
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if e := j.flush(context.WithoutCancel(ctx)); err == nil {
		err = e
	}
	switch {
	case err == nil:
		j.state, j.progress.Failed = ImportDone, ""
	case errors.Is(err, errCancelled):
		j.state = ImportCancelled
	case j.app.base.Err() != nil:
		// The program stops; the import goes on when it is started again.
	default:
		j.state = ImportFailed
		j.progress.Failed, _ = problem.ForPerson(err)
		j.app.c.Log.Warn("an import failed", "import", j.id, "error", err)
	}
	if err := j.keep(context.WithoutCancel(ctx)); err != nil {
		j.app.c.Log.Warn("how an import stands could not be kept", "import", j.id, "error", err)
	}
	if j.state == ImportDone {
		for _, s := range j.q.Spooled {
			j.app.unspool(s)
		}
	}
}

// place is a file or folder that an import looks into.
type place struct {
	root  fs.FS
	in    string // what its files are called in
	names []string
}

func (j *importJob) all(ctx context.Context) error {
	places, err := j.places(ctx)
	if err != nil {
		return err
	}
	j.mu.Lock()
	j.progress.Found, j.progress.Done = 0, 0
	for _, p := range places {
		j.progress.Found += len(p.names)
	}
	j.mu.Unlock()
	before := 0
	for _, p := range places {
		err := intake.Files(ctx, p.root, p.names, j.known, func(a intake.Arrived) error { return j.arrived(ctx, p, a) }, func(done, _ int) {
			j.mu.Lock()
			j.progress.Done = before + done
			j.mu.Unlock()
		})
		if err != nil {
			return err
		}
		before += len(p.names)
	}
	j.mu.Lock()
	err = j.flush(ctx)
	j.state = ImportLearning
	j.mu.Unlock()
	if err != nil || j.q.RiderID == "" {
		return err
	}
	_, err = j.app.learn(ctx, j.q.RiderID, time.Time{}, "", func(done, _ int) {
		j.mu.Lock()
		j.progress.Learnt = done
		j.mu.Unlock()
	})
	return err
}

// places lists what there is to look at.
func (j *importJob) places(ctx context.Context) (out []place, err error) {
	paths := slices.Clone(j.q.Paths)
	for _, s := range j.q.Spooled {
		path, err := j.app.spooledFile(s)
		if err != nil {
			continue // taken in before the program was stopped
		}
		paths = append(paths, path)
		j.spooled[filepath.Base(path)] = spooledName(s)
	}
	for _, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			return nil, problem.Bad("%s: is not there any more", p)
		}
		if !info.IsDir() {
			out = append(out, place{os.DirFS(filepath.Dir(p)), "", []string{filepath.Base(p)}})
			continue
		}
		names, err := intake.List(ctx, os.DirFS(p))
		if err != nil {
			return nil, err
		}
		out = append(out, place{os.DirFS(p), filepath.Base(p), names})
	}
	return out, nil
}

// known tells what needs not be decoded: what this import dealt with before it
// was stopped, and what the library has.
func (j *importJob) known(hash string) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.seen[hash] {
		return true
	}
	if n := j.here[hash]; n > 0 {
		j.seen[hash] = true
		j.progress.Same += n
		j.dealt = append(j.dealt, store.ImportFile{File: hash, Hash: hash})
		return true
	}
	return false
}

// arrived takes one recording in. Two may come at once.
func (j *importJob) arrived(ctx context.Context, p place, a intake.Arrived) error {
	file := a.File
	if top, rest, _ := strings.Cut(file, "/"); j.spooled[top] != "" {
		file = strings.TrimSuffix(j.spooled[top]+"/"+rest, "/")
	} else if p.in != "" {
		file = p.in + "/" + file
	}
	if a.Err != nil {
		line, _ := problem.ForPerson(a.Err)
		return j.refuse(ctx, file, a.Hash, line)
	}
	facts, best, err := factsOf(&a.Recording, a.Kind, a.Losses, nil)
	if err != nil {
		return j.refuse(ctx, file, a.Hash, fmt.Sprintf("%s: nothing can be said of it: %v", file, err))
	}
	r := store.Ride{ID: store.NewID(), RiderID: j.q.RiderID, RigID: j.q.RigID, Start: startOf(&a.Recording), Hash: a.Hash, Number: a.Number, Filename: nameOf(file),
		Fingerprint: intake.Fingerprint(&a.Recording), Facts: jsonOf(facts), Said: jsonOf(rideSaid{}), Best: packed(best)}
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := context.Cause(ctx); err != nil {
		return err
	}
	same, err := j.same(&r, a)
	if err != nil {
		return err
	}
	if same {
		j.progress.Same++
	} else {
		j.open[a.Hash] = append(j.open[a.Hash], r)
		j.openFile[a.Hash] = a.Original
	}
	if a.Number < a.Of {
		return nil
	}
	return j.close(ctx, file, a)
}

// same finds out whether a ride is here already. One of another device is kept
// beside it; which of the two counts is the one with power, else the first.
func (j *importJob) same(r *store.Ride, a intake.Arrived) (bool, error) {
	powered := map[string]bool{}
	id, how, err := j.catalog.FindAs(r.Fingerprint, &a.Recording, func(id string) (*recording.Recording, error) {
		other, err := j.load(id)
		powered[id] = err == nil && len(other.Sources(recording.Power)) > 0
		return other, err
	})
	if err != nil {
		return false, err
	}
	has, compared := powered[id]
	switch stronger := compared && !has && len(a.Recording.Sources(recording.Power)) > 0; {
	case how != intake.Different && stronger:
		j.weaker[r.ID] = id
	case how == intake.SameRecording:
		return true, nil
	case how == intake.AnotherDevice:
		r.Repeats = id
	}
	j.catalog.Add(intake.Entry{ID: r.ID, Fingerprint: r.Fingerprint, StartUnix: a.Recording.StartUnix})
	return false, nil
}

// load is a ride that was taken in before: from the library, the batch, or the
// file that is being read.
func (j *importJob) load(id string) (*recording.Recording, error) {
	is := func(r store.Ride) bool { return r.ID == id }
	var r store.Ride
	var b []byte
	if i := slices.IndexFunc(j.rides, is); i >= 0 {
		r, b = j.rides[i], j.files[j.rides[i].Hash]
	}
	for hash, rides := range j.open {
		if i := slices.IndexFunc(rides, is); i >= 0 {
			r, b = rides[i], j.openFile[hash]
		}
	}
	if b == nil {
		kept, err := j.app.c.Store.Ride(context.Background(), id)
		if errors.Is(err, store.ErrNotFound) {
			return &recording.Recording{}, nil // deleted meanwhile
		}
		if err != nil {
			return nil, err
		}
		r = kept
		if b, err = j.app.c.Store.RideFile(r.Hash); err != nil {
			return nil, err
		}
	}
	got, err := recordingOf(r.Filename, b, r.Number)
	return &got.Recording, err
}

// close takes a file whose last recording has come into the batch.
func (j *importJob) close(ctx context.Context, file string, a intake.Arrived) error {
	rides := j.open[a.Hash]
	delete(j.open, a.Hash)
	delete(j.openFile, a.Hash)
	if len(rides) > 0 && j.files[a.Hash] == nil {
		j.files[a.Hash] = a.Original
		j.bytes += len(a.Original)
	}
	j.rides = append(j.rides, rides...)
	j.progress.New += len(rides)
	j.here[a.Hash] += len(rides)
	j.seen[a.Hash] = true
	j.dealt = append(j.dealt, store.ImportFile{File: file, Hash: a.Hash})
	if len(j.rides) < batchRides && j.bytes < batchBytes {
		return nil
	}
	return j.flush(ctx)
}

func (j *importJob) refuse(ctx context.Context, file, hash, line string) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	delete(j.open, hash)
	delete(j.openFile, hash)
	if hash != "" {
		j.seen[hash] = true
	}
	j.progress.Refused = append(j.progress.Refused, ImportRefused{file, line})
	j.dealt = append(j.dealt, store.ImportFile{File: file, Hash: hash, Refused: line})
	if len(j.dealt) < 8*batchRides {
		return nil
	}
	return j.flush(ctx)
}

// flush writes the batch, then how far the import is. In this order a ride may
// be met again, and is recognised.
func (j *importJob) flush(ctx context.Context) error {
	if len(j.rides) > 0 {
		if _, err := j.app.c.Store.AddRides(ctx, j.rides, j.files); err != nil {
			return err
		}
		for _, r := range j.rides {
			if old := j.weaker[r.ID]; old != "" {
				_, err := j.app.c.Store.ChangeRide(ctx, old, func(o *store.Ride) error { o.Repeats = r.ID; return nil })
				if err != nil && !errors.Is(err, store.ErrNotFound) {
					return err
				}
				delete(j.weaker, r.ID)
			}
		}
	}
	j.rides, j.files, j.bytes = nil, map[string][]byte{}, 0
	return j.keep(ctx)
}

// keep writes how the import stands. Files that are not closed yet are not
// among those dealt with.
func (j *importJob) keep(ctx context.Context) error {
	p := j.progress
	p.Refused = nil // they stand with their files
	_, err := j.app.c.Store.PutRideImport(ctx, store.RideImport{ID: string(j.id), Made: j.made, State: string(j.state), Request: jsonOf(j.q), Progress: jsonOf(p)}, j.dealt)
	if err == nil {
		j.dealt = nil
	}
	return err
}

// nameOf is the last part of a file's name, as the library keeps it.
func nameOf(file string) string {
	name := problem.OneLine(filepath.Base(strings.ReplaceAll(file, `\`, "/")))
	if r := []rune(name); len(r) > 200 {
		name = string(r[len(r)-200:])
	}
	return name
}
