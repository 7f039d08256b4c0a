package store

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"regexp"
	"slices"
	"strings"

	"chainline/internal/problem"
)

// archive is a zip file whose manifest was read and holds together. Its files
// are read one by one; nothing is unpacked to the disk.
type archive struct {
	manifest manifest
	files    map[string]*zip.File
	left     int64 // bytes that may still be unpacked
}

func badArchive(format string, args ...any) *problem.Error {
	return problem.Bad("the archive cannot be used: "+format, args...).WithHint("Nothing was changed. Export it again where it came from.")
}

// openArchive reads the table of contents and the manifest.
func openArchive(r io.ReaderAt, size int64) (*archive, error) {
	if size > maxArchive {
		return nil, badArchive("it has %d bytes; at most %d were expected", size, int64(maxArchive))
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, badArchive("it is no zip file")
	}
	if len(z.File) > maxEntries {
		return nil, badArchive("it has %d files; at most %d were expected", len(z.File), maxEntries)
	}
	a := &archive{files: map[string]*zip.File{}, left: max(smallArchive, min(maxUnpacked, maxRatio*size))}
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") && f.UncompressedSize64 == 0 {
			continue // a folder, as programs that pack again write them
		}
		if !fs.ValidPath(f.Name) || strings.ContainsAny(f.Name, `\:`) || a.files[f.Name] != nil {
			return nil, badArchive("the name %.80q in it leads astray or stands twice", f.Name)
		}
		a.files[f.Name] = f
	}
	text, err := a.read(manifestFile, maxManifest)
	if err != nil {
		return nil, err
	}
	if err := a.readManifest(text); err != nil {
		return nil, err
	}
	return a, nil
}

// read is a whole file of the archive, empty for the name "".
func (a *archive) read(name string, most int64) ([]byte, error) {
	if name == "" {
		return nil, nil
	}
	f := a.files[name]
	if f == nil {
		return nil, badArchive("%.80q is missing from it", name)
	}
	most = min(most, a.left)
	if f.UncompressedSize64 > uint64(most) { //nolint:gosec // most is not negative
		return nil, badArchive("%.80q in it is too large; at most %d bytes were expected", name, most)
	}
	r, err := f.Open()
	if err != nil {
		return nil, badArchive("%.80q in it is packed in an unknown way", name)
	}
	defer func() { _ = r.Close() }()
	b, err := io.ReadAll(io.LimitReader(r, most+1)) // its size may be a lie
	if err != nil || int64(len(b)) > most {
		return nil, badArchive("%.80q in it is damaged or too large", name)
	}
	a.left -= int64(len(b))
	return b, nil
}

