package store

import (
	"context"
	"time"
)

// Setting is the value of a setting; empty if it was never set.
func (s *Store) Setting(ctx context.Context, key string) (string, error) { panic("todo") }

// SetSetting keeps a setting; an empty value forgets it. Settings are not
// part of an archive.
func (s *Store) SetSetting(ctx context.Context, key, value string) error { panic("todo") }

// Visit is somebody who gave the passphrase. Only a hash of their token is
// kept, so that the database opens no door.
type Visit struct {
	Hash    string // of the token
	Made    time.Time
	Expires time.Time
}

// PutVisit keeps a visit and forgets those that have expired.
func (s *Store) PutVisit(ctx context.Context, hash string, expires time.Time) error { panic("todo") }

// Visit is the visit of a token; ErrNotFound if there is none or it expired.
func (s *Store) Visit(ctx context.Context, hash string) (Visit, error) { panic("todo") }

// DeleteVisit ends one visit; one that is not there is no error.
func (s *Store) DeleteVisit(ctx context.Context, hash string) error { panic("todo") }

// DeleteVisits ends all visits, for instance when the passphrase changes.
func (s *Store) DeleteVisits(ctx context.Context) error { panic("todo") }

// AddAttempt remembers a wrong passphrase from somewhere, for a day.
func (s *Store) AddAttempt(ctx context.Context, from string) error { panic("todo") }

// Attempts counts the wrong passphrases from somewhere, from everywhere if
// from is empty, within the time before now (a day at most).
func (s *Store) Attempts(ctx context.Context, from string, within time.Duration) (int, error) {
	panic("todo")
}

// ClearAttempts forgets those from somewhere, after the right passphrase.
func (s *Store) ClearAttempts(ctx context.Context, from string) error { panic("todo") }
