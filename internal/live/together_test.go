package live_test

import (
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"chainline/internal/bunch"
	"chainline/internal/live"
	"chainline/internal/ride"
)

// outing is a ride of four machines, and when what happened.
type outing struct {
	t                   *testing.T
	all                 []*machine
	ada, bo, cy, dee    *machine
	x                   *live.Meeting
	gun                 time.Time
	gone                span // without a host
	brought, left, lost time.Time
	end                 time.Time
}

// TestFourRigsOverANetwork: four bench rigs on four machines, 150 ms each way
// with 30 ms of jitter and 3 % of all messages lost, clocks off by seconds and
// drifting: every page puts every rider within 200 ms of ride time; the host is
// gone for a minute; one comes late, is brought up, one ends early, one link is
// lost for good; nothing is lost from any journal.
func TestFourRigsOverANetwork(t *testing.T) {
	folder := memory(t)
	synctest.Test(t, func(t *testing.T) {
		all := machines(t, folder)
		o := &outing{t: t, all: all, ada: all[0], bo: all[1], cy: all[2], dee: all[3]}
		var err error
		if o.x, err = o.ada.m.HostGroup(t.Context(), hillyPlan("Home by lamplight")); err != nil {
			t.Fatal(err)
		}
		o.toTheGun()
		o.wordsAndPhrases()
		o.lateAndBroughtUp()
		o.sleepTo(300)
		if err := o.x.Keep(true); err != nil {
			t.Fatal(err)
		}
		o.sleepTo(600)
		o.withoutHost()
		o.sleepTo(1000)
		o.leaving()
		o.sleepTo(1260)
		o.home()
		o.measured()
		o.written()
	})
}

func (o *outing) sleepTo(seconds float64) {
	time.Sleep(time.Until(o.gun.Add(time.Duration(seconds * float64(time.Second)))))
}

func (o *outing) join(m *machine, seed uint64, mass, watts float64) {
	t := o.t
	m.bench(seed, mass)
	riding := onHilly(t, m.name, m.name, mass, watts)
	riding.Setup.Begun = m.clock.now()
	var r *live.Ride
	var err error
	if m == o.ada {
		r, err = o.x.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
	} else {
		m.net.to = o.x.Inside
		g, e := m.m.Visit(t.Context(), "192.0.2.7", "AAAA-BBBB-CCCC-DDDD-EEEE")
		if e != nil {
			t.Fatal(e)
		}
		if g.Title() != "Home by lamplight" || math.Abs(g.Profile().Length()-16000) > 1 {
			t.Errorf("%s visits %q of %.0f m", m.name, g.Title(), g.Profile().Length())
		}
		r, err = g.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
	}
	if err != nil {
		t.Fatal(err)
	}
	m.follow(r)
}

// toTheGun: three join, nobody begins by key, all begin at the gun.
func (o *outing) toTheGun() {
	t := o.t
	o.join(o.ada, 1, 70, 200)
	o.join(o.bo, 2, 78, 215)
	o.join(o.cy, 3, 62, 185)
	time.Sleep(10 * time.Second)
	if why := o.bo.r.Engine.Key(ride.Key{Kind: ride.KeyStart}); why == "" {
		t.Error("a rider began before the gun")
	}
	if err := o.x.Count(20); err != nil {
		t.Fatal(err)
	}
	o.gun = time.Now().Add(20 * time.Second)
	o.sleepTo(-5)
	for _, m := range o.all[:3] {
		if s := m.now(); s.Stage != ride.Waiting || math.Abs(s.GunInS-5) > 0.5 {
			t.Errorf("%s is %s, gun in %.2f s", m.name, s.Stage, s.GunInS)
		}
	}
	o.sleepTo(60)
	for _, m := range o.all[:3] {
		if s := m.now(); s.Stage != ride.Riding || math.Abs(s.Group.ClockS-60) > 0.4 || math.Abs(s.ClockS-60) > 0.4 {
			t.Errorf("%s is %s at %.2f s, group %.2f s", m.name, s.Stage, s.ClockS, s.Group.ClockS)
		}
	}
}

// wordsAndPhrases are heard by all, while a fourth joins a minute late.
func (o *outing) wordsAndPhrases() {
	t := o.t
	if err := o.x.Say("smooth to the first climb"); err != nil {
		t.Fatal(err)
	}
	if why := o.cy.r.Engine.Key(ride.Key{Kind: ride.KeyPhrase, Value: 2}); why != "" {
		t.Error(why)
	}
	o.join(o.dee, 4, 85, 230)
	time.Sleep(5 * time.Second)
	for _, m := range o.all[:2] {
		s := m.now()
		if s.Said != "smooth to the first climb" {
			t.Errorf("%s reads %q", m.name, s.Said)
		}
		if len(s.Group.Phrases) != 1 || s.Group.Phrases[0].From != "Cy" || s.Group.Phrases[0].Words != ride.Phrases[2] {
			t.Errorf("%s hears %+v", m.name, s.Group.Phrases)
		}
	}
}

