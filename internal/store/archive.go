package store

import (
	"context"
	"io"
)

// Report says what an import did.
type Report struct {
	Added    []Entry // objects and briefs that are new
	Known    []Entry // those that were here already, to the letter
	NewNames int     // how many of Added got another ID because theirs was taken
}

// Entry is one object or brief of a Report.
type Entry struct {
	Kind string // of the object, or "brief"
	ID   string // here
	Was  string // in the archive
	Name string
}

// Export writes an archive (docs/formats.md) of everything, or of one rider
// with their briefs and what these refer to.
func (s *Store) Export(ctx context.Context, w io.Writer, riderID string) error { panic("todo") }

// Import adds what is in an archive, all of it or nothing.
func (s *Store) Import(ctx context.Context, r io.ReaderAt, size int64) (Report, error) {
	panic("todo")
}
