package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"chainline/internal/problem"
)

// lockFile is held while a program uses the folder. It stays when the program
// ends; what counts is the system's lock on it, which dies with the program.
const lockFile = "lock"

type lock struct{ file *os.File }

var errLocked = errors.New("locked by another program")

// lockFolder takes the folder for this store alone.
func lockFolder(dir string) (*lock, error) {
	path := filepath.Join(dir, lockFile)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, folderError(dir, err)
	}
	err = os.Chmod(path, 0o600)
	if err == nil {
		err = tryLock(f)
	}
	if err == nil {
		return &lock{f}, nil
	}
	_ = f.Close()
	if errors.Is(err, errLocked) {
		return nil, &problem.Error{
			Message: fmt.Sprintf("the data folder %s is already in use by another Chainline", dir),
			Hint:    "Use the one that is running, or close it first, or name another data folder.",
			Err:     ErrInUse,
		}
	}
	return nil, folderError(dir, err)
}

// release gives the folder free.
func (l *lock) release() error { return l.file.Close() }
