package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"chainline/internal/problem"
)

// Setting is the value of a setting; empty if it was never set.
func (s *Store) Setting(ctx context.Context, key string) (string, error) {
	var value string
	err := s.read.QueryRowContext(ctx, "SELECT value FROM settings WHERE key = ?", key).Scan(&value)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return value, s.wrap(err)
}

// SetSetting keeps a setting; an empty value forgets it. Settings are not
// part of an archive.
func (s *Store) SetSetting(ctx context.Context, key, value string) error {
	if key == "" || len(key) > maxName || len(value) > maxText {
		return problem.Bad("setting %.200q: a key of 1 to %d and a value of at most %d bytes was expected", key, maxName, maxText)
	}
	if value == "" {
		return s.exec(ctx, "DELETE FROM settings WHERE key = ?", key)
	}
	return s.exec(ctx, "INSERT INTO settings (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value", key, value)
}

// Visit is somebody who gave the passphrase. Only a hash of their token is
// kept, so that the database opens no door.
type Visit struct {
	Hash    string // of the token
	Made    time.Time
	Expires time.Time
}

// PutVisit keeps a visit and forgets those that have expired.
func (s *Store) PutVisit(ctx context.Context, hash string, expires time.Time) error {
	now := s.now()
	return s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM visits WHERE expires <= ?", now.UnixMilli()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO visits (hash, made, expires) VALUES (?, ?, ?) ON CONFLICT (hash) DO UPDATE SET expires = excluded.expires",
			hash, now.UnixMilli(), expires.UnixMilli())
		return err
	})
}

// Visit is the visit of a token; ErrNotFound if there is none or it expired.
func (s *Store) Visit(ctx context.Context, hash string) (Visit, error) {
	var made, expires int64
	err := s.read.QueryRowContext(ctx, "SELECT made, expires FROM visits WHERE hash = ? AND expires > ?", hash, s.now().UnixMilli()).Scan(&made, &expires)
	if errors.Is(err, sql.ErrNoRows) {
		return Visit{}, &problem.Error{Kind: problem.Misuse, Message: "the visit is over", Hint: "Give the passphrase again.", Err: ErrNotFound}
	}
	return Visit{Hash: hash, Made: time.UnixMilli(made).UTC(), Expires: time.UnixMilli(expires).UTC()}, s.wrap(err)
}

// DeleteVisit ends one visit; one that is not there is no error.
func (s *Store) DeleteVisit(ctx context.Context, hash string) error {
	return s.exec(ctx, "DELETE FROM visits WHERE hash = ?", hash)
}

// DeleteVisits ends all visits, for instance when the passphrase changes.
func (s *Store) DeleteVisits(ctx context.Context) error { return s.exec(ctx, "DELETE FROM visits") }

const attemptsKept = 24 * time.Hour

// AddAttempt remembers a wrong passphrase from somewhere, for a day.
func (s *Store) AddAttempt(ctx context.Context, from string) error {
	now := s.now()
	return s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM attempts WHERE made <= ?", now.Add(-attemptsKept).UnixMilli()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO attempts (source, made) VALUES (?, ?)", from, now.UnixMilli())
		return err
	})
}

// Attempts counts the wrong passphrases from somewhere, from everywhere if
// from is empty, within the time before now (a day at most).
func (s *Store) Attempts(ctx context.Context, from string, within time.Duration) (int, error) {
	var n int
	err := s.read.QueryRowContext(ctx, "SELECT count(*) FROM attempts WHERE (?1 = '' OR source = ?1) AND made > ?2", from, s.now().Add(-within).UnixMilli()).Scan(&n)
	return n, s.wrap(err)
}

// ClearAttempts forgets those from somewhere, after the right passphrase.
func (s *Store) ClearAttempts(ctx context.Context, from string) error {
	return s.exec(ctx, "DELETE FROM attempts WHERE source = ?", from)
}

func (s *Store) exec(ctx context.Context, query string, args ...any) error {
	_, err := s.write.ExecContext(ctx, query, args...)
	return s.wrap(err)
}
