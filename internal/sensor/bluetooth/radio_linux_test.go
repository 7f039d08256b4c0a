package bluetooth

import (
	"errors"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/problem"
	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// isOff waits for RadioOff and holds its reason to being a plain sentence.
func (w *watcher) isOff(part string) {
	w.t.Helper()
	e := w.until(sensor.RadioOff, "")
	var p *problem.Error
	if !errors.As(e.Err, &p) || !strings.Contains(e.Err.Error(), part) || e.Err.Error() != p.Message || p.Hint == "" {
		w.t.Errorf("off because %v (%#v), want %q", e.Err, p, part)
	}
}

func TestRadioOffAndOn(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.ask(sensor.ScanOn, "", 0)
	w.connect(d)
	f.power(hci0, false)
	if e := w.until(sensor.Lost, d.address); e.Err == nil || !strings.Contains(e.Err.Error(), "switched off") {
		t.Errorf("lost because %v", e.Err)
	}
	w.isOff("switched off")
	d.drop()
	w.ask(sensor.Connect, d.address, 0)
	w.until(sensor.Lost, d.address)
	w.ask(sensor.ScanOn, "", 0) // whoever asks is told
	w.isOff("switched off")
	f.power(hci0, true)
	w.until(sensor.RadioOn, "")
	wait(t, "the scan to go on", func() bool { return d.advertise(-50) })
	w.until(sensor.Found, d.address)
	w.connect(d)
	if w.lost[d.address] != 2 {
		t.Errorf("lost %d times", w.lost[d.address])
	}
}

// TestRadioPulledAndPlugged: the radio is a stick that can be taken out.
func TestRadioPulledAndPlugged(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	f.mu.Lock()
	delete(f.radios, hci0)
	f.mu.Unlock()
	f.emit("/", objectsAt+".InterfacesRemoved", hci0, []string{adapterIs})
	w.until(sensor.Lost, d.address)
	w.isOff("no Bluetooth radio")
	d.set(func() { d.up = false })
	f.addRadio(hci0, false)
	w.isOff("switched off")
	f.power(hci0, true)
	w.until(sensor.RadioOn, "")
	w.connect(d)
}

func TestNamedRadio(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	w := &watcher{open(t.Context(), Options{Address: address, Adapter: "hci1"}, quick), t, map[string]bool{}, map[string]int{}, map[string]time.Time{}}
	t.Cleanup(func() { _ = w.Close() })
	w.isOff("called hci1")
	f.addRadio("/org/bluez/hci1", true)
	w.until(sensor.RadioOn, "")
}

func TestServiceStopsAndStarts(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.ask(sensor.ScanOn, "", 0)
	w.connect(d)
	if _, err := f.conn.ReleaseName(bluez); err != nil {
		t.Fatal(err)
	}
	w.until(sensor.Lost, d.address)
	w.isOff("service does not run")
	d.set(func() { d.up = false })
	f.takeName()
	w.until(sensor.RadioOn, "")
	wait(t, "the scan to go on", func() bool { return d.advertise(-50) })
	w.connect(d)
	if f.noted("agent NoInputNoOutput") != 2 {
		t.Errorf("the agent was not registered again: %v", f.calls)
	}
}

// TestBusDiesAndReturns: and a port opened without any bus waits for one.
func TestBusDiesAndReturns(t *testing.T) {
	dir, err := os.MkdirTemp("", "bus")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	w := watch(t, "unix:path="+dir+"/bus", quick)
	w.isOff("bus cannot be reached")
	address, kill := startBusIn(t, dir)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	for e := w.next(); e.Kind != sensor.RadioOn; e = w.next() { // the bus is there a moment before the service
		if e.Kind != sensor.RadioOff {
			t.Errorf("%+v", e)
		}
	}
	w.connect(d)
	kill()
	if e := w.until(sensor.Lost, d.address); e.Err == nil {
		t.Error("no reason")
	}
	w.isOff("bus is gone")
	_ = os.Remove(dir + "/bus")
	address, _ = startBusIn(t, dir)
	f = startService(t, address)
	d = f.addDevice(trainer(1))
	w.until(sensor.RadioOn, "")
	w.connect(d)
}

// TestScanGoesOn: someone else's program ends the search, and once it cannot
// be started; ours goes on.
func TestScanGoesOn(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	f.mu.Lock()
	f.noScan = "org.bluez.Error.NotReady"
	f.mu.Unlock()
	w := watch(t, address, quick)
	w.ask(sensor.ScanOn, "", 0)
	wait(t, "two tries", func() bool { return f.noted("scan on") >= 2 })
	f.mu.Lock()
	f.noScan = ""
	f.mu.Unlock()
	wait(t, "the scan", func() bool { return d.advertise(-50) })
	w.until(sensor.Found, d.address)
	before := f.noted("scan on")
	f.mu.Lock()
	f.discovering = false
	f.mu.Unlock()
	f.change(hci0, adapterIs, properties{"Discovering": dbus.MakeVariant(false)})
	wait(t, "the scan to be begun again", func() bool { return f.noted("scan on") == before+1 })
	w.ask(sensor.ScanOff, "", 0)
	wait(t, "the scan's end", func() bool { return f.noted("scan off") == 1 })
	f.change(d.path, deviceIs, properties{"RSSI": dbus.MakeVariant(int16(-40))})
	w.connect(d) // and nothing is found before it
}

// TestSomeoneElsesSignals: any program on the bus can send signals that look
// like the service's.
func TestSomeoneElsesSignals(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	liar, err := dbus.Connect(address)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = liar.Close() }()
	to := w.bus.conn.Names()[0] // straight to us, past all rules of matching
	for _, lie := range []properties{{"Connected": dbus.MakeVariant(false)}, {"Value": dbus.MakeVariant([]byte{66})}} {
		path, iface := d.path, deviceIs
		if _, isValue := lie["Value"]; isValue {
			path, iface = d.chars[1].path, charIs
		}
		m := &dbus.Message{Type: dbus.TypeSignal, Headers: map[dbus.HeaderField]dbus.Variant{
			dbus.FieldDestination: dbus.MakeVariant(to), dbus.FieldPath: dbus.MakeVariant(path),
			dbus.FieldInterface: dbus.MakeVariant(propertiesA), dbus.FieldMember: dbus.MakeVariant("PropertiesChanged"),
			dbus.FieldSignature: dbus.MakeVariant(dbus.SignatureOf(iface, lie, []string{})),
		}, Body: []any{iface, lie, []string{}}}
		liar.Send(m, nil)
	}
	// The liar's next call is answered after its signals were passed on.
	if err := liar.BusObject().Call(daemon+".GetId", 0).Err; err != nil {
		t.Fatal(err)
	}
	d.notify(gatt.IndoorBikeData, []byte{1})
	if e := w.next(); e.Kind != sensor.Value || e.Bytes[0] != 1 {
		t.Errorf("a stranger's signal was believed: %+v", e)
	}
}

