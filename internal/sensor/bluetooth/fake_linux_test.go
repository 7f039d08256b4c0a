package bluetooth

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/godbus/dbus/v5"
)

// startBus starts a message bus of its own and gives its address.
func startBus(t *testing.T) (address string, kill func()) {
	t.Helper()
	dir, err := os.MkdirTemp("", "bus") // t.TempDir's names can be too long for a socket
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return startBusIn(t, dir)
}

func startBusIn(t *testing.T, dir string) (address string, kill func()) {
	t.Helper()
	program, err := exec.LookPath("dbus-daemon")
	if err != nil {
		t.Fatalf("dbus-daemon is missing, and without a bus nothing here is tested: install it (Debian: apt-get install dbus-daemon): %v", err)
	}
	config := filepath.Join(dir, "bus.conf")
	text := fmt.Sprintf(`<busconfig><type>system</type><listen>unix:path=%s/bus</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/></policy></busconfig>`, dir)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--config-file="+config, "--nofork", "--print-address=1")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatalf("dbus-daemon: %v", err)
	}
	kill = sync.OnceFunc(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	t.Cleanup(kill)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("dbus-daemon gave no address: %v", err)
	}
	return strings.TrimSpace(line), kill
}

// fakeService is a simulated org.bluez: one radio, devices with
// characteristics, and whatever a test makes them do. It keeps to what the
// service's documentation says of order: properties change before a call that
// caused it returns.
type fakeService struct {
	t    *testing.T
	conn *dbus.Conn

	exporting   sync.Mutex
	mu          sync.Mutex
	radios      map[dbus.ObjectPath]bool // powered
	devices     map[dbus.ObjectPath]*fakeDevice
	discovering bool
	calls       []string // of the radio and of devices, in order
	agent       string   // who registered one
	filter      map[string]dbus.Variant
	noScan      string // error name of StartDiscovery
}

type fakeDevice struct {
	f        *fakeService
	path     dbus.ObjectPath
	address  string
	name     string
	services []uint16
	data     map[uint16][]byte
	rssi     int16
	chars    []*fakeChar
	up       bool
	paired   bool

	connect func() *dbus.Error                 // instead of coming up at once
	silent  bool                               // services are never resolved
	curt    bool                               // says only that the link is lost, not that services are
	pairing func() *dbus.Error                 // what Pair does
	linked  func(up bool)                      // the link came or went
	read    func(uint16) ([]byte, *dbus.Error) // what a read brings
	// write is what a write does; then is done once its acknowledgement is
	// on the wire.
	write func(uint16, []byte) (err *dbus.Error, then func())
}

// set changes what a device does.
func (d *fakeDevice) set(f func()) {
	d.f.mu.Lock()
	defer d.f.mu.Unlock()
	f()
}

// does is what a device does at the moment.
func does[T any](d *fakeDevice, what *T) T {
	d.f.mu.Lock()
	defer d.f.mu.Unlock()
	return *what
}

type fakeChar struct {
	number  uint16
	path    dbus.ObjectPath
	flags   []string
	refuse  *dbus.Error // of StartNotify
	atOnce  bool        // a value follows StartNotify at once
	started int         // StartNotify, on this link
	order   int
}

const hci0 = dbus.ObjectPath("/org/bluez/hci0")

