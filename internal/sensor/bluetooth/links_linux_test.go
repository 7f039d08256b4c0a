package bluetooth

import (
	"context"
	"encoding/binary"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// TestBurst: twenty thousand notifications, read only when all are there,
// come out complete and in order, whatever is advertised between.
func TestBurst(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d, other := f.addDevice(trainer(1)), f.addDevice(trainer(2))
	w := watch(t, address, quick)
	w.ask(sensor.ScanOn, "", 0)
	w.connect(d)
	const n = 20_000
	for i := range n {
		d.notify(gatt.IndoorBikeData, binary.BigEndian.AppendUint32(nil, uint32(i)))
		if i%20 == 0 {
			other.advertise(int16(-30 - i%60))
		}
	}
	adverts := 0
	for i := uint32(0); i < n; {
		switch e := w.next(); e.Kind {
		case sensor.Value:
			if got := binary.BigEndian.Uint32(e.Bytes); got != i || e.Char != gatt.IndoorBikeData {
				t.Fatalf("value %d came in the place of %d", got, i)
			}
			i++
		case sensor.Found:
			adverts++
		}
	}
	if adverts > n/20+2 {
		t.Errorf("%d advertisements of %d", adverts, n/20)
	}
}

// TestAcknowledgedFirst: the answer of a control point is a signal, the
// acknowledgement a reply; on the wire one follows the other at once.
func TestAcknowledgedFirst(t *testing.T) {
	address, _ := startBus(t)
	d := startService(t, address).addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	d.set(func() {
		d.write = func(n uint16, b []byte) (*dbus.Error, func()) {
			return nil, func() { d.notify(n, []byte{0x80, b[0], 1}) }
		}
	})
	for i := range 500 {
		w.ask(sensor.Write, d.address, gatt.MachineControlPoint, byte(i))
		if e := w.next(); e.Kind != sensor.Wrote || e.Err != nil {
			t.Fatalf("write %d: first came %+v", i, e)
		}
		if e := w.next(); e.Kind != sensor.Value || e.Bytes[1] != byte(i) {
			t.Fatalf("write %d: then came %+v", i, e)
		}
	}
}

// TestDrop: a link lost while a wish is open and others wait.
func TestDrop(t *testing.T) {
	address, _ := startBus(t)
	d := startService(t, address).addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	first := d.subscribed()
	hang := make(chan struct{})
	d.set(func() {
		d.write = func(uint16, []byte) (*dbus.Error, func()) { <-hang; return nil, nil }
	})
	defer close(hang)
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 0)
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 1)
	w.ask(sensor.Read, d.address, gatt.BatteryLevel)
	w.ask(sensor.Read, d.address, 0x2AFE)
	if e := w.next(); e.Kind != sensor.Answer || e.Char != 0x2AFE || e.Err == nil {
		t.Errorf("a characteristic that is not there: %+v", e)
	}
	d.drop()
	for _, want := range []sensor.EventKind{sensor.Wrote, sensor.Wrote, sensor.Answer, sensor.Lost} {
		if e := w.next(); e.Kind != want || e.Err == nil {
			t.Errorf("after the drop came %+v, want kind %d with a reason", e, want)
		}
	}
	d.set(func() { d.write = nil })
	d.notify(gatt.IndoorBikeData, []byte{1}) // nobody listens
	w.connect(d)
	if got := d.subscribed(); !slices.Equal(got, first) {
		t.Errorf("subscribed to %04X, the first time to %04X", got, first)
	}
	d.notify(gatt.IndoorBikeData, []byte{2})
	d.notify(gatt.IndoorBikeData, []byte{3})
	for want := byte(2); want < 4; want++ {
		if e := w.next(); e.Kind != sensor.Value || e.Bytes[0] != want {
			t.Errorf("after reconnecting came %+v, want value %d", e, want)
		}
	}
	if w.lost[d.address] != 1 {
		t.Errorf("lost %d times", w.lost[d.address])
	}
}

