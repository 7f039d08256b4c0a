package live_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sort"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"chainline/capacity"
	"chainline/internal/bunch"
	"chainline/internal/journal"
	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/internal/service"
	"chainline/physics"
)

// hilly is a course of 16 km with three climbs.
const hilly = "distance_m,elevation_m\n0,20\n1500,25\n3000,100\n4200,40\n6000,45\n7500,150\n9000,60\n11000,70\n12000,120\n16000,80\n"

func hillyPlan(title string) live.GroupPlan {
	return live.GroupPlan{Title: title, Course: service.GroupCourse{Name: "Hilly", CourseFile: "hilly.csv", CourseText: hilly}}
}

// onHilly is a ride of the course at watts all the way.
func onHilly(t *testing.T, id, name string, mass, watts float64) service.Riding {
	t.Helper()
	p, err := hillyPlan("").Course.Profile()
	if err != nil {
		t.Fatal(err)
	}
	road := physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2, WheelInertia: 0.14, WheelRadius: 0.335, Bearings: true}
	k := &ride.Course{Name: "Hilly", Profile: p, Motion: road.Motion(mass), StartSpeed: 0, PlannedS: 1800, Advance: ride.ByPosition}
	for i := 1; i < len(p.Distance); i++ { // harder uphill, as people ride
		w := watts
		if g := p.Gradient(i - 1); g > 0.03 {
			w *= 1.15
		} else if g < -0.03 {
			w *= 0.7
		}
		k.Cues = append(k.Cues, ride.Cue{FromM: p.Distance[i-1], ToM: p.Distance[i], Watts: math.Round(w), Name: "hold"})
	}
	return service.Riding{Setup: ride.Setup{ID: id, Title: "Together", Begun: time.Now(), Way: ride.Controlling, Course: k, Bench: true,
		Rider: ride.Rider{Name: name, Mass: mass, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}, MaxPower: 900, Threshold: 245}}}
}

// machineClock is a computer's clock that is wrong and drifts.
type machineClock struct {
	from  time.Time
	off   time.Duration
	drift float64
}

func (c machineClock) of(true time.Time) time.Time {
	since := true.Sub(c.from)
	return c.from.Add(c.off + since + time.Duration(c.drift*float64(since)))
}

func (c machineClock) true(own time.Time) time.Time {
	since := own.Sub(c.from) - c.off
	return c.from.Add(time.Duration(float64(since) / (1 + c.drift)))
}

func (c machineClock) now() time.Time { return c.of(time.Now()) }

// wrongPort is a bench's port on a machine with such a clock; it counts what
// was read off the devices.
type wrongPort struct {
	sensor.Port
	clock  machineClock
	events chan sensor.Event
	quit   chan struct{}
	shadow *sensor.Hub
	read   int
	done   chan struct{}
}

func newWrongPort(p sensor.Port, clock machineClock) *wrongPort {
	w := &wrongPort{Port: p, clock: clock, events: make(chan sensor.Event), quit: make(chan struct{}), shadow: sensor.NewHub(nil), done: make(chan struct{})}
	go w.pump()
	return w
}

func (w *wrongPort) pump() {
	defer close(w.done)
	defer close(w.events)
	for e := range w.Port.Events() {
		e.At = w.clock.of(e.At)
		select {
		case w.events <- e: // the engine has it
		case <-w.quit:
			for range w.Port.Events() {
			}
			return
		}
		w.read += len(w.shadow.Handle(e).Readings)
		if e.Kind == sensor.Found {
			w.shadow.Connect(e.Device)
		}
	}
}

func (w *wrongPort) Events() <-chan sensor.Event { return w.events }

func (w *wrongPort) Close() error {
	close(w.quit)
	err := w.Port.Close()
	<-w.done
	return err
}

// airwaves is the simulated network of one guest.
type airwaves struct {
	mu    sync.Mutex
	r     *rand.Rand
	to    func() bunch.Transport // nil: nobody is there
	delay time.Duration
	shake time.Duration
	loss  float64
	down  bool
	sent  int
	lost  int
}

// leg is one way of a message; false: it was lost.
func (a *airwaves) leg() bool {
	a.mu.Lock()
	wait := a.delay + time.Duration((2*a.r.Float64()-1)*float64(a.shake))
	lost := a.down || a.r.Float64() < a.loss
	a.sent++
	if lost {
		a.lost++
	}
	a.mu.Unlock()
	time.Sleep(wait)
	return !lost
}

