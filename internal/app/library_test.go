package app

import (
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/session"
)

// A ride that was ridden before the program knew a library is in it after the
// start, one that ends while it runs is too, each once; on a simulated rig it
// is left out of learning. A deleted one does not come back.
func TestRidesEnterTheLibrary(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	folder := filepath.Join(dir, "rides")
	ridden := func(m *live.Manager, id string) {
		t.Helper()
		s, err := session.Parse("ride 20 s at 150 W\nride 20 s at 200 W\n")
		if err != nil {
			t.Fatal(err)
		}
		scaled, _, err := session.Scale(s, session.View{ThresholdW: 245, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900, HoldsPower: true})
		if err != nil {
			t.Fatal(err)
		}
		riding := service.Riding{Setup: ride.Setup{ID: id, Title: "Short", Begun: time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC), Way: ride.Controlling, Session: &scaled, Of: ride.Of{Rig: "nowhere"},
			Rider: ride.Rider{Name: "Ada", Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}, MaxPower: 900, Threshold: 245}}}
		if _, err := m.Fast(t.Context(), riding, live.Choice{Kind: "bench", Seed: 3}, nil); err != nil {
			t.Fatal(err)
		}
	}
	m := live.New(live.Config{Folder: folder, Now: time.Now, Log: log})
	ridden(m, "before")
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	rows := func(a *App, want int) []service.RideRow {
		t.Helper()
		for end := time.Now().Add(30 * time.Second); ; {
			all, err := a.library.Rides(t.Context(), "", service.RideFilter{})
			if err != nil {
				t.Fatal(err)
			}
			if len(all) == want {
				return all
			}
			if time.Now().After(end) {
				t.Fatalf("%d rides, wanted %d", len(all), want)
			}
		}
	}
	a, err := New(t.Context(), config(dir, "127.0.0.1:0"))
	if err != nil {
		t.Fatal(err)
	}
	rows(a, 1) // before its rider is known
	if _, err := a.store.Put(t.Context(), store.Object{ID: "ada", Kind: store.Rider, Name: "Ada", Text: "name: Ada\nmass_kg: 72\n"}); err != nil {
		t.Fatal(err)
	}
	ridden(a.rides, "now")
	all := rows(a, 2)
	for _, r := range all {
		if !r.Bench || !r.Left || r.Live == "" || (r.Live == "now") != (r.RiderID == "ada") || r.RigID != "" || r.Title != "Short" || r.Kilojoules < 5 {
			t.Errorf("%+v", r)
		}
	}
	if err := a.library.DeleteRide(t.Context(), all[0].ID); err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if a, err = New(t.Context(), config(dir, "127.0.0.1:0")); err != nil {
		t.Fatal(err)
	}
	rows(a, 1)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if left, err := filepath.Glob(filepath.Join(folder, all[0].Live+".*")); err != nil || len(left) != 0 {
		t.Errorf("%v %v", left, err)
	}
}
