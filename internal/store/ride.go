package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"regexp"
	"time"

	"chainline/internal/problem"
)

// Ride is a ride that was ridden, as it was taken in. The store does not look
// into Facts, Said, Learnt and Best; they are the service's.
type Ride struct {
	ID       string
	Added    time.Time // now if it is zero
	RiderID  string    // this and the following may be empty
	RigID    string
	RoadID   string
	CourseID string
	BriefID  string
	Repeats  string // ID of the ride of which this is another device's recording

	Start       time.Time
	Hash        string // SHA-256 of its file, in hexadecimal
	Number      int    // in its file, from 1
	Filename    string // as it came, 1 to 200 characters
	Live        string // the live ride it was, if it was one
	Fingerprint string
	Facts       []byte // JSON: what was measured
	Said        []byte // JSON: what a person said of it
	Learnt      []byte // JSON: what it taught; nil: not looked at yet
	Best        []byte // Rides leaves it out, Ride and Bests have it
}

var validHash = regexp.MustCompile(`^[0-9a-f]{64}$`)

func checkRide(r *Ride) error {
	switch {
	case r.ID != "" && !validID.MatchString(r.ID):
		return problem.Bad("ride: id: %.60q; 1 to 40 of a-z, 0-9 and - were expected", r.ID)
	case !validHash.MatchString(r.Hash):
		return problem.Bad("ride %.60q: the SHA-256 of its file is missing", r.Filename)
	case r.Number < 1 || r.Number > maxEntries:
		return problem.Bad("ride %.60q: number %d in its file; 1 and more were expected", r.Filename, r.Number)
	case len(r.Live) > maxName || len(r.Fingerprint) > maxName:
		return problem.Bad("ride %.60q: a name is too long", r.Filename)
	case r.Start.Year() < 1 || r.Start.Year() > 9999:
		return problem.Bad("ride %.60q: it begins in the year %d", r.Filename, r.Start.Year())
	}
	if err := checkName("ride", "filename", r.Filename); err != nil {
		return err
	}
	for name, part := range map[string][]byte{"facts": r.Facts, "said": r.Said, "learnt": r.Learnt} {
		if len(part) > maxText || len(part) > 0 && !json.Valid(part) {
			return problem.Bad("ride %.60q: its %s are no JSON or larger than 1 MB", r.Filename, name)
		}
	}
	if len(r.Best) > maxResult {
		return problem.Bad("ride %.60q: its bests are larger than 16 MB", r.Filename)
	}
	r.Added, r.Start = r.Added.UTC().Truncate(time.Millisecond), r.Start.UTC().Truncate(time.Millisecond)
	return nil
}

