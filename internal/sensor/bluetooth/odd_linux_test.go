package bluetooth

import (
	"context"
	"io"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// odd makes values of all kinds out of octets: what a service of another
// version, or none at all, might put where something else is expected.
type odd struct{ b []byte }

func (o *odd) byte() byte {
	if len(o.b) == 0 {
		return 0
	}
	c := o.b[0]
	o.b = o.b[1:]
	return c
}

var (
	oddInterfaces = []string{adapterIs, deviceIs, charIs, "org.bluez.Battery1", "", propertiesA}
	oddNames      = []string{"Connected", "ServicesResolved", "Value", "Powered", "Discovering", "RSSI", "Name", "UUIDs", "ServiceData", "Address", "Adapter", "UUID", "Flags", ""}
	oddSignals    = []string{propertiesA + ".PropertiesChanged", objectsAt + ".InterfacesAdded", objectsAt + ".InterfacesRemoved", daemon + ".NameOwnerChanged", "org.bluez.Device1.Disconnected"}
)

func (o *odd) pick(from []string) string { return from[int(o.byte())%len(from)] }

func (o *odd) path() dbus.ObjectPath {
	base := hci0 + "/dev_C0_FF_EE_00_00_01"
	return []dbus.ObjectPath{"/", hci0, "/org/bluez/hci1", base, base + "/service0001/char0004", base + "/service0001/char0002", "", "x"}[o.byte()%8]
}

func (o *odd) properties(depth int) properties {
	p := properties{}
	for range o.byte() % 4 {
		p[o.pick(oddNames)] = dbus.MakeVariant(o.value(depth - 1))
	}
	return p
}

func (o *odd) value(depth int) any {
	kind := o.byte() % 16
	if depth <= 0 {
		kind %= 9
	}
	switch kind {
	case 0:
		return o.byte()%2 == 0
	case 1:
		return int16(o.byte()) - 100
	case 2:
		return []byte{o.byte(), o.byte()}
	case 3:
		return []string{long(0x1826), "nonsense", o.pick(oddNames)}
	case 4:
		return "C0:FF:EE:00:00:01"
	case 5:
		return long(gatt.Known[int(o.byte())%len(gatt.Known)])
	case 6:
		return o.path()
	case 7:
		return uint64(o.byte())
	case 8:
		return []string{"notify", "indicate"}
	case 9, 10:
		return o.properties(depth)
	case 11, 12:
		return map[string]properties{o.pick(oddInterfaces): o.properties(depth)}
	case 13:
		return []any{o.value(depth - 1)}
	case 14:
		return dbus.MakeVariant(o.value(depth - 1))
	}
	return o.pick(oddInterfaces)
}

// signal is right in places, so that what is wrong gets somewhere.
func (o *odd) signal() arrived {
	s := &dbus.Signal{Sender: ":1.7", Name: o.pick(oddSignals), Path: o.path()}
	if s.Name == daemon+".NameOwnerChanged" {
		s.Sender = daemon
	}
	right := o.byte()
	switch {
	case right < 100 && s.Name == oddSignals[0]:
		s.Body = []any{o.pick(oddInterfaces), o.properties(3), []string{"RSSI"}}
	case right < 100 && s.Name == oddSignals[1]:
		s.Body = []any{o.path(), map[string]properties{o.pick(oddInterfaces): o.properties(3), o.pick(oddInterfaces): o.properties(3)}}
	case right < 100 && s.Name == oddSignals[2]:
		s.Body = []any{o.path(), []string{o.pick(oddInterfaces)}}
	case right < 60:
		s.Body = []any{bluez, "", ":1.7"}
	default:
		for range o.byte() % 4 {
			s.Body = append(s.Body, o.value(4))
		}
	}
	return arrived{s, time.Unix(1, 0)}
}

// nowhere is a bus that takes everything and says nothing.
type nowhere struct{ closed chan struct{} }

func (nowhere) Write(b []byte) (int, error) { return len(b), nil }
func (n nowhere) Read([]byte) (int, error)  { <-n.closed; return 0, io.EOF }
func (n nowhere) Close() error              { close(n.closed); return nil }

// oddPort is a port without its goroutine, with a device connected and one
// being connected.
func oddPort(t testing.TB) *port {
	p := &port{times: quick, queue: newQueue(), wake: make(chan struct{}, 1), links: map[string]*link{}, objects: newObjects(), ready: true, scanning: true}
	p.times.retry, p.times.busy = time.Hour, time.Hour
	p.ctx, p.cancel = context.WithCancel(context.Background())
	conn, err := dbus.NewConn(nowhere{make(chan struct{})}, dbus.WithContext(p.ctx))
	if err != nil {
		t.Fatal(err)
	}
	p.bus = &bus{conn: conn, inbox: &inbox{wake: p.stir}, done: make(chan *dbus.Call, 2*callsOpen), open: map[*dbus.Call]func(*dbus.Call){}, owner: ":1.7"}
	p.agent = newAgent(conn)
	p.objects.add(hci0, map[string]properties{adapterIs: {"Powered": dbus.MakeVariant(true)}})
	p.look()
	d := trainer(1)
	d.path, d.up = hci0+"/dev_C0_FF_EE_00_00_01", true
	p.objects.add(d.path, map[string]properties{deviceIs: d.properties()})
	for i, c := range d.chars {
		c.path = d.path + dbus.ObjectPath([]string{"/service0001/char0001", "/service0001/char0002", "/service0001/char0003", "/service0001/char0004", "/service0001/char0005"}[i])
		p.objects.add(c.path, map[string]properties{charIs: c.properties()})
	}
	p.connect(sensor.Request{Kind: sensor.Connect, Device: d.address})
	l := p.links[d.address]
	l.state = resolving
	p.subscribe(l)
	l.heard[d.chars[1].path] = gatt.IndoorBikeData
	p.isUp(l)
	p.connect(sensor.Request{Kind: sensor.Connect, Device: "C0:FF:EE:00:00:02"})
	return p
}

// oddly feeds signals and answers, and holds what comes out to the promise.
func oddly(t testing.TB, octets []byte) {
	p := oddPort(t)
	defer p.cancel()
	o := &odd{octets}
	for range 64 {
		if len(o.b) == 0 {
			break
		}
		if o.byte()%8 == 0 {
			answerOne(p, &dbus.Call{Body: []any{o.value(2)}})
		}
		p.signal(o.signal())
	}
	up := map[string]bool{}
	for e, ok := p.queue.take(); ok; e, ok = p.queue.take() {
		switch {
		case e.Kind == sensor.Up && up[e.Device], e.Kind == sensor.Value && !up[e.Device]:
			t.Errorf("%+v, up: %v", e, up[e.Device])
		case e.Kind == sensor.Lost && e.Err == nil, e.Kind == sensor.RadioOff && e.Err == nil:
			t.Errorf("%+v without a reason", e)
		case e.Kind == sensor.Value && len(e.Bytes) != 2:
			t.Errorf("%+v was never sent", e)
		}
		up[e.Device] = e.Kind == sensor.Up || e.Kind != sensor.Lost && up[e.Device]
	}
}

// answerOne gives an answer to one of the calls under way, the same one for
// the same octets.
func answerOne(p *port, answer *dbus.Call) {
	var first *dbus.Call
	for c := range p.bus.open {
		if first == nil || c.Method+string(c.Path) < first.Method+string(first.Path) {
			first = c
		}
	}
	if then := p.bus.open[first]; then != nil {
		delete(p.bus.open, first)
		then(answer)
	}
}

func TestOddSignals(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 7))
	for range 1500 {
		b := make([]byte, r.IntN(600))
		for i := range b {
			b[i] = byte(r.Uint32())
		}
		oddly(t, b)
	}
}

