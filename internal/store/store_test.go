package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"chainline/internal/problem"
)

var ctx = context.Background()

// noon is the clock of the tests.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// mustOpen opens the folder and closes it at the end of the test.
func mustOpen(tb testing.TB, dir string) *Store {
	tb.Helper()
	s, err := Open(ctx, dir)
	if err != nil {
		tb.Fatal(err)
	}
	s.Now = func() time.Time { return noon }
	tb.Cleanup(func() {
		if s.write != nil {
			mustClose(tb, s)
		}
	})
	return s
}

func mustClose(tb testing.TB, s *Store) {
	tb.Helper()
	if err := s.Close(); err != nil {
		tb.Fatal(err)
	}
	s.write = nil // so that Cleanup does not close it again
}

func mustPut(tb testing.TB, s *Store, o Object) Object {
	tb.Helper()
	o, err := s.Put(ctx, o)
	if err != nil {
		tb.Fatal(err)
	}
	return o
}

func mustPutBrief(tb testing.TB, s *Store, b Brief) Brief {
	tb.Helper()
	b, err := s.PutBrief(ctx, b)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// club puts two riders with everything around them.
func club(tb testing.TB, s *Store) {
	tb.Helper()
	for _, o := range []Object{
		{ID: "ada", Kind: Rider, Name: "Ada", Text: "name: Ada\nmass_kg: 61\n"},
		{ID: "bo", Kind: Rider, Name: "bo", Text: "name: bo\nmass_kg: 83\n"},
		{ID: "cellar", Kind: Rig, Name: "Cellar", Text: "trainer: {kind: plain}\n"},
		{ID: "open", Kind: Road, Name: "Open road", Text: "crr: 0.004\n"},
		{ID: "ridge", Kind: Course, Name: "Ridge", Original: &Original{Filename: "ridge.gpx", Media: "application/gpx+xml", Bytes: []byte("<gpx>\x00\xff ridge</gpx>")}},
		{ID: "sketch", Kind: Course, Name: "A sketch", Text: "distance_km: 12\nascent_m: 90\n"},
		{ID: "cup", Kind: Event, Name: "Cup", Text: "kind: race\n"},
	} {
		mustPut(tb, s, o)
	}
	mustPutBrief(tb, s, Brief{
		ID: "first", Made: noon, Title: "Ada on Ridge", RiderID: "ada", RigID: "cellar", RoadID: "open", CourseID: "ridge", EventID: "cup",
		Request: []byte(`{"rider": "rider/ada", "course":"course/ridge"}`), Result: []byte(`{"watts":187.5}`), Page: []byte("<p>Ada</p>"),
	})
	mustPutBrief(tb, s, Brief{ID: "second", Made: noon.Add(time.Hour), Title: "bo, a sketch", RiderID: "bo", CourseID: "sketch", Request: []byte(`{}`)})
}

// everything reads the whole store.
func everything(tb testing.TB, s *Store) (os []Object, bs []Brief) {
	tb.Helper()
	for _, k := range Kinds {
		list, err := s.Objects(ctx, k)
		if err != nil {
			tb.Fatal(err)
		}
		for _, o := range list {
			full, err := s.Object(ctx, o.ID)
			if err != nil {
				tb.Fatal(err)
			}
			os = append(os, full)
		}
	}
	list, err := s.Briefs(ctx, "")
	if err != nil {
		tb.Fatal(err)
	}
	for _, b := range list {
		full, err := s.Brief(ctx, b.ID)
		if err != nil {
			tb.Fatal(err)
		}
		bs = append(bs, full)
	}
	return os, bs
}

func names(os []Object) string {
	var all []string
	for _, o := range os {
		all = append(all, o.Name)
	}
	return strings.Join(all, ", ")
}

func TestWhatIsPutIsKept(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	club(t, s)
	os, bs := everything(t, s)
	mustClose(t, s)
	again := mustOpen(t, dir)
	os2, bs2 := everything(t, again)
	if !reflect.DeepEqual(os, os2) || !reflect.DeepEqual(bs, bs2) {
		t.Error("closing and opening changed something")
	}
	if got := names(os); got != "Ada, bo, Cellar, Open road, A sketch, Ridge, Cup" {
		t.Errorf("order: %s", got)
	}
	if o := os[5]; string(o.Original.Bytes) != "<gpx>\x00\xff ridge</gpx>" || o.Original.Size != 19 || o.Original.Filename != "ridge.gpx" ||
		o.Original.Media != "application/gpx+xml" || !o.Created.Equal(noon) || o.Text != "" || o.ID != "ridge" {
		t.Errorf("%+v %+v", o, o.Original)
	}
	if b := bs[1]; b.ID != "first" || b.RoadID != "open" || string(b.Result) != `{"watts":187.5}` || string(b.Page) != "<p>Ada</p>" || !b.Made.Equal(noon) {
		t.Errorf("%+v", b)
	}
	if len(bs) != 2 || bs[0].ID != "second" {
		t.Errorf("briefs are not newest first: %+v", bs)
	}
	list, err := again.Objects(ctx, Course)
	if err != nil || list[1].Original.Bytes != nil || list[1].Original.Size != 19 {
		t.Errorf("a list should have the original without its bytes: %+v %v", list, err)
	}
	if list, err := again.Briefs(ctx, "ada"); err != nil || len(list) != 1 || list[0].ID != "first" || list[0].Page != nil {
		t.Errorf("Ada's briefs: %+v %v", list, err)
	}
}

func TestAnIDIsDrawnForWhatHasNone(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	a := mustPut(t, s, Object{Kind: Rig, Name: "a", Text: "x"})
	b := mustPut(t, s, Object{Kind: Rig, Name: "a", Text: "x"})
	if a.ID == b.ID || !validID.MatchString(a.ID) || len(a.ID) != 16 {
		t.Errorf("%q %q", a.ID, b.ID)
	}
}

func TestChangingAnObject(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	s.Now = func() time.Time { return noon.Add(time.Minute) }
	list, err := s.Objects(ctx, Course)
	if err != nil {
		t.Fatal(err)
	}
	o := list[1] // as the list gives it, without the bytes
	o.Name, o.Text, o.Created = "Long ridge", "laps: 2\n", time.Time{}
	kept := mustPut(t, s, o)
	got, err := s.Object(ctx, "ridge")
	if err != nil || !reflect.DeepEqual(got, kept) {
		t.Errorf("Put gave %+v, kept is %+v, %v", kept, got, err)
	}
	if got.Name != "Long ridge" || got.Text != "laps: 2\n" || !got.Created.Equal(noon) || !got.Updated.Equal(noon.Add(time.Minute)) || len(got.Original.Bytes) != 19 {
		t.Errorf("%+v", got)
	}
	o.Original = &Original{Filename: "b.gpx", Media: "application/gpx+xml", Bytes: []byte("<gpx>another</gpx>")}
	if _, err := s.Put(ctx, o); err == nil || !strings.Contains(err.Error(), "kept as it came") {
		t.Errorf("another original: %v", err)
	}
	o.Original, o.Kind = nil, Road
	if _, err := s.Put(ctx, o); err == nil || !strings.Contains(err.Error(), "cannot become") {
		t.Errorf("another kind: %v", err)
	}
}

func TestBadInputIsRefusedWithOneSentence(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	before, _ := everything(t, s)
	long := strings.Repeat("x", maxText+1)
	for want, o := range map[string]Object{
		"unknown":           {Kind: "bike", Name: "a", Text: "x"},
		"0-9 and -":         {ID: "../a", Kind: Rig, Name: "a", Text: "x"},
		"at most 1048576":   {Kind: Rig, Name: "a", Text: long},
		"not UTF-8":         {Kind: Rig, Name: "a", Text: "\xff"},
		"has no text":       {Kind: Rig, Name: "a"},
		"it has no text":    {Kind: Course, Name: "a"},
		"name: \"\"":        {Kind: Rig, Text: "x"},
		"name: \"a\\nb\"":   {Kind: Rig, Name: "a\nb", Text: "x"},
		"filename":          {Kind: Rig, Name: "a", Text: "x", Original: &Original{Media: "a/b", Filename: "a\x01"}},
		"media":             {Kind: Rig, Name: "a", Text: "x", Original: &Original{Filename: "a"}},
		"not the one whose": {Kind: Rig, Name: "a", Text: "x", Original: &Original{Filename: "a", Media: "a/b", Bytes: []byte("a"), SHA256: "00"}},
		"at most 52428800":  {Kind: Rig, Name: "a", Text: "x", Original: &Original{Filename: "a", Media: "a/b", Bytes: make([]byte, maxOriginal+1)}},
	} {
		_, err := s.Put(ctx, o)
		isSentence(t, err, want)
	}
	for want, b := range map[string]Brief{
		"no rider":       {Title: "a"},
		"title":          {RiderID: "ada"},
		`no rider "eve"`: {Title: "a", RiderID: "eve"},
		`no rig "bo"`:    {Title: "a", RiderID: "ada", RigID: "bo"},
		"no JSON":        {Title: "a", RiderID: "ada", Result: []byte("{")},
		"id":             {ID: "A", Title: "a", RiderID: "ada"},
		"its page":       {Title: "a", RiderID: "ada", Page: make([]byte, maxPage+1)},
	} {
		_, err := s.PutBrief(ctx, b)
		isSentence(t, err, want)
	}
	s.Check = func(o Object) error { return problem.Bad("%s is not valid", o.Name) }
	_, err := s.Put(ctx, Object{Kind: Rig, Name: "Attic", Text: "x"})
	isSentence(t, err, "Attic is not valid")
	if after, _ := everything(t, s); !reflect.DeepEqual(before, after) {
		t.Error("what was refused changed something")
	}
}

func isSentence(t *testing.T, err error, want string) {
	t.Helper()
	e, ok := errors.AsType[*problem.Error](err)
	if !ok || !strings.Contains(e.Message, want) || len(e.Message) > 300 || strings.ContainsAny(problem.OneLine(e.Message), "\n\x00") {
		t.Errorf("want a sentence with %q, got %v", want, err)
	}
}

func TestMissingThings(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	_, err1 := s.Object(ctx, "x")
	_, err2 := s.Brief(ctx, "x")
	for _, err := range []error{err1, err2, s.Delete(ctx, "x"), s.DeleteBrief(ctx, "x")} {
		if !errors.Is(err, ErrNotFound) {
			t.Errorf("%v", err)
		}
		isSentence(t, err, "perhaps it was deleted")
	}
}

func TestACallerMayGiveUp(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	gone, stop := context.WithCancel(ctx)
	stop()
	_, err := s.Put(gone, Object{Kind: Rig, Name: "a", Text: "x"})
	if msg, _ := problem.ForPerson(err); msg != "Stopped." {
		t.Errorf("%v", err)
	}
	if _, err = s.Objects(gone, Rig); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	mustPut(t, s, Object{Kind: Rig, Name: "a", Text: "x"}) // and the store still works
}

func TestEveryConnectionHasThePragmas(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	for name, db := range map[string]*sql.DB{"read": s.read, "write": s.write} {
		var all []*sql.Conn
		for range db.Stats().MaxOpenConnections {
			c, err := db.Conn(ctx)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, c)
			for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "secure_delete": "1", "temp_store": "2"} {
				var got string
				if err := c.QueryRowContext(ctx, "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
					t.Errorf("%s: %s is %s, %v; want %s", name, pragma, got, err, want)
				}
			}
			var wait int
			if err := c.QueryRowContext(ctx, "PRAGMA busy_timeout").Scan(&wait); err != nil || wait < 1000 {
				t.Errorf("%s: busy_timeout %d %v", name, wait, err)
			}
		}
		for _, c := range all {
			if err := c.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func BenchmarkPut(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	text := strings.Repeat("# a line of a rider's file\n", 40)
	for i := range b.N {
		mustPut(b, s, Object{ID: fmt.Sprint("r", i%100), Kind: Rider, Name: "Ada", Text: text})
	}
}

func BenchmarkObject(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	club(b, s)
	for b.Loop() {
		if _, err := s.Object(ctx, "ada"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkObjectWithOriginal(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	mustPut(b, s, Object{ID: "c", Kind: Course, Name: "c", Original: &Original{Filename: "c", Media: "a/b", Bytes: make([]byte, 1<<20)}})
	for b.Loop() {
		if _, err := s.Object(ctx, "c"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkObjects(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	for i := range 100 {
		mustPut(b, s, Object{ID: fmt.Sprint("r", i), Kind: Rider, Name: fmt.Sprint("Ada ", i), Text: strings.Repeat("# a line\n", 100)})
	}
	for b.Loop() {
		if _, err := s.Objects(ctx, Rider); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkDelete deletes a rider from a store of 50 MB, which is rewritten.
func BenchmarkDelete(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	mustPut(b, s, Object{Kind: Course, Name: "c", Original: &Original{Filename: "c", Media: "a/b", Bytes: make([]byte, maxOriginal)}})
	for b.Loop() {
		b.StopTimer()
		mustPut(b, s, Object{ID: "ada", Kind: Rider, Name: "Ada", Text: "x"})
		b.StartTimer()
		if err := s.Delete(ctx, "ada"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpenClose(b *testing.B) {
	dir := b.TempDir()
	for b.Loop() {
		mustClose(b, mustOpen(b, dir))
	}
}