// lateAndBroughtUp: the late rider is shown as such, and moved up to the last.
func (o *outing) lateAndBroughtUp() {
	t := o.t
	o.sleepTo(140)
	late := dotOf(t, o.ada.now(), "Dee")
	if late.LateS < 60 || late.LateS > 70 {
		t.Errorf("Dee left %.1f s after the gun", late.LateS)
	}
	if err := o.x.BringUp(late.Key); err != nil {
		t.Fatal(err)
	}
	o.brought = time.Now()
	time.Sleep(3 * time.Second)
	ridden := o.dee.now().Course.AtM
	if last := dotOf(t, o.ada.now(), "Dee"); ridden < 500 || math.Abs(last.AtM-ridden) > 20 {
		t.Errorf("Dee at %.0f m after being brought up, shown at %.0f m", ridden, last.AtM)
	}
}

// withoutHost: for a minute no guest hears the host.
func (o *outing) withoutHost() {
	t, guests := o.t, o.all[1:]
	o.gone = span{time.Now(), time.Now().Add(60 * time.Second)}
	for _, m := range guests {
		m.net.cut(true)
	}
	time.Sleep(30 * time.Second)
	for _, m := range guests {
		s := m.now()
		if s.Group.Link != ride.LinkSilent || s.Group.SilentS < 25 {
			t.Errorf("%s: link %s, silent for %.0f s, after the host was gone for 30 s", m.name, s.Group.Link, s.Group.SilentS)
		}
		for _, d := range s.Group.Riders {
			if !d.You && d.State != ride.DotSilent {
				t.Errorf("%s sees %s %s without a host", m.name, d.Name, d.State)
			}
		}
		if s.Stage != ride.Riding || s.You.Watts < 50 {
			t.Errorf("%s is %s at %.0f W without a host", m.name, s.Stage, s.You.Watts)
		}
	}
	time.Sleep(30 * time.Second)
	for _, m := range guests {
		m.net.cut(false)
	}
	time.Sleep(5 * time.Second)
	for _, m := range o.all {
		for _, d := range m.now().Group.Riders {
			if d.State != ride.DotRiding {
				t.Errorf("%s sees %s %s after the host is back", m.name, d.Name, d.State)
			}
		}
	}
}

// leaving: one ends early, one link is lost for good.
func (o *outing) leaving() {
	t := o.t
	o.left = time.Now()
	o.bo.r.Engine.Key(ride.Key{Kind: ride.KeyEnd})
	time.Sleep(20 * time.Second)
	for _, m := range []*machine{o.ada, o.cy, o.dee} {
		if d := dotOf(t, m.now(), "Bo"); d.State != ride.DotGone {
			t.Errorf("%s sees Bo %s after he ended", m.name, d.State)
		}
	}
	o.sleepTo(1100)
	o.lost = time.Now()
	o.cy.net.cut(true)
	time.Sleep(20 * time.Second)
	if d := dotOf(t, o.dee.now(), "Cy"); d.State != ride.DotSilent {
		t.Errorf("Dee sees Cy %s after the link was lost for good", d.State)
	}
}

func (o *outing) home() {
	o.end = time.Now()
	for _, m := range o.all {
		m.r.Engine.Key(ride.Key{Kind: ride.KeyEnd})
	}
	for _, m := range o.all {
		<-m.r.Settled()
		if err := m.r.Failed(); err != nil {
			o.t.Errorf("%s: %v", m.name, err)
		}
		m.m.Close()
	}
}

// measured: all pages against the truth, without what nobody can know.
func (o *outing) measured() {
	t := o.t
	out := func(p, r int, at time.Time) bool {
		hidden := p != r && at.After(o.gone.from) && at.Before(o.gone.to.Add(2*time.Second))
		silent := p != r && (p == 2 || r == 2) && at.After(o.lost)
		moved := r == 3 && at.After(o.brought) && at.Before(o.brought.Add(3*time.Second))
		ended := r == 1 && at.After(o.left)
		return hidden || silent || moved || ended
	}
	errs := apart(o.all, o.gun.Add(10*time.Second), o.end, out)
	if worst := report(t, "four rigs", errs); worst > 0.2 {
		t.Errorf("a page was %.0f ms of ride time off", 1000*worst)
	}
	if worst := report(t, "two pages at one instant of the wall", between(o.all, o.gun.Add(10*time.Second), o.end, out)); worst > 0.2 {
		t.Errorf("two pages were %.0f ms of ride time apart", 1000*worst)
	}
	if len(errs) < 11000 {
		t.Errorf("only %d places were compared", len(errs))
	}
}

