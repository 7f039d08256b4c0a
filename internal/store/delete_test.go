package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// legible says in which files of the folder the mark can be read.
func legible(tb testing.TB, dir, mark string) (where []string) {
	tb.Helper()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if bytes.Contains(b, []byte(mark)) {
			where = append(where, path[len(dir)+1:])
		}
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	return where
}

// crowd puts riders of all sizes, each with a file and a brief, all of which
// carry the rider's mark.
func crowd(t *testing.T, s *Store, n int) {
	t.Helper()
	draw := rand.New(rand.NewPCG(4, 2))
	for i := range n {
		m := markOf(i)
		id := fmt.Sprint("r", i)
		text := strings.Repeat(m+" ", 1+draw.IntN(400))
		mustPut(t, s, Object{ID: id, Kind: Rider, Name: m, Text: text[:draw.IntN(20)] + "first " + m,
			Original: &Original{Filename: m, Media: "a/b", Bytes: []byte(text)}})
		mustPut(t, s, Object{ID: id, Kind: Rider, Name: m, Text: text[:min(len(text), 20+draw.IntN(300))]}) // changed
		mustPutBrief(t, s, Brief{ID: id, Title: m, RiderID: id, Request: fmt.Appendf(nil, "%q", m), Result: fmt.Appendf(nil, "%q", text), Page: []byte(text)})
	}
}

func markOf(i int) string { return fmt.Sprintf("mark-%04d-krxw", i) }

func TestADeletedRiderIsGoneFromTheFiles(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	const n = 60
	crowd(t, s, n)
	for i := range n {
		if len(legible(t, dir, markOf(i))) == 0 {
			t.Fatalf("%s cannot be found before it is deleted: this test could not fail", markOf(i))
		}
	}
	order := rand.New(rand.NewPCG(1, 1)).Perm(n)
	for _, i := range order[:20] {
		if err := s.Delete(ctx, fmt.Sprint("r", i)); err != nil {
			t.Fatal(err)
		}
		if where := legible(t, dir, markOf(i)); where != nil { // while the store is open
			t.Errorf("%s is still in %v", markOf(i), where)
		}
	}
	if os, bs := everything(t, s); len(os) != n-20 || len(bs) != n-20 {
		t.Errorf("%d riders, %d briefs are left", len(os), len(bs))
	}
	mustClose(t, s)
	for _, i := range order[:20] {
		if where := legible(t, dir, markOf(i)); where != nil {
			t.Errorf("after Close %s is in %v", markOf(i), where)
		}
	}
	if len(legible(t, dir, markOf(order[20]))) == 0 {
		t.Error("somebody else was wiped too")
	}
}

// A long download of an archive must not let what is deleted meanwhile stay.
func TestDeletedDuringAnExport(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	crowd(t, s, 3)
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := s.Export(ctx, w, "")
		done <- errors.Join(err, w.Close())
	}()
	if _, err := r.Read(make([]byte, 1)); err != nil { // the export holds its view now
		t.Fatal(err)
	}
	if err := s.Delete(ctx, "r1"); err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(io.Discard, r); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if where := legible(t, dir, markOf(1)); where != nil {
		t.Errorf("still in %v", where)
	}
}

func TestABriefOutlivesWhatItWasMadeOf(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	for _, id := range []string{"cellar", "open", "ridge", "cup"} {
		if err := s.Delete(ctx, id); err != nil {
			t.Fatal(err)
		}
	}
	b, err := s.Brief(ctx, "first")
	if err != nil || b.RiderID != "ada" || b.RigID+b.RoadID+b.CourseID+b.EventID != "" || string(b.Page) != "<p>Ada</p>" {
		t.Errorf("%+v %v", b, err)
	}
	if err := s.DeleteBrief(ctx, "first"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Brief(ctx, "first"); !errors.Is(err, ErrNotFound) {
		t.Errorf("%v", err)
	}
}

func TestRemoveDemoRemovesOnlyThat(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	mustPut(t, s, Object{ID: "cy", Kind: Rider, Name: "Cy", Text: "x", Demo: true})
	mustPut(t, s, Object{ID: "hill", Kind: Course, Name: "Hill", Text: "x", Demo: true})
	mustPutBrief(t, s, Brief{ID: "demo", Title: "demo", RiderID: "cy", CourseID: "ridge", Demo: true})
	mustPutBrief(t, s, Brief{ID: "own", Title: "own", RiderID: "ada", CourseID: "hill"})
	if err := s.RemoveDemo(ctx); err != nil {
		t.Fatal(err)
	}
	os, bs := everything(t, s)
	if got := names(os); got != "Ada, bo, Cellar, Open road, A sketch, Ridge, Cup" || len(bs) != 3 {
		t.Errorf("%s, %d briefs", got, len(bs))
	}
	if b, err := s.Brief(ctx, "own"); err != nil || b.CourseID != "" {
		t.Errorf("%+v %v", b, err)
	}
}
