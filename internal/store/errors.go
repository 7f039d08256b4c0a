package store

import (
	"context"
	"errors"
	"fmt"

	"chainline/internal/problem"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What callers may want to tell apart, with errors.Is. Each comes inside a
// *problem.Error that has the sentence for people.
var (
	ErrNotFound = errors.New("store: not found")
	ErrInUse    = errors.New("store: the folder is in use")
	ErrNewer    = errors.New("store: the database is of a newer program")
	ErrDamaged  = errors.New("store: the database is damaged")

	ErrOvertaken = errors.New("store: changed by somebody else meanwhile")
)

func notFound(what, id string) error {
	return &problem.Error{Kind: problem.Misuse, Message: fmt.Sprintf("there is no %s %q; perhaps it was deleted", what, id), Err: ErrNotFound}
}

func damaged(path string, cause error) error {
	return &problem.Error{
		Message: fmt.Sprintf("%s is damaged or no Chainline database; it was left as it is", path),
		Hint:    "Keep a copy of it. Then put back a copy from before, or start with another data folder and import an archive.",
		Err:     fmt.Errorf("%w: %w", ErrDamaged, cause),
	}
}

func folderError(dir string, err error) error {
	return &problem.Error{
		Message: fmt.Sprintf("the data folder %s cannot be used: %v", dir, err),
		Hint:    "Give a folder of your own that this program may write to.",
		Err:     err,
	}
}

// wrap gives errors of SQLite a sentence for people and leaves others alone.
func (s *Store) wrap(err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err // problem.ForPerson has words for these
	}
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok {
		return err
	}
	db := s.dir
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_INTERRUPT:
		return fmt.Errorf("%w: %w", context.Canceled, err)
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return damaged(s.path(), err)
	case sqlite3.SQLITE_FULL:
		return &problem.Error{Message: "the disk is full; nothing was changed", Hint: "Make room on the disk of " + db + " and try again.", Err: err}
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR:
		return &problem.Error{Message: fmt.Sprintf("the database in %s cannot be read or written", db), Hint: "Look whether the disk is there, and whether this program may write to the folder.", Err: err}
	}
	return &problem.Error{Message: "the database refused what was asked of it", Hint: "This is a fault of the program: please report it.", Err: err}
}
