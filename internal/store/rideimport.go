package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"chainline/internal/problem"
)

// RideImport is an import of rides as it stands. Request and Progress are the
// service's.
type RideImport struct {
	ID       string
	Made     time.Time // now if it is zero
	State    string    // 1 to 200 characters
	Request  []byte    // JSON
	Progress []byte    // JSON
}

// ImportFile is a file that an import has dealt with.
type ImportFile struct{ File, Hash, Refused string }

// PutRideImport writes an import, and with it files it has dealt with since.
func (s *Store) PutRideImport(ctx context.Context, m RideImport, files []ImportFile) (RideImport, error) {
	if m.Made.IsZero() {
		m.Made = s.now()
	}
	if m.ID == "" {
		m.ID = newID()
	}
	if err := checkName("import", "state", m.State); err != nil {
		return m, err
	}
	if !validID.MatchString(m.ID) || !json.Valid(m.Request) || !json.Valid(m.Progress) || len(m.Request)+len(m.Progress) > maxResult {
		return m, problem.Bad("import %.60q: its request or progress is no JSON", m.ID)
	}
	return m, s.tx(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO imports (id, made, state, request, progress) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT (id) DO UPDATE SET state = excluded.state, request = excluded.request, progress = excluded.progress`,
			m.ID, m.Made.UnixMilli(), m.State, m.Request, m.Progress)
		for _, f := range files {
			if err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, "INSERT INTO import_files (import_id, file, hash, refused) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", m.ID, f.File, f.Hash, f.Refused)
		}
		return err
	})
}

// RideImports lists imports, the newest first.
func (s *Store) RideImports(ctx context.Context) ([]RideImport, error) {
	var all []RideImport
	err := s.view(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT id, made, state, request, progress FROM imports ORDER BY made DESC, rowid DESC")
		if err != nil {
			return err
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			var m RideImport
			if err := scanImport(rows.Scan, &m); err != nil {
				return err
			}
			all = append(all, m)
		}
		return rows.Err()
	})
	return all, err
}

func scanImport(scan func(...any) error, m *RideImport) error {
	var made int64
	err := scan(&m.ID, &made, &m.State, &m.Request, &m.Progress)
	m.Made = time.UnixMilli(made).UTC()
	return err
}

// RideImport is one import; ErrNotFound if there is none.
func (s *Store) RideImport(ctx context.Context, id string) (RideImport, error) {
	var m RideImport
	err := s.view(ctx, func(tx *sql.Tx) error {
		err := scanImport(tx.QueryRowContext(ctx, "SELECT id, made, state, request, progress FROM imports WHERE id = ?", id).Scan, &m)
		if errors.Is(err, sql.ErrNoRows) {
			return notFound("import", id)
		}
		return err
	})
	return m, err
}

// ImportFiles are the files an import has dealt with, refused ones only or all.
func (s *Store) ImportFiles(ctx context.Context, id string, refused bool) ([]ImportFile, error) {
	var all []ImportFile
	err := s.view(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT file, hash, refused FROM import_files WHERE import_id = ? AND (NOT ? OR refused <> '') ORDER BY file", id, refused)
		if err != nil {
			return err
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			var f ImportFile
			if err := rows.Scan(&f.File, &f.Hash, &f.Refused); err != nil {
				return err
			}
			all = append(all, f)
		}
		return rows.Err()
	})
	return all, err
}

// DeleteRideImport forgets an import; the rides stay.
func (s *Store) DeleteRideImport(ctx context.Context, id string) error {
	return s.exec(ctx, "DELETE FROM imports WHERE id = ?", id)
}
