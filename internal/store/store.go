// Package store keeps what a person made: riders, rigs, roads, courses, events
// and briefs, in one SQLite database in one folder that only its owner can
// read and that only one program uses at a time.
//
// An object is the text of its file in the format of docs/formats.md; what was
// uploaded is kept beside it as it came. The store does not look into the
// text: whoever puts it has validated it (see Store.Check).
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"chainline/internal/problem"
	_ "modernc.org/sqlite" // the driver "sqlite"
)

// databaseFile is the database in the data folder; SQLite keeps two more
// files beside it while it is open.
const databaseFile = "chainline.db"

// readers is how many reads may run at once; writes run one at a time.
const readers = 4

// Store is an open data folder. Its methods may be called from many
// goroutines at once. What they return as errors has a sentence for people.
type Store struct {
	// Now is the clock; set it before the first use. Times are kept in
	// milliseconds, in UTC.
	Now func() time.Time
	// Check, if set before the first use, is asked about every object before
	// it is written, by Put and by Import; its error is returned as it is.
	Check func(Object) error
	// Busy, if set before the first use, is asked before a rider is deleted;
	// its error is returned as it is. Gone, if set, is told of the riders that
	// were deleted, so that what others keep of them goes too.
	Busy func(riderID string) error
	Gone func(riderIDs []string) error

	dir   string
	lock  *lock
	write *sql.DB // one connection
	read  *sql.DB

	scrubbing sync.Mutex
	traces    bool // deleted things may still be legible in the files
	sweeping  sync.Mutex
}

// Open opens the data folder, creates it if there is none (0700, files 0600,
// whatever the umask), locks it and brings its database to this program's
// schema. It fails with ErrInUse, ErrNewer or ErrDamaged in these cases, and
// leaves the database as it is.
func Open(ctx context.Context, dir string) (s *Store, err error) {
	if err := prepareFolder(dir); err != nil {
		return nil, err
	}
	l, err := lockFolder(dir)
	if err != nil {
		return nil, err
	}
	s = &Store{Now: time.Now, dir: dir, lock: l}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.shut())
			s = nil
		}
	}()
	path := filepath.Join(dir, databaseFile)
	unclean, err := prepareFiles(path)
	if err != nil {
		return s, err
	}
	if err := refuseNewer(ctx, path); err != nil {
		return s, err
	}
	if s.write, err = connect(path, "&_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=busy_timeout(1000)", 1); err != nil {
		return s, s.wrap(err)
	}
	if s.read, err = connect(path, "&_pragma=query_only(1)&_pragma=busy_timeout(5000)", readers); err != nil {
		return s, s.wrap(err)
	}
	if err := s.examine(ctx); err != nil {
		return s, err
	}
	if err := s.migrate(ctx, migrations()); err != nil {
		return s, err
	}
	if unclean { // killed, perhaps between deleting and wiping
		s.traces = true
		if err = s.scrub(ctx); err != nil {
			return s, err
		}
	}
	return s, s.sweep(ctx)
}

// connect opens a pool of n connections with the pragmas that all share. They
// stand in the name of the database so that every connection has them.
func connect(path, more string, n int) (*sql.DB, error) {
	const pragmas = "?_pragma=foreign_keys(1)&_pragma=synchronous(FULL)&_pragma=secure_delete(ON)&_pragma=temp_store(MEMORY)&_pragma=trusted_schema(0)"
	db, err := sql.Open("sqlite", fileURI(path)+pragmas+more)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	return db, nil
}

// Close writes everything into the database file, wipes what was deleted, and
// gives the folder free. The store must not be used afterwards.
func (s *Store) Close() error {
	ctx := context.Background()
	reading := s.read.Close() // first: a read in progress keeps the log from being cut
	return errors.Join(reading, s.scrub(ctx), s.checkpoint(ctx), s.shut())
}

// shut closes what is open, without a last word to the database.
func (s *Store) shut() error {
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.write != nil {
		errs = append(errs, s.write.Close())
	}
	return errors.Join(append(errs, s.lock.release())...)
}

// Dir is the data folder.
func (s *Store) Dir() string { return s.dir }

// now is the time in the precision in which it is kept.
func (s *Store) now() time.Time { return s.Now().UTC().Truncate(time.Millisecond) }

// scrub makes what was deleted illegible. secure_delete overwrites rows, but
// copies of them that moved between pages stay in the gaps of pages, and the
// write-ahead log holds what was there before: so the database is rewritten
// from its living rows and the log is cut to nothing.
func (s *Store) scrub(ctx context.Context) error {
	s.scrubbing.Lock()
	defer s.scrubbing.Unlock()
	if !s.traces {
		return nil
	}
	if _, err := s.write.ExecContext(ctx, "VACUUM"); err != nil {
		return s.wrap(err)
	}
	if err := s.checkpoint(ctx); err != nil {
		return err
	}
	s.traces = false
	return nil
}

var errReading = &problem.Error{
	Message: "the database is still being read, so what was deleted is not wiped from the disk yet",
	Hint:    "It is wiped when the program is started the next time.",
}

// checkpoint moves the write-ahead log into the database file and cuts it to
// nothing. errReading says that a read in progress needs it a while longer.
func (s *Store) checkpoint(ctx context.Context) error {
	var busy, frames, moved int
	if err := s.write.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return s.wrap(err)
	}
	if busy != 0 {
		return errReading
	}
	return nil
}

// wipe remembers that something was deleted, and wipes it at once if no
// read is in the way. The deletion itself stands either way, so a failure to
// wipe is tried again after the next deletion or export and at Close.
func (s *Store) wipe(ctx context.Context) error {
	s.scrubbing.Lock()
	s.traces = true
	s.scrubbing.Unlock()
	if err := s.scrub(ctx); err != nil && !errors.Is(err, errReading) { // a short read is waited for: busy_timeout
		return err
	}
	return nil
}

// tx runs do in a transaction that is written whole or not at all.
func (s *Store) tx(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return s.wrap(err)
	}
	defer func() { _ = tx.Rollback() }() // does nothing after Commit
	if err := do(tx); err != nil {
		return s.wrap(err)
	}
	return s.wrap(tx.Commit())
}

// view runs do on one unchanging state of the database.
func (s *Store) view(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := s.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return s.wrap(err)
	}
	defer func() { _ = tx.Rollback() }()
	return s.wrap(do(tx))
}

// examine finds damage before anything is written.
func (s *Store) examine(ctx context.Context) error {
	var says string
	err := s.write.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&says)
	if err != nil {
		return s.wrap(err)
	}
	if says != "ok" {
		return damaged(filepath.Join(s.dir, databaseFile), fmt.Errorf("quick_check: %s", says))
	}
	return nil
}

// prepareFiles creates the database file owner-only before SQLite can create
// it otherwise: SQLite gives its other files the mode of this one. It says
// whether the last program was stopped before it could tidy up.
func prepareFiles(path string) (unclean bool, err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return false, folderError(filepath.Dir(path), err)
	}
	if err := f.Close(); err != nil {
		return false, folderError(filepath.Dir(path), err)
	}
	for _, end := range []string{"", "-wal", "-shm"} {
		info, err := os.Stat(path + end)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err == nil {
			err = os.Chmod(path+end, 0o600)
		}
		if err != nil {
			return false, folderError(filepath.Dir(path), err)
		}
		if end == "-wal" && info.Size() > 0 {
			unclean = true
		}
	}
	return unclean, nil
}
