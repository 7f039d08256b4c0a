package intake

import (
	"cmp"
	"slices"

	"chainline/recording"
)

// Entry is what a catalogue keeps of a recording.
type Entry struct {
	ID          string
	Fingerprint string
	StartUnix   float64 // s
}

// Catalogue finds what a new recording repeats among those taken in before. It
// holds a few dozen bytes of each; the zero value is empty. It is not safe for
// use by several at once.
type Catalogue struct {
	entries []Entry // by start
	prints  map[string]string
}

// Add puts a recording in.
func (c *Catalogue) Add(e Entry) {
	at, _ := slices.BinarySearchFunc(c.entries, e.StartUnix, func(x Entry, start float64) int { return cmp.Compare(x.StartUnix, start) })
	c.entries = slices.Insert(c.entries, at, e)
	if c.prints == nil {
		c.prints = map[string]string{}
	}
	if _, known := c.prints[e.Fingerprint]; !known {
		c.prints[e.Fingerprint] = e.ID
	}
}

// Find tells which recording the new one repeats, and how. load gets one that
// began about the same time, so that the two can be compared; its error is
// handed on. Different with no ID: it is new.
func (c *Catalogue) Find(r *recording.Recording, load func(id string) (*recording.Recording, error)) (id string, how Relation, err error) {
	return c.FindAs(Fingerprint(r), r, load)
}

// FindAs is Find for a recording whose fingerprint is known.
func (c *Catalogue) FindAs(fingerprint string, r *recording.Recording, load func(id string) (*recording.Recording, error)) (id string, how Relation, err error) {
	if id, known := c.prints[fingerprint]; known {
		return id, SameRecording, nil
	}
	from, _ := slices.BinarySearchFunc(c.entries, r.StartUnix-startsApart, func(x Entry, start float64) int { return cmp.Compare(x.StartUnix, start) })
	for _, e := range c.entries[from:] {
		if e.StartUnix > r.StartUnix+startsApart {
			break
		}
		other, err := load(e.ID)
		if err != nil {
			return "", Different, err
		}
		switch Same(r, other) {
		case SameRecording:
			return e.ID, SameRecording, nil
		case AnotherDevice:
			id, how = e.ID, AnotherDevice
		}
	}
	return id, how, nil
}
