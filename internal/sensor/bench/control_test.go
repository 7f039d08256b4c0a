package bench

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

func TestKindsOfTrainers(t *testing.T) {
	c := StandardRig(40)
	c.Trainer.NoPower, c.Trainer.NoSimulation, c.Trainer.WideResistance = true, true, true
	k := begin(t, c).control()
	for _, x := range []struct {
		q    gatt.MachineRequest
		want gatt.Result
	}{
		{gatt.MachineRequest{Op: gatt.SetPower, Value: 200}, gatt.NotSupported},
		{gatt.MachineRequest{Op: gatt.SetSimulation}, gatt.NotSupported},
		{gatt.MachineRequest{Op: gatt.SetResistance, Value: 20}, gatt.InvalidParameter}, // one octet
		{gatt.MachineRequest{Op: gatt.SetResistance, Value: 20, Wide: true}, gatt.Success},
		{gatt.MachineRequest{Op: gatt.SetResistance, Value: 120, Wide: true}, gatt.InvalidParameter},
	} {
		if got := k.ask(x.q); got != x.want {
			t.Errorf("%+v: %v, want %v", x.q, got, x.want)
		}
	}
	k.ride(30 * time.Second)
	if tr := k.w.Truth(); math.Abs(tr.Trainer-(k.w.brake.force+k.w.brake.drag(tr.WheelSpeed))*tr.WheelSpeed) > 1 ||
		math.Abs(k.w.brake.force-0.2*k.w.brake.most(tr.WheelSpeed)) > 0.5 {
		t.Errorf("a fifth of the range: %.1f N of %.1f N", k.w.brake.force, k.w.brake.most(tr.WheelSpeed))
	}
	c = StandardRig(41)
	c.Trainer.CrrPer = 1000
	k = begin(t, c).control()
	k.ask(gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: gatt.Simulation{Crr: 0.004, CrrPer: 1000}})
	k.ride(time.Second)
	if got := k.w.brake.set.crr; math.Abs(got-0.004) > 1e-9 {
		t.Errorf("a trainer with the coarser unit understands Crr %v, want 0.004", got)
	}
}

func (k *talk) spins(events []sensor.Event) (out []float64) {
	for _, e := range k.of(events, "trainer", gatt.MachineStatus) {
		if s, err := gatt.DecodeStatus(e.Bytes); err == nil && s.Op == gatt.StatusSpinDown {
			out = append(out, s.Value)
		}
	}
	return out
}

func TestSpinDown(t *testing.T) {
	k := begin(t, StandardRig(42)).control()
	k.write(gatt.MachineRequest{Op: gatt.SpinDown, Value: gatt.SpinDownStart})
	answer := k.of(k.ride(200*time.Millisecond), "trainer", gatt.MachineControlPoint)
	p, err := gatt.DecodeMachineResponse(answer[0].Bytes)
	if err != nil || !p.HasSpeeds || math.Abs(p.Low-20/3.6) > 0.01 || math.Abs(p.High-36/3.6) > 0.01 {
		t.Fatalf("%+v, %v", p, err)
	}
	k.w.Show(Shown{Watts: 300, Pedalling: true})
	for k.w.Truth().WheelSpeed < 11 {
		k.ride(time.Second)
	}
	k.w.Show(Shown{})
	k.ride(40 * time.Second)
	if got := k.spins(k.events); !slices.Equal(got, []float64{gatt.SpinDownRequested, gatt.SpinDownStopPedaling, gatt.SpinDownSuccess}) {
		t.Errorf("the spin-down says %v", got)
	}
	k.ask(gatt.MachineRequest{Op: gatt.SpinDown, Value: gatt.SpinDownStart})
	at := len(k.events)
	k.ride(2 * time.Minute)
	if got := k.spins(k.events[at:]); !slices.Equal(got, []float64{gatt.SpinDownError}) {
		t.Errorf("nobody rides, and the spin-down says %v", got)
	}
}

func TestZeroOffset(t *testing.T) {
	k := begin(t, StandardRig(43))
	ask := func() gatt.PowerResponse {
		k.w.Do(sensor.Request{Kind: sensor.Write, Device: k.id("meter"), Char: gatt.CyclingPowerControlPoint, Bytes: gatt.PowerRequest{Op: gatt.StartOffset}.Append(nil)})
		e := k.of(k.ride(4*time.Second), "meter", gatt.CyclingPowerControlPoint)
		if len(e) != 1 {
			t.Fatalf("%d answers", len(e))
		}
		p, err := gatt.DecodePowerResponse(e[0].Bytes)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if p := ask(); p.Result != gatt.OperationFailed {
		t.Errorf("offset while pedalling: %v", p.Result)
	}
	k.w.Show(Shown{})
	k.ride(10 * time.Second)
	if raw, ok := ask().Offset(); !ok || raw != meterOffset {
		t.Errorf("offset %v, %v", raw, ok)
	}
}

// Whatever is written, the bench answers or refuses, and goes on.
func TestAnythingWritten(t *testing.T) {
	r := rand.New(rand.NewPCG(44, 0))
	k := begin(t, StandardRig(44)).control()
	for range 2000 {
		b := make([]byte, r.IntN(8))
		for i := range b {
			b[i] = byte(r.Uint32())
		}
		if len(b) > 0 && r.IntN(2) == 0 {
			b[0] = byte(r.IntN(0x16))
		}
		device, char := "trainer", gatt.MachineControlPoint
		if r.IntN(3) == 0 {
			device, char = "meter", gatt.CyclingPowerControlPoint
		}
		k.w.Do(sensor.Request{Kind: sensor.RequestKind(r.IntN(8)), Device: k.id(device), Char: char, Bytes: b})
		k.w.Advance(k.w.Now().Add(time.Duration(r.IntN(100)) * time.Millisecond))
		if tr := k.w.Truth(); math.IsNaN(tr.WheelSpeed) || math.IsNaN(tr.Trainer) || tr.Trainer > 2500 || tr.WheelSpeed > 40 {
			t.Fatalf("after % X: %+v", b, tr)
		}
	}
}

func TestDevicesThatAreNotFound(t *testing.T) {
	c := StandardRig(45)
	c.Still, c.Meter.Unit.Asleep, c.Belt.Unit.Held = true, true, true
	w := New(c)
	w.Do(sensor.Request{Kind: sensor.ScanOn})
	found := func() (out []string) {
		for _, e := range w.Advance(w.Now().Add(4 * time.Second)) {
			if e.Kind == sensor.Found && !slices.Contains(out, e.Device) {
				out = append(out, e.Device)
			}
		}
		slices.Sort(out)
		return out
	}
	if got := found(); !slices.Equal(got, []string{"bench-45-trainer"}) {
		t.Errorf("with still cranks, and the belt held by another program, found %v", got)
	}
	w.Show(Shown{Pedalling: true})
	found()
	if got := found(); !slices.Equal(got, []string{"bench-45-meter", "bench-45-trainer"}) {
		t.Errorf("with turning cranks found %v", got)
	}
}
