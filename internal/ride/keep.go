package ride

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"chainline/internal/journal"
	"chainline/internal/sensor"
)

// Suffix of journals, which stand in one folder, each under its ride's ID.
const Suffix = ".journal"

// Kept is a ride whose journal is open.
type Kept struct {
	Core    *Core
	Journal *journal.Writer
	Path    string
}

// Begin makes a new ride and its journal in a folder.
func Begin(folder string, s Setup, hub *sensor.Hub) (*Kept, error) {
	if s.ID == "" || s.ID != filepath.Base(s.ID) || strings.HasPrefix(s.ID, ".") {
		return nil, fmt.Errorf("a ride needs an ID that can be a file's name, not %q", s.ID)
	}
	core, err := New(s, hub)
	if err != nil {
		return nil, err
	}
	if n := len(core.out.Records[0]); n > journal.MaxRecord {
		return nil, fmt.Errorf("its course and plan take %d MB, more than a journal's record can hold (%d MB): the course has too many points or laps", n>>20, journal.MaxRecord>>20)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("the folder for rides: %w", err)
	}
	path := filepath.Join(folder, s.ID+Suffix)
	sum := sha256.Sum256([]byte(s.ID))
	w, err := journal.Create(path, journal.Identity(sum[:16]))
	if err != nil {
		return nil, fmt.Errorf("the ride's journal: %w", err)
	}
	w.Start(time.Second)
	return &Kept{core, w, path}, nil
}

// GoOn takes up a ride that was not ended.
func GoOn(path string, hub *sensor.Hub, now time.Time) (*Kept, error) {
	w, found, err := journal.Continue(path)
	if err != nil {
		return nil, err
	}
	r, err := Understand(found)
	if err == nil {
		var core *Core
		if core, err = r.Resume(hub, now); err == nil {
			w.Start(time.Second)
			return &Kept{core, w, path}, nil
		}
	}
	return nil, errors.Join(err, w.Abandon())
}

// Load reads a ride's journal as far as it can be proved whole; what is
// missing stands in the recording's marks.
func Load(path string) (Read, error) {
	found, err := journal.Recover(path)
	if err != nil {
		return Read{}, fmt.Errorf("%s cannot be read: %w", filepath.Base(path), err)
	}
	return Understand(found)
}

// Understand reads what could be recovered of a ride's journal.
func Understand(found *journal.Recovered) (Read, error) {
	records := make([][]byte, len(found.Records))
	for i, r := range found.Records {
		records[i] = r.Bytes
	}
	r, err := ReadRecords(records, len(found.Damage) == 0)
	if err != nil {
		return r, err
	}
	for _, d := range found.Damage {
		r.Damage = append(r.Damage, d.String())
	}
	return r, nil
}
