package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"chainline/internal/problem"
)

// RigCheck is a check of a rig as it was made. Its report is kept whole.
type RigCheck struct {
	ID      string
	Made    time.Time // now if it is zero
	Title   string    // 1 to 200 characters, one line
	RiderID string    // needed
	RigID   string    // needed
	Ride    string    // ID of the ride it was made of; empty: of recordings from elsewhere
	Report  []byte    // JSON, at most 16 MB; RigChecks leaves it out
}

// Correction is one source's correction of a check, applied on purpose. Taken
// is zero while it stands.
type Correction struct {
	ID, CheckID, Source string
	Applied, Taken      time.Time
}

// Stands tells whether the correction has not been taken back.
func (c Correction) Stands() bool { return c.Taken.IsZero() }

func checkRigCheck(c *RigCheck) error {
	if c.ID != "" && !validID.MatchString(c.ID) {
		return problem.Bad("check: id: %.60q; 1 to 40 of a-z, 0-9 and - were expected", c.ID)
	}
	if err := checkName("check", "title", c.Title); err != nil {
		return err
	}
	switch {
	case c.RiderID == "" || c.RigID == "":
		return problem.Bad("check %.60q: it is of no rider or of no rig", c.Title)
	case len(c.Report) > maxResult:
		return problem.Bad("check %.60q: its report has %d bytes; at most %d were expected", c.Title, len(c.Report), maxResult)
	case !json.Valid(c.Report):
		return problem.Bad("check %.60q: its report is no JSON", c.Title)
	case len(c.Ride) > maxName:
		return problem.Bad("check %.60q: its ride's name is too long", c.Title)
	}
	c.Made = c.Made.UTC().Truncate(time.Millisecond)
	return nil
}

// PutRigCheck writes a check, a new one if its ID is empty or free.
func (s *Store) PutRigCheck(ctx context.Context, c RigCheck) (RigCheck, error) {
	if c.Made.IsZero() {
		c.Made = s.now()
	}
	if err := checkRigCheck(&c); err != nil {
		return RigCheck{}, err
	}
	if c.ID == "" {
		c.ID = newID()
	}
	err := s.tx(ctx, func(tx *sql.Tx) error {
		if err := refersTo(ctx, tx, Brief{RiderID: c.RiderID, RigID: c.RigID}); err != nil {
			return err
		}
		return writeRigCheck(ctx, tx, c)
	})
	if err != nil {
		return RigCheck{}, err
	}
	return c, nil
}

