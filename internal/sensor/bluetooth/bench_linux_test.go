package bluetooth

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/porttest"
)

// hurry is how many seconds of the bench pass in one of the wall.
const hurry = 20

// rigOnBus is a bench rig behind the fake service: what its devices say and
// are asked goes over the bus, in both directions.
type rigOnBus struct {
	world   *bench.World
	devices map[string]*benchDevice
	quit    chan struct{}
	done    sync.WaitGroup
}

type benchDevice struct {
	*fakeDevice
	id    string
	world *bench.World
	links chan sensor.Event // Up or Lost, while connecting
	asked chan sensor.Event // Answer or Wrote
	acked chan struct{}     // the acknowledgement is on the wire
	mu    sync.Mutex
	tries bool
	heard bool // run's own
}

func putOnBus(t *testing.T, f *fakeService, w *bench.World) *rigOnBus {
	r := &rigOnBus{world: w, devices: map[string]*benchDevice{}, quit: make(chan struct{})}
	for i, part := range []string{"trainer", "meter", "belt"} {
		id := w.Device(part)
		if id == "" {
			continue
		}
		b := &benchDevice{id: id, world: w, links: make(chan sensor.Event, 1), asked: make(chan sensor.Event, 1), acked: make(chan struct{}, 1)}
		b.fakeDevice = &fakeDevice{f: f, address: fmt.Sprintf("BE:00:00:00:00:%02X", i), rssi: -60}
		b.connect, b.linked, b.read, b.write = b.raise, b.changed, b.answer, b.take
		r.devices[id] = b
	}
	w.Do(sensor.Request{Kind: sensor.ScanOn})
	r.done.Go(func() { r.run(f) })
	t.Cleanup(func() { close(r.quit); r.done.Wait() })
	return r
}

func (r *rigOnBus) part(name string) *benchDevice { return r.devices[r.world.Device(name)] }

// run moves the bench by the wall clock and has its devices speak.
func (r *rigOnBus) run(f *fakeService) {
	clock := time.NewTicker(time.Millisecond)
	defer clock.Stop()
	wall, virtual := time.Now(), r.world.Now()
	for {
		select {
		case <-r.quit:
			return
		case <-clock.C:
		}
		for _, e := range r.world.Advance(virtual.Add(hurry * time.Since(wall))) {
			if d := r.devices[e.Device]; d != nil {
				d.said(f, e)
			}
		}
	}
}

func (d *benchDevice) said(f *fakeService, e sensor.Event) {
	switch e.Kind {
	case sensor.Found:
		if !d.heard {
			d.heard = true
			d.name, d.services, d.data = e.Advert.Name, e.Advert.Services, e.Advert.ServiceData
			f.addDevice(d.fakeDevice)
		}
		d.advertise(int16(e.Advert.RSSI))
	case sensor.Up, sensor.Lost:
		d.mu.Lock()
		tries := d.tries
		d.tries = false
		d.mu.Unlock()
		if tries {
			d.links <- e
		} else if e.Kind == sensor.Lost {
			d.drop()
		}
	case sensor.Value:
		d.notify(e.Char, e.Bytes)
	case sensor.Answer:
		d.asked <- e
	case sensor.Wrote:
		d.asked <- e
		if e.Err == nil {
			<-d.acked // what the write leads to comes after it
		}
	}
}

// raise is the link being established; the caller is the fake's Connect.
func (d *benchDevice) raise() *dbus.Error {
	d.mu.Lock()
	d.tries = true
	d.mu.Unlock()
	d.world.Do(sensor.Request{Kind: sensor.Connect, Device: d.id})
	e := <-d.links
	if e.Kind != sensor.Up {
		return dbus.NewError("org.bluez.Error.Failed", []any{e.Err.Error()})
	}
	if chars := does(d.fakeDevice, &d.chars); chars == nil {
		for _, n := range e.Chars {
			c := &fakeChar{number: n, flags: []string{"read"}}
			for _, known := range gatt.Known {
				if n == known {
					c.flags = []string{"notify"}
				}
			}
			chars = append(chars, c)
		}
		d.exportChars(chars)
		d.set(func() { d.chars = chars })
	}
	return nil
}

func (d *benchDevice) changed(up bool) {
	if !up {
		d.world.Do(sensor.Request{Kind: sensor.Disconnect, Device: d.id})
	}
}

func (d *benchDevice) answer(char uint16) ([]byte, *dbus.Error) {
	d.world.Do(sensor.Request{Kind: sensor.Read, Device: d.id, Char: char})
	e := <-d.asked
	if e.Err != nil {
		return nil, dbus.NewError("org.bluez.Error.Failed", []any{e.Err.Error()})
	}
	return e.Bytes, nil
}