// TestConnectInVain: every way an attempt can fail is said once, in words.
func TestConnectInVain(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	hang := make(chan struct{})
	defer close(hang)
	for n, c := range []struct {
		name string
		make func(d *fakeDevice)
		text string
	}{
		{"it never answers", func(d *fakeDevice) { d.connect = func() *dbus.Error { <-hang; return nil } }, errSilent.Error()},
		{"its services are never found", func(d *fakeDevice) { d.silent = true }, errSilent.Error()},
		{"it is refused", func(d *fakeDevice) {
			d.connect = func() *dbus.Error {
				return dbus.NewError("org.bluez.Error.Failed", []any{"le-connection-abort-by-local"})
			}
		}, "abort-by-local"},
		{"every subscription is refused", func(d *fakeDevice) {
			for _, c := range d.chars {
				c.refuse = dbus.NewError("org.bluez.Error.NotSupported", []any{"Operation is not supported"})
			}
		}, "not supported"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := trainer(10 + n)
			c.make(d)
			f.addDevice(d)
			short := quick
			short.connect = 150 * time.Millisecond
			w := watch(t, address, short)
			w.ask(sensor.Connect, d.address, 0)
			e := w.until(sensor.Lost, d.address)
			if e.Err == nil || !strings.Contains(e.Err.Error(), c.text) {
				t.Errorf("lost because %v, want %q", e.Err, c.text)
			}
			wait(t, "the link to be cleared away", func() bool { return f.noted("disconnect "+d.address) == 1 })
		})
	}
	w := watch(t, address, quick)
	w.ask(sensor.Connect, "somebody", 0)
	if e := w.until(sensor.Lost, "somebody"); e.Err != errAddress {
		t.Errorf("lost because %v", e.Err)
	}
}

// TestFoundAgain: the service forgets devices; one that is remembered by us
// is looked for, whether or not anybody scans.
func TestFoundAgain(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	w := watch(t, address, quick)
	d := trainer(1)
	w.ask(sensor.Disconnect, d.address, 0) // its answer: the radio is known by then
	w.until(sensor.Lost, d.address)
	w.ask(sensor.Connect, d.address, 0)
	wait(t, "the search", func() bool { return f.noted("scan on") == 1 })
	f.addDevice(d)
	w.until(sensor.Up, d.address)
	wait(t, "the end of the search", func() bool { return f.noted("scan off") == 1 })
	f.remove(d)
	if e := w.until(sensor.Lost, d.address); e.Err != errLost {
		t.Errorf("removed, and lost because %v", e.Err)
	}
}

// TestHeldBySystem: after a kill the system still holds the trainer, which
// then advertises no more.
func TestHeldBySystem(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := trainer(1)
	d.up = true
	f.addDevice(d)
	w := watch(t, address, quick)
	w.ask(sensor.ScanOn, "", 0)
	w.until(sensor.Found, d.address)
	w.connect(d)
	d.notify(gatt.IndoorBikeData, []byte{9})
	w.until(sensor.Value, d.address)
}

func TestRefusedSubscriptionIsLeftOut(t *testing.T) {
	address, _ := startBus(t)
	d := trainer(1)
	d.chars[3].refuse = dbus.NewError("org.bluez.Error.NotPermitted", []any{"no"})
	startService(t, address).addDevice(d)
	w := watch(t, address, quick)
	if e := w.connect(d); slices.Contains(e.Chars, gatt.MachineControlPoint) || len(e.Chars) != 4 {
		t.Errorf("up with %04X, although the control point cannot be heard", e.Chars)
	}
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 0)
	if e := w.until(sensor.Wrote, d.address); e.Err != errNoChar {
		t.Errorf("written to all the same: %v", e.Err)
	}
}

