package store

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"path"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"chainline/internal/problem"
)

// Bounds of what is kept, in bytes; a name's in characters.
const (
	maxName     = 200
	maxText     = 1 << 20
	maxOriginal = 50 << 20
	maxRequest  = 1 << 20
	maxResult   = 16 << 20
	maxPage     = 16 << 20
)

var validID = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// newID draws an ID that nobody else has: 16 of 32 letters, 80 bits.
func newID() string { return NewID() }

// NewID draws an ID for something that is to be kept together with others that
// refer to it.
func NewID() string { return strings.ToLower(rand.Text()[:16]) }

// checkObject refuses what must not be kept, and fills in size and sum of the
// original.
func (s *Store) checkObject(o *Object) error {
	switch {
	case !slices.Contains(Kinds, o.Kind):
		return problem.Bad("kind: %.40q is unknown; one of %v was expected", o.Kind, Kinds)
	case o.ID != "" && !validID.MatchString(o.ID):
		return problem.Bad("id: %.60q; 1 to 40 of a-z, 0-9 and - were expected", o.ID)
	case len(o.Text) > maxText:
		return problem.Bad("%s %.60q: its text has %d bytes; at most %d were expected", o.Kind, o.Name, len(o.Text), maxText)
	case !utf8.ValidString(o.Text):
		return problem.Bad("%s %.60q: its text is not UTF-8", o.Kind, o.Name)
	case o.Text == "" && o.Kind != Course:
		return noText(*o)
	}
	if err := checkName(string(o.Kind), "name", o.Name); err != nil {
		return err
	}
	if err := checkOriginal(o); err != nil {
		return err
	}
	if s.Check != nil {
		return s.Check(*o)
	}
	return nil
}

func noText(o Object) error { return problem.Bad("%s %.60q: it has no text", o.Kind, o.Name) }

func checkName(what, field, name string) error {
	if n := utf8.RuneCountInString(name); n == 0 || n > maxName || !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl) {
		return problem.Bad("%s: %s: %.60q; 1 to %d characters on one line were expected", what, field, name, maxName)
	}
	return nil
}

func checkOriginal(o *Object) error {
	if o.Original != nil && o.Original.Bytes == nil && o.Original.SHA256 != "" {
		o.Original = nil // as Objects gives it: the one that is kept is meant
	}
	if o.Original == nil {
		return nil
	}
	g := *o.Original // the caller's stays as it is
	if len(g.Bytes) > maxOriginal {
		return problem.Bad("%s %.60q: the file has %d bytes; at most %d were expected", o.Kind, o.Name, len(g.Bytes), maxOriginal)
	}
	g.Filename = path.Base(strings.ReplaceAll(g.Filename, "\\", "/"))
	if err := checkName(string(o.Kind), "filename", g.Filename); err != nil {
		return err
	}
	if err := checkName(string(o.Kind), "media", g.Media); err != nil {
		return err
	}
	sum := sha256.Sum256(g.Bytes)
	g.SHA256, g.Size = hex.EncodeToString(sum[:]), int64(len(g.Bytes))
	if given := o.Original.SHA256; given != "" && given != g.SHA256 {
		return problem.Bad("%s %.60q: the file is not the one whose SHA-256 was given", o.Kind, o.Name)
	}
	o.Original = &g
	return nil
}

func checkBrief(b *Brief) error {
	if b.ID != "" && !validID.MatchString(b.ID) {
		return problem.Bad("brief: id: %.60q; 1 to 40 of a-z, 0-9 and - were expected", b.ID)
	}
	if err := checkName("brief", "title", b.Title); err != nil {
		return err
	}
	if b.RiderID == "" {
		return problem.Bad("brief %.60q: it is of no rider", b.Title)
	}
	for _, part := range []struct {
		name  string
		bytes []byte
		most  int
		json  bool
	}{{"request", b.Request, maxRequest, true}, {"result", b.Result, maxResult, true}, {"page", b.Page, maxPage, false}} {
		if len(part.bytes) > part.most {
			return problem.Bad("brief %.60q: its %s has %d bytes; at most %d were expected", b.Title, part.name, len(part.bytes), part.most)
		}
		if part.json && len(part.bytes) > 0 && !json.Valid(part.bytes) {
			return problem.Bad("brief %.60q: its %s is no JSON", b.Title, part.name)
		}
	}
	b.Made = b.Made.UTC().Truncate(time.Millisecond)
	return nil
}
