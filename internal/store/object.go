package store

import (
	"context"
	"time"
)

// Kind is what an object is.
type Kind string

// The kinds of objects.
const (
	Rider  Kind = "rider"
	Rig    Kind = "rig"
	Road   Kind = "road"
	Course Kind = "course"
	Event  Kind = "event"
)

// Kinds are all kinds, in the order of an archive.
var Kinds = []Kind{Rider, Rig, Road, Course, Event}

// Object is one thing a person keeps.
type Object struct {
	ID       string // 1 to 40 of a-z, 0-9 and -; Put gives one if it is empty
	Kind     Kind
	Name     string // 1 to 200 characters, one line
	Text     string // its file in the format of docs/formats.md, at most 1 MB; a course may have only an original
	Demo     bool   // of the demo data, which RemoveDemo removes
	Created  time.Time
	Updated  time.Time
	Original *Original // as it came; nil if nothing was uploaded
}

// Original is a file as it was uploaded. It is never changed.
type Original struct {
	Filename string // without a folder
	Media    string // media type, for instance application/gpx+xml
	Bytes    []byte // at most 50 MB; Objects leaves it out, Object has it
	Size     int64  // of Bytes; set by the store
	SHA256   string // of Bytes, in hexadecimal; set by the store
}

// Objects lists the objects of a kind by name, without the bytes of originals.
func (s *Store) Objects(ctx context.Context, kind Kind) ([]Object, error) { panic("todo") }

// Object is one object with its original; ErrNotFound if there is none.
func (s *Store) Object(ctx context.Context, id string) (Object, error) { panic("todo") }

// Put writes an object and returns it as it was kept. Without an ID, or with
// one that is free, it is a new one. An ID that is there is changed: its kind
// cannot, its time of creation stays, and so does its original: a nil Original
// keeps it, another one is refused.
func (s *Store) Put(ctx context.Context, o Object) (Object, error) { panic("todo") }

// Delete really deletes an object and its original; with a rider, all their
// briefs. Briefs that refer to another object stay, without the reference.
func (s *Store) Delete(ctx context.Context, id string) error { panic("todo") }

// RemoveDemo removes the demo data and nothing else, except for briefs that
// were made for a rider of the demo data.
func (s *Store) RemoveDemo(ctx context.Context) error { panic("todo") }
