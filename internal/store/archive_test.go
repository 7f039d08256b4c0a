package store

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

func mustExport(tb testing.TB, s *Store, rider string) []byte {
	tb.Helper()
	var b bytes.Buffer
	if err := s.Export(ctx, &b, rider); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

func mustImport(tb testing.TB, s *Store, archive []byte) Report {
	tb.Helper()
	r, err := s.Import(ctx, bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		tb.Fatal(err)
	}
	return r
}

func TestAnArchiveGivesTheSameElsewhere(t *testing.T) {
	from, to := mustOpen(t, t.TempDir()), mustOpen(t, t.TempDir())
	club(t, from)
	mustPut(t, from, Object{ID: "cellar2", Kind: Rig, Name: "Cellar", Text: "trainer: {kind: plain}\n"}) // an equal twin
	mustPut(t, from, Object{ID: "empty", Kind: Rig, Name: "of an empty file", Text: "x", Demo: true, Original: &Original{Filename: "ü \\ä:.txt", Media: "text/plain", Bytes: []byte{}}})
	from.Now = func() time.Time { return noon.Add(77 * time.Hour) }
	mustPut(t, from, Object{ID: "ada", Kind: Rider, Name: "Ada", Text: "name: Ada\nmass_kg: 60\n"})
	archive := mustExport(t, from, "")
	if r := mustImport(t, to, archive); len(r.Added) != 11 || len(r.Known) != 0 {
		t.Errorf("%+v", r)
	}
	os, bs := everything(t, from)
	os2, bs2 := everything(t, to)
	if !reflect.DeepEqual(os, os2) || !reflect.DeepEqual(bs, bs2) {
		t.Errorf("imported\n%+v\n%+v\nexported\n%+v\n%+v", os2, bs2, os, bs)
	}
	if !bytes.Equal(archive, mustExport(t, from, "")) {
		t.Error("an archive should be the same when nothing changed")
	}
	if r := mustImport(t, to, archive); len(r.Added) != 0 || len(r.Known) != 11 {
		t.Errorf("the second time: %+v", r)
	}
	if os3, bs3 := everything(t, to); !reflect.DeepEqual(os2, os3) || !reflect.DeepEqual(bs2, bs3) {
		t.Error("the second import changed something")
	}
	checkWhole(t, to)
}

func TestAnArchiveOfOneRider(t *testing.T) {
	from, to := mustOpen(t, t.TempDir()), mustOpen(t, t.TempDir())
	club(t, from)
	mustImport(t, to, mustExport(t, from, "bo"))
	os, bs := everything(t, to)
	if got := names(os); got != "bo, A sketch" || len(bs) != 1 || bs[0].ID != "second" {
		t.Errorf("%s, %+v", got, bs)
	}
	for _, id := range []string{"eve", "cellar"} {
		if err := from.Export(ctx, &bytes.Buffer{}, id); !errors.Is(err, ErrNotFound) {
			t.Errorf("rider %s: %v", id, err)
		}
	}
}

// Here, "ada" is somebody else and the ridge has another ID.
func TestIDsThatAreTakenAreGivenAnew(t *testing.T) {
	from, to := mustOpen(t, t.TempDir()), mustOpen(t, t.TempDir())
	club(t, from)
	mustPut(t, to, Object{ID: "ada", Kind: Rider, Name: "Another Ada", Text: "mass_kg: 70\n"})
	ridge, err := from.Object(ctx, "ridge")
	if err != nil {
		t.Fatal(err)
	}
	ridge.ID = "mine"
	mustPut(t, to, ridge)
	mustPutBrief(t, to, Brief{ID: "first", Title: "of another", RiderID: "ada"})
	r := mustImport(t, to, mustExport(t, from, ""))
	ids := map[string]string{}
	for _, e := range append(r.Added, r.Known...) {
		ids[e.Kind+" "+e.Was] = e.ID
	}
	ada, first := ids["rider ada"], ids["brief first"]
	if len(r.Known) != 1 || ids["course ridge"] != "mine" || ada == "ada" || first == "first" || ids["rider bo"] != "bo" {
		t.Fatalf("%+v", r)
	}
	b, err := to.Brief(ctx, first)
	if err != nil || b.RiderID != ada || b.CourseID != "mine" || b.RigID != "cellar" {
		t.Errorf("%+v %v", b, err)
	}
	if want := fmt.Sprintf(`{"rider": "rider/%s", "course":"course/mine"}`, ada); string(b.Request) != want {
		t.Errorf("request %s, want %s", b.Request, want)
	}
	if o, err := to.Object(ctx, "ada"); err != nil || o.Name != "Another Ada" {
		t.Errorf("who was here: %+v %v", o, err)
	}
	if r := mustImport(t, to, mustExport(t, from, "")); len(r.Added) != 0 {
		t.Errorf("the second time: %+v", r)
	}
	checkWhole(t, to)
}

// packed makes a zip file of names and contents in turn.
func packed(tb testing.TB, files ...string) []byte {
	tb.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err == nil {
			_, err = w.Write([]byte(files[i+1]))
		}
		if err != nil {
			tb.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

func withManifest(objects, briefs string) string {
	return fmt.Sprintf(`{"format":"chainline-archive","version":1,"made":"2026-11-25T12:00:00Z","objects":[%s],"briefs":[%s]}`, objects, briefs)
}

const (
	manifestAda = `{"id":"ada","kind":"rider","name":"Ada","file":"rider/ada.yaml","created":"2026-11-25T12:00:00Z","updated":"2026-11-25T12:00:00Z"}`
	briefOfAda  = `{"id":"b","made":"2026-11-25T12:00:00Z","title":"x","rider":"ada"}`
)

func TestBadArchivesChangeNothing(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	osBefore, bsBefore := everything(t, s)
	good := packed(t, manifestFile, withManifest(manifestAda, briefOfAda), "rider/ada.yaml", "mass_kg: 60\n")
	bomb := strings.Repeat("\x00", 3<<20)
	edit := func(from, to string) string { return strings.Replace(manifestAda, from, to, 1) }
	for _, c := range []struct {
		want    string
		archive []byte
	}{
		{"no zip file", []byte("name: Ada\n")},
		{"no zip file", nil},
		{"no zip file", good[:len(good)/2]},
		{"manifest.json\" is missing", packed(t, "a", "b")},
		{"leads astray", packed(t, manifestFile, withManifest("", ""), "../../etc/x", "b")},
		{"leads astray", packed(t, manifestFile, withManifest("", ""), "/etc/x", "b")},
		{"leads astray", packed(t, manifestFile, withManifest("", ""), `a\b`, "b")},
		{"leads astray", packed(t, manifestFile, withManifest("", ""), "a", "b", "a", "b")},
		{"not that of a Chainline", packed(t, manifestFile, `[]`)},
		{"not that of a Chainline", packed(t, manifestFile, `{"format":"x"}`)},
		{"version 2", packed(t, manifestFile, `{"format":"chainline-archive","version":2,"new":1}`)},
		{"unknown field", packed(t, manifestFile, `{"format":"chainline-archive","version":1,"x":1}`)},
		{"does not speak of", packed(t, manifestFile, withManifest("", ""), "a", "b")},
		{"yaml\" is missing", packed(t, manifestFile, withManifest(manifestAda, ""))},
		{"stands twice", packed(t, manifestFile, withManifest(manifestAda+","+manifestAda, ""), "rider/ada.yaml", "x")},
		{"not allowed", packed(t, manifestFile, withManifest(edit(`"ada"`, `"../ada"`), ""), "rider/ada.yaml", "x")},
		{"not allowed", packed(t, manifestFile, withManifest(edit(`"kind":"rider"`, `"kind":"bike"`), ""), "rider/ada.yaml", "x")},
		{"name", packed(t, manifestFile, withManifest(edit(`"Ada"`, `""`), ""), "rider/ada.yaml", "x")},
		{"no text", packed(t, manifestFile, withManifest(edit(`"file":"rider/ada.yaml",`, ``), ""))},
		{"year 1", packed(t, manifestFile, withManifest(edit(`2026`, `0001`), ""), "rider/ada.yaml", "x")},
		{"too large", packed(t, manifestFile, withManifest(manifestAda, ""), "rider/ada.yaml", bomb)},
		{"SHA-256", packed(t, manifestFile, withManifest(edit(`"created"`, `"original":{"file":"o","filename":"o","media":"a/b","sha256":"00"},"created"`), ""), "rider/ada.yaml", "x", "o", "x")},
		{"SHA-256", packed(t, manifestFile, withManifest(edit(`"created"`, `"original":{"file":"o","filename":"o","media":"a/b"},"created"`), ""), "rider/ada.yaml", "x", "o", "x")},
		{"not in it", packed(t, manifestFile, withManifest("", briefOfAda))},
		{"not in it", packed(t, manifestFile, withManifest(manifestAda, strings.Replace(briefOfAda, `"rider"`, `"rider":"ada","rig"`, 1)), "rider/ada.yaml", "x")},
		{"no JSON", packed(t, manifestFile, withManifest(manifestAda, strings.Replace(briefOfAda, `"rider"`, `"result":"r","rider"`, 1)), "rider/ada.yaml", "x", "r", "{")},
		{"too large", lying(t)},
	} {
		_, err := s.Import(ctx, bytes.NewReader(c.archive), int64(len(c.archive)))
		isSentence(t, err, c.want)
	}
	os, bs := everything(t, s)
	if !reflect.DeepEqual(os, osBefore) || !reflect.DeepEqual(bs, bsBefore) {
		t.Error("a bad archive changed something")
	}
	mustImport(t, s, good) // the cases above are bad by one thing only
}

// lying is an archive whose table says 10 bytes where there are 3 million.
func lying(t *testing.T) []byte {
	t.Helper()
	b := packed(t, manifestFile, withManifest(manifestAda, ""), "rider/ada.yaml", strings.Repeat("a", 3<<20))
	i := bytes.LastIndex(b, []byte("PK\x01\x02")) // its entry in the table; the size at 24
	copy(b[i+24:], []byte{10, 0, 0, 0})
	return b
}

func TestTheBytesUnpackedAreBounded(t *testing.T) {
	b := packed(t, manifestFile, withManifest(manifestAda, ""), "rider/ada.yaml", "mass_kg: 60\n")
	a, err := openArchive(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	a.left = 11
	_, err = a.read("rider/ada.yaml", maxText)
	isSentence(t, err, "too large")
	if a.left = 12; true {
		if got, err := a.read("rider/ada.yaml", maxText); err != nil || len(got) != 12 || a.left != 0 {
			t.Errorf("%q %v, %d left", got, err, a.left)
		}
	}
}

// FuzzArchive reads damaged zip files; FuzzManifest whole ones with any
// manifest. Whatever they are, it ends in objects and briefs that may be kept
// or in a sentence. No database takes part, so that there are many tries. Fuzz
// with -fuzzminimizetime 10x: else shrinking inputs takes nearly all the time.
func FuzzArchive(f *testing.F) {
	f.Add(packed(f, manifestFile, withManifest(manifestAda, briefOfAda), "rider/ada.yaml", "mass_kg: 60\n"))
	f.Add(packed(f, manifestFile, withManifest("", "")))
	f.Add(packed(f, "../x", "y"))
	f.Fuzz(readAll)
}

func FuzzManifest(f *testing.F) {
	f.Add(withManifest(manifestAda, briefOfAda))
	f.Add(withManifest(manifestAda, strings.Replace(briefOfAda, `"rider"`, `"request":"original","rider"`, 1)))
	f.Add(withManifest(strings.Replace(manifestAda, `"created"`, `"original":{"file":"original","filename":"o","media":"a/b","sha256":"ab"},"created"`, 1), ""))
	f.Fuzz(func(t *testing.T, text string) {
		readAll(t, packed(t, manifestFile, text, "rider/ada.yaml", "mass_kg: 60\n", "original", `{"a":"rider/ada"}`))
		readAll(t, packed(t, manifestFile, text, "rider/ada.yaml", "mass_kg: 60\n"))
	})
}

func readAll(t *testing.T, data []byte) {
	a, err := openArchive(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		isSentence(t, err, "the archive cannot be used")
		return
	}
	kinds, ids := map[string]Kind{}, map[string]string{}
	for _, e := range a.manifest.Objects {
		o, err := a.object(e)
		if err == nil {
			err = new(Store).checkObject(&o)
		}
		if err != nil {
			isSentence(t, err, "")
			return
		}
		kinds[e.ID], ids[e.ID] = o.Kind, "new-"+e.ID
	}
	for _, e := range a.manifest.Briefs {
		b, err := a.brief(e, kinds, ids)
		if err == nil {
			err = checkBrief(&b)
		}
		if err != nil {
			isSentence(t, err, "")
			return
		}
		if b.RiderID != "new-"+e.Rider {
			t.Fatalf("%+v of %+v", b, e)
		}
	}
}