// AddRides writes new rides and their files, by hash, all or none; files that
// are there already may be left out. It returns the rides with their IDs.
func (s *Store) AddRides(ctx context.Context, rides []Ride, files map[string][]byte) ([]Ride, error) {
	out := make([]Ride, len(rides))
	for i, r := range rides {
		if r.Added.IsZero() {
			r.Added = s.now()
		}
		if err := checkRide(&r); err != nil {
			return nil, err
		}
		if r.ID == "" {
			r.ID = newID()
		}
		out[i] = r
	}
	if err := s.writeRideFiles(files); err != nil {
		return nil, err
	}
	err := s.tx(ctx, func(tx *sql.Tx) error {
		for _, r := range out {
			if err := refersTo(ctx, tx, Brief{RiderID: r.RiderID, RigID: r.RigID, RoadID: r.RoadID, CourseID: r.CourseID}); err != nil {
				return err
			}
			if !s.hasRideFile(r.Hash) {
				return problem.Bad("ride %.60q: its file is missing", r.Filename)
			}
			repeats := r.Repeats
			r.Repeats = ""
			if err := writeRide(ctx, tx, r); err != nil {
				return err
			}
			if repeats == "" {
				continue
			}
			if _, err := tx.ExecContext(ctx, "UPDATE rides SET repeats = ?1 WHERE id = ?2 AND EXISTS (SELECT 1 FROM rides WHERE id = ?1)", repeats, r.ID); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, errors.Join(err, s.sweep(ctx))
	}
	return out, nil
}

const rideColumns = "id, added, rider_id, rig_id, road_id, course_id, brief_id, repeats, start, hash, number, filename, live, fingerprint, facts, said, learnt"

func writeRide(ctx context.Context, tx *sql.Tx, r Ride) error {
	null := func(id string) any {
		if id == "" {
			return nil
		}
		return id
	}
	var learnt any
	if r.Learnt != nil {
		learnt = r.Learnt
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO rides ("+rideColumns+", best) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		r.ID, r.Added.UnixMilli(), null(r.RiderID), null(r.RigID), null(r.RoadID), null(r.CourseID), null(r.BriefID), null(r.Repeats),
		r.Start.UnixMilli(), r.Hash, r.Number, r.Filename, r.Live, r.Fingerprint, blob(r.Facts), blob(r.Said), learnt, blob(r.Best))
	return err
}

func scanRide(scan func(...any) error, r *Ride, more ...any) error {
	var added, start int64
	var rider, rig, road, course, brief, repeats sql.NullString
	into := append([]any{&r.ID, &added, &rider, &rig, &road, &course, &brief, &repeats, &start, &r.Hash, &r.Number, &r.Filename, &r.Live, &r.Fingerprint, &r.Facts, &r.Said, &r.Learnt}, more...)
	if err := scan(into...); err != nil {
		return err
	}
	r.Added, r.Start = time.UnixMilli(added).UTC(), time.UnixMilli(start).UTC()
	r.RiderID, r.RigID, r.RoadID, r.CourseID, r.BriefID, r.Repeats = rider.String, rig.String, road.String, course.String, brief.String, repeats.String
	return nil
}

// Rides lists the rides of a rider, of all and of nobody if riderID is empty,
// the newest first, without their bests.
func (s *Store) Rides(ctx context.Context, riderID string) ([]Ride, error) {
	var all []Ride
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = rides(ctx, tx, "WHERE ?1 = '' OR rider_id = ?1 ORDER BY start DESC, id", riderID)
		return err
	})
	return all, err
}

func rides(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]Ride, error) {
	rows, err := tx.QueryContext(ctx, "SELECT "+rideColumns+" FROM rides "+where, args...)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []Ride
	for rows.Next() {
		var r Ride
		if err := scanRide(rows.Scan, &r); err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	return all, rows.Err()
}

// Ride is one ride, whole; ErrNotFound if there is none.
func (s *Store) Ride(ctx context.Context, id string) (Ride, error) {
	var r Ride
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		r, err = ride(ctx, tx, id)
		return err
	})
	return r, err
}

func ride(ctx context.Context, tx *sql.Tx, id string) (Ride, error) {
	var r Ride
	err := scanRide(tx.QueryRowContext(ctx, "SELECT "+rideColumns+", best FROM rides WHERE id = ?", id).Scan, &r, &r.Best)
	if errors.Is(err, sql.ErrNoRows) {
		return Ride{}, notFound("ride", id)
	}
	return r, err
}

