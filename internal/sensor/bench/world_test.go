package bench

import (
	"bytes"
	"fmt"
	"math"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// talk is a test's end of a world: it keeps all that was said.
type talk struct {
	t      *testing.T
	w      *World
	events []sensor.Event
}

func begin(t *testing.T, c Config) *talk {
	t.Helper()
	k := &talk{t: t, w: New(c)}
	for _, u := range k.w.units {
		k.w.Do(sensor.Request{Kind: sensor.Connect, Device: u.device.ID})
	}
	k.ride(2 * time.Second)
	return k
}

func (k *talk) ride(d time.Duration) []sensor.Event {
	e := k.w.Advance(k.w.Now().Add(d))
	k.events = append(k.events, e...)
	return e
}

func (k *talk) id(role string) string { return k.w.name() + "-" + role }

func (k *talk) write(q gatt.MachineRequest) {
	k.w.Do(sensor.Request{Kind: sensor.Write, Device: k.id("trainer"), Char: gatt.MachineControlPoint, Bytes: q.Append(nil)})
}

// ask writes and gives the answer.
func (k *talk) ask(q gatt.MachineRequest) gatt.Result {
	k.t.Helper()
	k.write(q)
	for _, e := range k.ride(300 * time.Millisecond) {
		if e.Kind == sensor.Value && e.Char == gatt.MachineControlPoint {
			p, err := gatt.DecodeMachineResponse(e.Bytes)
			if err != nil || p.Op != q.Op {
				k.t.Fatalf("answer to %v: %+v, %v", q, p, err)
			}
			return p.Result
		}
	}
	k.t.Fatalf("no answer to %+v", q)
	return 0
}

func (k *talk) holds(watts float64) {
	k.t.Helper()
	if r := k.ask(gatt.MachineRequest{Op: gatt.SetPower, Value: watts}); r != gatt.Success {
		k.t.Fatalf("target of %v W: %v", watts, r)
	}
}

func (k *talk) control() *talk {
	k.t.Helper()
	if r := k.ask(gatt.MachineRequest{Op: gatt.RequestControl}); r != gatt.Success {
		k.t.Fatalf("request of control: %v", r)
	}
	return k
}

// mean is the trainer's true mean power over a time ridden.
func (k *talk) mean(d time.Duration) float64 {
	from := k.w.Truth().TrainerWork()
	k.ride(d)
	return (k.w.Truth().TrainerWork() - from) / d.Seconds()
}

func lines(events []sensor.Event) []byte {
	var b bytes.Buffer
	for _, e := range events {
		fmt.Fprintf(&b, "%d %s %d %04x %x %v %v\n", e.Kind, e.Device, e.At.UnixNano(), e.Char, e.Bytes, e.Advert, e.Err)
	}
	return b.Bytes()
}

func TestBooksBalance(t *testing.T) {
	for name, c := range map[string]Config{"standard": StandardRig(3), "plain": PlainTrainer(3)} {
		k := begin(t, c)
		if k.w.trainer != nil {
			k.control()
		}
		for i, watts := range []float64{150, 320, 0, 500, 200, 900} {
			k.w.Show(Shown{Watts: watts, Pedalling: watts > 0})
			if k.w.trainer != nil && watts > 0 && i%2 == 0 {
				k.holds(watts)
			} else if k.w.trainer != nil && watts > 0 {
				k.ask(gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: gatt.Simulation{Gradient: 0.03, Crr: 0.004, Cw: 0.3}})
			}
			k.ride(40 * time.Second)
			tr := k.w.Truth()
			in, out := tr.Work, tr.ChainLoss+tr.BrakeWork+tr.DragWork+tr.Kinetic
			if math.Abs(in-out) > 1e-9*math.Max(1, in) {
				t.Errorf("%s: after %v W: work in %.9f J, out %.9f J", name, watts, in, out)
			}
			if in < 1000 {
				t.Errorf("%s: only %.0f J ridden", name, in)
			}
		}
	}
}

