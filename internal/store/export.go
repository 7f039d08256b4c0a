package store

import (
	"archive/zip"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"time"

	"chainline/internal/problem"
)

// Export writes an archive (docs/formats.md) of everything, or of one rider
// with their briefs and what these refer to. Settings and visits stay.
func (s *Store) Export(ctx context.Context, w io.Writer, riderID string) error {
	err := s.view(ctx, func(tx *sql.Tx) error {
		os, bs, err := contents(ctx, tx, riderID)
		if err != nil {
			return err
		}
		cs, err := rigChecks(ctx, tx, riderID, "")
		if err != nil {
			return err
		}
		return s.writeArchive(ctx, tx, w, riderID, os, bs, cs)
	})
	if err != nil {
		return err
	}
	// A deletion during a long export could not be wiped.
	if err := s.scrub(ctx); err != nil && !errors.Is(err, errReading) {
		return err
	}
	return nil
}

// contents are the objects and briefs of an archive, without their large
// parts, in an order that is the same every time.
func contents(ctx context.Context, tx *sql.Tx, riderID string) ([]Object, []Brief, error) {
	bs, err := briefs(ctx, tx, riderID)
	if err != nil {
		return nil, nil, err
	}
	os, err := objects(ctx, tx, "ORDER BY o.created, o.id")
	if err != nil || riderID == "" {
		return os, bs, err
	}
	wanted := map[string]bool{riderID: true}
	cs, err := rigChecks(ctx, tx, riderID, "")
	if err != nil {
		return nil, nil, err
	}
	for _, c := range cs {
		wanted[c.RigID] = true
	}
	rs, err := ridesOf(ctx, tx, riderID)
	if err != nil {
		return nil, nil, err
	}
	rideRefs(rs, wanted)
	if err := racedBy(ctx, tx, riderID, wanted); err != nil {
		return nil, nil, err
	}
	for _, b := range bs {
		for _, id := range b.refs() {
			wanted[*id] = true
		}
	}
	os = slices.DeleteFunc(os, func(o Object) bool { return !wanted[o.ID] })
	if !slices.ContainsFunc(os, func(o Object) bool { return o.ID == riderID && o.Kind == Rider }) {
		return nil, nil, notFound(string(Rider), riderID)
	}
	return os, bs, nil
}

func (s *Store) writeArchive(ctx context.Context, tx *sql.Tx, w io.Writer, riderID string, os []Object, bs []Brief, cs []RigCheck) error {
	now := s.now()
	z := &zipWriter{zip: zip.NewWriter(w), now: now}
	m := manifest{Format: archiveFormat, Version: archiveVersion, Made: now, Objects: []manifestObject{}, Briefs: []manifestBrief{}}
	for _, o := range os {
		entry := manifestObject{ID: o.ID, Kind: o.Kind, Name: o.Name, Demo: o.Demo, Created: o.Created, Updated: o.Updated}
		entry.File = z.file(textFile(o), []byte(o.Text))
		if g := o.Original; g != nil {
			bytes, err := originalBytes(ctx, tx, o.ID)
			if err != nil {
				return err
			}
			entry.Original = &manifestOriginal{File: z.file(originalFile(o), bytes), Filename: g.Filename, Media: g.Media, SHA256: g.SHA256}
		}
		m.Objects = append(m.Objects, entry)
	}
	for _, b := range bs {
		b, err := brief(ctx, tx, b.ID)
		if err != nil {
			return err
		}
		m.Briefs = append(m.Briefs, manifestBrief{
			ID: b.ID, Made: b.Made, Title: b.Title, Rider: b.RiderID, Rig: b.RigID, Road: b.RoadID, Course: b.CourseID, Event: b.EventID, Demo: b.Demo,
			Request: z.file(briefFile(b.ID, "request.json"), b.Request),
			Result:  z.file(briefFile(b.ID, "result.json"), b.Result),
			Page:    z.file(briefFile(b.ID, "brief.html"), b.Page),
		})
	}
	for _, c := range cs {
		entry, err := writeArchivedCheck(ctx, tx, z, c.ID)
		if err != nil {
			return err
		}
		m.Checks = append(m.Checks, entry)
	}
	if err := s.archiveRides(ctx, tx, z, &m, riderID, idsOf(os, bs)); err != nil {
		return err
	}
	if err := archiveRaces(ctx, tx, z, &m, riderID, idsOf(os, nil)); err != nil {
		return err
	}
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	z.file(manifestFile, append(text, '\n'))
	if z.err == nil {
		z.err = z.zip.Close()
	}
	if z.err != nil {
		return &problem.Error{Message: "the archive could not be written", Hint: "Look whether the disk is full.", Err: z.err}
	}
	return nil
}

func writeArchivedCheck(ctx context.Context, tx *sql.Tx, z *zipWriter, id string) (manifestCheck, error) {
	c, err := rigCheck(ctx, tx, id)
	if err != nil {
		return manifestCheck{}, err
	}
	out := manifestCheck{ID: c.ID, Made: c.Made, Title: c.Title, Rider: c.RiderID, Rig: c.RigID, Ride: c.Ride, Report: z.file(checkFile(c.ID), c.Report)}
	all, err := corrections(ctx, tx, "k.id = ?", id)
	for _, k := range slices.Backward(all) { // the oldest first
		out.Corrections = append(out.Corrections, manifestCorrection{k.Source, k.Applied, k.Taken})
	}
	return out, err
}

// zipWriter keeps the first error.
type zipWriter struct {
	zip *zip.Writer
	now time.Time
	err error
}

// file writes one file and returns its name; nothing and "" for an empty one.
func (z *zipWriter) file(name string, bytes []byte) string {
	if len(bytes) == 0 {
		return ""
	}
	if z.err == nil {
		var w io.Writer
		if w, z.err = z.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: z.now}); z.err == nil {
			_, z.err = w.Write(bytes)
		}
	}
	return name
}
