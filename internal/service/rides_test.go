package service_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/fitfile"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
)

// library opens a data folder with a rider and a rig in it.
func library(t *testing.T, dir string, log io.Writer) (*service.App, *store.Store) {
	t.Helper()
	db, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	db.Now = func() time.Time { return debriefToday }
	for id, file := range map[string]string{"ada": demoRider, "cellar": demoRig} {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		kind := store.Rider
		if id == "cellar" {
			kind = store.Rig
		}
		if _, err := db.Put(t.Context(), store.Object{ID: id, Kind: kind, Name: id, Text: string(b)}); err != nil {
			t.Fatal(err)
		}
	}
	if log == nil {
		log = io.Discard
	}
	a := service.NewApp(service.AppConfig{Store: db, Now: db.Now, Log: slog.New(slog.NewTextHandler(log, nil)), Workers: 2})
	t.Cleanup(func() { closeLibrary(t, a, db) })
	return a, db
}

var closedLibraries = map[*store.Store]bool{}

func closeLibrary(t *testing.T, a *service.App, db *store.Store) {
	t.Helper()
	if closedLibraries[db] {
		return
	}
	closedLibraries[db] = true
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
}

// imported imports and waits.
func imported(t *testing.T, a *service.App, q service.ImportRequest) service.ImportProgress {
	t.Helper()
	id, err := a.StartImport(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	return ended(t, a, id)
}

func ended(t *testing.T, a *service.App, id service.ImportID) service.ImportProgress {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	if err := a.Wait(ctx, id); err != nil {
		t.Fatal(err)
	}
	p, err := a.Import(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func rideRows(t *testing.T, a *service.App, rider string) []service.RideRow {
	t.Helper()
	rows, err := a.Rides(t.Context(), rider, service.RideFilter{})
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// quickRide is a minute at some watts, n days ago.
func quickRide(t *testing.T, n int, watts float64) *recording.Recording {
	t.Helper()
	b := recording.NewBuilder("", float64(debriefToday.AddDate(0, 0, -n).Unix()), 0, "indoor cycling")
	for s := 1; s <= 60; s++ {
		for q, v := range map[recording.Quantity]float64{recording.Power: watts + float64(s%9), recording.HeartRate: 120 + float64(s)/4 + float64(n%7)} {
			if err := b.Add(q, "meter", float64(s), v); err != nil {
				t.Fatal(err)
			}
		}
	}
	r := b.Recording(true)
	return &r
}

// A folder comes in once, whatever it holds twice, and what is no ride is said
// with its line.
func TestImportOfAFolder(t *testing.T) {
	dir, rides := t.TempDir(), t.TempDir()
	a, db := library(t, dir, nil)
	evening := inventedRide(t, 3, 150, 260)
	file := writeFIT(t, filepath.Join(rides, "evening.fit"), evening)
	writeRide(t, filepath.Join(rides, "again.recording"), evening, func(b *bytes.Buffer) error { return recording.Write(b, evening) })
	writeFIT(t, filepath.Join(rides, "morning.fit"), inventedRide(t, 9, 120, 200))
	if err := os.WriteFile(filepath.Join(rides, "notes.txt"), []byte("buy tubes\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := imported(t, a, service.ImportRequest{Paths: []string{rides}, RiderID: "ada", RigID: "cellar"})
	if p.State != service.ImportDone || p.Found != 4 || p.Done != 4 || p.New != 2 || p.Same != 1 || len(p.Refused) != 1 || !strings.HasSuffix(p.Refused[0].File, "/notes.txt") || p.Learnt != 2 {
		t.Fatalf("%+v", p)
	}
	rows := rideRows(t, a, "ada")
	if len(rows) != 2 || rows[0].Start.Before(rows[1].Start) || rows[0].Kilojoules < 250 || rows[0].EquivalentWatts < 170 || rows[0].Load == nil || rows[0].Share <= 0 || rows[0].CleanedChanges != 1 || !rows[0].Indoors {
		t.Fatalf("%+v", rows)
	}
	for _, r := range rows {
		if !strings.HasSuffix(r.File, ".fit") {
			continue
		}
		original, err := a.RideOriginal(t.Context(), r.ID)
		b, e := os.ReadFile(filepath.Join(rides, r.File))
		if err != nil || e != nil || !bytes.Equal(original.Bytes, b) {
			t.Errorf("%s is not as it came: %v %v", r.File, err, e)
		}
	}
	if p = imported(t, a, service.ImportRequest{Paths: []string{file, rides}, RiderID: "ada"}); p.New != 0 || p.Same != 3 || len(p.Refused) != 1 {
		t.Errorf("again: %+v", p)
	}
	closeLibrary(t, a, db)
	a, _ = library(t, dir, nil)
	all, err := a.Imports(t.Context())
	if err != nil || len(all) != 2 || all[1].New+all[0].New != 2 || len(all[0].Refused) != 1 {
		t.Errorf("after a restart: %v %+v", err, all)
	}
}

// What was uploaded waits in the data folder and is gone when it is in.
func TestImportOfAnUpload(t *testing.T) {
	dir := t.TempDir()
	a, _ := library(t, dir, nil)
	var b bytes.Buffer
	if err := fitfile.Activity(&b, inventedRide(t, 3, 150, 260), fitfile.Options{}); err != nil {
		t.Fatal(err)
	}
	name, err := a.Spool(t.Context(), `C:\rides\../evening ride.fit`, &b)
	if err != nil {
		t.Fatal(err)
	}
	p := imported(t, a, service.ImportRequest{Spooled: []string{name}})
	rows := rideRows(t, a, "")
	if p.State != service.ImportDone || p.New != 1 || len(rows) != 1 || rows[0].File != "evening ride.fit" || rows[0].RiderID != "" {
		t.Errorf("%+v %+v", p, rows)
	}
	if left, err := os.ReadDir(filepath.Join(dir, "spool")); err != nil || len(left) != 0 {
		t.Errorf("%v %v", left, err)
	}
	if _, err := a.StartImport(t.Context(), service.ImportRequest{Spooled: []string{"../chainline.db"}}); err == nil {
		t.Error("a name that leads astray was taken")
	}
}

// An import that is cancelled, or that the program's end stops, goes on where
// it was, and every ride is in once.
func TestAnImportGoesOn(t *testing.T) {
	dir, rides := t.TempDir(), t.TempDir()
	const n = 150
	for i := range n {
		writeFIT(t, filepath.Join(rides, fmt.Sprintf("%03d.fit", i)), quickRide(t, i, 100+float64(i)))
	}
	a, db := library(t, dir, nil)
	id, err := a.StartImport(t.Context(), service.ImportRequest{Paths: []string{rides}})
	if err != nil {
		t.Fatal(err)
	}
	waitFor(t, func() bool {
		p, err := a.Import(t.Context(), id)
		return err == nil && p.New > 20
	})
	if err := a.CancelImport(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	p := ended(t, a, id)
	if p.State == service.ImportDone {
		t.Skip("it was done before it could be cancelled")
	}
	first := len(rideRows(t, a, ""))
	if p.State != service.ImportCancelled || first < 20 || p.New != first {
		t.Fatalf("%+v, %d rides", p, first)
	}
	if err := a.ResumeImport(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	waitFor(t, func() bool {
		p, err := a.Import(t.Context(), id)
		return err == nil && p.New > first+20
	})
	closeLibrary(t, a, db) // the program is stopped
	a, _ = library(t, dir, nil)
	p = ended(t, a, id)
	if rows := rideRows(t, a, ""); p.State != service.ImportDone || p.New != n || p.Same != 0 || len(rows) != n {
		t.Errorf("%+v, %d rides", p, len(rows))
	}
}

func waitFor(t *testing.T, done func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !done(); {
		if time.Now().After(end) {
			t.Fatal("it did not come to that within half a minute")
		}
	}
}

// A second device's recording of a ride is kept beside the first and counts
// for nothing; the one with power counts, whichever came first.
func TestTwoDevicesOnOneRide(t *testing.T) {
	a, _ := library(t, t.TempDir(), nil)
	with := inventedRide(t, 3, 150, 260)
	without := *with
	without.Channels = nil
	for _, c := range with.Channels {
		if c.Quantity != recording.Power {
			without.Channels = append(without.Channels, c)
		}
	}
	without.StartUnix += 2
	rides := t.TempDir()
	watch, meter := writeFIT(t, filepath.Join(rides, "watch.fit"), &without), writeFIT(t, filepath.Join(rides, "meter.fit"), with)
	imported(t, a, service.ImportRequest{Paths: []string{watch}, RiderID: "ada"})
	imported(t, a, service.ImportRequest{Paths: []string{meter}, RiderID: "ada"})
	rows := rideRows(t, a, "ada")
	if len(rows) != 2 {
		t.Fatalf("%+v", rows)
	}
	for _, r := range rows {
		if (r.File == "watch.fit") != (r.Repeats != "") {
			t.Errorf("%s repeats %q", r.File, r.Repeats)
		}
	}
	if s, err := a.Season(t.Context(), "ada", time.Time{}); err != nil || s.Rides != 1 {
		t.Errorf("%v %+v", err, s.Rides)
	}
}
