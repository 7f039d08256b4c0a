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
					if p == r || rider.name != d.Name || out(p, r, at) {
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