func writeRigCheck(ctx context.Context, tx *sql.Tx, c RigCheck) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO checks (id, made, title, rider_id, rig_id, ride, report) VALUES (?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (id) DO UPDATE SET made = excluded.made, title = excluded.title, rider_id = excluded.rider_id,
		rig_id = excluded.rig_id, ride = excluded.ride, report = excluded.report`,
		c.ID, c.Made.UnixMilli(), c.Title, c.RiderID, c.RigID, c.Ride, blob(c.Report))
	return err
}

// RigChecks lists the checks of a rig, of all rigs if rigID is empty, the
// newest first, without their reports.
func (s *Store) RigChecks(ctx context.Context, rigID string) ([]RigCheck, error) {
	var all []RigCheck
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = rigChecks(ctx, tx, "", rigID)
		return err
	})
	return all, err
}

func rigChecks(ctx context.Context, tx *sql.Tx, riderID, rigID string) ([]RigCheck, error) {
	rows, err := tx.QueryContext(ctx, `SELECT id, made, title, rider_id, rig_id, ride FROM checks
		WHERE (?1 = '' OR rider_id = ?1) AND (?2 = '' OR rig_id = ?2) ORDER BY made DESC, id`, riderID, rigID)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []RigCheck
	for rows.Next() {
		var c RigCheck
		var made int64
		if err := rows.Scan(&c.ID, &made, &c.Title, &c.RiderID, &c.RigID, &c.Ride); err != nil {
			return nil, err
		}
		c.Made = time.UnixMilli(made).UTC()
		all = append(all, c)
	}
	return all, rows.Err()
}

// RigCheck is one check, whole; ErrNotFound if there is none.
func (s *Store) RigCheck(ctx context.Context, id string) (RigCheck, error) {
	var c RigCheck
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		c, err = rigCheck(ctx, tx, id)
		return err
	})
	return c, err
}

func rigCheck(ctx context.Context, tx *sql.Tx, id string) (RigCheck, error) {
	var c RigCheck
	var made int64
	err := tx.QueryRowContext(ctx, "SELECT id, made, title, rider_id, rig_id, ride, report FROM checks WHERE id = ?", id).
		Scan(&c.ID, &made, &c.Title, &c.RiderID, &c.RigID, &c.Ride, &c.Report)
	if errors.Is(err, sql.ErrNoRows) {
		return RigCheck{}, notFound("check", id)
	}
	c.Made = time.UnixMilli(made).UTC()
	return c, err
}

// DeleteRigCheck really deletes a check and the corrections of it.
func (s *Store) DeleteRigCheck(ctx context.Context, id string) error {
	err := s.tx(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "DELETE FROM checks WHERE id = ?", id)
		return affected(done, err, "check", id)
	})
	if err != nil {
		return err
	}
	return s.wipe(ctx)
}

// Corrections are those ever applied of a rig's checks, the newest first.
func (s *Store) Corrections(ctx context.Context, rigID string) ([]Correction, error) {
	var all []Correction
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = corrections(ctx, tx, "k.rig_id = ?", rigID)
		return err
	})
	return all, err
}

func corrections(ctx context.Context, tx *sql.Tx, where, of string) ([]Correction, error) {
	rows, err := tx.QueryContext(ctx, `SELECT c.id, c.check_id, c.source, c.applied, c.taken FROM corrections c JOIN checks k ON k.id = c.check_id
		WHERE `+where+" ORDER BY c.applied DESC, c.rowid DESC", of)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []Correction
	for rows.Next() {
		var c Correction
		var applied int64
		var taken sql.NullInt64
		if err := rows.Scan(&c.ID, &c.CheckID, &c.Source, &applied, &taken); err != nil {
			return nil, err
		}
		c.Applied = time.UnixMilli(applied).UTC()
		if taken.Valid {
			c.Taken = time.UnixMilli(taken.Int64).UTC()
		}
		all = append(all, c)
	}
	return all, rows.Err()
}

// ApplyCorrection records that a check's correction of a source holds from
// now. Another one of the same source and rig is taken back with it, since a
// source has one correction at a time.
func (s *Store) ApplyCorrection(ctx context.Context, checkID, source string) error {
	if source == "" || len(source) > maxName {
		return problem.Bad("a correction is of a source")
	}
	return s.tx(ctx, func(tx *sql.Tx) error {
		c, err := rigCheck(ctx, tx, checkID)
		if err != nil {
			return err
		}
		if err := takeBack(ctx, tx, s.now(), "rig_id = ?", c.RigID, source); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "INSERT INTO corrections (id, check_id, source, applied) VALUES (?, ?, ?, ?)", newID(), checkID, source, s.now().UnixMilli())
		return err
	})
}

// TakeBackCorrection ends a check's correction of a source from now. It is no
// mistake if none stands.
func (s *Store) TakeBackCorrection(ctx context.Context, checkID, source string) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := rigCheck(ctx, tx, checkID); err != nil {
			return err
		}
		return takeBack(ctx, tx, s.now(), "id = ?", checkID, source)
	})
}

func takeBack(ctx context.Context, tx *sql.Tx, now time.Time, where, of, source string) error {
	_, err := tx.ExecContext(ctx, "UPDATE corrections SET taken = ? WHERE taken IS NULL AND source = ? AND check_id IN (SELECT id FROM checks WHERE "+where+")",
		now.UnixMilli(), source, of)
	return err
}