func (d *benchDevice) take(char uint16, b []byte) (*dbus.Error, func()) {
	d.world.Do(sensor.Request{Kind: sensor.Write, Device: d.id, Char: char, Bytes: b})
	e := <-d.asked
	if e.Err != nil {
		return dbus.NewError("org.bluez.Error.Failed", []any{e.Err.Error()}), nil
	}
	return nil, func() { d.acked <- struct{}{} }
}

// TestConductOverTheBus: the suite every trainer passes, with octets going
// all the way: bench, service, bus, port.
func TestConductOverTheBus(t *testing.T) {
	t.Parallel()
	address, _ := startBus(t)
	porttest.Trainer(t, porttest.Subject{
		Within: 6 * time.Second, Quiet: 150 * time.Millisecond,
		Open: func(t *testing.T) porttest.Rig {
			f := startService(t, address)
			t.Cleanup(func() { _, _ = f.conn.ReleaseName(bluez) })
			w := bench.New(bench.StandardRig(13))
			r := putOnBus(t, f, w)
			d := r.part("trainer")
			return porttest.Rig{
				Face:       porttest.OfPort(open(t.Context(), Options{Address: address}, quick)),
				Device:     d.address,
				Cut:        func() { w.Inject(bench.Fault{Kind: bench.Disconnects, Device: "trainer"}) },
				Taken:      func() { w.Inject(bench.Fault{Kind: bench.ControlTaken, Device: "trainer"}) },
				Silent:     func() { w.Inject(bench.Fault{Kind: bench.NeverAnswers, Device: "trainer"}) },
				Target:     func() (float64, bool) { t := w.Truth(); return t.Target, t.Holding },
				Subscribed: d.subscribed,
			}
		},
	})
}

// ride is a hub at a port, as the ride's engine runs it.
type ride struct {
	t    *testing.T
	hub  *sensor.Hub
	port sensor.Port
	seen map[sensor.Quantity]int
}

func (r *ride) do(out sensor.Out) {
	for _, q := range out.Requests {
		r.port.Do(q)
	}
	for _, v := range out.Readings {
		r.seen[v.Quantity]++
	}
}

func (r *ride) until(what string, so func() bool) {
	r.t.Helper()
	limit := time.After(8 * time.Second)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !so() {
		select {
		case e := <-r.port.Events():
			r.do(r.hub.Handle(e))
		case now := <-tick.C:
			r.do(r.hub.Tick(now))
		case <-limit:
			r.t.Fatalf("waited for %s in vain; devices %+v", what, r.hub.Devices())
		}
	}
}

func (r *ride) up() int {
	n := 0
	for _, d := range r.hub.Devices() {
		if d.Link == sensor.Connected {
			n++
		}
	}
	return n
}

// TestHubOverTheBus: a command of the ride becomes the bench's target, and
// what the bench measures becomes readings, of three devices at once.
func TestHubOverTheBus(t *testing.T) {
	t.Parallel()
	address, _ := startBus(t)
	f := startService(t, address)
	world := bench.New(bench.StandardRig(14))
	rig := putOnBus(t, f, world)
	p := open(t.Context(), Options{Address: address}, quick)
	defer func() { _ = p.Close() }()
	r := &ride{t, sensor.NewHub(nil), p, map[sensor.Quantity]int{}}
	r.do(r.hub.Scan(true))
	r.until("three devices", func() bool { return len(r.hub.Devices()) == 3 })
	r.do(r.hub.Scan(false))
	for _, d := range r.hub.Devices() {
		r.do(r.hub.Connect(d.ID))
	}
	r.until("three links", func() bool { return r.up() == 3 })
	world.Show(bench.Shown{Watts: 180, Cadence: 90, Pedalling: true})
	r.until("power, cadence and heart rate", func() bool {
		return r.seen[sensor.Power] > 6 && r.seen[sensor.Cadence] > 3 && r.seen[sensor.HeartRate] > 3
	})
	trainer := rig.part("trainer").address
	holds := func(watts float64) func() bool {
		return func() bool { is := world.Truth(); return is.Holding && is.Target == watts }
	}
	r.do(r.hub.Command(trainer, sensor.Command{Kind: sensor.TargetPower, Watts: 180}, time.Now()))
	r.until("the target of 180 W", holds(180))
	world.Inject(bench.Fault{Kind: bench.Disconnects, Device: "trainer"})
	r.until("the lost link", func() bool { return r.up() == 2 })
	r.until("the link again", func() bool { return r.up() == 3 })
	r.do(r.hub.Command(trainer, sensor.Command{Kind: sensor.TargetPower, Watts: 120}, time.Now()))
	r.until("the target of 120 W", holds(120))
}
