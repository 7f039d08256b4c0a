package service

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"chainline/capacity"
	"chainline/debrief"
	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/recording"
	"chainline/room"
)

// A share file hands one ride to somebody who has this program: an archive
// (zip) of share.json, which says what it was reckoned from, the debrief's
// numbers, the ride's file as it came, and the files of rider, rig, road,
// course and event. docs/formats.md describes it.

// ShareSchema names the form of share.json.
const ShareSchema = "chainline.share/1"

// Share is share.json. Names are of files in the archive; empty: there is none.
type Share struct {
	Schema  string    `json:"schema"`
	Version string    `json:"version,omitempty"` // of the program that made it
	Made    time.Time `json:"made"`
	LeftOut []string  `json:"left_out,omitempty"` // heart_rate, mass, name
	// Whole says that all numbers can be reckoned anew from what is in it.
	Whole bool `json:"whole"`

	Ride   string `json:"ride"`
	Number int    `json:"number"` // of the ride in its file, from 1
	Rider  string `json:"rider,omitempty"`
	Rig    string `json:"rig,omitempty"`
	Road   string `json:"road,omitempty"`
	Course string `json:"course,omitempty"`
	Event  string `json:"event,omitempty"`

	Harder     string      `json:"could_have_gone_harder,omitempty"`
	Weighed    *[3]float64 `json:"weighed,omitempty"` // kg before, kg after, l drunk
	Alone      bool        `json:"alone,omitempty"`
	AsRecorded bool        `json:"as_recorded,omitempty"`
	Undone     []string    `json:"undone,omitempty"` // changes of cleaning that were taken back
	Source     string      `json:"power_source,omitempty"`

	Style    string    `json:"style,omitempty"`
	Recovery string    `json:"recovery,omitempty"`
	Seed     uint64    `json:"seed"`
	Draws    int       `json:"draws"`
	Today    time.Time `json:"today"` // that ages are counted to

	// What rides before it had taught.
	Efforts []capacity.Evidence    `json:"efforts,omitempty"`
	Rode    []int                  `json:"rode,omitempty"` // days since 1970-01-01
	Sweat   room.SweatMeasurements `json:"sweat,omitempty"`
	Strays  *debrief.Strays        `json:"strays,omitempty"`
}

// Names and bounds of what is in an archive.
const (
	shareManifest = "share.json"
	shareNumbers  = "debrief.json"
	shareEntries  = 16
	shareEntry    = 64 << 20
)

// sharing is a share file in the making.
type sharing struct {
	q     DebriefRequest
	file  string // the ride's
	bytes []byte
	whole bool
	out   Share
	files map[string][]byte
}

// ShareRide writes the share file of a ride that is kept.
func (a *App) ShareRide(ctx context.Context, w io.Writer, rideID, version string, without []string) error {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return err
	}
	var h history
	if k.RiderID != "" {
		if h, err = a.learn(ctx, k.RiderID, k.Start, k.ID, nil); err != nil {
			return err
		}
	}
	q, _, _, err := a.debriefRequest(ctx, k)
	if err != nil {
		return err
	}
	q.Without, q.Brief.Taught = without, h.taught()
	original, err := a.RideOriginal(ctx, rideID)
	if err != nil {
		return err
	}
	s := sharing{q: q, file: original.Name, bytes: original.Bytes, whole: k.facts.Whole}
	s.out = Share{Version: version, Made: a.c.Now().UTC(), Number: k.Number, Undone: k.said.Undone, Efforts: h.efforts, Rode: h.rode}
	if t := q.Brief.Taught; t != nil {
		s.out.Sweat, s.out.Strays = t.Weighed, t.Strays
	}
	return s.write(ctx, w)
}

// WriteShare writes the share file of a ride in a file; q names that file and
// says what else is known of it.
func WriteShare(ctx context.Context, w io.Writer, q DebriefRequest, version string) error {
	if len(q.Files) != 1 {
		return problem.Bad("share: found %d files, expected the file of one ride", len(q.Files))
	}
	q.Each = func(DebriefSheet) error { return nil }
	if err := (&debriefed{q: q}).check(); err != nil {
		return err
	}
	f, err := q.Brief.open(q.Files[0])
	if err != nil {
		return err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, shareEntry+1))
	if err != nil || len(b) > shareEntry {
		return problem.Bad("%s: cannot be read whole; expected the file of one ride of at most %d MB", q.Files[0], shareEntry>>20)
	}
	all, err := intake.Read(q.Files[0], bytes.NewReader(b), intake.Usual())
	if err != nil {
		return err
	}
	if len(all) != 1 || all[0].Err != nil {
		return problem.Bad("%s: holds %d rides; expected the file of one ride", q.Files[0], len(all))
	}
	s := sharing{q: q, file: filepath.Base(q.Files[0]), bytes: b, whole: true, out: Share{Version: version, Made: q.Brief.Today.UTC(), Number: 1}}
	return s.write(ctx, w)
}