func FuzzSignals(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("\x01\x00\x03\x00\x01\x01\x00\x00\x01\x00\x04\x00\x02\x02\x01\x02\x03"))
	r := rand.New(rand.NewPCG(1, 2))
	for range 8 {
		b := make([]byte, 400)
		for i := range b {
			b[i] = byte(r.Uint32())
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) { oddly(t, b) })
}

// TestOddOverTheBus: the same over a real bus; the port still works after.
func TestOddOverTheBus(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	r := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		b := make([]byte, 100)
		for i := range b {
			b[i] = byte(r.Uint32())
		}
		s := (&odd{b}).signal()
		if s.Sender == daemon || !s.Path.IsValid() {
			continue
		}
		_ = f.conn.Emit(s.Path, s.Name, s.Body...) // what cannot be sent need not be survived
	}
	far := f.addDevice(trainer(99))
	f.power(hci0, false)
	f.emit("/", objectsAt+".InterfacesAdded", hci0, map[string]properties{adapterIs: {"Powered": dbus.MakeVariant(true)}})
	f.addDevice(far)
	d.drop()
	// Some of the signals may still be on their way: as the hub does, it tries
	// again.
	limit := time.Now().Add(5 * time.Second)
	w.ask(sensor.Connect, far.address, 0)
	for e := w.next(); e.Kind != sensor.Up || e.Device != far.address; e = w.next() {
		if e.Kind == sensor.Lost && e.Device == far.address {
			if time.Now().After(limit) {
				t.Fatalf("no link: %v", e.Err)
			}
			w.ask(sensor.Connect, far.address, 0)
		}
	}
	far.notify(gatt.IndoorBikeData, []byte{1})
	w.until(sensor.Value, far.address)
}
