//go:build unix

package store

import (
	"errors"
	"os"
	"syscall"
)

// tryLock does not wait: errLocked if another open file holds the lock.
func tryLock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errLocked
	}
	return err
}
