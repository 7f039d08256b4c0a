package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"

	"chainline/internal/problem"
)

// Report says what an import did.
type Report struct {
	Added []Entry // objects and briefs that are new
	Known []Entry // those that were here already, to the letter
}

// Entry is one object, brief, check, ride, calendar, result list or start list of a Report. ID and Was differ if the archive's
// ID was taken here by something else, or if the same thing has another one.
type Entry struct {
	Kind string // of the object, "brief", "check", "ride", "calendar", "result list" or "start list"
	ID   string // here
	Was  string // in the archive
	Name string
}

// Import adds what is in an archive, all of it or nothing. What is here
// already, to the letter, is not added again. An ID is kept if it is free; if
// it is taken another one is given, and what refers to it follows.
func (s *Store) Import(ctx context.Context, r io.ReaderAt, size int64) (Report, error) {
	a, err := openArchive(r, size)
	if err != nil {
		return Report{}, err
	}
	in := &importing{store: s, archive: a, kinds: map[string]Kind{}, ids: map[string]string{}, briefs: map[string]string{}}
	err = s.tx(ctx, func(tx *sql.Tx) error {
		in.tx = tx
		if err := in.lookAround(ctx); err != nil {
			return err
		}
		for _, e := range a.manifest.Objects {
			if err := in.object(ctx, e); err != nil {
				return err
			}
		}
		for _, e := range a.manifest.Briefs {
			if err := in.brief(ctx, e); err != nil {
				return err
			}
		}
		for _, e := range a.manifest.Checks {
			if err := in.check(ctx, e); err != nil {
				return err
			}
		}
		if err := in.rides(ctx); err != nil {
			return err
		}
		return in.races(ctx)
	})
	if err != nil {
		return Report{}, errors.Join(err, s.sweep(ctx))
	}
	return in.report, nil
}

type importing struct {
	store   *Store
	archive *archive
	tx      *sql.Tx
	report  Report

	kinds map[string]Kind   // by ID in the archive
	ids   map[string]string // here, by ID in the archive

	briefs map[string]string // the same of briefs

	objectIDs, briefIDs, checkIDs    map[string]string   // content by ID, of what was here before
	sameObject, sameBrief, sameCheck map[string][]string // IDs by content
}

// lookAround remembers what is here before the first thing is added, so that
// two equal things of one archive stay two.
func (in *importing) lookAround(ctx context.Context) error {
	in.objectIDs, in.briefIDs = map[string]string{}, map[string]string{}
	in.sameObject, in.sameBrief = map[string][]string{}, map[string][]string{}
	os, bs, err := contents(ctx, in.tx, "")
	if err != nil {
		return err
	}
	for _, o := range os {
		key := contentOf(o)
		in.objectIDs[o.ID] = key
		in.sameObject[key] = append(in.sameObject[key], o.ID)
	}
	for _, b := range bs {
		if b, err = brief(ctx, in.tx, b.ID); err != nil {
			return err
		}
		key := contentOfBrief(b)
		in.briefIDs[b.ID] = key
		in.sameBrief[key] = append(in.sameBrief[key], b.ID)
	}
	return in.lookAtChecks(ctx)
}

func (in *importing) lookAtChecks(ctx context.Context) error {
	in.checkIDs, in.sameCheck = map[string]string{}, map[string][]string{}
	cs, err := rigChecks(ctx, in.tx, "", "")
	if err != nil {
		return err
	}
	for _, c := range cs {
		if c, err = rigCheck(ctx, in.tx, c.ID); err != nil {
			return err
		}
		key := contentOfCheck(c)
		in.checkIDs[c.ID] = key
		in.sameCheck[key] = append(in.sameCheck[key], c.ID)
	}
	return nil
}

