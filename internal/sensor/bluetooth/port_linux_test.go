package bluetooth

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// watcher reads a port's events and holds every link to what the package
// promises: Up and Lost in turn, nothing before Up and nothing after Lost.
type watcher struct {
	*port
	t    *testing.T
	up   map[string]bool
	lost map[string]int
	last map[string]time.Time
}

func watch(t *testing.T, address string, tm times) *watcher {
	t.Helper()
	w := &watcher{open(t.Context(), Options{Address: address}, tm), t, map[string]bool{}, map[string]int{}, map[string]time.Time{}}
	t.Cleanup(func() { _ = w.Close() })
	return w
}

func (w *watcher) next() sensor.Event {
	w.t.Helper()
	select {
	case e, ok := <-w.Events():
		if !ok {
			w.t.Fatal("the events have ended")
		}
		w.look(e)
		return e
	case <-time.After(8 * time.Second):
		w.t.Fatal("nothing came")
	}
	return sensor.Event{}
}

func (w *watcher) look(e sensor.Event) {
	w.t.Helper()
	if e.At.IsZero() || e.At.Before(w.last[e.Device]) {
		w.t.Errorf("the time of %+v, after %v", e, w.last[e.Device])
	}
	w.last[e.Device] = e.At
	switch e.Kind {
	case sensor.Up:
		if w.up[e.Device] {
			w.t.Errorf("%s up twice", e.Device)
		}
		w.up[e.Device] = true
	case sensor.Lost:
		w.up[e.Device] = false
		w.lost[e.Device]++
		if e.Err == nil {
			w.t.Errorf("%s lost without a reason", e.Device)
		}
	case sensor.Value:
		if !w.up[e.Device] {
			w.t.Errorf("%s: %04X without a link", e.Device, e.Char)
		}
	}
}

func (w *watcher) until(kind sensor.EventKind, device string) sensor.Event {
	w.t.Helper()
	for {
		if e := w.next(); e.Kind == kind && e.Device == device {
			return e
		}
	}
}

func (w *watcher) ask(kind sensor.RequestKind, device string, char uint16, bytes ...byte) {
	w.Do(sensor.Request{Kind: kind, Device: device, Char: char, Bytes: bytes})
}

func (w *watcher) connect(d *fakeDevice) sensor.Event {
	w.t.Helper()
	w.ask(sensor.Connect, d.address, 0)
	return w.until(sensor.Up, d.address)
}

// trainer is a plain fake: control point, data, feature, range, battery.
func trainer(n int) *fakeDevice {
	return &fakeDevice{
		address: fmt.Sprintf("C0:FF:EE:00:00:%02X", n), name: fmt.Sprintf("Trainer %d", n), rssi: -60,
		services: []uint16{gatt.FitnessMachineService}, data: map[uint16][]byte{gatt.FitnessMachineService: {1, 0x20, 0}},
		chars: []*fakeChar{
			{number: gatt.FitnessMachineFeature, flags: []string{"read"}},
			{number: gatt.IndoorBikeData, flags: []string{"notify"}},
			{number: gatt.MachineStatus, flags: []string{"notify"}},
			{number: gatt.MachineControlPoint, flags: []string{"write", "indicate"}},
			{number: gatt.BatteryLevel, flags: []string{"read", "notify"}},
		},
	}
}

func TestScanConnectReadWrite(t *testing.T) {
	address, _ := startBus(t)
	f := startService(t, address)
	d := f.addDevice(trainer(1))
	w := watch(t, address, quick)
	w.ask(sensor.ScanOn, "", 0)
	wait(t, "the scan", func() bool { return d.advertise(-57) })
	e := w.until(sensor.Found, d.address)
	if a := e.Advert; a.Name != d.name || !slices.Equal(a.Services, d.services) || a.RSSI != -57 || string(a.ServiceData[gatt.FitnessMachineService]) != "\x01\x20\x00" {
		t.Errorf("found %+v", a)
	}
	f.mu.Lock()
	if tr, _ := value[string](f.filter, "Transport"); tr != "le" {
		t.Errorf("scans with the filter %v", f.filter)
	}
	f.mu.Unlock()
	e = w.connect(d)
	want := []uint16{gatt.FitnessMachineFeature, gatt.IndoorBikeData, gatt.MachineStatus, gatt.MachineControlPoint, gatt.BatteryLevel}
	if !slices.Equal(e.Chars, want) {
		t.Errorf("up with %04X, want %04X", e.Chars, want)
	}
	if got, want := d.subscribed(), []uint16{gatt.MachineControlPoint, gatt.MachineStatus, gatt.IndoorBikeData, gatt.BatteryLevel}; !slices.Equal(got, want) {
		t.Errorf("subscribed to %04X, want %04X", got, want)
	}
	d.set(func() { d.read = func(n uint16) ([]byte, *dbus.Error) { return []byte{7, byte(n)}, nil } })
	w.ask(sensor.Read, d.address, gatt.FitnessMachineFeature)
	if e := w.until(sensor.Answer, d.address); e.Err != nil || string(e.Bytes) != "\x07\xCC" || e.Char != gatt.FitnessMachineFeature {
		t.Errorf("read %+v", e)
	}
	d.set(func() {
		d.write = func(uint16, []byte) (*dbus.Error, func()) {
			return dbus.NewError("org.bluez.Error.Failed", []any{"Operation failed with ATT error: 0x80"}), nil
		}
	})
	w.ask(sensor.Write, d.address, gatt.MachineControlPoint, 5, 200, 0)
	if e := w.until(sensor.Wrote, d.address); e.Err == nil || !strings.Contains(e.Err.Error(), "ATT error: 0x80") {
		t.Errorf("refused with %v", e.Err)
	}
	w.ask(sensor.Disconnect, d.address, 0)
	w.until(sensor.Lost, d.address)
	if w.lost[d.address] != 1 || f.noted("disconnect "+d.address) != 1 {
		t.Errorf("lost %d times, ended %d times", w.lost[d.address], f.noted("disconnect "+d.address))
	}
}
