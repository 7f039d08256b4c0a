package sensor

import (
	"errors"
	"testing"

	"chainline/internal/sensor/gatt"
)

func TestSpinDown(t *testing.T) {
	k := newDesk(t)
	k.trainer()
	k.out = k.h.SpinDown("trainer")
	k.wants("needs control", asksControl)
	k.indicate("80 00 01")
	k.indicate("80 07 04")
	k.wants("then", "2AD9 13 01")
	k.indicate("80 13 01 D0 07 10 0E")
	k.says("begins", SpinDown)
	want := "Ride the trainer up to 36.0 km/h, then stop pedalling and let it run down to 20.0 km/h."
	if got := k.out.Notices[0].Words; got != want {
		t.Errorf("%q", got)
	}
	for _, wire := range []string{"14 01", "14 04", "14 02 20 4E", "14 03"} {
		k.value("trainer", gatt.MachineStatus, wire)
		k.says(wire, SpinDown)
	}
	for _, wire := range []string{"80 13 01", "80 13 04"} {
		k.out = k.h.SpinDown("trainer")
		k.wants("again", "2AD9 13 01")
		k.indicate(wire)
		k.says(wire, SpinDown)
	}
	k.answer("trainer", gatt.FitnessMachineFeature, "86 56 00 00 0C 60 00 00")
	k.out = k.h.SpinDown("trainer")
	k.says("has none", SpinDown)
	k.wants("has none")
	k.out = k.h.SpinDown("nobody")
	k.says("not connected", SpinDown)
}

func TestZeroOffset(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement, gatt.CyclingPowerControlPoint)
	begin := func() {
		t.Helper()
		k.out = k.h.ZeroOffset("meter")
		k.wants("begins", "2A66 0C")
	}
	for _, row := range []struct{ wire, words string }{
		{"20 0C 01 F4 FF", "The zero offset of the meter is set; its raw value is -12."},
		{"20 0C 01", "The zero offset of the meter is set."},
		{"20 0C 04", "The zero offset of the meter was not set: failed. Let the bicycle stand still, with nobody on the pedals, and repeat."},
	} {
		begin()
		k.event(Event{Kind: Wrote, Device: "meter", Char: gatt.CyclingPowerControlPoint})
		k.value("meter", gatt.CyclingPowerControlPoint, row.wire)
		k.says(row.wire, OffsetDone)
		if got := k.out.Notices[0].Words; got != row.words {
			t.Errorf("%q, want %q", got, row.words)
		}
	}
	begin()
	k.out = k.h.ZeroOffset("meter")
	k.wants("one at a time")
	k.event(Event{Kind: Wrote, Device: "meter", Char: gatt.CyclingPowerControlPoint, Err: errors.New("refused")})
	k.says("refused by the link", OffsetDone)
	begin()
	k.wait(procedureTime)
	k.says("time-out", OffsetDone)
	k.asks("time-out", Request{Kind: Disconnect, Device: "meter"})
	k.out = k.h.ZeroOffset("meter")
	k.wants("not connected")
	k.connect("belt", gatt.HeartRateMeasurement)
	k.out = k.h.ZeroOffset("belt")
	k.says("has none", OffsetDone)
	k.wants("has none")
}