// Bests hands over the rides of a rider with their bests, the oldest first; one
// is in memory at a time.
func (s *Store) Bests(ctx context.Context, riderID string, each func(Ride) error) error {
	return s.view(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT "+rideColumns+", best FROM rides WHERE rider_id = ? ORDER BY start, id", riderID)
		if err != nil {
			return err
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			var r Ride
			if err := scanRide(rows.Scan, &r, &r.Best); err != nil {
				return err
			}
			if err := each(r); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// ChangeRide changes a ride; its ID, file and fingerprint stay. What it taught
// is forgotten: it is learnt anew.
func (s *Store) ChangeRide(ctx context.Context, id string, change func(*Ride) error) (Ride, error) {
	var r Ride
	err := s.tx(ctx, func(tx *sql.Tx) error {
		old, err := ride(ctx, tx, id)
		if err != nil {
			return err
		}
		r = old
		if err := change(&r); err != nil {
			return err
		}
		r.ID, r.Hash, r.Number, r.Fingerprint, r.Added = old.ID, old.Hash, old.Number, old.Fingerprint, old.Added
		if err := checkRide(&r); err != nil {
			return err
		}
		if err := refersTo(ctx, tx, Brief{RiderID: r.RiderID, RigID: r.RigID, RoadID: r.RoadID, CourseID: r.CourseID}); err != nil {
			return err
		}
		r.Learnt = nil
		return replaceRide(ctx, tx, r)
	})
	return r, err
}

// replaceRide writes a ride in its place, so that what refers to it still does.
func replaceRide(ctx context.Context, tx *sql.Tx, r Ride) error {
	null := func(id string) any {
		if id == "" {
			return nil
		}
		return id
	}
	_, err := tx.ExecContext(ctx, `UPDATE rides SET rider_id = ?, rig_id = ?, road_id = ?, course_id = ?, brief_id = ?, repeats = ?, start = ?,
		filename = ?, live = ?, facts = ?, said = ?, learnt = NULL, best = ? WHERE id = ?`,
		null(r.RiderID), null(r.RigID), null(r.RoadID), null(r.CourseID), null(r.BriefID), null(r.Repeats), r.Start.UnixMilli(),
		r.Filename, r.Live, blob(r.Facts), blob(r.Said), blob(r.Best), r.ID)
	return err
}

// SetLearnt keeps what a ride taught. It is no mistake if the ride was deleted
// or changed meanwhile: said must still be what it was, else nothing is kept.
func (s *Store) SetLearnt(ctx context.Context, id string, said, learnt []byte) error {
	if len(learnt) > maxText || !json.Valid(learnt) {
		return problem.Bad("what the ride %s taught is no JSON or larger than 1 MB", id)
	}
	return s.exec(ctx, "UPDATE rides SET learnt = ? WHERE id = ? AND said = ?", learnt, id, blob(said))
}

// DeleteRide really deletes a ride, what it taught, and its file if no other
// ride came in it.
func (s *Store) DeleteRide(ctx context.Context, id string) error {
	var gone Ride
	err := s.tx(ctx, func(tx *sql.Tx) (err error) {
		if gone, err = ride(ctx, tx, id); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "DELETE FROM rides WHERE id = ?", id)
		return err
	})
	if err != nil {
		return err
	}
	return errors.Join(s.dropLive(gone.Live), s.sweep(ctx), s.wipe(ctx))
}

// LeftOut are the keys of what is left out of a rider's learning.
func (s *Store) LeftOut(ctx context.Context, riderID string) (map[string]bool, error) {
	out := map[string]bool{}
	err := s.view(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT key FROM left_out WHERE rider_id = ?", riderID)
		if err != nil {
			return err
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			var key string
			if err := rows.Scan(&key); err != nil {
				return err
			}
			out[key] = true
		}
		return rows.Err()
	})
	return out, err
}

// SetLeftOut leaves something out of a rider's learning, or takes it in again.
func (s *Store) SetLeftOut(ctx context.Context, riderID, key string, out bool) error {
	if key == "" || len(key) > maxName {
		return problem.Bad("what is left out needs a name of 1 to %d bytes", maxName)
	}
	if !out {
		return s.exec(ctx, "DELETE FROM left_out WHERE rider_id = ? AND key = ?", riderID, key)
	}
	return s.tx(ctx, func(tx *sql.Tx) error {
		if err := refersTo(ctx, tx, Brief{RiderID: riderID}); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO left_out (rider_id, key) VALUES (?, ?) ON CONFLICT DO NOTHING", riderID, key)
		return err
	})
}