func (a *archive) readManifest(text []byte) error {
	// A newer version may have keys of which this program knows nothing.
	var head struct {
		Format  string `json:"format"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(text, &head); err != nil || head.Format != archiveFormat {
		return badArchive("its %s is not that of a Chainline archive", manifestFile)
	}
	if head.Version != archiveVersion {
		return badArchive("it has version %d; this program reads version %d", head.Version, archiveVersion).WithHint("Use the newer program.")
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&a.manifest); err != nil {
		return badArchive("%s: %.200s", manifestFile, err)
	}
	if n := len(a.manifest.Objects) + len(a.manifest.Briefs) + len(a.manifest.Rides) + len(a.manifest.Calendars) + len(a.manifest.Results) + len(a.manifest.Starts); n > maxEntries {
		return badArchive("it has %d objects, briefs and rides; at most %d were expected", n, maxEntries)
	}
	return a.checkManifest()
}

// checkManifest refuses what does not hold together: IDs that are bad or stand
// twice, references that lead nowhere, files nobody speaks of.
func (a *archive) checkManifest() error {
	kinds := map[string]Kind{}
	used := map[string]bool{manifestFile: true}
	for _, o := range a.manifest.Objects {
		if !validID.MatchString(o.ID) || kinds[o.ID] != "" || !slices.Contains(Kinds, o.Kind) {
			return badArchive("object %.60q of kind %.40q: the ID or kind is not allowed or stands twice", o.ID, o.Kind)
		}
		kinds[o.ID] = o.Kind
		used[o.File] = true
		if o.Original != nil {
			used[o.Original.File] = true
		}
	}
	ids := map[string]bool{}
	for _, b := range a.manifest.Briefs {
		if !validID.MatchString(b.ID) || ids[b.ID] {
			return badArchive("brief %.60q: the ID is not allowed or stands twice", b.ID)
		}
		ids[b.ID] = true
		used[b.Request], used[b.Result], used[b.Page] = true, true, true
		for kind, id := range map[Kind]string{Rider: b.Rider, Rig: b.Rig, Road: b.Road, Course: b.Course, Event: b.Event} {
			if id == "" && kind != Rider {
				continue
			}
			if kinds[id] != kind {
				return badArchive("brief %s is of %s %.60q, which is not in it", b.ID, kind, id)
			}
		}
	}
	if err := a.checkChecks(kinds, used); err != nil {
		return err
	}
	if err := a.checkRides(kinds, ids, used); err != nil {
		return err
	}
	if err := a.checkRaces(kinds, used); err != nil {
		return err
	}
	for name := range a.files {
		if !used[name] {
			return badArchive("its manifest does not speak of %.80q", name)
		}
	}
	return nil
}

// checkChecks is checkManifest for the checks of rigs.
func (a *archive) checkChecks(kinds map[string]Kind, used map[string]bool) error {
	ids := map[string]bool{}
	for _, c := range a.manifest.Checks {
		if !validID.MatchString(c.ID) || ids[c.ID] {
			return badArchive("check %.60q: the ID is not allowed or stands twice", c.ID)
		}
		ids[c.ID], used[c.Report] = true, true
		if kinds[c.Rider] != Rider || kinds[c.Rig] != Rig {
			return badArchive("check %s is of rider %.60q and rig %.60q, which are not in it", c.ID, c.Rider, c.Rig)
		}
		if y := c.Made.Year(); y < 1970 || y > 9999 {
			return badArchive("check %s: a time of the year %d", c.ID, y)
		}
		for _, k := range c.Corrections {
			if y := k.Applied.Year(); k.Source == "" || len(k.Source) > maxName || y < 1970 || y > 9999 || k.Taken.Year() > 9999 {
				return badArchive("check %s: a correction without a source or time", c.ID)
			}
		}
	}
	return nil
}

// object is an object as it was kept.
func (a *archive) object(e manifestObject) (Object, error) {
	o := Object{ID: e.ID, Kind: e.Kind, Name: e.Name, Demo: e.Demo, Created: e.Created, Updated: e.Updated}
	text, err := a.read(e.File, maxText)
	if err != nil {
		return o, err
	}
	o.Text = string(text)
	if g := e.Original; g != nil {
		b, err := a.read(g.File, maxOriginal)
		if err != nil {
			return o, err
		}
		if b == nil {
			b = []byte{}
		}
		if g.SHA256 == "" {
			return o, badArchive("object %s: the SHA-256 of its file is missing", e.ID)
		}
		o.Original = &Original{Filename: g.Filename, Media: g.Media, Bytes: b, SHA256: g.SHA256}
	}
	for _, t := range []int{o.Created.Year(), o.Updated.Year()} {
		if t < 1970 || t > 9999 {
			return o, badArchive("object %s: a time of the year %d", e.ID, t)
		}
	}
	return o, nil
}

// brief is a brief as it was kept; ids gives the IDs of objects here.
func (a *archive) brief(e manifestBrief, kinds map[string]Kind, ids map[string]string) (Brief, error) {
	b := Brief{ID: e.ID, Made: e.Made, Title: e.Title, Demo: e.Demo,
		RiderID: ids[e.Rider], RigID: ids[e.Rig], RoadID: ids[e.Road], CourseID: ids[e.Course], EventID: ids[e.Event]}
	if y := b.Made.Year(); y < 1970 || y > 9999 {
		return b, badArchive("brief %s: a time of the year %d", e.ID, y)
	}
	var err error
	if b.Request, err = a.read(e.Request, maxRequest); err != nil {
		return b, err
	}
	if b.Result, err = a.read(e.Result, maxResult); err != nil {
		return b, err
	}
	if b.Page, err = a.read(e.Page, maxPage); err != nil {
		return b, err
	}
	b.Request = follow(b.Request, kinds, ids)
	return b, nil
}

// quoted is every string of a JSON text.
var quoted = regexp.MustCompile(`"(?:[^"\\]|\\.)*"`)

// follow gives the names of objects in a request ("rider/ID") the IDs that
// they have here. Everything else stays to the byte.
func follow(request []byte, kinds map[string]Kind, ids map[string]string) []byte {
	return quoted.ReplaceAllFunc(request, func(s []byte) []byte {
		kind, id, ok := strings.Cut(string(s[1:len(s)-1]), "/")
		if !ok || kinds[id] == "" || string(kinds[id]) != kind || ids[id] == id {
			return s
		}
		return fmt.Appendf(nil, "%q", kind+"/"+ids[id])
	})
}
