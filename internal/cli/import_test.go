package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/app"
	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
)

// peopled is a data folder with the demo's racer and rig in it.
func peopled(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	db, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range []store.Object{{ID: "ada", Kind: store.Rider, Name: "Ada", Text: readFile(t, "../../demo/racer.yaml")},
		{ID: "cellar", Kind: store.Rig, Name: "Cellar", Text: readFile(t, "../../demo/racer-rig.yaml")},
		{ID: "short", Kind: store.Course, Name: "Short", Original: &store.Original{Filename: "short.csv", Media: "text/csv", Bytes: []byte(shortCourse)}}} {
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A ride is imported, listed, looked at by its ID, and said along which course
// it went: then the forecast's record and the rider's habits know it, and so
// does the next brief.
func TestImportRidesAndDebriefOne(t *testing.T) {
	dir := peopled(t)
	_, files := riddenShort(t)
	notes := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(notes, []byte("buy tubes\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if none := run("import", notes, "--data", dir); none.code != 1 || !strings.Contains(none.err, "nothing was taken in") || !strings.Contains(none.out, "notes.txt") {
		t.Errorf("nothing but notes: %+v", none)
	}
	got := run("import", files["fit"], notes, "--rider", "ada", "--rig", "Cellar", "--data", dir, "--json")
	var p struct {
		Schema string
		service.ImportProgress
	}
	if err := json.Unmarshal([]byte(got.out), &p); got.code != 0 || err != nil || p.Schema != "chainline.import/1" || p.New != 1 || len(p.Refused) != 1 || p.Learnt != 1 {
		t.Fatalf("%+v %v %+v", got, err, p)
	}
	if got := run("import", files["fit"], "--data", dir); got.code != 0 || got.out != "0 rides taken in, 1 here already, 0 files not taken in.\n" {
		t.Errorf("%+v", got)
	}
	got = run("rides", "--rider", "Ada", "--data", dir, "--json")
	var list struct{ Rides []service.RideRow }
	if err := json.Unmarshal([]byte(got.out), &list); err != nil || len(list.Rides) != 1 || list.Rides[0].Load == nil {
		t.Fatalf("%v %+v", err, got)
	}
	id := list.Rides[0].ID
	if got := run("rides", "--data", dir); !strings.Contains(got.out, id) {
		t.Errorf("%+v", got)
	}
	if got := run("debrief", "--ride", id, "--data", dir); got.code != 0 || !strings.Contains(got.out, "Learnt") && !strings.Contains(got.out, "threshold") {
		t.Errorf("%+v", got)
	}
	if got := run("debrief", "--ride", "nobody", "--data", dir); got.code != 2 {
		t.Errorf("%+v", got)
	}
	if got := run("import", files["fit"], "--rider", "Bo", "--data", dir); got.code != 2 || !strings.Contains(got.err, `expected one of ["Ada"]`) {
		t.Errorf("%+v", got)
	}
	alongItsCourse(t, dir, id)
}

func alongItsCourse(t *testing.T, dir, id string) {
	t.Helper()
	now := func() time.Time { return time.Date(2026, 12, 20, 8, 0, 0, 0, time.UTC) }
	lib, done, err := app.Library(t.Context(), dir, now, slog.New(slog.DiscardHandler), 2)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := done(); err != nil {
			t.Error(err)
		}
	}()
	brief := func() float64 {
		t.Helper()
		taught, err := lib.Taught(t.Context(), "ada")
		if err != nil {
			t.Fatal(err)
		}
		course := filepath.Join(t.TempDir(), "short.csv")
		if err := os.WriteFile(course, []byte(shortCourse), 0o600); err != nil {
			t.Fatal(err)
		}
		b, err := service.Brief(t.Context(), service.BriefRequest{Rider: "../../demo/racer.yaml", Rig: "../../demo/racer-rig.yaml", Course: course, Today: now(), Seed: 1, Draws: 200, Workers: 2, Taught: taught})
		if err != nil {
			t.Fatal(err)
		}
		return b.Forecast.Median
	}
	before := brief()
	course := "short"
	if err := lib.AssignRide(t.Context(), id, service.Assignment{CourseID: &course}); err != nil {
		t.Fatal(err)
	}
	d, err := lib.RideDebrief(t.Context(), id)
	if err != nil || d.Debrief.Against == nil || !d.Debrief.Against.Finished {
		t.Fatalf("%v %+v", err, d.Notes)
	}
	s, err := lib.Season(t.Context(), "ada", time.Time{})
	if err != nil || s.Record == nil || s.Record.Forecasts != 1 || s.Strays == nil || s.Strays.Rides != 1 {
		t.Fatalf("%v %+v %+v", err, s.Record, s.Strays)
	}
	if after := brief(); after == before {
		t.Errorf("how the plan was held changed nothing: %.1f s", after)
	}
	items, err := lib.Learnt(t.Context(), "ada")
	if err != nil || !strings.Contains(fmt.Sprint(items), "plan/"+id) {
		t.Errorf("%v %+v", err, items)
	}
	if err := lib.LeaveOut(t.Context(), "ada", "plans", true); err != nil {
		t.Fatal(err)
	}
	if without := brief(); without != before {
		t.Errorf("left out, it still says %.1f s, not %.1f s", without, before)
	}
}

// Ctrl-C stops an import, and the same command goes on with it.
func TestAnImportIsStoppedAndGoesOn(t *testing.T) {
	dir, rides := peopled(t), t.TempDir()
	const n = 120
	for i := range n {
		b := recording.NewBuilder("", float64(1.7e9+86400*i), 0, "indoor cycling")
		for s := 1; s <= 60; s++ {
			if err := b.Add(recording.Power, "meter", float64(s), float64(100+i+s%9)); err != nil {
				t.Fatal(err)
			}
		}
		r := b.Recording(true)
		f, err := os.Create(filepath.Join(rides, fmt.Sprintf("%03d.fit", i)))
		if err != nil {
			t.Fatal(err)
		}
		if err := fitfile.Activity(f, &r, fitfile.Options{}); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	lib, done, err := app.Library(t.Context(), dir, time.Now, slog.New(slog.DiscardHandler), 2)
	if err != nil {
		t.Fatal(err)
	}
	id, err := lib.StartOrResume(t.Context(), service.ImportRequest{Paths: []string{rides}, RiderID: "ada"})
	if err != nil {
		t.Fatal(err)
	}
	if err := follow(ctx, Streams{}, lib, id, nil, false); problem.ExitCode(err) != 1 {
		t.Errorf("stopped: %v", err)
	}
	p, err := lib.Import(t.Context(), id)
	if err != nil || p.State != service.ImportCancelled || p.New == n {
		t.Fatalf("%v %+v", err, p)
	}
	if err := done(); err != nil {
		t.Fatal(err)
	}
	got := run("import", rides, "--rider", "Ada", "--data", dir, "--json")
	if err := json.Unmarshal([]byte(got.out), &p); err != nil || got.code != 0 || p.ID != id || p.New != n {
		t.Errorf("%+v %v", p, err)
	}
}
