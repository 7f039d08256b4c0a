package bunch

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// TestHostileHost: a host that names new members and phrases of the future in
// every answer does not fill a guest's memory.
func TestHostileHost(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	s := newSeat(secret, "Me", false)
	for n := range 50 {
		us := now.UnixMicro()
		a := Answer{Version: Version, ClockUS: us, Sequence: uint64(n + 1), Strength: 0.5}
		for i := range MostMembers {
			a.Members = append(a.Members, Member{Key: fmt.Sprint(n, "-", i), Name: "X", Sample: Sample{AtUS: us, M: 5, Stage: Riding}})
		}
		for i := range mostNew {
			a.Phrases = append(a.Phrases, Said{N: uint64(n*mostNew + i + 1), Key: "x", AtUS: mostUS})
		}
		s.take(a, now, now)
		if d := s.scene(now, &Me{M: 10, SpeedMS: 5, Stage: Riding}, Well); len(d.Dots) > mostTracks+MostMembers+1 {
			t.Fatalf("%d riders are shown", len(d.Dots))
		}
		now = now.Add(250 * time.Millisecond)
	}
	if len(s.tracks) > mostTracks+1 || len(s.phrases) > mostNew || s.tracks[s.key] == nil {
		t.Errorf("%d members and %d phrases are kept; own: %v", len(s.tracks), len(s.phrases), s.tracks[s.key] != nil)
	}
}

// TestHostStartedAnewInThePast: a host whose clock was an hour further when the
// group was made is heard again at once, orders and all.
func TestHostStartedAnewInThePast(t *testing.T) {
	own := time.Unix(1_800_000_000, 0)
	h := NewHost(Wish{Group: "g", Strength: 0.5}, own.Add(time.Hour))
	s, other, n := newSeat(secret, "Me", false), fmt.Sprintf("%032x", 7), uint64(0)
	x, y, brought := 0.0, 0.0, uint64(0)
	at := func() time.Time { return own.Add(time.Duration(n) * 250 * time.Millisecond) }
	round := func(clock time.Time) Scene {
		n++
		x, y = x+2, y+2.5
		if _, err := h.Exchange(clock, Ask{Version: Version, Member: other, Name: "Bo", Sample: Sample{AtUS: h.us(clock), M: y, SpeedMS: 10, Stage: Riding}}); err != nil {
			t.Fatal(err)
		}
		a := Ask{Version: Version, Sequence: n, Since: s.since()}
		me := Me{M: x, SpeedMS: 8, Stage: Riding, Brought: brought}
		if s.clock.Known() {
			a.Member, a.Name, a.Sample = secret, "Me", s.sample(at(), me)
		}
		answer, err := h.Exchange(clock, a)
		if err != nil {
			t.Fatal(err)
		}
		s.take(answer, at(), at())
		return s.scene(at(), &me, Well)
	}
	for range 80 {
		round(at().Add(time.Hour))
	}
	if err := h.BringUp(at().Add(time.Hour), KeyOf(secret)); err != nil {
		t.Fatal(err)
	}
	brought = round(at().Add(time.Hour)).BringUp.N
	h = NewHost(h.Wish(), at())
	var last Scene
	for range 12 {
		last = round(at())
	}
	if err := h.BringUp(at(), KeyOf(secret)); err != nil {
		t.Fatal(err)
	}
	last = round(at())
	if len(last.Dots) != 2 || last.Dots[0].State != Riding || math.Abs(last.Dots[0].AtM-y) > 3 {
		t.Errorf("three seconds after: %+v, Bo is at %.0f m", last.Dots, y)
	}
	if last.BringUp.N <= brought || brought == 0 {
		t.Errorf("order %d after %d", last.BringUp.N, brought)
	}
}

// TestHostAsleep: after a host's machine slept ten minutes its clock is earlier
// than was believed; whoever is behind is not shown as ten minutes ahead.
func TestHostAsleep(t *testing.T) {
	own := time.Unix(1_800_000_000, 0)
	s := newSeat(secret, "Me", false)
	slept := 0.0
	for n := 0.0; n < 800; n += 0.25 {
		at := own.Add(time.Duration(n * 1e9))
		if n >= 100 && n < 700 {
			slept += 0.25
		} else {
			us := at.UnixMicro() - int64(slept*1e6)
			s.take(Answer{Version: Version, ClockUS: us, Sequence: uint64(4 * n), Strength: 0.5, Members: []Member{
				{Key: "bo", Name: "Bo", Sample: Sample{AtUS: us, M: 7.9 * n, SpeedMS: 7.9, Stage: Riding}}}}, at, at)
		}
		d := s.scene(at, &Me{M: 8 * n, SpeedMS: 8, Stage: Riding}, Well).Dots
		if n == 0 {
			continue
		}
		if bo := d[len(d)-1]; n < 100 && (!bo.Known || bo.BehindS < 0) || bo.Known && (bo.BehindS < -1 || bo.BehindS > 20 && (n < 100 || n > 702)) {
			t.Fatalf("at %.2f s: %+v", n, bo)
		}
	}
}