func (a *airwaves) cut(down bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.down = down
}

func (a *airwaves) Exchange(ctx context.Context, q bunch.Ask) (bunch.Answer, error) {
	over := func() (bunch.Answer, error) { <-ctx.Done(); return bunch.Answer{}, ctx.Err() }
	b, err := json.Marshal(q)
	if err != nil {
		return bunch.Answer{}, err
	}
	if q, err = bunch.ReadAsk(bytes.NewReader(b)); err != nil {
		return bunch.Answer{}, err
	}
	to := a.to()
	if !a.leg() || to == nil {
		return over()
	}
	out, err := to.Exchange(ctx, q)
	if err != nil {
		return out, err
	}
	if b, err = json.Marshal(out); err != nil {
		return out, err
	}
	if !a.leg() {
		return over()
	}
	return bunch.ReadAnswer(bytes.NewReader(b))
}

func (a *airwaves) Course(ctx context.Context) ([]byte, error) {
	to := a.to()
	if to == nil {
		return nil, errors.New("nobody is there")
	}
	return to.Course(ctx)
}

// machine is one computer with one rider.
type machine struct {
	t      *testing.T
	name   string
	folder string
	clock  machineClock
	net    *airwaves
	m      *live.Manager
	r      *live.Ride
	world  *bench.World
	port   *wrongPort
	read   int // of ports that are closed

	mu   sync.Mutex
	seen []ride.Snapshot
}

func (x *machine) start() {
	x.m = live.New(live.Config{Folder: x.folder, Now: x.clock.now, Log: slog.New(slog.DiscardHandler),
		Radio: func(ctx context.Context) (sensor.Port, error) {
			x.port = newWrongPort(bench.Realtime(ctx, x.world), x.clock)
			return x.port, nil
		},
		Reach: func(string, string) (bunch.Transport, error) { return x.net, nil }})
}

func (x *machine) bench(seed uint64, mass float64) {
	c := bench.StandardRig(seed)
	c.Start, c.Rider.Mass, c.Rider.CriticalPower, c.Rider.WPrime = time.Now(), mass, 250, 20000
	x.world = bench.New(c)
}

// follow has the bench's rider watch the screen, and writes down every snapshot.
func (x *machine) follow(r *live.Ride) {
	x.r = r
	snaps, stop := r.Engine.Watch()
	go func() {
		defer stop()
		for {
			select {
			case s := <-snaps:
				x.mu.Lock()
				n := len(x.seen)
				fresh := n == 0 || s.At.After(x.seen[n-1].At)
				if fresh {
					x.seen = append(x.seen, s)
				}
				x.mu.Unlock()
				if fresh { // asking shows the same instant again
					r.Engine.Do(func(c *ride.Core, _ time.Time) string {
						x.world.Show(c.Shown())
						c.ConnectAll()
						return ""
					})
				}
			case <-r.Engine.Done():
				return
			}
		}
	}()
}

func (x *machine) now() ride.Snapshot { return x.r.Engine.Snapshot() }

// truth is where the rider was at a true instant, by their own engine.
func (x *machine) truth(at time.Time) (m, speed float64, ok bool) {
	i := sort.Search(len(x.seen), func(i int) bool { return !x.clock.true(x.seen[i].At).Before(at) })
	if i == 0 || i == len(x.seen) {
		return 0, 0, false
	}
	a, b := x.seen[i-1], x.seen[i]
	ta, tb := x.clock.true(a.At), x.clock.true(b.At)
	if a.Stage != ride.Riding || b.Stage != ride.Riding || tb.Sub(ta) > time.Second {
		return 0, 0, false
	}
	share := at.Sub(ta).Seconds() / tb.Sub(ta).Seconds()
	return a.Course.AtM + share*(b.Course.AtM-a.Course.AtM), a.You.SpeedMS + share*(b.You.SpeedMS-a.You.SpeedMS), true
}

// whole tells of a ride's journal that it is whole, and how many readings it holds.
func (x *machine) whole(id string) (readings int) {
	x.t.Helper()
	found, err := journal.Recover(filepath.Join(x.folder, id+".journal"))
	if err != nil {
		x.t.Fatal(err)
	}
	if len(found.Damage) > 0 {
		x.t.Errorf("%s: the journal is damaged: %v", x.name, found.Damage)
	}
	for _, r := range found.Records {
		if bytes.HasPrefix(r.Bytes, []byte(`{"k":"r"`)) {
			readings++
		}
	}
	return readings
}

