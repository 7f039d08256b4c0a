package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"errors"
	"path"
	"strings"
	"time"

	"chainline/internal/problem"
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

// File is what the object's file is called in sentences, and what is in it: a
// course's own file as it came, else the YAML. A course is called after its
// file.
func (o Object) File() (name, text string) {
	name = string(o.Kind) + "/" + strings.NewReplacer("/", " ", "\\", " ").Replace(o.Name)
	if o.Original == nil {
		return name + ".yaml", o.Text
	}
	ending := path.Ext(o.Original.Filename)
	if ending == "" {
		ending = ".txt" // lest a point in the name is taken for one
	}
	return name + ending, string(o.Original.Bytes)
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
func (s *Store) Objects(ctx context.Context, kind Kind) ([]Object, error) {
	var all []Object
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		all, err = objects(ctx, tx, "WHERE o.kind = ? ORDER BY o.name COLLATE NOCASE, o.id", kind)
		return err
	})
	return all, err
}

// Object is one object with its original; ErrNotFound if there is none.
func (s *Store) Object(ctx context.Context, id string) (Object, error) {
	var o Object
	err := s.view(ctx, func(tx *sql.Tx) (err error) {
		if o, err = object(ctx, tx, id); err != nil || o.Original == nil {
			return err
		}
		o.Original.Bytes, err = originalBytes(ctx, tx, id)
		return err
	})
	return o, err
}

// Put writes an object and returns it as it was kept. Without an ID, or with
// one that is free, it is a new one. An ID that is there is changed: its kind
// cannot, its time of creation stays, and so does its original: a nil Original
// keeps it, another one is refused.
func (s *Store) Put(ctx context.Context, o Object) (Object, error) {
	return s.put(ctx, o, func(Object) error { return nil })
}

// put is Put if may allows it for what is there; nothing is an empty object.
func (s *Store) put(ctx context.Context, o Object, may func(old Object) error) (Object, error) {
	if err := s.checkObject(&o); err != nil {
		return Object{}, err
	}
	err := s.tx(ctx, func(tx *sql.Tx) error {
		o.Created, o.Updated = s.now(), s.now()
		if o.ID == "" {
			o.ID = newID()
		}
		old, err := object(ctx, tx, o.ID)
		fresh := errors.Is(err, ErrNotFound)
		if fresh || err == nil {
			if err = may(old); err != nil {
				return err
			}
		}
		if fresh {
			if o.Text == "" && o.Original == nil {
				return noText(o)
			}
			return insertObject(ctx, tx, o)
		}
		if err != nil {
			return err
		}
		o.Created = old.Created
		return updateObject(ctx, tx, old, &o)
	})
	if err != nil {
		return Object{}, err
	}
	return o, nil
}

// Version tells apart what an object holds: it is another one as soon as its
// name or its text is. An original never changes.
func (o Object) Version() string {
	sum := sha256.Sum256([]byte(o.Name + "\x00" + o.Text))
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

// PutOver is Put for whoever has read the object before: if it does not have
// the version was any more, nothing is written and the error is ErrOvertaken.
func (s *Store) PutOver(ctx context.Context, o Object, was string) (Object, error) {
	return s.put(ctx, o, func(old Object) error { return over(old, was) })
}

// DeleteOver is Delete, as PutOver is Put.
func (s *Store) DeleteOver(ctx context.Context, id, was string) error {
	return s.remove(ctx, id, func(old Object) error { return over(old, was) })
}

func over(old Object, was string) error {
	if old.Version() == was {
		return nil
	}
	return &problem.Error{Kind: problem.Misuse, Message: "this was changed by somebody else meanwhile, so nothing was written",
		Hint: "Look at what it is now, and send it again.", Err: ErrOvertaken}
}

// Delete really deletes an object and its original; with a rider, all their
// briefs and rides, with the files of these. Briefs and rides that refer to
// another object stay, without the reference.
func (s *Store) Delete(ctx context.Context, id string) error {
	return s.remove(ctx, id, func(Object) error { return nil })
}

func (s *Store) remove(ctx context.Context, id string, may func(old Object) error) error {
	var live []string
	var old Object
	err := s.tx(ctx, func(tx *sql.Tx) (err error) {
		if old, err = object(ctx, tx, id); err != nil {
			return err
		}
		if err = errors.Join(may(old), s.busy(old)); err != nil {
			return err
		}
		if live, err = liveOf(ctx, tx, "id = ?", id); err != nil {
			return err
		}
		if err = forget(ctx, tx, old); err != nil {
			return err
		}
		done, err := tx.ExecContext(ctx, "DELETE FROM objects WHERE id = ?", id)
		return affected(done, err, "object", id)
	})
	if err != nil {
		return err
	}
	return errors.Join(s.gone(live, old), s.sweep(ctx), s.wipe(ctx))
}

// forget takes a rider out of what does not go with them by itself: imports
// made for them, with the names of their files, and their name in results of
// races, which stay for the others.
func forget(ctx context.Context, tx *sql.Tx, o Object) error {
	if o.Kind != Rider {
		return nil
	}
	id, err := json.Marshal(o.ID)
	if err != nil {
		return err
	}
	name, err := json.Marshal(o.Name)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "DELETE FROM imports WHERE instr(CAST(request AS TEXT), ?1) > 0 OR instr(CAST(progress AS TEXT), ?1) > 0", string(id))
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE results SET sheet = CAST(replace(CAST(sheet AS TEXT), ?1, '\"name\":\"\"') AS BLOB) WHERE instr(CAST(sheet AS TEXT), ?1) > 0", `"name":`+string(name))
	return err
}

