package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"chainline/internal/problem"
)

// Calendar is a file of events as it was taken in.
type Calendar struct {
	ID    string
	Added time.Time
	Name  string // of the file
	Bytes []byte // at most 8 MB
}

// RaceResults are what a result list came to.
type RaceResults struct {
	ID      string
	Added   time.Time
	EventID string
	Sheet   []byte // JSON, at most 4 MB
}

// Limits of calendars and results.
const (
	maxCalendar  = 8 << 20
	maxCalendars = 50
	maxResults   = 4 << 20
)

// Calendars lists the calendars with their bytes, by name.
func (s *Store) Calendars(ctx context.Context) ([]Calendar, error) {
	var all []Calendar
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = calendarsOf(ctx, tx)
		return err
	})
	return all, err
}

func calendarsOf(ctx context.Context, tx *sql.Tx) ([]Calendar, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, added, name, bytes FROM calendars ORDER BY name COLLATE NOCASE, id")
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []Calendar
	for rows.Next() {
		var c Calendar
		var added int64
		if err := rows.Scan(&c.ID, &added, &c.Name, &c.Bytes); err != nil {
			return nil, err
		}
		c.Added = time.UnixMilli(added).UTC()
		all = append(all, c)
	}
	return all, rows.Err()
}

func checkCalendar(c Calendar) error {
	if err := checkName("calendar", "name", c.Name); err != nil {
		return err
	}
	if len(c.Bytes) == 0 || len(c.Bytes) > maxCalendar {
		return problem.Bad("calendar %.60q: it has %d bytes; 1 to %d were expected", c.Name, len(c.Bytes), maxCalendar)
	}
	return nil
}

func tooManyCalendars(c Calendar) error {
	return problem.Bad("calendar %.60q: there are %d already; expected at most that many", c.Name, maxCalendars).WithHint("Remove one that is over.")
}

func writeCalendar(ctx context.Context, tx *sql.Tx, c Calendar) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO calendars (id, added, name, bytes) VALUES (?, ?, ?, ?)", c.ID, c.Added.UnixMilli(), c.Name, c.Bytes)
	return err
}

// PutCalendar keeps a calendar. One of the same name takes its place.
func (s *Store) PutCalendar(ctx context.Context, c Calendar) (Calendar, error) {
	if err := checkCalendar(c); err != nil {
		return c, err
	}
	c.ID, c.Added = newID(), s.now()
	err := s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM calendars WHERE name = ?", c.Name); err != nil {
			return err
		}
		var n int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM calendars").Scan(&n); err != nil {
			return err
		}
		if n >= maxCalendars {
			return tooManyCalendars(c)
		}
		return writeCalendar(ctx, tx, c)
	})
	return c, err
}

// DeleteCalendar really deletes a calendar.
func (s *Store) DeleteCalendar(ctx context.Context, id string) error {
	return s.deleteRow(ctx, "DELETE FROM calendars WHERE id = ?", "calendar", id)
}

func (s *Store) deleteRow(ctx context.Context, statement, what, id string) error {
	err := s.tx(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, statement, id)
		return affected(done, err, what, id)
	})
	if err != nil {
		return err
	}
	return s.wipe(ctx)
}

// RaceResults lists the results of an event, the newest first; of all events if
// eventID is empty.
func (s *Store) RaceResults(ctx context.Context, eventID string) ([]RaceResults, error) {
	var all []RaceResults
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = resultsOf(ctx, tx, eventID)
		return err
	})
	return all, err
}

func resultsOf(ctx context.Context, tx *sql.Tx, eventID string) ([]RaceResults, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, added, event_id, sheet FROM results WHERE ?1 = '' OR event_id = ?1 ORDER BY added DESC, id", eventID)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []RaceResults
	for rows.Next() {
		var r RaceResults
		var added int64
		if err := rows.Scan(&r.ID, &added, &r.EventID, &r.Sheet); err != nil {
			return nil, err
		}
		r.Added = time.UnixMilli(added).UTC()
		all = append(all, r)
	}
	return all, rows.Err()
}

func checkResults(r RaceResults) error {
	if len(r.Sheet) > maxResults || !json.Valid(r.Sheet) {
		return problem.Bad("results: %d bytes that are no JSON or too many; at most %d were expected", len(r.Sheet), maxResults)
	}
	return nil
}

func writeResults(ctx context.Context, tx *sql.Tx, r RaceResults) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO results (id, added, event_id, sheet) VALUES (?, ?, ?, ?)", r.ID, r.Added.UnixMilli(), r.EventID, r.Sheet)
	return err
}

// PutRaceResults keeps results of an event.
func (s *Store) PutRaceResults(ctx context.Context, r RaceResults) (RaceResults, error) {
	if err := checkResults(r); err != nil {
		return r, err
	}
	r.ID, r.Added = newID(), s.now()
	err := s.tx(ctx, func(tx *sql.Tx) error {
		var kind Kind
		err := tx.QueryRowContext(ctx, "SELECT kind FROM objects WHERE id = ?", r.EventID).Scan(&kind)
		if errors.Is(err, sql.ErrNoRows) || err == nil && kind != Event {
			return notFound("event", r.EventID)
		}
		if err != nil {
			return err
		}
		return writeResults(ctx, tx, r)
	})
	return r, err
}

// DeleteRaceResults really deletes results.
func (s *Store) DeleteRaceResults(ctx context.Context, id string) error {
	return s.deleteRow(ctx, "DELETE FROM results WHERE id = ?", "results", id)
}
