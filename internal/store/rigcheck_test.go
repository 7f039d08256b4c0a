package store

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"
)

func putCheck(t *testing.T, s *Store, c RigCheck) RigCheck {
	t.Helper()
	c, err := s.PutRigCheck(ctx, c)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestRigChecks(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	first := putCheck(t, s, RigCheck{Made: noon, Title: "Check of Cellar", RiderID: "ada", RigID: "cellar", Report: []byte(`{"a":1}`)})
	second := putCheck(t, s, RigCheck{Made: noon.Add(time.Hour), Title: "Check of Cellar", RiderID: "bo", RigID: "cellar", Ride: "20261203-190000", Report: []byte(`{"b":2}`)})
	list, err := s.RigChecks(ctx, "cellar")
	if err != nil || len(list) != 2 || list[0].ID != second.ID || list[1].ID != first.ID || list[0].Report != nil {
		t.Fatalf("%v: %+v", err, list)
	}
	got, err := s.RigCheck(ctx, second.ID)
	if err != nil || string(got.Report) != `{"b":2}` || got.Ride != "20261203-190000" || !got.Made.Equal(noon.Add(time.Hour)) || got.RiderID != "bo" {
		t.Errorf("%v: %+v", err, got)
	}
	if err := s.Delete(ctx, "bo"); err != nil { // and their checks with them
		t.Fatal(err)
	}
	if _, err := s.RigCheck(ctx, second.ID); !errors.Is(err, ErrNotFound) {
		t.Errorf("a deleted rider's check is still there: %v", err)
	}
	if err := s.DeleteRigCheck(ctx, first.ID); err != nil {
		t.Fatal(err)
	}
	if err := s.DeleteRigCheck(ctx, first.ID); !errors.Is(err, ErrNotFound) {
		t.Errorf("deleted twice: %v", err)
	}
	checkWhole(t, s)
}

func TestRigCheckRefuses(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	for says, c := range map[string]RigCheck{
		"no JSON": {Title: "x", RiderID: "ada", RigID: "cellar", Report: []byte("{")}, "of no rig": {Title: "x", RiderID: "ada", Report: []byte("{}")},
		"1 to 200": {RiderID: "ada", RigID: "cellar", Report: []byte("{}")}, "there is no rig": {Title: "x", RiderID: "ada", RigID: "ada", Report: []byte("{}")},
		"id:": {ID: "../x", Title: "x", RiderID: "ada", RigID: "cellar", Report: []byte("{}")},
	} {
		if _, err := s.PutRigCheck(ctx, c); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", says, err)
		}
	}
}

// A correction is applied, replaced, taken back; what was applied once can be
// told afterwards.
func TestCorrections(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	at := noon
	s.Now = func() time.Time { at = at.Add(time.Minute); return at }
	club(t, s)
	a := putCheck(t, s, RigCheck{Title: "a", RiderID: "ada", RigID: "cellar", Report: []byte("{}")})
	b := putCheck(t, s, RigCheck{Title: "b", RiderID: "ada", RigID: "cellar", Report: []byte("{}")})
	standing := func() (ids []string) {
		all, err := s.Corrections(ctx, "cellar")
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range all {
			if c.Stands() {
				ids = append(ids, c.CheckID+"/"+c.Source)
			}
		}
		return ids
	}
	expect := func(want ...string) {
		t.Helper()
		if got := standing(); strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("standing: %v, want %v", got, want)
		}
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	expect()
	must(s.ApplyCorrection(ctx, a.ID, "crank"))
	must(s.ApplyCorrection(ctx, a.ID, "trainer"))
	must(s.ApplyCorrection(ctx, b.ID, "crank")) // in the place of the one of a
	expect(b.ID+"/crank", a.ID+"/trainer")
	must(s.TakeBackCorrection(ctx, b.ID, "crank"))
	must(s.TakeBackCorrection(ctx, b.ID, "crank"))
	expect(a.ID + "/trainer")
	all, err := s.Corrections(ctx, "cellar")
	must(err)
	if len(all) != 3 || all[0].Taken.Sub(all[0].Applied) <= 0 {
		t.Errorf("what was taken back is not told: %+v", all)
	}
	if err := s.ApplyCorrection(ctx, "nothing", "crank"); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
	must(s.DeleteRigCheck(ctx, a.ID))
	expect()
}

// Checks and their corrections go out and come in with an archive, once.
func TestRigChecksInAnArchive(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	c := putCheck(t, s, RigCheck{Made: noon, Title: "Check of Cellar", RiderID: "ada", RigID: "cellar", Report: []byte(`{"a":1}`)})
	if err := s.ApplyCorrection(ctx, c.ID, "crank"); err != nil {
		t.Fatal(err)
	}
	var zip bytes.Buffer
	if err := s.Export(ctx, &zip, "ada"); err != nil {
		t.Fatal(err)
	}
	other := mustOpen(t, t.TempDir())
	for turn := range 2 {
		report, err := other.Import(ctx, bytes.NewReader(zip.Bytes()), int64(zip.Len()))
		if err != nil {
			t.Fatal(err)
		}
		if turn == 1 && len(report.Added) > 0 {
			t.Errorf("added twice: %+v", report.Added)
		}
	}
	got, err := other.RigCheck(ctx, c.ID)
	if err != nil || string(got.Report) != `{"a":1}` || got.RigID != "cellar" {
		t.Errorf("%v: %+v", err, got)
	}
	if all, _ := other.Corrections(ctx, "cellar"); len(all) != 1 || !all[0].Stands() || all[0].Source != "crank" {
		t.Errorf("corrections %+v", all)
	}
	checkWhole(t, other)
}