func startService(t *testing.T, address string) *fakeService {
	t.Helper()
	conn, err := dbus.Connect(address)
	if err != nil {
		t.Fatalf("the fake on the bus: %v", err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	f := &fakeService{t: t, conn: conn, radios: map[dbus.ObjectPath]bool{}, devices: map[dbus.ObjectPath]*fakeDevice{}}
	f.export("/", objectsAt, map[string]any{"GetManagedObjects": f.managed})
	f.export("/org/bluez", agentsAt, map[string]any{
		"RegisterAgent": func(sender dbus.Sender, _ dbus.ObjectPath, can string) *dbus.Error {
			f.note("agent " + can)
			f.mu.Lock()
			defer f.mu.Unlock()
			f.agent = string(sender)
			return nil
		},
	})
	f.addRadio(hci0, true)
	f.takeName()
	return f
}

func (f *fakeService) takeName() {
	f.t.Helper()
	if r, err := f.conn.RequestName(bluez, dbus.NameFlagDoNotQueue); err != nil || r != dbus.RequestNameReplyPrimaryOwner {
		f.t.Fatalf("the name of the service: %v, %v", r, err)
	}
}

func (f *fakeService) export(path dbus.ObjectPath, iface string, methods map[string]any) {
	f.exporting.Lock() // the library's own locks leave a gap here
	defer f.exporting.Unlock()
	if err := f.conn.ExportMethodTable(methods, path, iface); err != nil {
		f.t.Fatal(err)
	}
}

func (f *fakeService) note(what string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls = append(f.calls, what)
}

func (f *fakeService) noted(what string) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for _, c := range f.calls {
		if c == what {
			n++
		}
	}
	return n
}

func (f *fakeService) emit(path dbus.ObjectPath, name string, body ...any) {
	if err := f.conn.Emit(path, name, body...); err != nil && !errors.Is(err, dbus.ErrClosed) && f.conn.Connected() {
		f.t.Errorf("signal %s of %s: %v", name, path, err)
	}
}

func (f *fakeService) change(path dbus.ObjectPath, iface string, p properties) {
	f.emit(path, propertiesA+".PropertiesChanged", iface, p, []string{})
}

func (f *fakeService) addRadio(path dbus.ObjectPath, on bool) {
	f.mu.Lock()
	f.radios[path] = on
	f.mu.Unlock()
	f.export(path, adapterIs, map[string]any{
		"SetDiscoveryFilter": func(p map[string]dbus.Variant) *dbus.Error {
			f.mu.Lock()
			defer f.mu.Unlock()
			f.filter = p
			return nil
		},
		"StartDiscovery": func() *dbus.Error {
			f.note("scan on")
			f.mu.Lock()
			refuse := f.noScan
			f.discovering = refuse == ""
			f.mu.Unlock()
			if refuse != "" {
				return dbus.NewError(refuse, []any{"no"})
			}
			f.change(path, adapterIs, properties{"Discovering": dbus.MakeVariant(true)})
			return nil
		},
		"StopDiscovery": func() *dbus.Error {
			f.note("scan off")
			f.mu.Lock()
			f.discovering = false
			f.mu.Unlock()
			f.change(path, adapterIs, properties{"Discovering": dbus.MakeVariant(false)})
			return nil
		},
	})
	f.emit("/", objectsAt+".InterfacesAdded", path, map[string]properties{adapterIs: {"Powered": dbus.MakeVariant(on)}})
}

func (f *fakeService) power(path dbus.ObjectPath, on bool) {
	f.mu.Lock()
	f.radios[path] = on
	f.mu.Unlock()
	f.change(path, adapterIs, properties{"Powered": dbus.MakeVariant(on)})
}

func (f *fakeService) managed() (map[dbus.ObjectPath]map[string]properties, *dbus.Error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	all := map[dbus.ObjectPath]map[string]properties{}
	for path, on := range f.radios {
		all[path] = map[string]properties{adapterIs: {"Powered": dbus.MakeVariant(on), "Address": dbus.MakeVariant("00:00:00:00:00:01")}}
	}
	for path, d := range f.devices {
		all[path] = map[string]properties{deviceIs: d.properties()}
		if d.up {
			for _, c := range d.chars {
				all[c.path] = map[string]properties{charIs: c.properties()}
			}
		}
	}
	return all, nil
}

// addDevice puts a device in range; the service knows it from then on.
func (f *fakeService) addDevice(d *fakeDevice) *fakeDevice {
	if d.f == nil {
		d.f = f
	}
	d.path = d.place()
	d.exportChars(does(d, &d.chars))
	f.export(d.path, deviceIs, map[string]any{
		"Connect":    d.onConnect,
		"Disconnect": func() *dbus.Error { f.note("disconnect " + d.address); d.drop(); return nil },
		"Pair":       d.onPair,
	})
	f.mu.Lock()
	f.devices[d.path] = d
	p := d.properties()
	f.mu.Unlock()
	f.emit("/", objectsAt+".InterfacesAdded", d.path, map[string]properties{deviceIs: p})
	return d
}

func (d *fakeDevice) place() dbus.ObjectPath {
	return hci0 + "/dev_" + dbus.ObjectPath(strings.ReplaceAll(d.address, ":", "_"))
}

func (d *fakeDevice) exportChars(chars []*fakeChar) {
	for i, c := range chars {
		c.path = d.path + dbus.ObjectPath(fmt.Sprintf("/service0001/char%04x", i+1))
		d.f.export(c.path, charIs, map[string]any{
			"StartNotify": func() *dbus.Error { return d.startNotify(c) },
			"ReadValue":   func(map[string]dbus.Variant) ([]byte, *dbus.Error) { return d.readValue(c) },
			"WriteValue": func(m dbus.Message, b []byte, o map[string]dbus.Variant) *dbus.Error {
				return d.writeValue(m, c, b, o)
			},
		})
	}
}

func (d *fakeDevice) properties() properties {
	uuids := []string{}
	for _, s := range d.services {
		uuids = append(uuids, long(s))
	}
	data := map[string]dbus.Variant{}
	for n, b := range d.data {
		data[long(n)] = dbus.MakeVariant(b)
	}
	return properties{
		"Address": dbus.MakeVariant(d.address), "AddressType": dbus.MakeVariant("random"), "Adapter": dbus.MakeVariant(hci0),
		"Name": dbus.MakeVariant(d.name), "Alias": dbus.MakeVariant(d.name), "RSSI": dbus.MakeVariant(d.rssi),
		"UUIDs": dbus.MakeVariant(uuids), "ServiceData": dbus.MakeVariant(data),
		"Connected": dbus.MakeVariant(d.up), "ServicesResolved": dbus.MakeVariant(d.up),
	}
}

func (c *fakeChar) properties() properties {
	return properties{"UUID": dbus.MakeVariant(long(c.number)), "Flags": dbus.MakeVariant(c.flags), "Notifying": dbus.MakeVariant(false)}
}

// advertise is one advertisement, if anyone scans.
func (d *fakeDevice) advertise(rssi int16) bool {
	d.f.mu.Lock()
	on := d.f.discovering && !d.up
	d.f.mu.Unlock()
	if on {
		d.f.change(d.path, deviceIs, properties{"RSSI": dbus.MakeVariant(rssi)})
	}
	return on
}

func (d *fakeDevice) onConnect() *dbus.Error {
	d.f.note("connect " + d.address)
	if connect := does(d, &d.connect); connect != nil {
		if err := connect(); err != nil {
			return err
		}
	}
	d.f.mu.Lock()
	was := d.up
	d.up = true
	for _, c := range d.chars {
		c.started = 0
	}
	d.f.mu.Unlock()
	if was {
		return dbus.NewError("org.bluez.Error.AlreadyConnected", []any{"Already Connected"})
	}
	d.f.change(d.path, deviceIs, properties{"Connected": dbus.MakeVariant(true)})
	go d.resolve()
	return nil
}

// resolve is the discovery of services, after the answer to Connect.
func (d *fakeDevice) resolve() {
	for _, c := range does(d, &d.chars) {
		d.f.emit("/", objectsAt+".InterfacesAdded", c.path, map[string]properties{charIs: c.properties()})
	}
	if does(d, &d.silent) {
		return
	}
	d.f.change(d.path, deviceIs, properties{"ServicesResolved": dbus.MakeVariant(true)})
	if d.linked != nil {
		d.linked(true)
	}
}

// drop ends the link from the device's side.
func (d *fakeDevice) drop() {
	d.f.mu.Lock()
	was := d.up
	d.up = false
	d.f.mu.Unlock()
	if was {
		if !does(d, &d.curt) {
			d.f.change(d.path, deviceIs, properties{"ServicesResolved": dbus.MakeVariant(false)})
		}
		d.f.change(d.path, deviceIs, properties{"Connected": dbus.MakeVariant(false)})
		if d.linked != nil {
			d.linked(false)
		}
	}
}

func (d *fakeDevice) onPair() *dbus.Error {
	d.f.note("pair " + d.address)
	if pairing := does(d, &d.pairing); pairing != nil {
		if err := pairing(); err != nil {
			return err
		}
	}
	d.f.mu.Lock()
	defer d.f.mu.Unlock()
	d.paired = true
	return nil
}

func (d *fakeDevice) startNotify(c *fakeChar) *dbus.Error {
	d.f.mu.Lock()
	defer d.f.mu.Unlock()
	if c.refuse != nil && !d.paired {
		return c.refuse
	}
	c.started++
	n := 0
	for _, other := range d.chars {
		n = max(n, other.order)
	}
	c.order = n + 1
	if c.atOnce {
		d.f.change(c.path, charIs, properties{"Value": dbus.MakeVariant([]byte{42})})
	}
	return nil
}

// subscribed are the characteristics asked to notify on this link, in order.
func (d *fakeDevice) subscribed() []uint16 {
	d.f.mu.Lock()
	defer d.f.mu.Unlock()
	chars := slices.Clone(d.chars)
	slices.SortFunc(chars, func(a, b *fakeChar) int { return a.order - b.order })
	var all []uint16
	for _, c := range chars {
		for range c.started {
			all = append(all, c.number)
		}
	}
	return all
}

func (d *fakeDevice) readValue(c *fakeChar) ([]byte, *dbus.Error) {
	if read := does(d, &d.read); read != nil {
		return read(c.number)
	}
	return []byte{byte(c.number)}, nil
}

func (d *fakeDevice) writeValue(m dbus.Message, c *fakeChar, b []byte, o map[string]dbus.Variant) *dbus.Error {
	if kind, _ := value[string](o, "type"); kind != "request" {
		return dbus.NewError("org.bluez.Error.Failed", []any{"this must be written with response"})
	}
	write := does(d, &d.write)
	if write == nil {
		return nil
	}
	err, then := write(c.number, b)
	if err != nil || then == nil {
		return err
	}
	// The library sends the acknowledgement when this returns, which is too
	// late: it is sent here, and the second one goes nowhere.
	d.f.conn.Send(&dbus.Message{Type: dbus.TypeMethodReply, Headers: map[dbus.HeaderField]dbus.Variant{
		dbus.FieldDestination: m.Headers[dbus.FieldSender], dbus.FieldReplySerial: dbus.MakeVariant(m.Serial()),
	}}, nil)
	then()
	return nil
}

func (d *fakeDevice) notify(number uint16, b []byte) {
	for _, c := range does(d, &d.chars) {
		d.f.mu.Lock()
		told := c.number == number && c.started > 0 && d.up
		d.f.mu.Unlock()
		if told {
			d.f.change(c.path, charIs, properties{"Value": dbus.MakeVariant(b)})
		}
	}
}

// remove has the service forget a device.
func (f *fakeService) remove(d *fakeDevice) {
	f.mu.Lock()
	delete(f.devices, d.path)
	f.mu.Unlock()
	f.emit("/", objectsAt+".InterfacesRemoved", d.path, []string{deviceIs, propertiesA})
}