// written: every reading is in its journal, and the files say what the group did.
func (o *outing) written() {
	t := o.t
	for _, m := range o.all {
		n := m.whole(m.name)
		if n != m.port.read || n < 2000 {
			t.Errorf("%s: the journal holds %d readings, the bench gave %d", m.name, n, m.port.read)
		}
		sum, err := m.m.Summary(m.name)
		if err != nil || !sum.Whole || !sum.Ended || sum.Company == nil {
			t.Fatalf("%s: %+v %v", m.name, sum, err)
		}
		t.Logf("%s: %d readings, all in the journal; %.2f km ridden; %d of %d messages lost; %+v", m.name, n, sum.Totals.DistanceM/1000, m.net.lost, m.net.sent, *sum.Company)
	}
	sum, err := o.dee.m.Summary("Dee")
	if err != nil || sum.Company.BroughtM < 300 {
		t.Errorf("Dee's summary does not say that she was brought up: %+v %v", sum.Company, err)
	}
	if at := o.dee.now().Course.AtM; math.Abs(at-sum.Company.BroughtM-sum.Totals.DistanceM) > 15 {
		t.Errorf("Dee: at %.0f m, brought up %.0f m, distance %.0f m", at, sum.Company.BroughtM, sum.Totals.DistanceM)
	}
}

