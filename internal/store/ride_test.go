package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"
)

func sumOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// season puts three rides of Ada, the second of which was also recorded by
// another device, and one of nobody.
func season(tb testing.TB, s *Store) []Ride {
	tb.Helper()
	files := map[string][]byte{}
	var rides []Ride
	for i, rider := range []string{"ada", "ada", "ada", ""} {
		b := []byte("file of ride " + markOf(i))
		files[sumOf(b)] = b
		rides = append(rides, Ride{ID: "ride" + string(rune('a'+i)), RiderID: rider, Start: noon.AddDate(0, 0, i-9), Hash: sumOf(b), Number: 1, Filename: "r.fit",
			Fingerprint: markOf(i), Facts: []byte(`{"seconds":3600}`), Said: []byte(`{}`), Best: []byte{1, 2, byte(i)}})
	}
	rides[0].RigID, rides[0].CourseID, rides[0].BriefID = "cellar", "ridge", "first"
	out, err := s.AddRides(ctx, rides, files)
	if err != nil {
		tb.Fatal(err)
	}
	if _, err := s.ChangeRide(ctx, out[2].ID, func(r *Ride) error { r.Repeats = out[1].ID; return nil }); err != nil {
		tb.Fatal(err)
	}
	return out
}

func allRides(tb testing.TB, s *Store, rider string) (out []Ride) {
	tb.Helper()
	list, err := s.Rides(ctx, rider)
	if err != nil {
		tb.Fatal(err)
	}
	for _, r := range list {
		full, err := s.Ride(ctx, r.ID)
		if err != nil {
			tb.Fatal(err)
		}
		out = append(out, full)
	}
	return out
}

