package store

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Brief is a brief as it was made. It is kept whole, so that it stays what it
// was when the program computes differently.
type Brief struct {
	ID       string
	Made     time.Time // now if it is zero
	Title    string    // 1 to 200 characters, one line
	RiderID  string    // needed
	RigID    string    // this and the following may be empty
	RoadID   string
	CourseID string
	EventID  string
	Request  []byte // JSON, at most 1 MB; names of objects in it read "rider/ID"
	Result   []byte // JSON, at most 16 MB
	Page     []byte // HTML, at most 16 MB
	Demo     bool
}

// Briefs lists the briefs of a rider, of all riders if riderID is empty, the
// newest first, without Request, Result and Page.
func (s *Store) Briefs(ctx context.Context, riderID string) ([]Brief, error) {
	var all []Brief
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = briefs(ctx, tx, riderID)
		return err
	})
	return all, err
}

// Brief is one brief, whole; ErrNotFound if there is none.
func (s *Store) Brief(ctx context.Context, id string) (Brief, error) {
	var b Brief
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		b, err = brief(ctx, tx, id)
		return err
	})
	return b, err
}

// PutBrief writes a brief, a new one if its ID is empty or free.
func (s *Store) PutBrief(ctx context.Context, b Brief) (Brief, error) {
	if b.Made.IsZero() {
		b.Made = s.now()
	}
	if err := checkBrief(&b); err != nil {
		return Brief{}, err
	}
	if b.ID == "" {
		b.ID = newID()
	}
	err := s.tx(ctx, func(tx *sql.Tx) error {
		if err := refersTo(ctx, tx, b); err != nil {
			return err
		}
		return writeBrief(ctx, tx, b)
	})
	if err != nil {
		return Brief{}, err
	}
	return b, nil
}

// DeleteBrief really deletes a brief.
func (s *Store) DeleteBrief(ctx context.Context, id string) error {
	err := s.tx(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "DELETE FROM briefs WHERE id = ?", id)
		return affected(done, err, "brief", id)
	})
	if err != nil {
		return err
	}
	return s.wipe(ctx)
}

// refs are what a brief refers to, by kind.
func (b *Brief) refs() map[Kind]*string {
	return map[Kind]*string{Rider: &b.RiderID, Rig: &b.RigID, Road: &b.RoadID, Course: &b.CourseID, Event: &b.EventID}
}

// refersTo refuses a brief whose objects are missing or of another kind.
func refersTo(ctx context.Context, tx *sql.Tx, b Brief) error {
	refs := b.refs()
	for _, kind := range Kinds {
		id := *refs[kind]
		if id == "" {
			continue
		}
		var is Kind
		err := tx.QueryRowContext(ctx, "SELECT kind FROM objects WHERE id = ?", id).Scan(&is)
		if errors.Is(err, sql.ErrNoRows) || err == nil && is != kind {
			return notFound(string(kind), id)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

const briefColumns = "id, made, title, rider_id, rig_id, road_id, course_id, event_id, demo"

func briefs(ctx context.Context, tx *sql.Tx, riderID string) ([]Brief, error) {
	rows, err := tx.QueryContext(ctx, "SELECT "+briefColumns+" FROM briefs WHERE ?1 = '' OR rider_id = ?1 ORDER BY made DESC, id", riderID)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []Brief
	for rows.Next() {
		var b Brief
		if err := scanBrief(rows.Scan, &b); err != nil {
			return nil, err
		}
		all = append(all, b)
	}
	return all, rows.Err()
}

func brief(ctx context.Context, tx *sql.Tx, id string) (Brief, error) {
	var b Brief
	row := tx.QueryRowContext(ctx, "SELECT "+briefColumns+", request, result, page FROM briefs WHERE id = ?", id)
	err := scanBrief(row.Scan, &b, &b.Request, &b.Result, &b.Page)
	if errors.Is(err, sql.ErrNoRows) {
		return Brief{}, notFound("brief", id)
	}
	return b, err
}

func scanBrief(scan func(...any) error, b *Brief, more ...any) error {
	var made int64
	var rig, road, course, event sql.NullString
	into := append([]any{&b.ID, &made, &b.Title, &b.RiderID, &rig, &road, &course, &event, &b.Demo}, more...)
	if err := scan(into...); err != nil {
		return err
	}
	b.Made = time.UnixMilli(made).UTC()
	b.RigID, b.RoadID, b.CourseID, b.EventID = rig.String, road.String, course.String, event.String
	return nil
}

func writeBrief(ctx context.Context, tx *sql.Tx, b Brief) error {
	null := func(id string) any {
		if id == "" {
			return nil
		}
		return id
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO briefs (`+briefColumns+`, request, result, page)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (id) DO UPDATE SET made = excluded.made, title = excluded.title, rider_id = excluded.rider_id,
		rig_id = excluded.rig_id, road_id = excluded.road_id, course_id = excluded.course_id, event_id = excluded.event_id,
		demo = excluded.demo, request = excluded.request, result = excluded.result, page = excluded.page`,
		b.ID, b.Made.UnixMilli(), b.Title, b.RiderID, null(b.RigID), null(b.RoadID), null(b.CourseID), null(b.EventID), b.Demo,
		blob(b.Request), blob(b.Result), blob(b.Page))
	return err
}
