package store

import (
	"context"
	"database/sql"
	"embed"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strconv"

	"chainline/internal/problem"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// applicationID marks an SQLite file as ours: "chnl".
const applicationID = 0x63686e6c

// A migration takes the database from schema number-1 to number. Migrations
// only go forward, and one that was released never changes.
type migration struct {
	number int
	sql    string
}

// migrations are all there are, by number from 1. A gap is a mistake of whoever
// added a file.
func migrations() []migration {
	entries, err := migrationFiles.ReadDir("migrations")
	if err != nil {
		panic(err)
	}
	var all []migration
	for i, e := range entries {
		n, err := strconv.Atoi(e.Name()[:4])
		if err != nil || n != i+1 {
			panic("store: migrations must be numbered without a gap: " + e.Name())
		}
		text, err := migrationFiles.ReadFile(path.Join("migrations", e.Name()))
		if err != nil {
			panic(err)
		}
		all = append(all, migration{n, string(text)})
	}
	return all
}

// migrate applies what is missing, each migration whole or not at all.
func (s *Store) migrate(ctx context.Context, all []migration) error {
	var at int
	if err := s.write.QueryRowContext(ctx, "PRAGMA user_version").Scan(&at); err != nil {
		return s.wrap(err)
	}
	for _, m := range all[min(at, len(all)):] {
		err := s.tx(ctx, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, m.sql); err != nil {
				return err
			}
			// Part of the transaction: the number lies in the file's first page.
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d; PRAGMA application_id = %d", m.number, applicationID))
			return err
		})
		if err != nil {
			return fmt.Errorf("migration %d: %w", m.number, err)
		}
	}
	return nil
}

// refuseNewer looks at the schema's number without letting SQLite write: a
// newer program's database and a stranger's file stay as they are.
func refuseNewer(ctx context.Context, db string) error {
	at, mark, err := header(db)
	if err != nil {
		return folderError(filepath.Dir(db), err)
	}
	if info, err := os.Stat(db + "-wal"); err == nil && info.Size() > 0 {
		// The newest number may stand in the log. A connection that may only
		// read cannot move the log into the file.
		if at, mark, err = logged(ctx, db); err != nil {
			return damaged(db, err)
		}
	}
	latest := len(migrations())
	switch {
	case at == 0 && mark == 0: // new, or not yet migrated
		return nil
	case mark != applicationID:
		return damaged(db, fmt.Errorf("application_id is %#x", mark))
	case at > latest:
		return &problem.Error{
			Message: fmt.Sprintf("the data in %s was written by a newer Chainline (schema %d; this one knows %d); it was left as it is", filepath.Dir(db), at, latest),
			Hint:    "Use the newer program, or name another data folder.",
			Err:     ErrNewer,
		}
	}
	return nil
}

// header reads the schema's number and whose file it is from an SQLite file's
// first bytes (https://www.sqlite.org/fileformat.html, section 1.3); zeros for
// an empty file.
func header(db string) (schema, mark int, err error) {
	f, err := os.Open(db)
	if err != nil {
		return 0, 0, err
	}
	defer func() { _ = f.Close() }()
	var h [100]byte
	if _, err := io.ReadFull(f, h[:]); err != nil {
		return 0, 0, nil //nolint // too short: SQLite says whether it is one
	}
	return int(binary.BigEndian.Uint32(h[60:])), int(binary.BigEndian.Uint32(h[68:])), nil
}

// logged is header for a database with a write-ahead log.
func logged(ctx context.Context, path string) (schema, mark int, err error) {
	db, err := sql.Open("sqlite", fileURI(path)+"?mode=ro")
	if err != nil {
		return 0, 0, err
	}
	defer func() { _ = db.Close() }()
	db.SetMaxOpenConns(1)
	err = db.QueryRowContext(ctx, "SELECT user_version, application_id FROM pragma_user_version, pragma_application_id").Scan(&schema, &mark)
	return schema, mark, err
}
