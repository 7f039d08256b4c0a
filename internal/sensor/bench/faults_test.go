package bench

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// of is what a device notified on a characteristic.
func (k *talk) of(events []sensor.Event, role string, char uint16) (out []sensor.Event) {
	for _, e := range events {
		if e.Kind == sensor.Value && e.Device == k.id(role) && e.Char == char {
			out = append(out, e)
		}
	}
	return out
}

// riding is a rig at 200 W, everything settled.
func riding(t *testing.T, c Config) *talk {
	k := begin(t, c).control()
	k.holds(200)
	k.ride(40 * time.Second)
	return k
}

func (k *talk) watts(events []sensor.Event, role string) (out []float64) {
	for _, e := range events {
		if e.Kind != sensor.Value || e.Device != k.id(role) {
			continue
		}
		switch e.Char {
		case gatt.IndoorBikeData:
			d, err := gatt.DecodeBike(e.Bytes)
			if err != nil {
				k.t.Fatal(err)
			}
			out = append(out, d.Power)
		case gatt.CyclingPowerMeasurement:
			m, err := gatt.DecodePower(e.Bytes)
			if err != nil {
				k.t.Fatal(err)
			}
			out = append(out, m.Power)
		}
	}
	return out
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

func TestFaultDropOut(t *testing.T) {
	k := riding(t, StandardRig(20))
	k.w.Inject(Fault{Kind: DropOut, Device: "meter", For: 20 * time.Second})
	e := k.ride(20 * time.Second)
	if n := len(k.of(e, "meter", gatt.CyclingPowerMeasurement)); n != 0 {
		t.Errorf("%d messages through a drop-out", n)
	}
	if n := len(k.of(e, "trainer", gatt.IndoorBikeData)); n != 20 {
		t.Errorf("%d messages of the other device in 20 s", n)
	}
	if n := len(k.of(k.ride(10*time.Second), "meter", gatt.CyclingPowerMeasurement)); n < 9 || n > 11 {
		t.Errorf("%d messages in 10 s after it", n)
	}
	k.w.Inject(Fault{Kind: DropOut, Device: "meter", Size: 0.5})
	if n := len(k.of(k.ride(200*time.Second), "meter", gatt.CyclingPowerMeasurement)); n < 75 || n > 125 {
		t.Errorf("%d of 200 messages with one in two lost", n)
	}
}

func TestFaultDisconnects(t *testing.T) {
	k := riding(t, StandardRig(21))
	k.w.Inject(Fault{Kind: Disconnects, Device: k.id("belt"), For: 15 * time.Second})
	e := k.ride(time.Second)
	if !slices.ContainsFunc(e, func(e sensor.Event) bool {
		return e.Kind == sensor.Lost && e.Device == k.id("belt") && e.Err != nil
	}) {
		t.Fatalf("no lost link")
	}
	k.w.Do(sensor.Request{Kind: sensor.Connect, Device: k.id("belt")})
	e = k.ride(13 * time.Second)
	if n := len(e) - len(k.of(e, "trainer", gatt.IndoorBikeData)) - len(k.of(e, "meter", gatt.CyclingPowerMeasurement)); n != 1 {
		t.Errorf("%d events of a device out of range, want one failed link", n)
	}
	k.w.Do(sensor.Request{Kind: sensor.Connect, Device: k.id("belt")})
	if n := len(k.of(k.ride(10*time.Second), "belt", gatt.HeartRateMeasurement)); n < 5 {
		t.Errorf("%d messages after coming back", n)
	}
}

func TestFaultsOfValues(t *testing.T) {
	k := riding(t, steady(22))
	usual := mean(k.watts(k.ride(20*time.Second), "meter"))
	k.w.Inject(Fault{Kind: Scale, Size: 1.1, Device: "meter", For: 20 * time.Second})
	if got := mean(k.watts(k.ride(20*time.Second), "meter")); math.Abs(got-1.1*usual) > 1.5 {
		t.Errorf("scaled by 1.1: %.1f W, usually %.1f W", got, usual)
	}
	k.w.Inject(Fault{Kind: Spike, Size: 700, Device: "meter", For: 1500 * time.Millisecond})
	if got := slices.Max(k.watts(k.ride(5*time.Second), "meter")); math.Abs(got-usual-700) > 30 {
		t.Errorf("spike of 700 W: %.0f W", got)
	}
	k.ride(time.Second)
	k.w.Inject(Fault{Kind: Stuck, Device: "meter", For: 20 * time.Second})
	k.holds(320)
	stuck := k.of(k.ride(15*time.Second), "meter", gatt.CyclingPowerMeasurement)
	for _, e := range stuck {
		if !bytes.Equal(e.Bytes, stuck[0].Bytes) {
			t.Errorf("stuck, and yet % X after % X", e.Bytes, stuck[0].Bytes)
		}
	}
	if len(stuck) < 14 {
		t.Errorf("%d messages while stuck", len(stuck))
	}
}

// A trainer that reads wrong regulates wrong: it shows its target and holds
// another power.
func TestFaultScaleOfATrainer(t *testing.T) {
	k := riding(t, steady(23))
	k.w.Inject(Fault{Kind: Scale, Size: 1.1, Device: "trainer"})
	k.ride(20 * time.Second)
	from := len(k.events)
	if got := k.mean(30 * time.Second); math.Abs(got-200/1.1) > 1 {
		t.Errorf("holds %.1f W, want %.1f W", got, 200/1.1)
	}
	if got := mean(k.watts(k.events[from:], "trainer")); math.Abs(got-200) > 2 {
		t.Errorf("shows %.1f W, want 200 W", got)
	}
}

func TestFaultDelayAndDuplicate(t *testing.T) {
	k := riding(t, StandardRig(24))
	k.w.Inject(Fault{Kind: Delay, Size: 2.5, Device: "belt", For: 10 * time.Second})
	if n := len(k.of(k.ride(2400*time.Millisecond), "belt", gatt.HeartRateMeasurement)); n > 1 {
		t.Errorf("%d messages within the delay", n)
	}
	e := k.of(k.ride(20*time.Second), "belt", gatt.HeartRateMeasurement)
	for i := range e[1:] {
		if e[i+1].At.Before(e[i].At) {
			t.Errorf("a delay changed the order of messages")
		}
	}
	if len(e) < 20 {
		t.Errorf("%d messages; a delay loses none", len(e))
	}
	k.w.Inject(Fault{Kind: Duplicate, Device: "belt", For: 10 * time.Second})
	if n := len(k.of(k.ride(10*time.Second), "belt", gatt.HeartRateMeasurement)); n < 19 || n > 21 {
		t.Errorf("%d messages in 10 s of duplicates", n)
	}
}

func TestFaultGarbled(t *testing.T) {
	k := riding(t, StandardRig(25))
	k.w.Inject(Fault{Kind: Garbled, Size: 0.5})
	short := 0
	for _, e := range k.of(k.ride(200*time.Second), "meter", gatt.CyclingPowerMeasurement) {
		if _, err := gatt.DecodePower(e.Bytes); err != nil {
			short++
		}
	}
	if short < 20 || short > 90 {
		t.Errorf("%d of 200 messages are too short; half are spoilt, half of those cut", short)
	}
}

func TestFaultsOfOrders(t *testing.T) {
	for kind, want := range map[FaultKind]gatt.Result{IgnoresOrders: gatt.Success, RefusesOrders: gatt.OperationFailed} {
		k := riding(t, StandardRig(26))
		k.w.Inject(Fault{Kind: kind, For: 5 * time.Second})
		if got := k.ask(gatt.MachineRequest{Op: gatt.SetPower, Value: 300}); got != want {
			t.Errorf("fault %d: answered %v, want %v", kind, got, want)
		}
		k.ride(2 * time.Second)
		if tr := k.w.Truth(); tr.Target != 200 {
			t.Errorf("fault %d: the brake went to %v W", kind, tr.Target)
		}
		k.ride(5 * time.Second)
		k.holds(300)
		k.ride(time.Second)
		if tr := k.w.Truth(); tr.Target != 300 {
			t.Errorf("fault %d: after it the brake is set to %v W", kind, tr.Target)
		}
	}
	k := riding(t, StandardRig(27))
	k.w.Inject(Fault{Kind: NeverAnswers, For: 5 * time.Second})
	k.write(gatt.MachineRequest{Op: gatt.SetPower, Value: 300})
	if e := k.of(k.ride(35*time.Second), "trainer", gatt.MachineControlPoint); len(e) != 0 {
		t.Errorf("%d answers", len(e))
	}
	k.write(gatt.MachineRequest{Op: gatt.SetPower, Value: 300})
	if !slices.ContainsFunc(k.ride(time.Second), func(e sensor.Event) bool { return e.Kind == sensor.Wrote && e.Err != nil }) {
		t.Errorf("a second procedure was taken while the first stands open")
	}
}

func TestFaultControlTaken(t *testing.T) {
	k := riding(t, StandardRig(28))
	k.w.Inject(Fault{Kind: ControlTaken, Size: 130, For: 20 * time.Second})
	k.ride(10 * time.Second)
	if tr := k.w.Truth(); tr.Target != 130 {
		t.Errorf("the other program set 130 W, the brake is set to %v W", tr.Target)
	}
	if got := k.ask(gatt.MachineRequest{Op: gatt.RequestControl}); got != gatt.NotPermitted {
		t.Errorf("control while another has it: %v", got)
	}
	k.ride(10 * time.Second)
	k.control().holds(210)
}

func TestFaultBatteries(t *testing.T) {
	k := riding(t, StandardRig(29))
	k.w.Inject(Fault{Kind: DyingBattery, Device: "meter", For: time.Minute})
	var levels []float64
	for _, e := range k.of(k.ride(55*time.Second), "meter", gatt.BatteryLevel) {
		l, known, err := gatt.DecodeBattery(e.Bytes)
		if !known || err != nil {
			t.Fatalf("% X: %v", e.Bytes, err)
		}
		levels = append(levels, l)
	}
	if len(levels) < 20 || !slices.IsSortedFunc(levels, func(a, b float64) int { return int(math.Copysign(1, b-a)) }) || levels[len(levels)-1] > 0.1 {
		t.Errorf("a dying battery says %v", levels)
	}
	k.ride(10 * time.Second)
	k.w.Do(sensor.Request{Kind: sensor.Connect, Device: k.id("meter")})
	if slices.ContainsFunc(k.ride(time.Minute), func(e sensor.Event) bool { return e.Kind == sensor.Up }) {
		t.Errorf("a dead device came up")
	}
}

func TestFaultNoContactAndMagnetGap(t *testing.T) {
	k := riding(t, StandardRig(30))
	k.w.Inject(Fault{Kind: NoContact, For: 10 * time.Second})
	for _, e := range k.of(k.ride(9*time.Second), "belt", gatt.HeartRateMeasurement)[1:] {
		if h, err := gatt.DecodeHeartRate(e.Bytes); err != nil || !h.None() {
			t.Errorf("without skin: %+v, %v", h, err)
		}
	}
	k = begin(t, PlainTrainer(30))
	k.w.Show(Shown{Watts: 200, Pedalling: true})
	k.ride(30 * time.Second)
	k.w.Inject(Fault{Kind: MagnetGap, For: 10 * time.Second})
	k.ride(1100 * time.Millisecond)
	var revs []uint32
	for _, e := range k.of(k.ride(8*time.Second), "pace", gatt.SpeedCadenceMeasurement) {
		m, _ := gatt.DecodeSpeedCadence(e.Bytes)
		revs = append(revs, m.WheelRevs)
	}
	if slices.Min(revs) != slices.Max(revs) {
		t.Errorf("the magnet is out of reach, and the wheel counts %v", revs)
	}
	k.ride(3 * time.Second)
	wheel := gatt.NewSpeedWheel()
	var last gatt.Turned
	for _, e := range k.of(k.ride(8*time.Second), "pace", gatt.SpeedCadenceMeasurement) {
		m, _ := gatt.DecodeSpeedCadence(e.Bytes)
		last = wheel.Add(m.WheelRevs, m.WheelTime, e.At)
	}
	if got := last.Rate * 2.105; math.Abs(got-k.w.Truth().WheelSpeed) > 0.3 {
		t.Errorf("afterwards the sensor says %.2f m/s, the wheel has %.2f m/s", got, k.w.Truth().WheelSpeed)
	}
}

func TestFaultRadioGone(t *testing.T) {
	k := riding(t, StandardRig(31))
	k.w.Inject(Fault{Kind: RadioGone, For: 10 * time.Second})
	e := k.ride(time.Second)
	lost, off := 0, false
	for _, e := range e {
		if e.Kind == sensor.Lost {
			lost++
		}
		off = off || e.Kind == sensor.RadioOff && errors.Is(e.Err, ErrRadioGone)
	}
	if lost != 3 || !off {
		t.Errorf("%d links lost, radio off: %v", lost, off)
	}
	if e := k.ride(8 * time.Second); len(e) != 0 {
		t.Errorf("%d events without a radio", len(e))
	}
	if e := k.ride(2 * time.Second); !slices.ContainsFunc(e, func(e sensor.Event) bool { return e.Kind == sensor.RadioOn }) {
		t.Errorf("the radio is not back")
	}
}

// What a lost link leaves the rider with, on each kind of brake.
func TestBrakesAfterALostLink(t *testing.T) {
	for after, want := range map[AfterLoss]func(Truth) bool{
		HoldsLast: func(tr Truth) bool { return tr.Holding && tr.Target == 280 && math.Abs(tr.Trainer-280) < 3 },
		Releases:  func(tr Truth) bool { return !tr.Holding && tr.Trainer < 120 },
		RevertsTo: func(tr Truth) bool { return !tr.Holding && tr.Trainer > 100 },
	} {
		c := StandardRig(32)
		c.Trainer.AfterLoss, c.Trainer.Level = after, 0.15
		k := riding(t, c)
		k.holds(280)
		k.ride(20 * time.Second)
		k.w.Show(Shown{Watts: 150, Pedalling: true})
		k.w.Inject(Fault{Kind: Disconnects, Device: "trainer", For: time.Minute})
		k.ride(20 * time.Second)
		if tr := k.w.Truth(); !want(tr) {
			t.Errorf("brake that does %d after a lost link: %+v", after, tr)
		}
	}
	// Whoever has no control loses none.
	c := StandardRig(33)
	c.Trainer.AfterLoss = Releases
	c.Faults = []Fault{{Kind: ControlTaken, Size: 180}}
	k := begin(t, c)
	k.ride(20 * time.Second)
	k.w.Do(sensor.Request{Kind: sensor.Disconnect, Device: k.id("trainer")})
	k.ride(10 * time.Second)
	if tr := k.w.Truth(); tr.Target != 180 {
		t.Errorf("a listener left, and the brake that another set went to %v W", tr.Target)
	}
}