// TestPairing: a control point that wants encryption is paired with, by our
// own agent, which lets nobody else in.
func TestPairing(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := trainer(1)
	d.chars[3].refuse = dbus.NewError("org.bluez.Error.Failed", []any{"Operation failed with ATT error: 0x0f"})
	var answers []error
	d.pairing = func() *dbus.Error {
		f.mu.Lock()
		agent := f.conn.Object(f.agent, agentPath)
		f.mu.Unlock()
		answers = []error{
			agent.Call(agentIs+".RequestConfirmation", 0, d.path, uint32(123456)).Err,
			agent.Call(agentIs+".RequestAuthorization", 0, d.path).Err,
			agent.Call(agentIs+".RequestConfirmation", 0, hci0+"/dev_stranger", uint32(1)).Err,
			agent.Call(agentIs+".RequestPinCode", 0, d.path).Err,
		}
		return nil
	}
	f.addDevice(d)
	w := watch(t, address, quick)
	w.connect(d)
	if f.noted("agent NoInputNoOutput") != 1 || f.noted("pair "+d.address) != 1 {
		t.Errorf("calls %v", f.calls)
	}
	if len(answers) != 4 || answers[0] != nil || answers[1] != nil || answers[2] == nil || answers[3] == nil {
		t.Errorf("the agent answered %v; want yes, yes, no, no", answers)
	}
	if got := d.subscribed(); len(got) != 4 || got[0] != gatt.MachineControlPoint {
		t.Errorf("subscribed to %04X", got)
	}
}

// TestSubscriptionUnderWay: the service may still be renewing an older one.
func TestSubscriptionUnderWay(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := trainer(1)
	d.chars[1].refuse = dbus.NewError("org.bluez.Error.InProgress", []any{"In Progress"})
	f.addDevice(d)
	w := watch(t, address, quick)
	w.ask(sensor.Connect, d.address, 0)
	wait(t, "the first subscriptions", func() bool { return len(d.subscribed()) == 2 })
	d.set(func() { d.chars[1].refuse = nil })
	w.until(sensor.Up, d.address)
	if got := d.subscribed(); len(got) != 4 {
		t.Errorf("subscribed to %04X", got)
	}
}

// TestLateWishIsNotSent: a command that waited too long must not reach a
// brake when the way is free at last.
func TestLateWishIsNotSent(t *testing.T) {
	address, _ := startBus(t)
	d := startService(t, address).addDevice(trainer(1))
	short := quick
	short.ask = 100 * time.Millisecond
	w := watch(t, address, short)
	w.connect(d)
	var mu sync.Mutex
	var written []byte
	hang := make(chan struct{})
	d.set(func() {
		d.write = func(_ uint16, b []byte) (*dbus.Error, func()) {
			mu.Lock()
			written = append(written, b...)
			mu.Unlock()
			if b[0] == 1 {
				<-hang
			}
			return nil, nil
		}
	})
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 1)
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 2)
	for range 2 {
		if e := w.until(sensor.Wrote, d.address); e.Err == nil || e.Err.Error() != errSilent.Error() {
			t.Errorf("wrote %+v, want it to be too late", e)
		}
	}
	close(hang)
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 3)
	if e := w.until(sensor.Wrote, d.address); e.Err != nil {
		t.Errorf("and then: %v", e.Err)
	}
	mu.Lock()
	defer mu.Unlock()
	if string(written) != "\x01\x03" {
		t.Errorf("written % X, want 01 03", written)
	}
}

// TestSeveralAtOnce: eight devices connected, asked and heard side by side.
func TestSeveralAtOnce(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	w := watch(t, address, quick)
	var all []*fakeDevice
	for i := range 8 {
		all = append(all, f.addDevice(trainer(i)))
		w.ask(sensor.Connect, all[i].address, 0)
	}
	for up := 0; up < len(all); {
		if w.next().Kind == sensor.Up {
			up++
		}
	}
	const each = 200
	for _, d := range all {
		go func() {
			for i := range each {
				d.notify(gatt.IndoorBikeData, []byte{byte(i)})
			}
		}()
		w.ask(sensor.Read, d.address, gatt.FitnessMachineFeature)
	}
	next := map[string]int{}
	for left := len(all) * (each + 1); left > 0; left-- {
		switch e := w.next(); {
		case e.Kind == sensor.Answer && e.Err == nil:
		case e.Kind == sensor.Value && int(e.Bytes[0]) == next[e.Device]:
			next[e.Device]++
		default:
			t.Fatalf("%+v, want value %d", e, next[e.Device])
		}
	}
}

