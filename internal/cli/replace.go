package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"

	"chainline/internal/problem"
)

// target is where --out goes, looked at before anything is computed.
type target struct {
	asked string // as typed
	name  string // with links followed

	stream io.Writer   // an open stream of this process, written to as it stands; else nil
	direct bool        // a device or a pipe, or opened by somebody else: not replaced
	mode   os.FileMode // of the file that is there; 0 if none is
}

// openStream is a name for what this process already has open.
var openStream = regexp.MustCompile(`^/(?:dev|proc/self)/fd/(\d+)$`)

// aim finds out where name leads, and whether it can be written to. Empty is
// standard output.
func aim(name string, s Streams) (target, error) {
	t := target{asked: name, name: name, stream: s.Out}
	if name == "" {
		return t, nil
	}
	t.stream = nil
	if os.IsPathSeparator(name[len(name)-1]) {
		return t, t.isFolder()
	}
	if err := t.follow(); err != nil {
		return t, t.failed(err)
	}
	info, err := os.Stat(t.name)
	switch open := openStream.FindStringSubmatch(t.name); {
	case err != nil && (open != nil || !errors.Is(err, fs.ErrNotExist)):
		return t, t.failed(err)
	case open != nil && open[1] == "1":
		t.stream = s.Out
	case open != nil && open[1] == "2":
		t.stream = s.Err
	case err == nil && info.IsDir():
		return t, t.isFolder()
	case open != nil, err == nil && !info.Mode().IsRegular():
		t.direct = true
	default:
		if err == nil {
			t.mode = info.Mode().Perm()
		}
		return t, t.try()
	}
	return t, nil
}

// follow goes where links lead, also where nothing is yet, but not beyond the
// name of an open stream: what lies behind it was opened by somebody else.
func (t *target) follow() error {
	for range 40 { // as many as Linux follows
		if openStream.MatchString(t.name) {
			return nil
		}
		to, err := os.Readlink(t.name)
		if err != nil {
			return nil // no link
		}
		if !filepath.IsAbs(to) {
			dir, err := filepath.EvalSymlinks(filepath.Dir(t.name))
			if err != nil {
				return err
			}
			to = filepath.Join(dir, to)
		}
		t.name = to
	}
	return fmt.Errorf("more than 40 links after another")
}

// try makes a file beside the target, and takes it away again.
func (t target) try() error {
	f, err := t.beside()
	if err != nil {
		return t.failed(err)
	}
	_ = f.Close()
	return os.Remove(f.Name())
}

// beside is a new file in the target's folder, readable by whom the umask lets.
func (t target) beside() (*os.File, error) {
	for attempt := 0; ; attempt++ {
		name := filepath.Join(filepath.Dir(t.name), fmt.Sprintf(".chainline-%08x", rand.Uint32()))
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if err == nil || !errors.Is(err, fs.ErrExist) || attempt == 100 {
			return f, err
		}
	}
}

func (t target) isFolder() error {
	return problem.Bad("--out: %s is a folder; expected the name of a file", t.asked)
}

func (t target) failed(err error) error {
	return &problem.Error{Kind: problem.Failed, Message: problem.OneLine(t.asked + ": could not be written; expected a place where you may write"), Err: err}
}

// write puts data where the target is.
func (t target) write(data []byte) error {
	if t.stream != nil {
		_, err := t.stream.Write(data)
		return err
	}
	put := t.replace
	if t.direct {
		put = t.append
	}
	if err := put(data); err != nil {
		return t.failed(err)
	}
	return nil
}

// append writes to what is not to be replaced, behind what is in it.
func (t target) append(data []byte) error {
	f, err := os.OpenFile(t.name, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// replace puts the data in the target's place, whole or not at all: a file
// beside it, synced, renamed, and the folder synced. A file that was there
// keeps who may read it.
func (t target) replace(data []byte) error {
	f, err := t.beside()
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already when the rename succeeded
	_, err = f.Write(data)
	if err == nil && t.mode != 0 {
		err = f.Chmod(t.mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), t.name); err != nil {
		return err
	}
	if d, err := os.Open(filepath.Dir(t.name)); err == nil {
		defer d.Close()
		_ = d.Sync() // some file systems cannot; the file itself is safe
	}
	return nil
}
