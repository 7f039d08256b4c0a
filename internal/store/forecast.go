package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"chainline/internal/problem"
)

// Forecast is what races of an event came to for one rider. RoadID may be
// empty.
type Forecast struct {
	EventID, RiderID, RigID, CourseID, RoadID string
	Key                                       string // of everything it was made from
	Made                                      time.Time
	Sheet                                     []byte // JSON, at most 1 MB
}

// Forecasts lists what is kept of an event, the newest first.
func (s *Store) Forecasts(ctx context.Context, eventID string) ([]Forecast, error) {
	var all []Forecast
	err := s.view(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT event_id, rider_id, rig_id, course_id, road_id, key, made, sheet FROM forecasts WHERE event_id = ? ORDER BY made DESC, rider_id", eventID)
		if err != nil {
			return err
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			var f Forecast
			var made int64
			var road sql.NullString
			if err := rows.Scan(&f.EventID, &f.RiderID, &f.RigID, &f.CourseID, &road, &f.Key, &made, &f.Sheet); err != nil {
				return err
			}
			f.Made, f.RoadID = time.UnixMilli(made).UTC(), road.String
			all = append(all, f)
		}
		return rows.Err()
	})
	return all, err
}

// PutForecast keeps a forecast in the place of the one before for the same
// rider and event.
func (s *Store) PutForecast(ctx context.Context, f Forecast) error {
	if len(f.Sheet) > maxText || !json.Valid(f.Sheet) {
		return problem.Bad("forecast: %d bytes that are no JSON or too many; at most %d were expected", len(f.Sheet), maxText)
	}
	return s.tx(ctx, func(tx *sql.Tx) error {
		if err := refersTo(ctx, tx, Brief{RiderID: f.RiderID, RigID: f.RigID, RoadID: f.RoadID, CourseID: f.CourseID, EventID: f.EventID}); err != nil {
			return err
		}
		var road any
		if f.RoadID != "" {
			road = f.RoadID
		}
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO forecasts (event_id, rider_id, rig_id, course_id, road_id, key, made, sheet) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			f.EventID, f.RiderID, f.RigID, f.CourseID, road, f.Key, s.now().UnixMilli(), f.Sheet)
		return err
	})
}

// StartList is the start list of a handicap with what it was made from.
type StartList struct {
	ID      string
	Made    time.Time
	Title   string   // 1 to 200 characters, in one line
	Riders  []string // their IDs; the list goes with any of them
	Request []byte   // JSON: what it was made from, at most 4 MB
	Sheet   []byte   // JSON, at most 1 MB
}

// StartLists lists the start lists without what they were made from, the newest
// first.
func (s *Store) StartLists(ctx context.Context) ([]StartList, error) {
	var all []StartList
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = startLists(ctx, tx, "ORDER BY made DESC, id")
		for i := range all {
			all[i].Request = nil
		}
		return err
	})
	return all, err
}

// StartList is one start list.
func (s *Store) StartList(ctx context.Context, id string) (StartList, error) {
	var one StartList
	err := s.view(ctx, func(tx *sql.Tx) error {
		all, err := startLists(ctx, tx, "WHERE id = ?", id)
		if err == nil && len(all) == 0 {
			return notFound("start list", id)
		}
		if err == nil {
			one = all[0]
		}
		return err
	})
	return one, err
}

func startLists(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]StartList, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, made, title, request, sheet, (SELECT json_group_array(rider_id) FROM start_list_riders WHERE list_id = id) FROM start_lists "+where, args...)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []StartList
	for rows.Next() {
		var l StartList
		var made int64
		var riders []byte
		if err := rows.Scan(&l.ID, &made, &l.Title, &l.Request, &l.Sheet, &riders); err != nil {
			return nil, err
		}
		if err := json.Unmarshal(riders, &l.Riders); err != nil {
			return nil, err
		}
		l.Made = time.UnixMilli(made).UTC()
		all = append(all, l)
	}
	return all, rows.Err()
}

// PutStartList keeps a new start list.
func (s *Store) PutStartList(ctx context.Context, l StartList) (StartList, error) {
	l.ID, l.Made = newID(), s.now()
	if err := checkStartList(l); err != nil {
		return l, err
	}
	return l, s.tx(ctx, func(tx *sql.Tx) error {
		for _, id := range l.Riders {
			if err := refersTo(ctx, tx, Brief{RiderID: id}); err != nil {
				return err
			}
		}
		return writeStartList(ctx, tx, l)
	})
}

func checkStartList(l StartList) error {
	if err := checkName("start list", "title", l.Title); err != nil {
		return err
	}
	if len(l.Request) > maxResults || !json.Valid(l.Request) || len(l.Sheet) > maxText || !json.Valid(l.Sheet) {
		return problem.Bad("start list %.60q: it is no JSON or too large; at most %d bytes were expected", l.Title, maxResults)
	}
	if len(l.Riders) == 0 {
		return problem.Bad("start list %.60q: nobody is on it", l.Title)
	}
	return nil
}

func writeStartList(ctx context.Context, tx *sql.Tx, l StartList) error {
	if _, err := tx.ExecContext(ctx, "INSERT INTO start_lists (id, made, title, request, sheet) VALUES (?, ?, ?, ?, ?)", l.ID, l.Made.UnixMilli(), l.Title, l.Request, l.Sheet); err != nil {
		return err
	}
	for _, id := range l.Riders {
		if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO start_list_riders (list_id, rider_id) VALUES (?, ?)", l.ID, id); err != nil {
			return err
		}
	}
	return nil
}

// DeleteStartList really deletes a start list.
func (s *Store) DeleteStartList(ctx context.Context, id string) error {
	return s.deleteRow(ctx, "DELETE FROM start_lists WHERE id = ?", "start list", id)
}