func (s *sharing) write(ctx context.Context, w io.Writer) error {
	q, o := s.q, &s.out
	for _, what := range q.Without {
		if !slices.Contains(canLeaveOut, what) {
			return problem.Bad("--without: found %q; expected heart_rate, mass or name", what)
		}
	}
	o.Schema, o.LeftOut, o.Harder, o.Weighed, o.Alone, o.AsRecorded, o.Source = ShareSchema, q.Without, q.Harder, q.Weighed, q.Alone, q.AsRecorded, q.Source
	o.Style, o.Recovery, o.Seed, o.Draws, o.Today = q.Brief.Style, q.Brief.Recovery, q.Brief.Seed, q.Brief.Draws, q.Brief.Today.UTC()
	s.files = map[string][]byte{}
	b := q.Brief
	for _, x := range []struct{ to, kind, name string }{{"", "rider", b.Rider}, {"", "rig", b.Rig}, {"", "road", b.Road}, {"", "course", b.Course}, {"", "event", b.Event}} {
		if err := s.take(x.kind, x.name); err != nil {
			return err
		}
	}
	if err := s.ride(); err != nil {
		return err
	}
	full := *o
	if err := s.leaveOut(); err != nil {
		return err
	}
	from := *o
	if !o.Whole { // with what is left out they can be reckoned, once, here
		from = full
	}
	sheet, err := reckonShare(ctx, from, s.files, q.Brief.Workers)
	if err != nil {
		return err
	}
	return s.archive(w, sheet)
}

// take reads a file that the ride was looked at with.
func (s *sharing) take(kind, name string) error {
	if name == "" || name == assumedRig {
		return nil
	}
	f, err := s.q.Brief.open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, shareEntry+1))
	if err != nil {
		return err
	}
	ext := strings.ToLower(path.Ext(filepath.ToSlash(name)))
	if kind != "course" || len(ext) > 5 || ext == "" {
		if kind == "course" && looksLikeGPX(b) {
			ext = ".gpx"
		} else if ext = ".yaml"; kind == "course" {
			ext = ".csv"
		}
	}
	as := "files/" + kind + ext
	s.files[as] = b
	*s.out.ref(kind) = as
	return nil
}

func looksLikeGPX(b []byte) bool { return bytes.HasPrefix(bytes.TrimSpace(b), []byte("<")) }

func (o *Share) ref(kind string) *string {
	return map[string]*string{"rider": &o.Rider, "rig": &o.Rig, "road": &o.Road, "course": &o.Course, "event": &o.Event}[kind]
}

// ride puts the ride's file in: as it came, or without what is left out.
func (s *sharing) ride() error {
	if len(s.q.Without) == 0 {
		s.out.Ride = "ride/" + safeName(s.file)
		s.files[s.out.Ride] = s.bytes
		return nil
	}
	got, err := recordingOf(s.file, s.bytes, s.out.Number)
	if err != nil {
		return err
	}
	rec := &got.Recording
	if slices.Contains(s.q.Without, "heart_rate") {
		rec = withoutHeart(rec)
	}
	named := *rec
	if slices.Contains(s.q.Without, "name") {
		named.Title = ""
	}
	var b bytes.Buffer
	if err := recording.Write(&b, &named); err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the ride cannot be written: " + err.Error(), Err: err}
	}
	s.out.Ride, s.out.Number = "ride/ride.recording", 1
	s.files[s.out.Ride] = b.Bytes()
	return nil
}

// safeName is a file's name without anything that could lead out of a folder.
func safeName(s string) string {
	s = path.Base(filepath.ToSlash(s))
	s = strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`\/:*?"<>|`, r) {
			return '-'
		}
		return r
	}, s)
	if s == "" || s == "." || s == ".." {
		return "ride"
	}
	return s
}

func (s *sharing) archive(w io.Writer, sheet DebriefSheet) error {
	z := zip.NewWriter(w)
	put := func(name string, b []byte) error {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: s.out.Made})
		if err == nil {
			_, err = f.Write(b)
		}
		return err
	}
	manifest, err := json.MarshalIndent(s.out, "", "  ")
	if err != nil {
		return err
	}
	numbers, err := json.Marshal(sheet)
	if err != nil {
		return err
	}
	if err := put(shareManifest, manifest); err != nil {
		return err
	}
	if err := put(shareNumbers, numbers); err != nil {
		return err
	}
	used := []string{s.out.Ride, s.out.Rider, s.out.Rig, s.out.Road, s.out.Course, s.out.Event}
	for _, name := range used {
		if name != "" {
			if err := put(name, s.files[name]); err != nil {
				return err
			}
		}
	}
	return z.Close()
}