// busy is why an object cannot be deleted now.
func (s *Store) busy(o Object) error {
	if o.Kind != Rider || s.Busy == nil {
		return nil
	}
	return s.Busy(o.ID)
}

// gone removes what lies beside the database of objects that were deleted.
func (s *Store) gone(live []string, all ...Object) (err error) {
	for _, id := range live {
		err = errors.Join(err, s.dropLive(id))
	}
	var riders []string
	for _, o := range all {
		if o.Kind == Rider {
			riders = append(riders, o.ID)
		}
	}
	if s.Gone != nil && len(riders) > 0 {
		err = errors.Join(err, s.Gone(riders))
	}
	return err
}

// RemoveDemo removes the demo data and nothing else, except for briefs that
// were made for a rider of the demo data.
func (s *Store) RemoveDemo(ctx context.Context) error {
	var live []string
	var old []Object
	err := s.tx(ctx, func(tx *sql.Tx) (err error) {
		if old, err = objects(ctx, tx, "WHERE o.demo = 1"); err != nil {
			return err
		}
		for _, o := range old {
			if err := s.busy(o); err != nil {
				return err
			}
			if err := forget(ctx, tx, o); err != nil {
				return err
			}
		}
		if live, err = liveOf(ctx, tx, "demo = 1"); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM briefs WHERE demo = 1"); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "DELETE FROM objects WHERE demo = 1")
		return err
	})
	if err != nil {
		return err
	}
	return errors.Join(s.gone(live, old...), s.sweep(ctx), s.wipe(ctx))
}

func affected(done sql.Result, err error, what, id string) error {
	if err != nil {
		return err
	}
	n, err := done.RowsAffected()
	if err == nil && n == 0 {
		return notFound(what, id)
	}
	return err
}

// objects reads without the bytes of originals.
func objects(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]Object, error) {
	rows, err := tx.QueryContext(ctx, `SELECT o.id, o.kind, o.name, o.text, o.demo, o.created, o.updated,
		g.filename, g.media, g.size, g.sha256
		FROM objects o LEFT JOIN originals g ON g.object_id = o.id `+where, args...)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var all []Object
	for rows.Next() {
		var o Object
		var created, updated int64
		var filename, media, sum sql.NullString
		var size sql.NullInt64
		if err := rows.Scan(&o.ID, &o.Kind, &o.Name, &o.Text, &o.Demo, &created, &updated, &filename, &media, &size, &sum); err != nil {
			return nil, err
		}
		o.Created, o.Updated = time.UnixMilli(created).UTC(), time.UnixMilli(updated).UTC()
		if sum.Valid {
			o.Original = &Original{Filename: filename.String, Media: media.String, Size: size.Int64, SHA256: sum.String}
		}
		all = append(all, o)
	}
	return all, rows.Err()
}

func object(ctx context.Context, tx *sql.Tx, id string) (Object, error) {
	all, err := objects(ctx, tx, "WHERE o.id = ?", id)
	if err != nil {
		return Object{}, err
	}
	if len(all) == 0 {
		return Object{}, notFound("object", id)
	}
	return all[0], nil
}

func originalBytes(ctx context.Context, tx *sql.Tx, id string) ([]byte, error) {
	var b []byte
	err := tx.QueryRowContext(ctx, "SELECT bytes FROM originals WHERE object_id = ?", id).Scan(&b)
	return b, err
}

func insertObject(ctx context.Context, tx *sql.Tx, o Object) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO objects (id, kind, name, text, demo, created, updated) VALUES (?, ?, ?, ?, ?, ?, ?)",
		o.ID, o.Kind, o.Name, o.Text, o.Demo, o.Created.UnixMilli(), o.Updated.UnixMilli())
	if err != nil || o.Original == nil {
		return err
	}
	return insertOriginal(ctx, tx, o.ID, o.Original)
}

func insertOriginal(ctx context.Context, tx *sql.Tx, id string, g *Original) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO originals (object_id, filename, media, size, sha256, bytes) VALUES (?, ?, ?, ?, ?, ?)",
		id, g.Filename, g.Media, g.Size, g.SHA256, blob(g.Bytes))
	return err
}

// updateObject changes old into o, whose Original becomes what is kept.
func updateObject(ctx context.Context, tx *sql.Tx, old Object, o *Object) error {
	if o.Kind != old.Kind {
		return problem.Bad("%s is a %s and cannot become a %s", o.ID, old.Kind, o.Kind)
	}
	switch {
	case old.Original == nil && o.Original != nil:
		if err := insertOriginal(ctx, tx, o.ID, o.Original); err != nil {
			return err
		}
	case old.Original != nil && o.Original != nil && o.Original.SHA256 != old.Original.SHA256:
		return problem.Bad("the file of %s %q is kept as it came; another file was given", o.Kind, old.Name).WithHint("Add it as a new " + string(o.Kind) + ".")
	case old.Original != nil:
		bytes, err := originalBytes(ctx, tx, o.ID)
		if err != nil {
			return err
		}
		o.Original = old.Original
		o.Original.Bytes = bytes
	}
	if o.Text == "" && o.Original == nil {
		return noText(*o)
	}
	_, err := tx.ExecContext(ctx, "UPDATE objects SET name = ?, text = ?, demo = ?, updated = ? WHERE id = ?",
		o.Name, o.Text, o.Demo, o.Updated.UnixMilli(), o.ID)
	return err
}

// blob is b as a value that is never NULL.
func blob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
