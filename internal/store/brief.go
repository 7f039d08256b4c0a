package store

import (
	"context"
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
func (s *Store) Briefs(ctx context.Context, riderID string) ([]Brief, error) { panic("todo") }

// Brief is one brief, whole; ErrNotFound if there is none.
func (s *Store) Brief(ctx context.Context, id string) (Brief, error) { panic("todo") }

// PutBrief writes a brief, a new one if its ID is empty or free.
func (s *Store) PutBrief(ctx context.Context, b Brief) (Brief, error) { panic("todo") }

// DeleteBrief really deletes a brief.
func (s *Store) DeleteBrief(ctx context.Context, id string) error { panic("todo") }