// TestCloseIsClean: nothing is left running, whatever was under way.
func TestCloseIsClean(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	hang := make(chan struct{})
	defer close(hang)
	stuck := trainer(2)
	stuck.connect = func() *dbus.Error { <-hang; return nil }
	d := f.addDevice(trainer(1))
	f.addDevice(stuck)
	goroutines := func() int {
		buf := make([]byte, 1<<20)
		return strings.Count(string(buf[:runtime.Stack(buf, true)]), "bluetooth.(*port)") // of the port's own
	}
	before := goroutines()
	all := runtime.NumGoroutine()
	p := open(t.Context(), Options{Address: address}, quick)
	p.Do(sensor.Request{Kind: sensor.ScanOn})
	p.Do(sensor.Request{Kind: sensor.Connect, Device: stuck.address})
	p.Do(sensor.Request{Kind: sensor.Connect, Device: d.address})
	for e := range p.Events() {
		if e.Kind == sensor.Up {
			break
		}
	}
	p.Do(sensor.Request{Kind: sensor.Read, Device: d.address, Char: gatt.FitnessMachineFeature})
	began := time.Now()
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if took := time.Since(began); took > 2*quick.end {
		t.Errorf("closing took %v", took)
	}
	for range p.Events() { // ends
	}
	_ = p.Close()                              // twice does no harm
	p.Do(sensor.Request{Kind: sensor.ScanOff}) // nor does a late wish
	if f.noted("disconnect "+d.address) != 1 || f.noted("scan off") != 1 {
		t.Errorf("left behind: %v", f.calls)
	}
	wait(t, "the port's goroutines to end", func() bool { return goroutines() <= before })
	// The stuck call hangs on in the fake, and nothing else.
	wait(t, "the connection's goroutines to end", func() bool { return runtime.NumGoroutine() <= all+1 })
}

// TestServiceIsReplaced: another takes the service's place without a gap, and
// knows nothing of our links.
func TestServiceIsReplaced(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.connect(d)
	next, err := dbus.Connect(address)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = next.Close() }()
	if _, err := next.RequestName(bluez, 0); err != nil { // waits in line
		t.Fatal(err)
	}
	if _, err := f.conn.ReleaseName(bluez); err != nil {
		t.Fatal(err)
	}
	if e := w.until(sensor.Lost, d.address); e.Err != errLost {
		t.Errorf("lost because %v", e.Err)
	}
	w.isOff("service does not run") // the new one has no objects at all
}
