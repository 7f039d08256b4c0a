package sensor

import (
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
)

// What belonged to one link does not live on in the next.
func TestNothingOfALinkOutlivesIt(t *testing.T) {
	k := newDesk(t, Setting{Device: "wheel", Circumference: 2})
	again := func(device string, chars ...uint16) {
		k.event(Event{Kind: Lost, Device: device})
		k.wait(time.Second)
		k.event(Event{Kind: Up, Device: device, Chars: chars})
	}
	k.connect("trainer", trainerChars...)
	k.value("trainer", gatt.IndoorBikeData, "01 02 98") // half a record: a heart rate
	again("trainer", trainerChars...)
	k.value("trainer", gatt.IndoorBikeData, "00 00 C4 09")
	k.reads("half a record", Reading{By: FitnessMachine, Quantity: MachineSpeed, Value: 25 / 3.6})

	k.connect("wheel", gatt.SpeedCadenceMeasurement)
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A0 86 01 00 00 04")
	again("wheel", gatt.SpeedCadenceMeasurement)
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A3 86 01 00 CD 06")
	k.reads("counters of a wheel")

	chars := []uint16{gatt.CyclingPowerMeasurement, gatt.CyclingPowerControlPoint}
	k.connect("meter", chars...)
	k.h.ZeroOffset("meter")
	again("meter", chars...)
	k.value("meter", gatt.CyclingPowerControlPoint, "20 0C 01 F4 FF")
	k.says("the answer to an offset of the link before")
	k.out = k.h.ZeroOffset("meter")
	k.wants("a new one may begin", "2A66 0C")
	k.wait(20 * time.Second)
	k.event(Event{Kind: Wrote, Device: "meter", Char: gatt.CyclingPowerControlPoint})
	k.wait(20 * time.Second)
	k.says("counted from the acknowledgement")
	k.wait(10 * time.Second)
	k.says("30 s after it", OffsetDone)
}

func TestACommandOfOursWaitsAsLongAsTheOneBeforeIt(t *testing.T) {
	k := newDesk(t)
	k.inControl()
	k.command("trainer", watts(200))
	k.command("trainer", watts(150))
	k.wait(10 * time.Second)
	k.indicate("80 05 01")
	k.wants("control was ours all the time", "2AD9 05 96 00")
}

func TestUpAfterItWasCalledOff(t *testing.T) {
	k := newDesk(t)
	k.event(Event{Kind: Found, Device: "meter"})
	k.h.Connect("meter")
	k.h.Disconnect("meter")
	k.event(Event{Kind: Up, Device: "meter"})
	k.asks("called off meanwhile", Request{Kind: Disconnect, Device: "meter"})
	k.says("called off meanwhile")
	if d := k.h.Devices()[0]; d.Link == Connected {
		t.Errorf("%+v", d)
	}
}

func TestFirstFirmwareIsNoChange(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.FirmwareRevision)
	k.answer("meter", gatt.FirmwareRevision, "31 2E 30")
	k.says("first seen")
}

func TestNamesOfStrangersAreMadeSafe(t *testing.T) {
	k := newDesk(t)
	k.event(Event{Kind: Found, Device: "x", Advert: Advert{Name: " a\x1b[31m\n\x00tail", Services: []uint16{gatt.HeartRateService}}})
	k.event(Event{Kind: Found, Device: "x", Advert: Advert{RSSI: -60}}) // a second kind of advertisement
	d := k.h.Devices()[0]
	if d.Name != "a[31m" || d.RSSI != -60 {
		t.Errorf("%+v", d)
	}
	if len(d.Services) != 1 || d.Services[0] != HeartRateBelt {
		t.Errorf("services forgotten: %v", d.Services)
	}
}

func TestALostSensorDoesNotTurn(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.value("meter", gatt.CyclingPowerMeasurement, "00 00 FA 00")
	if !k.h.Looking(WantHeartBelt, "").Turning {
		t.Error("250 W and nothing turns")
	}
	k.event(Event{Kind: Lost, Device: "meter"})
	if k.h.Looking(WantHeartBelt, "").Turning {
		t.Error("turning by a sensor that is lost")
	}
}
