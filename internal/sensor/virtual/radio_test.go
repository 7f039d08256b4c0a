package virtual

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

var start = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

func radioWith(d *Device) *Radio {
	r := NewRadio(start)
	d.ID, d.Random = "d", rand.New(rand.NewPCG(1, 2))
	d.Chars = []uint16{gatt.BatteryLevel, gatt.ModelNumber}
	r.Add(d)
	return r
}

func kinds(events []sensor.Event) (out []sensor.EventKind) {
	for _, e := range events {
		out = append(out, e.Kind)
	}
	return out
}

func run(r *Radio, d time.Duration) []sensor.Event {
	r.Run(r.Now() + d)
	return r.Take()
}

func TestWhatIsDueAtOnceIsDoneInOrder(t *testing.T) {
	r := NewRadio(start)
	var did []int
	for i := range 20 {
		r.After(time.Duration(i%2)*time.Second, func() { did = append(did, i) })
	}
	r.After(-time.Hour, func() { did = append(did, 20) }) // at once, after the others
	r.Run(2 * time.Second)
	want := []int{0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 1, 3, 5, 7, 9, 11, 13, 15, 17, 19}
	if !slices.Equal(did, want) {
		t.Errorf("%v, want %v", did, want)
	}
	r.Run(time.Second)
	if r.Now() != 2*time.Second {
		t.Errorf("time went back to %v", r.Now())
	}
}

func TestConnecting(t *testing.T) {
	there := false
	d := &Device{Reachable: func() bool { return there }}
	r := radioWith(d)
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	if e := run(r, 7*time.Second); len(e) != 0 {
		t.Fatalf("%v from a device that is away", e)
	}
	if e := run(r, 3*time.Second); len(e) != 1 || e[0].Kind != sensor.Lost || !errors.Is(e[0].Err, ErrSilent) {
		t.Fatalf("%+v, want the link given up", e)
	}
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	run(r, 2*time.Second)
	there = true // comes into range meanwhile
	if e := run(r, time.Second); !slices.Equal(kinds(e), []sensor.EventKind{sensor.Up}) {
		t.Fatalf("%+v, want up", e)
	}
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	if e := run(r, 10*time.Second); len(e) != 0 {
		t.Errorf("connected again while up: %+v", e)
	}
	r.Do(sensor.Request{Kind: sensor.Disconnect, Device: "d"})
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"}) // asked twice, up once
	if e := run(r, 10*time.Second); !slices.Equal(kinds(e), []sensor.EventKind{sensor.Lost, sensor.Up}) {
		t.Errorf("%+v, want lost, up", e)
	}
	r.Do(sensor.Request{Kind: sensor.Disconnect, Device: "d"})
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	r.Do(sensor.Request{Kind: sensor.Disconnect, Device: "d"}) // before it stood
	if e := run(r, 10*time.Second); !slices.Equal(kinds(e), []sensor.EventKind{sensor.Lost, sensor.Lost}) {
		t.Errorf("%+v, want lost twice: a link and an attempt", e)
	}
}

func TestNothingOfAnOldLinkArrives(t *testing.T) {
	d := &Device{}
	r := radioWith(d)
	d.Send(0, gatt.BatteryLevel, []byte{1}) // no link yet
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	run(r, time.Second)
	d.Send(3*time.Second, gatt.BatteryLevel, []byte{2})
	d.Drop(ErrOutOfRange)
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	for _, e := range run(r, 5*time.Second) {
		if e.Kind == sensor.Value {
			t.Errorf("% X arrived", e.Bytes)
		}
	}
	d.Send(0, gatt.ModelNumber, []byte{3}) // nobody subscribes to it
	d.Send(time.Second, gatt.BatteryLevel, []byte{4})
	if e := run(r, 2*time.Second); len(e) != 1 || e[0].Bytes[0] != 4 || !e[0].At.Equal(start.Add(7*time.Second)) {
		t.Errorf("%+v, want the one value, on time", e)
	}
}

func TestRadioOff(t *testing.T) {
	d := &Device{}
	r := radioWith(d)
	why := errors.New("pulled out")
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	run(r, time.Second)
	r.Off(why)
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	r.Do(sensor.Request{Kind: sensor.ScanOn})
	want := []sensor.EventKind{sensor.Lost, sensor.RadioOff, sensor.RadioOff, sensor.Lost}
	if e := run(r, 3*time.Second); !slices.Equal(kinds(e), want) || !errors.Is(e[0].Err, why) {
		t.Errorf("%+v, want %v", e, want)
	}
	r.On()
	e := run(r, 2*time.Second)
	if len(e) < 2 || e[0].Kind != sensor.RadioOn || e[1].Kind != sensor.Found {
		t.Errorf("%+v, want the radio and then the device, since a scan is on", e)
	}
	r.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	run(r, time.Second)
	if e := run(r, 3*time.Second); len(e) != 0 {
		t.Errorf("%+v from a device that is connected", e)
	}
	d.Drop(ErrOutOfRange)
	r.Do(sensor.Request{Kind: sensor.ScanOff})
	run(r, 0)
	if e := run(r, 3*time.Second); len(e) != 0 {
		t.Errorf("%+v although nobody scans", e)
	}
}

func TestTurns(t *testing.T) {
	var c Turns
	for i := 1; i <= 300; i++ { // 1.5 turns a second, in hundredths
		c.Add(0.015, 0.01, float64(i)/100)
	}
	if c.Whole != 4 || math.Abs(c.At-4/1.5) > 1e-9 {
		t.Errorf("after 3 s %d turns, the last at %.6f s; want 4, at %.6f s", c.Whole, c.At, 4/1.5)
	}
	c.Add(2.5, 1, 4) // several at once
	if c.Whole != 7 || math.Abs(c.At-4) > 1e-9 {
		t.Errorf("%d turns, the last at %.6f s; want 7, at 4 s", c.Whole, c.At)
	}
	if got := Ticks(65, gatt.CrankTicks); got != 1024 {
		t.Errorf("65 s are %d ticks, want 1024: they wrap after 64 s", got)
	}
}