func TestRidesAreKept(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	club(t, s)
	put := season(t, s)
	before := allRides(t, s, "")
	mustClose(t, s)
	s = mustOpen(t, dir)
	if got := allRides(t, s, ""); !reflect.DeepEqual(got, before) || len(got) != 4 || got[0].ID != put[3].ID || got[1].Repeats != put[1].ID {
		t.Errorf("%+v", got)
	}
	if b, err := s.RideFile(put[0].Hash); err != nil || string(b) != "file of ride "+markOf(0) {
		t.Errorf("%q %v", b, err)
	}
	if info, err := os.Stat(s.rideFile(put[0].Hash)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
	if err := os.WriteFile(s.rideFile(put[0].Hash), []byte("other"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.RideFile(put[0].Hash); !errors.Is(err, ErrDamaged) {
		t.Errorf("a changed file: %v", err)
	}
	if _, err := s.AddRides(ctx, []Ride{{Hash: sumOf([]byte("nowhere")), Number: 1, Filename: "x"}}, nil); err == nil {
		t.Error("a ride without its file was kept")
	}
}

// A changed ride is learnt from again; what others taught stands.
func TestAChangedRideIsLearntAgain(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	club(t, s)
	put := season(t, s)
	for _, r := range put[:3] {
		if err := s.SetLearnt(ctx, r.ID, r.Said, []byte(`{"watts":200}`)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.ChangeRide(ctx, put[1].ID, func(r *Ride) error { r.Said = []byte(`{"harder":"no"}`); return nil }); err != nil {
		t.Fatal(err)
	}
	if got := allRides(t, s, "ada"); got[2].Learnt == nil || got[1].Learnt != nil || got[0].Learnt == nil || string(got[1].Said) != `{"harder":"no"}` {
		t.Errorf("%s %s %s", got[2].Learnt, got[1].Learnt, got[0].Learnt)
	}
	if err := s.SetLearnt(ctx, put[1].ID, put[1].Said, []byte(`{}`)); err != nil { // reckoned from what was said before
		t.Fatal(err)
	}
	if got := allRides(t, s, "ada"); got[1].Learnt != nil {
		t.Error("what was learnt from another answer was kept")
	}
}

func TestADeletedRideIsGone(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	club(t, s)
	put := season(t, s)
	live := filepath.Join(dir, liveRides)
	if err := os.MkdirAll(live, 0o700); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"20261120-1.journal", "20261120-1.fit", "20261120-12.fit"} {
		if err := os.WriteFile(filepath.Join(live, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.ChangeRide(ctx, put[1].ID, func(r *Ride) error { r.Live = "20261120-1"; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := s.DeleteRide(ctx, put[0].ID); err != nil {
		t.Fatal(err)
	}
	if _, err := s.RideFile(put[0].Hash); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
	if len(legible(t, dir, markOf(1))) == 0 {
		t.Fatal("this test could not fail")
	}
	if err := s.SetLeftOut(ctx, "ada", "time off", true); err != nil {
		t.Fatal(err)
	}
	if err := s.Delete(ctx, "ada"); err != nil {
		t.Fatal(err)
	}
	if got := allRides(t, s, ""); len(got) != 1 || got[0].ID != put[3].ID {
		t.Errorf("%+v", got)
	}
	if where := legible(t, dir, markOf(1)); where != nil {
		t.Errorf("the ride is still in %v", where)
	}
	if _, err := s.RideFile(put[1].Hash); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
	if left, err := filepath.Glob(filepath.Join(live, "*")); err != nil || len(left) != 1 || filepath.Base(left[0]) != "20261120-12.fit" {
		t.Errorf("%v %v", left, err)
	}
	if out, err := s.LeftOut(ctx, "ada"); err != nil || len(out) != 0 {
		t.Errorf("%v %v", out, err)
	}
}

func TestFilesThatNoRideNeedsAreSwept(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	if err := s.writeRideFiles(map[string][]byte{sumOf(nil): {}}); err != nil { // and killed before its ride
		t.Fatal(err)
	}
	mustClose(t, s)
	s = mustOpen(t, dir)
	if s.hasRideFile(sumOf(nil)) {
		t.Error("it is still there")
	}
}

func TestRidesGoThroughAnArchive(t *testing.T) {
	from := mustOpen(t, t.TempDir())
	club(t, from)
	put := season(t, from)
	if err := from.SetLeftOut(ctx, "ada", "ride/"+put[0].ID, true); err != nil {
		t.Fatal(err)
	}
	for _, rider := range []string{"", "ada"} {
		var b bytes.Buffer
		if err := from.Export(ctx, &b, rider); err != nil {
			t.Fatal(err)
		}
		to := mustOpen(t, t.TempDir())
		got, err := to.Import(ctx, bytes.NewReader(b.Bytes()), int64(b.Len()))
		if err != nil {
			t.Fatal(err)
		}
		if want := allRides(t, from, rider); !reflect.DeepEqual(allRides(t, to, rider), want) {
			t.Errorf("%s: %+v\nwant %+v", rider, allRides(t, to, rider), want)
		}
		if b, err := to.RideFile(put[1].Hash); err != nil || len(b) == 0 {
			t.Error(err)
		}
		if out, err := to.LeftOut(ctx, "ada"); err != nil || !out["ride/"+put[0].ID] {
			t.Errorf("%v %v", out, err)
		}
		again, err := to.Import(ctx, bytes.NewReader(b.Bytes()), int64(b.Len()))
		if err != nil || len(again.Added) != 0 || len(again.Known) != len(got.Added) {
			t.Errorf("again: %v %+v", err, again)
		}
	}
}

func TestAnImportIsKept(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	m, err := s.PutRideImport(ctx, RideImport{State: "running", Request: []byte(`{}`), Progress: []byte(`{"done":0}`)}, nil)
	if err != nil {
		t.Fatal(err)
	}
	m.Progress = []byte(`{"done":2}`)
	if _, err := s.PutRideImport(ctx, m, []ImportFile{{"b.fit", "1", ""}, {"a.txt", "2", "a.txt: no recording"}}); err != nil {
		t.Fatal(err)
	}
	s.Now = func() time.Time { return noon.Add(time.Hour) }
	mustClose(t, s)
	s = mustOpen(t, dir)
	all, err := s.RideImports(ctx)
	if err != nil || len(all) != 1 || !reflect.DeepEqual(all[0], m) {
		t.Errorf("%v %+v", err, all)
	}
	if files, err := s.ImportFiles(ctx, m.ID, true); err != nil || len(files) != 1 || files[0].File != "a.txt" {
		t.Errorf("%v %+v", err, files)
	}
	if err := s.DeleteRideImport(ctx, m.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := s.RideImport(ctx, m.ID); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
}