// machines are four computers with clocks that are wrong; the first is the host's.
func machines(t *testing.T, folder string) []*machine {
	var out []*machine
	for i, x := range []struct {
		name  string
		off   time.Duration
		drift float64
	}{{"Ada", 0, 0}, {"Bo", 3200 * time.Millisecond, 50e-6}, {"Cy", -2700 * time.Millisecond, -50e-6}, {"Dee", 5100 * time.Millisecond, 50e-6}} {
		m := &machine{t: t, name: x.name, folder: filepath.Join(folder, x.name), clock: machineClock{time.Now(), x.off, x.drift},
			net: &airwaves{r: rand.New(rand.NewPCG(uint64(i), 77)), delay: 150 * time.Millisecond, shake: 30 * time.Millisecond, loss: 0.03}}
		if err := os.MkdirAll(m.folder, 0o700); err != nil {
			t.Fatal(err)
		}
		m.start()
		out = append(out, m)
	}
	return out
}

// span is a stretch of true time that is not measured, and why.
type span struct{ from, to time.Time }

// apart is where every page put every rider, second by second, other than its own against where
// they were at that instant, in seconds of the ride. out leaves a page and a
// rider out at an instant.
func apart(all []*machine, from, to time.Time, out func(page, rider int, at time.Time) bool) (errs []float64) {
	for p, page := range all {
		next := from
		for _, s := range page.seen {
			at := page.clock.true(s.At)
			if at.Before(next) || at.After(to) || s.Group == nil {
				continue
			}
			next = at.Add(time.Second - time.Millisecond)
			for _, d := range s.Group.Riders {
				for r, rider := range all {
					if p == r || rider.name != d.Name || d.State != ride.DotRiding || out(p, r, at) {
						continue
					}
					if m, v, ok := rider.truth(at); ok {
						errs = append(errs, math.Abs(d.AtM-m)/math.Max(v, 1))
					}
				}
			}
		}
	}
	sort.Float64s(errs)
	return errs
}

// between is, at every whole second of the wall, how far apart two pages put
// the same rider, in seconds of the ride: what stands on them, up to a quarter
// of a second old, moved on by the speed that stands beside it.
func between(all []*machine, from, to time.Time, out func(page, rider int, at time.Time) bool) (errs []float64) {
	type shown struct{ m, v float64 }
	for at := from; at.Before(to); at = at.Add(time.Second) {
		seen := map[string][]shown{}
		for p, page := range all {
			i := sort.Search(len(page.seen), func(i int) bool { return page.clock.true(page.seen[i].At).After(at) }) - 1
			if i < 0 || page.seen[i].Group == nil || page.seen[i].Stage != ride.Riding {
				continue
			}
			age := at.Sub(page.clock.true(page.seen[i].At)).Seconds()
			for _, d := range page.seen[i].Group.Riders {
				for r, rider := range all {
					if rider.name == d.Name && d.State == ride.DotRiding && !out(p, r, at) {
						seen[d.Name] = append(seen[d.Name], shown{d.AtM + d.SpeedMS*age, math.Max(1, d.SpeedMS)})
					}
				}
			}
		}
		for _, s := range seen {
			for i := range s {
				for j := range i {
					errs = append(errs, math.Abs(s[i].m-s[j].m)/math.Max(s[i].v, s[j].v))
				}
			}
		}
	}
	sort.Float64s(errs)
	return errs
}

