package live_test

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"chainline/internal/problem"
	"chainline/internal/ride"
)

// TestOpenedAgainAtTheSameAddress: over real sockets, a guest finds the group,
// misses its host when that program ends, and finds it again by itself when it
// is started anew; after an end or a shut group nothing is opened by itself.
func TestOpenedAgainAtTheSameAddress(t *testing.T) {
	t.Parallel() // it waits for most of its time
	folder := t.TempDir()
	m := manager(t, folder)
	x, err := m.HostGroup(t.Context(), hillyPlan("Sockets"))
	if err != nil {
		t.Fatal(err)
	}
	if _, open := x.Invited(); open {
		t.Error("a group is open before anybody opened it")
	}
	in, err := x.Open("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(folder, "groups", "*"))
	for _, f := range files {
		if info, err := os.Stat(f); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", f, info.Mode(), err)
		}
	}
	if len(files) != 1 {
		t.Errorf("kept: %v", files)
	}
	guests := manager(t, t.TempDir())
	defer guests.Close()
	for _, bad := range []string{"AAAA-BBBB-CCCC-DDDD-EEEE", "AAAA"} {
		if _, err := guests.Visit(t.Context(), in.Address, bad); err == nil || strings.Contains(err.Error(), bad) {
			t.Errorf("with %q: %v", bad, err)
		} else if words, hint := problem.ForPerson(err); bad != "AAAA" && (!strings.Contains(words, "does not know this invitation") || hint == "") {
			t.Errorf("said: %q %q", words, hint)
		}
	}
	if _, err := guests.Visit(t.Context(), "127.0.0.1:1", in.Invitation); err == nil {
		t.Error("nobody was found")
	}
	g, err := guests.Visit(t.Context(), in.Address, strings.ToLower(in.Invitation))
	if err != nil {
		t.Fatal(err)
	}
	if g.Title() != "Sockets" || g.Course().CourseText != hilly {
		t.Errorf("visits %q", g.Title())
	}
	link := func(want string) {
		t.Helper()
		until(t, "the link to be "+want, 15*time.Second, func() bool { return g.Sheet().Link == want })
	}
	link(ride.LinkWell)
	if err := x.Count(30); err != nil {
		t.Fatal(err)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	link(ride.LinkSilent)
	m = manager(t, folder)
	defer func() { m.Close() }()
	if err := m.TakeUpGroups(); err != nil {
		t.Fatal(err)
	}
	link(ride.LinkWell)
	until(t, "the gun of before", 5*time.Second, func() bool { s := g.Sheet(); return s.GunSet && s.ClockS < 0 && s.ClockS > -30 })
	y, ok := m.Meeting(x.ID())
	if again, open := y.Invited(); !ok || !open || again != in {
		t.Fatalf("open again as %+v, was %+v", again, in)
	}
	y.Shut()
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	m = manager(t, folder)
	if err := m.TakeUpGroups(); err != nil {
		t.Fatal(err)
	}
	z, ok := m.Meeting(x.ID())
	if _, open := z.Invited(); !ok || open {
		t.Error("a group that was shut was opened again by itself")
	}
	if err := z.End(); err != nil {
		t.Fatal(err)
	}
	if len(m.Meetings()) != 0 {
		t.Error("a group that has ended goes on")
	}
	if _, err := z.Open("127.0.0.1:0"); err == nil {
		t.Error("a group that has ended was opened")
	}
	last := manager(t, folder)
	defer last.Close()
	if err := last.TakeUpGroups(); err != nil || len(last.Meetings()) != 0 {
		t.Errorf("%v, %d groups", err, len(last.Meetings()))
	}
}

// TestOpenedTwiceAtOnce: of two who open a group at the same time one listener
// is left, and none once it is shut.
func TestOpenedTwiceAtOnce(t *testing.T) {
	m := manager(t, t.TempDir())
	defer m.Close()
	x, err := m.HostGroup(t.Context(), hillyPlan("Twice"))
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var all []string
	var wait sync.WaitGroup
	for range 6 {
		wait.Go(func() {
			in, err := x.Open("127.0.0.1:0")
			mu.Lock()
			defer mu.Unlock()
			if all = append(all, in.Address); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	x.Shut()
	for _, at := range all {
		if c, err := net.DialTimeout("tcp", at, time.Second); err == nil {
			c.Close()
			t.Errorf("%s still listens", at)
		}
	}
}