func (in *importing) check(ctx context.Context, e manifestCheck) error {
	report, err := in.archive.read(e.Report, maxResult)
	if err != nil {
		return err
	}
	c := RigCheck{ID: e.ID, Made: e.Made, Title: e.Title, RiderID: in.ids[e.Rider], RigID: in.ids[e.Rig], Ride: e.Ride, Report: report}
	if err := checkRigCheck(&c); err != nil {
		return inArchive(err)
	}
	id, known := place(e.ID, contentOfCheck(c), in.checkIDs, in.sameCheck)
	c.ID = id
	entry := Entry{Kind: "check", ID: id, Was: e.ID, Name: c.Title}
	if known {
		in.report.Known = append(in.report.Known, entry)
		return nil
	}
	in.report.Added = append(in.report.Added, entry)
	if err := writeRigCheck(ctx, in.tx, c); err != nil {
		return err
	}
	for _, k := range e.Corrections {
		var taken any
		if !k.Taken.IsZero() {
			taken = k.Taken.UnixMilli()
		}
		if _, err := in.tx.ExecContext(ctx, "INSERT INTO corrections (id, check_id, source, applied, taken) VALUES (?, ?, ?, ?, ?)",
			newID(), id, k.Source, k.Applied.UnixMilli(), taken); err != nil {
			return err
		}
	}
	return nil
}

func (in *importing) object(ctx context.Context, e manifestObject) error {
	o, err := in.archive.object(e)
	if err != nil {
		return err
	}
	if err := in.store.checkObject(&o); err != nil {
		return inArchive(err)
	}
	if o.Text == "" && o.Original == nil {
		return inArchive(noText(o))
	}
	in.kinds[e.ID] = o.Kind
	id, known := place(e.ID, contentOf(o), in.objectIDs, in.sameObject)
	in.ids[e.ID], o.ID = id, id
	entry := Entry{Kind: string(o.Kind), ID: id, Was: e.ID, Name: o.Name}
	if known {
		in.report.Known = append(in.report.Known, entry)
		return nil
	}
	in.report.Added = append(in.report.Added, entry)
	return insertObject(ctx, in.tx, o)
}

func (in *importing) brief(ctx context.Context, e manifestBrief) error {
	b, err := in.archive.brief(e, in.kinds, in.ids)
	if err != nil {
		return err
	}
	if err := checkBrief(&b); err != nil {
		return inArchive(err)
	}
	id, known := place(e.ID, contentOfBrief(b), in.briefIDs, in.sameBrief)
	in.briefs[e.ID], b.ID = id, id
	entry := Entry{Kind: "brief", ID: id, Was: e.ID, Name: b.Title}
	if known {
		in.report.Known = append(in.report.Known, entry)
		return nil
	}
	in.report.Added = append(in.report.Added, entry)
	return writeBrief(ctx, in.tx, b)
}

// inArchive says where the bad thing stands.
func inArchive(err error) error {
	e, ok := errors.AsType[*problem.Error](err)
	if !ok {
		return err
	}
	at := *e
	at.Message = "in the archive: " + e.Message
	return &at
}

// place finds the ID of something from an archive: that of its equal if there
// is one here, else its own if that is free, else a new one. An equal is found
// once, for two equal things of an archive are two.
func place(id, content string, here map[string]string, same map[string][]string) (at string, known bool) {
	equal := same[content]
	for i, e := range equal {
		if e == id || i == len(equal)-1 {
			same[content] = append(equal[:i:i], equal[i+1:]...)
			return e, true
		}
	}
	if _, taken := here[id]; taken {
		id = newID()
	}
	return id, false
}

// contentOf is equal for objects that differ at most in their ID and times.
func contentOf(o Object) string {
	filename, sum := "", ""
	if o.Original != nil {
		filename, sum = o.Original.Filename, o.Original.SHA256
	}
	return digest(o.Kind, o.Name, o.Text, o.Demo, o.Original != nil, filename, sum)
}

func contentOfBrief(b Brief) string {
	return digest(b.Made.UnixMilli(), b.Title, b.RiderID, b.RigID, b.RoadID, b.CourseID, b.EventID, b.Demo, blob(b.Request), blob(b.Result), blob(b.Page))
}

func contentOfCheck(c RigCheck) string {
	return digest(c.Made.UnixMilli(), c.Title, c.RiderID, c.RigID, c.Ride, blob(c.Report))
}

func digest(parts ...any) string {
	text, err := json.Marshal(parts)
	if err != nil {
		panic(err) // strings, numbers and bytes only
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