// TestTooSlow: a consumer that does not read loses links, never values out of
// the middle.
func TestTooSlow(t *testing.T) {
	address, _ := startBus(t)
	d := startService(t, address).addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	const room = 50
	w.queue.mu.Lock()
	w.queue.room = room
	w.queue.mu.Unlock()
	for i := range 4 * room {
		d.notify(gatt.IndoorBikeData, []byte{byte(i)})
	}
	wait(t, "the link to be given up", func() bool { return d.f.noted("disconnect "+d.address) == 1 })
	for i := 0; ; i++ {
		e := w.next()
		if e.Kind == sensor.Lost {
			if e.Err != errOverflow || i < room {
				t.Errorf("lost after %d values because %v", i, e.Err)
			}
			return
		}
		if e.Kind != sensor.Value || e.Bytes[0] != byte(i) {
			t.Fatalf("%+v in the place of value %d", e, i)
		}
	}
}

func TestEndsWithContext(t *testing.T) {
	address, _ := startBus(t)
	d := startService(t, address).addDevice(trainer(1))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	p := open(ctx, Options{Address: address}, quick)
	p.Do(sensor.Request{Kind: sensor.Connect, Device: d.address})
	for e := range p.Events() {
		if e.Kind == sensor.Up {
			cancel()
		}
	}
	_ = p.Close()
	if d.f.noted("disconnect "+d.address) != 1 {
		t.Errorf("the link was not ended: %v", d.f.calls)
	}
}

// TestValuesBeforeUp: the first subscribed speak while the others are still
// being subscribed to; nothing of it is lost, and Up comes first.
func TestValuesBeforeUp(t *testing.T) {
	address, _ := startBus(t)
	d := trainer(1)
	for _, c := range d.chars {
		c.atOnce = true
	}
	startService(t, address).addDevice(d)
	w := watch(t, address, quick)
	w.connect(d)
	for _, want := range []uint16{gatt.MachineControlPoint, gatt.MachineStatus, gatt.IndoorBikeData, gatt.BatteryLevel} {
		if e := w.next(); e.Kind != sensor.Value || e.Char != want {
			t.Errorf("%+v, want a value of %04X", e, want)
		}
	}
}

// TestServicesOfAnOldLink: that services were found belongs to one link.
func TestServicesOfAnOldLink(t *testing.T) {
	address, _ := startBus(t)
	d := trainer(1)
	d.curt = true
	startService(t, address).addDevice(d)
	short := quick
	short.connect = 200 * time.Millisecond
	w := watch(t, address, short)
	w.connect(d)
	d.drop()
	w.until(sensor.Lost, d.address)
	d.set(func() { d.silent = true })
	w.ask(sensor.Connect, d.address, 0)
	if e := w.next(); e.Kind != sensor.Lost || e.Err.Error() != errSilent.Error() {
		t.Errorf("%+v, want it not to answer", e)
	}
}

// TestEndedWhileTried: an attempt that nobody wants any more ends at once,
// and can be begun again.
func TestEndedWhileTried(t *testing.T) {
	address, _ := startBus(t)
	d := trainer(1)
	hang := make(chan struct{})
	d.connect = func() *dbus.Error { <-hang; return nil }
	f := startService(t, address)
	f.addDevice(d)
	w := watch(t, address, quick)
	w.ask(sensor.Connect, d.address, 0)
	wait(t, "the attempt", func() bool { return f.noted("connect "+d.address) == 1 })
	w.ask(sensor.Disconnect, d.address, 0)
	if e := w.next(); e.Kind != sensor.Lost || e.Err != errEnded {
		t.Errorf("%+v", e)
	}
	wait(t, "the service to be told", func() bool { return f.noted("disconnect "+d.address) == 1 })
	d.set(func() { d.connect = nil })
	w.connect(d)
	close(hang)
	w.ask(sensor.Disconnect, d.address, 0)
	w.ask(sensor.Connect, d.address, 0) // while it is ending
	w.until(sensor.Lost, d.address)
	w.until(sensor.Up, d.address)
}
