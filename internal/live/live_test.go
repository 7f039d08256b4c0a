package live_test

import (
	"context"
	"log/slog"
	"os"
	"testing"
	"testing/synctest"
	"time"

	"chainline/capacity"
	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/sensor/bench"
	"chainline/internal/service"
	"chainline/session"
)

func riding(t *testing.T, id, name, text string) service.Riding {
	t.Helper()
	s, err := session.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	scaled, _, err := session.Scale(s, session.View{ThresholdW: 245, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		t.Fatal(err)
	}
	return service.Riding{Setup: ride.Setup{ID: id, Title: "Test", Begun: time.Now(), Way: ride.Controlling, Session: &scaled,
		Rider: ride.Rider{Name: name, Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}, MaxPower: 900, Threshold: 245}}}
}

func manager(t *testing.T, folder string) *live.Manager {
	t.Helper()
	return live.New(live.Config{Folder: folder, Now: time.Now, Log: slog.New(slog.DiscardHandler)})
}

const short = "ride 20 s at 150 W\nride 20 s at 200 W\n"

// until polls on the bubble's clock.
func until(t *testing.T, what string, limit time.Duration, done func() bool) {
	t.Helper()
	for end := time.Now().Add(limit); !done(); {
		if time.Now().After(end) {
			t.Fatalf("waited %v for %s", limit, what)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func TestARideFromConnectionToFiles(t *testing.T) {
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		m := manager(t, folder)
		defer m.Close()
		r, err := m.Begin(t.Context(), riding(t, "one", "Ada", short), live.Choice{Kind: "bench", Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		until(t, "the end", 2*time.Minute, func() bool {
			select {
			case <-r.Settled():
				return true
			default:
				return false
			}
		})
		if err := r.Failed(); err != nil {
			t.Fatal(err)
		}
		done, err := m.Finished()
		if err != nil || len(done) != 1 {
			t.Fatalf("finished: %v, %v", done, err)
		}
		if s := done[0]; !s.Whole || s.Totals.Moving < 38 || s.Totals.Moving > 45 || s.Totals.WorkJ < 6000 {
			t.Errorf("%+v", s)
		}
		for _, kind := range []string{"fit", "csv", "recording", "journal"} {
			path, err := m.File("one", kind)
			if err != nil {
				t.Errorf("%s: %v", kind, err)
				continue
			}
			if info, err := os.Stat(path); err != nil || info.Size() < 500 {
				t.Errorf("%s: %v, %v", kind, info, err)
			} else if info.Mode().Perm()&0o077 != 0 {
				t.Errorf("%s can be read by others: %v", kind, info.Mode())
			}
		}
		if left, _ := m.Unfinished(); len(left) != 0 {
			t.Errorf("unfinished: %v", left)
		}
	})
}

// TestClosedAndGoneOnWith: the program closes in the middle, a new one finds
// the ride, goes on with it, and the first command is easy.
func TestClosedAndGoneOnWith(t *testing.T) {
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		m := manager(t, folder)
		if _, err := m.Begin(t.Context(), riding(t, "one", "Ada", "ride 60 s at 220 W\n"), live.Choice{Kind: "bench", Seed: 3}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(25 * time.Second)
		if err := m.Close(); err != nil {
			t.Fatal(err)
		}
		m = manager(t, folder)
		defer m.Close()
		left, err := m.Unfinished()
		if err != nil || len(left) != 1 || left[0].ID != "one" {
			t.Fatalf("unfinished: %v, %v", left, err)
		}
		r, err := m.GoOn(t.Context(), "one", live.Choice{Kind: "bench", Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		s := r.Engine.Snapshot()
		if s.Stage != ride.Paused || s.Step == nil || s.Step.IntoS < 20 {
			t.Errorf("gone on with at stage %s, %+v", s.Stage, s.Step)
		}
		select {
		case <-r.Settled():
		case <-time.After(3 * time.Minute):
			t.Fatal("it does not end")
		}
		if done, _ := m.Finished(); len(done) != 1 || done[0].Totals.PowerKnown < 55 {
			t.Errorf("finished: %+v", done)
		}
	})
}

func TestSetAside(t *testing.T) {
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		m := manager(t, folder)
		if _, err := m.Begin(t.Context(), riding(t, "one", "Ada", "ride 60 s at 220 W\n"), live.Choice{Kind: "bench", Seed: 3}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(25 * time.Second)
		if err := m.SetAside("one"); err == nil {
			t.Error("a ride that goes on was ended behind its rider's back")
		}
		m.Close()
		m = manager(t, folder)
		defer m.Close()
		if err := m.SetAside("one"); err != nil {
			t.Fatal(err)
		}
		if done, _ := m.Finished(); len(done) != 1 {
			t.Errorf("finished: %+v", done)
		}
		if _, err := m.File("one", "fit"); err != nil {
			t.Error(err)
		}
		if err := m.Delete("one"); err != nil {
			t.Fatal(err)
		}
		if files, _ := os.ReadDir(folder); len(files) != 0 {
			t.Errorf("left behind: %v", files)
		}
	})
}

// TestGroup: four riders, a common countdown, a shortened step, words to one,
// a lost sensor seen by the host.
func TestGroup(t *testing.T) {
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		m := manager(t, folder)
		defer m.Close()
		var ids []string
		for i, name := range []string{"Ada", "Bo", "Cy", "Dee"} {
			id := m.NewID()
			x := riding(t, id, name, "ride 5 min at 150 W\nride 30 s at 200 W\n")
			x.Setup.WaitForKey = true
			choice := live.Choice{Kind: "bench", Seed: uint64(i + 1)}
			if i == 2 {
				choice.Tweak = func(c *bench.Config) {
					c.Faults = []bench.Fault{{At: 40 * time.Second, For: 20 * time.Second, Device: "meter", Kind: bench.Disconnects}}
				}
			}
			if _, err := m.Begin(context.Background(), x, choice); err != nil {
				t.Fatal(err)
			}
			ids = append(ids, id)
		}
		g, err := m.Group("Tuesday", ids)
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(5 * time.Second)
		if refused := g.Count(10); len(refused) > 0 {
			t.Fatal(refused)
		}
		time.Sleep(5 * time.Second)
		for _, s := range g.Status() {
			if s.Stage != ride.Waiting {
				t.Errorf("%s is %s before the count is over", s.Name, s.Stage)
			}
		}
		time.Sleep(6 * time.Second)
		for _, s := range g.Status() {
			if s.Stage != ride.Riding || s.IntoS < 0.5 || s.IntoS > 1.5 {
				t.Errorf("%s is %s, %.2f s into the step", s.Name, s.Stage, s.IntoS)
			}
		}
		time.Sleep(30 * time.Second)
		if lost := g.Status()[2].Lost; len(lost) != 1 {
			t.Errorf("the host sees %v lost", lost)
		}
		g.Key(ride.Key{Kind: ride.KeySay, Text: "smooth circles"}, ids[1])
		g.Key(ride.Key{Kind: ride.KeyPause})
		time.Sleep(time.Second)
		for i, r := range g.Rides() {
			s := r.Engine.Snapshot()
			if s.Stage != ride.Paused {
				t.Errorf("%s did not pause", ids[i])
			}
			if (s.Said == "smooth circles") != (i == 1) {
				t.Errorf("%s was told %q", ids[i], s.Said)
			}
		}
		g.Key(ride.Key{Kind: ride.KeyResume})
		g.Key(ride.Key{Kind: ride.KeyShorten, Value: 5})
		time.Sleep(7 * time.Second)
		for _, s := range g.Status() {
			if s.Step != 1 {
				t.Errorf("%s is in step %d after it was shortened", s.Name, s.Step)
			}
		}
	})
}
