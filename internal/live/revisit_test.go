package live_test

import (
	"testing"
	"testing/synctest"
	"time"

	"chainline/internal/bunch"
	"chainline/internal/live"
	"chainline/internal/ride"
)

// TestVisitedTwice: who types address and invitation again finds the group with
// their ride in it, and the ride still joins it after a restart. A group that
// takes another's ID is refused.
func TestVisitedTwice(t *testing.T) {
	folder := memory(t)
	synctest.Test(t, func(t *testing.T) {
		all := machines(t, folder)[:2]
		ada, bo := all[0], all[1]
		defer func() { ada.m.Close(); bo.m.Close() }()
		x, err := ada.m.HostGroup(t.Context(), hillyPlan("Twice"))
		if err != nil {
			t.Fatal(err)
		}
		bo.net.to = func() bunch.Transport { return x.Inside() }
		bo.bench(20, 70)
		const code = "AAAA-BBBB-CCCC-DDDD-EEEE"
		g, err := bo.m.Visit(t.Context(), "192.0.2.7", code)
		if err != nil {
			t.Fatal(err)
		}
		riding := onHilly(t, "bo", "Bo", 70, 200)
		riding.Setup.Begun = bo.clock.now()
		r, err := g.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
		if err != nil {
			t.Fatal(err)
		}
		bo.follow(r)
		time.Sleep(3 * time.Second)
		key := dotOf(t, bo.now(), "Bo").Key
		for _, at := range []string{"192.0.2.7", "192.0.2.8"} {
			if g, err = bo.m.Visit(t.Context(), at, code); err != nil || len(g.Rides()) != 1 || len(bo.m.Guests()) != 1 {
				t.Fatalf("again at %s: %v", at, err)
			}
		}
		g.Leave()
		if g, err = bo.m.Visit(t.Context(), "192.0.2.7", code); err != nil || len(g.Rides()) != 1 {
			t.Fatalf("after leaving: %v", err)
		}
		if _, err := bo.m.Visit(t.Context(), "192.0.2.7", "AAAA-BBBB-CCCC-DDDD-FFFF"); err == nil {
			t.Error("another group of that ID replaced it")
		}
		bo.m.Close()
		if !bo.m.Closed() {
			t.Error("closed, and does not say so")
		}
		bo.bench(21, 70)
		bo.start()
		if r, err = bo.m.GoOn(t.Context(), "bo", live.Choice{Kind: "radio"}); err != nil {
			t.Fatal(err)
		}
		bo.follow(r)
		time.Sleep(3 * time.Second)
		if s := bo.now(); s.Group == nil || s.Group.Link == ride.LinkSilent || dotOf(t, s, "Bo").Key != key {
			t.Errorf("gone on with: %+v", s.Group)
		}
	})
}
