package journal

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
)

// disk and file are what the writer needs of a file system; tests let them fail.
type disk interface {
	create(path string) (file, error)  // an error if it exists; in its folder for good
	same(path string, open file) error // an error if path is gone or is another file
	remove(path string) error
}

type file interface {
	io.WriterAt
	io.ReaderAt
	io.Closer
	Sync() error
}

type osDisk struct{}

func (osDisk) create(path string) (file, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// syncFolder makes a new name last through a loss of power. Windows has no
// such thing and does it by itself.
func syncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

func (osDisk) same(path string, open file) error {
	now, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return err
	}
	ours, unknown := open.(*os.File).Stat()
	if err != nil || unknown != nil {
		return nil // cannot be known; writing will tell
	}
	if !os.SameFile(now, ours) {
		return fmt.Errorf("%s has become another file", path)
	}
	return nil
}

func (osDisk) remove(path string) error { return os.Remove(path) }