func TestCutsOfTimeChangeNothing(t *testing.T) {
	script := func(cut time.Duration) []byte {
		c := StandardRig(7)
		c.Faults = []Fault{{At: 20 * time.Second, For: 9 * time.Second, Kind: DropOut, Size: 0.5},
			{At: 31 * time.Second, For: 4 * time.Second, Kind: Garbled, Size: 0.5, Device: "meter"},
			{At: 40 * time.Second, For: 3 * time.Second, Kind: Delay, Size: 0.7, Device: "belt"},
			{At: 50 * time.Second, For: 2 * time.Second, Kind: Disconnects, Device: "trainer"}}
		w := New(c)
		var all []sensor.Event
		to := func(s float64) {
			end := c.Start.Add(time.Duration(s * float64(time.Second)))
			for at := w.Now(); at.Before(end); {
				at = at.Add(cut)
				if at.After(end) {
					at = end
				}
				all = append(all, w.Advance(at)...)
			}
		}
		w.Do(sensor.Request{Kind: sensor.ScanOn})
		to(1.0037)
		for _, u := range w.units {
			w.Do(sensor.Request{Kind: sensor.Connect, Device: u.device.ID})
		}
		to(5)
		for i, q := range []gatt.MachineRequest{{Op: gatt.RequestControl}, {Op: gatt.SetPower, Value: 210}} {
			w.Do(sensor.Request{Kind: sensor.Write, Device: w.trainer.device.ID, Char: gatt.MachineControlPoint, Bytes: q.Append(nil)})
			to(6 + float64(i))
		}
		w.Show(Shown{Watts: 210, Pedalling: true})
		to(70)
		return append(lines(all), fmt.Sprintf("%+v", w.Truth())...)
	}
	want := script(time.Hour)
	if bytes.Count(want, []byte("\n")) < 200 {
		t.Fatalf("little was said:\n%s", want)
	}
	for _, cut := range []time.Duration{time.Second, 10 * time.Millisecond, 3700 * time.Microsecond} {
		if got := script(cut); !bytes.Equal(got, want) {
			t.Errorf("cut in pieces of %v the world is another one", cut)
		}
	}
}

// Sensors of other kinds: four messages a second, a meter on a plain trainer.
func TestOtherSensors(t *testing.T) {
	c := PlainTrainer(14)
	c.Meter = StandardRig(0).Meter
	c.Meter.Unit.Every = 250 * time.Millisecond
	c.Pace.Unit.Every = 500 * time.Millisecond
	k := begin(t, c)
	k.w.Show(Shown{Watts: 180, Pedalling: true})
	k.ride(30 * time.Second)
	crank, wheel := gatt.NewCrank(), gatt.NewSpeedWheel()
	n := map[uint16]int{}
	var watts float64
	for _, e := range k.ride(60 * time.Second) {
		n[e.Char]++
		switch e.Char {
		case gatt.CyclingPowerMeasurement:
			m, err := gatt.DecodePower(e.Bytes)
			if c := crank.Add(uint32(m.CrankRevs), m.CrankTime, e.At); err != nil || c.Known && (c.Rate*60 < 70 || c.Rate*60 > 105) {
				t.Errorf("%.1f rpm, %v", c.Rate*60, err)
			}
			watts += m.Power
		case gatt.SpeedCadenceMeasurement:
			m, err := gatt.DecodeSpeedCadence(e.Bytes)
			if c := wheel.Add(m.WheelRevs, m.WheelTime, e.At); err != nil || c.Known && math.Abs(c.Rate*2.105-k.w.Truth().WheelSpeed) > 0.5 {
				t.Errorf("%.2f m/s, %v; the wheel has %.2f m/s", c.Rate*2.105, err, k.w.Truth().WheelSpeed)
			}
		}
	}
	if n[gatt.CyclingPowerMeasurement] < 239 || n[gatt.SpeedCadenceMeasurement] < 119 {
		t.Errorf("in a minute %v messages", n)
	}
	if got := watts / float64(n[gatt.CyclingPowerMeasurement]); math.Abs(got-180*1.008) > 6 {
		t.Errorf("the meter says %.1f W on average, the rider was shown 180 W", got)
	}
}