// TestHostRestarted: the host's program ends in the middle; guests ride on by
// themselves. It is started anew, finds its group and its own ride in its
// folder, and everybody finds everybody again by the same invitation. A guest's
// program that was restarted joins again as the same rider.
func TestHostRestarted(t *testing.T) {
	folder := memory(t)
	synctest.Test(t, func(t *testing.T) {
		all := machines(t, folder)[:3]
		ada, bo, cy := all[0], all[1], all[2]
		x, err := ada.m.HostGroup(t.Context(), hillyPlan("Restart"))
		if err != nil {
			t.Fatal(err)
		}
		way := x.Inside()
		var mu sync.Mutex
		to := func() bunch.Transport { mu.Lock(); defer mu.Unlock(); return way }
		for i, m := range all {
			m.bench(uint64(i+20), 70)
			riding := onHilly(t, m.name, m.name, 70, 200)
			riding.Setup.Begun = m.clock.now()
			var r *live.Ride
			if m == ada {
				r, err = x.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
			} else {
				m.net.to = to
				var g *live.Guest
				if g, err = m.m.Visit(t.Context(), "192.0.2.7", "AAAA-BBBB-CCCC-DDDD-EEEE"); err == nil {
					r, err = g.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
				}
			}
			if err != nil {
				t.Fatal(err)
			}
			m.follow(r)
		}
		time.Sleep(3 * time.Second)
		if err := x.Count(10); err != nil {
			t.Fatal(err)
		}
		if err := x.Keep(true); err != nil {
			t.Fatal(err)
		}
		gun := time.Now().Add(10 * time.Second)
		time.Sleep(100 * time.Second)
		keys := map[string]string{}
		for _, d := range x.Sheet().Riders {
			keys[d.Name] = d.Key
			if d.You {
				t.Errorf("the host's sheet says %s is you", d.Name)
			}
		}

		mu.Lock()
		way = nil
		mu.Unlock()
		again := func(m *machine, before func()) {
			if err := m.m.Close(); err != nil {
				t.Error(err)
			}
			m.read += m.port.read
			time.Sleep(20 * time.Second)
			m.bench(uint64(40), 70)
			m.start()
			before()
			r, err := m.m.GoOn(t.Context(), m.name, live.Choice{Kind: "radio"})
			if err != nil {
				t.Fatal(err)
			}
			m.follow(r)
		}
		again(ada, func() {
			if err := ada.m.TakeUpGroups(); err != nil {
				t.Fatal(err)
			}
			y, ok := ada.m.Meeting(x.ID())
			if !ok {
				t.Fatal("the group is not found again")
			}
			mu.Lock()
			way, x = y.Inside(), y
			mu.Unlock()
		})
		again(cy, func() {})
		time.Sleep(15 * time.Second)
		for _, m := range all {
			s := m.now()
			if s.Stage != ride.Riding || s.Group == nil || math.Abs(s.Group.ClockS-time.Since(gun).Seconds()) > 0.4 || !s.Group.Keep {
				t.Fatalf("%s after the restart: %s, %+v", m.name, s.Stage, s.Group)
			}
			for _, d := range s.Group.Riders {
				if d.State != ride.DotRiding || d.Key != keys[d.Name] || len(s.Group.Riders) != 3 {
					t.Errorf("%s sees %+v of %d, whose key was %s", m.name, d, len(s.Group.Riders), keys[d.Name])
				}
			}
		}
		if s := bo.now(); s.Course.AtM < 800 {
			t.Errorf("Bo at %.0f m: he did not ride on", s.Course.AtM)
		}
		from := time.Now()
		time.Sleep(60 * time.Second)
		end := time.Now()
		if err := x.End(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(3 * time.Second)
		for _, m := range all {
			if s := m.now(); s.Group != nil || s.Stage != ride.Riding {
				t.Errorf("%s after the group ended: %s, %+v", m.name, s.Stage, s.Group)
			}
			m.r.Engine.Key(ride.Key{Kind: ride.KeyEnd})
			<-m.r.Settled()
			m.m.Close()
			m.read += m.port.read
			if n := m.whole(m.name); n != m.read {
				t.Errorf("%s: the journal holds %d readings, the bench gave %d", m.name, n, m.read)
			}
		}
		if worst := report(t, "after a restart", apart(all, from, end, func(int, int, time.Time) bool { return false })); worst > 0.2 {
			t.Errorf("a page was %.0f ms of ride time off", 1000*worst)
		}
	})
}

// TestRigsOfOneMachine: two rigs of the host's machine ride in its group
// without a network; an equal rider in shelter of another is quicker; what is
// no ride of the group's course is refused.
func TestRigsOfOneMachine(t *testing.T) {
	folder := memory(t)
	synctest.Test(t, func(t *testing.T) {
		m := manager(t, folder)
		defer m.Close()
		x, err := m.HostGroup(t.Context(), live.GroupPlan{Course: hillyPlan("").Course, Strength: live.StrengthHigh})
		if err != nil {
			t.Fatal(err)
		}
		if x.Title() != "Hilly" || x.StrengthNow() != live.StrengthHigh || len(m.Meetings()) != 1 {
			t.Errorf("%q, shelter %s", x.Title(), x.StrengthNow())
		}
		if _, err := x.Ride(t.Context(), riding(t, "session", "Eve", short), live.Choice{Kind: "bench"}); err == nil {
			t.Error("a session was ridden in the group of a course")
		}
		var rides []*live.Ride
		for i, name := range []string{"Ada", "Bo"} {
			r, err := x.Ride(t.Context(), onHilly(t, name, name, 72, 210), live.Choice{Kind: "bench", Seed: uint64(i + 60), Name: name})
			if err != nil {
				t.Fatal(err)
			}
			rides = append(rides, r)
		}
		time.Sleep(5 * time.Second)
		if err := x.Count(5); err != nil {
			t.Fatal(err)
		}
		if err := x.Count(-1); err == nil {
			t.Error("the gun was set before now")
		}
		time.Sleep(6 * time.Minute)
		if err := x.Count(5); err == nil {
			t.Error("the gun was set again after it had gone")
		}
		sheltered := 1.0
		for i, r := range rides {
			s := r.Engine.Snapshot()
			if s.Group == nil || s.Group.Link != ride.LinkHere || !s.Group.Host || len(s.Group.Riders) != 2 || s.Stage != ride.Riding {
				t.Fatalf("rider %d: %s %+v", i, s.Stage, s.Group)
			}
			sheltered = math.Min(sheltered, s.Group.Shelter)
		}
		if len(x.Rides()) != 2 || len(x.Sheet().Riders) != 2 {
			t.Errorf("%d rides, %d riders", len(x.Rides()), len(x.Sheet().Riders))
		}
		for _, r := range rides {
			r.Engine.Key(ride.Key{Kind: ride.KeyEnd})
			<-r.Settled()
		}
		best := 1.0
		for _, name := range []string{"Ada", "Bo"} {
			sum, err := m.Summary(name)
			if err != nil || sum.Company == nil {
				t.Fatalf("%v %+v", err, sum)
			}
			best = math.Min(best, sum.Company.Shelter)
		}
		if best > 0.95 {
			t.Errorf("nobody of two equal riders had shelter: %.2f, at the end %.2f", best, sheltered)
		}
	})
}