func report(t *testing.T, what string, errs []float64) (worst float64) {
	t.Helper()
	n := len(errs)
	if n == 0 {
		t.Fatalf("%s: nothing was compared", what)
	}
	t.Logf("%s: %d places compared, worst %.0f ms of ride time, 99th percentile %.0f ms, median %.0f ms", what, n, 1000*errs[n-1], 1000*errs[n*99/100], 1000*errs[n/2])
	return errs[n-1]
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
		ada, bo, cy, dee := all[0], all[1], all[2], all[3]
		x, err := ada.m.HostGroup(t.Context(), hillyPlan("Home by lamplight"))
		if err != nil {
			t.Fatal(err)
		}
		join := func(m *machine, seed uint64, mass, watts float64) {
			m.bench(seed, mass)
			riding := onHilly(t, m.name, m.name, mass, watts)
			riding.Setup.Begun = m.clock.now()
			if m == ada {
				r, err := x.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
				if err != nil {
					t.Fatal(err)
				}
				m.follow(r)
				return
			}
			m.net.to = x.Inside
			g, err := m.m.Visit(t.Context(), "192.0.2.7", "AAAA-BBBB-CCCC-DDDD-EEEE")
			if err != nil {
				t.Fatal(err)
			}
			if g.Title() != "Home by lamplight" || math.Abs(g.Profile().Length()-16000) > 1 {
				t.Errorf("%s visits %q of %.0f m", m.name, g.Title(), g.Profile().Length())
			}
			r, err := g.Ride(t.Context(), riding, live.Choice{Kind: "radio"})
			if err != nil {
				t.Fatal(err)
			}
			m.follow(r)
		}
		join(ada, 1, 70, 200)
		join(bo, 2, 78, 215)
		join(cy, 3, 62, 185)
		time.Sleep(10 * time.Second)
		if why := bo.r.Engine.Key(ride.Key{Kind: ride.KeyStart}); why == "" {
			t.Error("a rider began before the gun")
		}
		if err := x.Count(20); err != nil {
			t.Fatal(err)
		}
		gun := time.Now().Add(20 * time.Second)
		time.Sleep(15 * time.Second)
		for _, m := range []*machine{ada, bo, cy} {
			if s := m.now(); s.Stage != ride.Waiting || math.Abs(s.GunInS-5) > 0.5 {
				t.Errorf("%s is %s, gun in %.2f s", m.name, s.Stage, s.GunInS)
			}
		}
		time.Sleep(65 * time.Second) // a minute after the gun
		for _, m := range []*machine{ada, bo, cy} {
			if s := m.now(); s.Stage != ride.Riding || math.Abs(s.Group.ClockS-60) > 0.4 || math.Abs(s.ClockS-60) > 0.4 {
				t.Errorf("%s is %s at %.2f s, group %.2f s", m.name, s.Stage, s.ClockS, s.Group.ClockS)
			}
		}
		if err := x.Say("smooth to the first climb"); err != nil {
			t.Fatal(err)
		}
		if why := cy.r.Engine.Key(ride.Key{Kind: ride.KeyPhrase, Value: 2}); why != "" {
			t.Error(why)
		}
		join(dee, 4, 85, 230) // a minute late
		time.Sleep(5 * time.Second)
		for _, m := range []*machine{ada, bo} {
			s := m.now()
			if s.Said != "smooth to the first climb" {
				t.Errorf("%s reads %q", m.name, s.Said)
			}
			if len(s.Group.Phrases) != 1 || s.Group.Phrases[0].From != "Cy" || s.Group.Phrases[0].Words != ride.Phrases[2] {
				t.Errorf("%s hears %+v", m.name, s.Group.Phrases)
			}
		}
		time.Sleep(75 * time.Second)
		late := dotOf(t, ada.now(), "Dee")
		if late.LateS < 60 || late.LateS > 70 {
			t.Errorf("Dee left %.1f s after the gun", late.LateS)
		}
		if err := x.BringUp(late.Key); err != nil {
			t.Fatal(err)
		}
		brought := time.Now()
		time.Sleep(3 * time.Second)
		ridden := dee.now().Course.AtM
		if last := dotOf(t, ada.now(), "Dee"); ridden < 500 || math.Abs(last.AtM-ridden) > 20 {
			t.Errorf("Dee at %.0f m after being brought up, shown at %.0f m", ridden, last.AtM)
		}
		time.Sleep(gun.Add(300 * time.Second).Sub(time.Now()))
		if err := x.Keep(true); err != nil {
			t.Fatal(err)
		}
		time.Sleep(gun.Add(600 * time.Second).Sub(time.Now()))

		gone := span{time.Now(), time.Now().Add(60 * time.Second)}
		for _, m := range all[1:] {
			m.net.cut(true)
		}
		time.Sleep(30 * time.Second)
		for _, m := range all[1:] {
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
		for _, m := range all[1:] {
			m.net.cut(false)
		}
		time.Sleep(5 * time.Second)
		for _, m := range all {
			s := m.now()
			for _, d := range s.Group.Riders {
				if d.State != ride.DotRiding {
					t.Errorf("%s sees %s %s after the host is back", m.name, d.Name, d.State)
				}
			}
		}

		time.Sleep(gun.Add(1000 * time.Second).Sub(time.Now()))
		left := time.Now()
		bo.r.Engine.Key(ride.Key{Kind: ride.KeyEnd}) // early
		time.Sleep(20 * time.Second)
		for _, m := range []*machine{ada, cy, dee} {
			if d := dotOf(t, m.now(), "Bo"); d.State != ride.DotGone {
				t.Errorf("%s sees Bo %s after he ended", m.name, d.State)
			}
		}
		time.Sleep(gun.Add(1100 * time.Second).Sub(time.Now()))
		lost := time.Now()
		cy.net.cut(true) // for good
		time.Sleep(20 * time.Second)
		if d := dotOf(t, dee.now(), "Cy"); d.State != ride.DotSilent {
			t.Errorf("Dee sees Cy %s after the link was lost for good", d.State)
		}
		time.Sleep(gun.Add(1260 * time.Second).Sub(time.Now()))
		end := time.Now()
		for _, m := range all {
			m.r.Engine.Key(ride.Key{Kind: ride.KeyEnd})
		}
		for _, m := range all {
			<-m.r.Settled()
			if err := m.r.Failed(); err != nil {
				t.Errorf("%s: %v", m.name, err)
			}
			m.m.Close()
		}

		out := func(p, r int, at time.Time) bool {
			hidden := p != r && (p > 0 || r > 0) && at.After(gone.from) && at.Before(gone.to.Add(2*time.Second)) // nobody can know
			silent := p != r && (p == 2 || r == 2) && at.After(lost)
			moved := r == 3 && at.After(brought) && at.Before(brought.Add(3*time.Second))
			ended := r == 1 && at.After(left)
			return hidden || silent || moved || ended
		}
		errs := apart(all, gun.Add(10*time.Second), end, out)
		if worst := report(t, "four rigs", errs); worst > 0.2 {
			t.Errorf("a page was %.0f ms of ride time off", 1000*worst)
		}
		if worst := report(t, "two pages at one instant of the wall", between(all, gun.Add(10*time.Second), end, out)); worst > 0.2 {
			t.Errorf("two pages were %.0f ms of ride time apart", 1000*worst)
		}
		if len(errs) < 9000 {
			t.Errorf("only %d places were compared", len(errs))
		}
		for _, m := range all {
			n := m.whole(m.name)
			if n != m.port.read || n < 2000 {
				t.Errorf("%s: the journal holds %d readings, the bench gave %d", m.name, n, m.port.read)
			}
			sum, err := m.m.Summary(m.name)
			if err != nil || !sum.Whole || !sum.Ended {
				t.Errorf("%s: %+v %v", m.name, sum, err)
			}
			t.Logf("%s: %d readings, all in the journal; %.2f km ridden; %d of %d messages lost; %+v", m.name, n, sum.Totals.DistanceM/1000, m.net.lost, m.net.sent, sum.Company)
		}
		if sum, _ := dee.m.Summary("Dee"); sum.Company == nil || sum.Company.BroughtM < 300 {
			t.Errorf("Dee's summary does not say that she was brought up: %+v", sum.Company)
		} else if at := dee.now().Course.AtM; math.Abs(at-sum.Company.BroughtM-sum.Totals.DistanceM) > 15 {
			t.Errorf("Dee: at %.0f m, brought up %.0f m, distance %.0f m", at, sum.Company.BroughtM, sum.Totals.DistanceM)
		}
	})
}

func dotOf(t *testing.T, s ride.Snapshot, name string) ride.GroupDot {
	t.Helper()
	if s.Group == nil {
		t.Fatalf("%s rides in no group", s.Title)
	}
	for _, d := range s.Group.Riders {
		if d.Name == name {
			return d
		}
	}
	t.Fatalf("nobody called %s in %+v", name, s.Group.Riders)
	return ride.GroupDot{}
}

// memory is a folder without a disk under it where there is one: what a test of
// twenty minutes waits for is the disk.
func memory(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("/dev/shm", "chainline-test-*")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(folder); err != nil {
			t.Error(err)
		}
	})
	return folder
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
