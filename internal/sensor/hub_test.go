package sensor

import (
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
)

var noon = time.Date(2026, 1, 10, 12, 0, 0, 0, time.UTC)

// desk drives a hub by hand and keeps what it answered.
type desk struct {
	t   *testing.T
	h   *Hub
	now time.Time
	out Out
}

func newDesk(t *testing.T, saved ...Setting) *desk {
	return &desk{t: t, h: NewHub(saved), now: noon}
}

func octets(s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		panic(err)
	}
	return b
}

// event hands an event over at the desk's time and keeps the answer.
func (k *desk) event(e Event) Out {
	if e.At.IsZero() {
		e.At = k.now
	}
	k.out = k.h.Handle(e)
	return k.out
}

func (k *desk) value(device string, char uint16, wire string) Out {
	return k.event(Event{Kind: Value, Device: device, Char: char, Bytes: octets(wire)})
}

func (k *desk) answer(device string, char uint16, wire string) Out {
	return k.event(Event{Kind: Answer, Device: device, Char: char, Bytes: octets(wire)})
}

func (k *desk) wait(d time.Duration) Out {
	k.now = k.now.Add(d)
	k.out = k.h.Tick(k.now)
	return k.out
}

func (k *desk) command(device string, c Command) Out {
	k.out = k.h.Command(device, c, k.now)
	return k.out
}

// connect makes a device, found and up, with characteristics.
func (k *desk) connect(device string, chars ...uint16) Out {
	k.event(Event{Kind: Found, Device: device, Advert: Advert{Name: "the " + device}})
	k.h.Connect(device)
	return k.event(Event{Kind: Up, Device: device, Chars: chars})
}

var trainerChars = []uint16{
	gatt.MachineControlPoint, gatt.MachineStatus, gatt.IndoorBikeData, gatt.FitnessMachineFeature,
	gatt.PowerRange, gatt.ResistanceRange, gatt.InclinationRange,
}

// trainer makes a trainer that is up and has said what it can do.
func (k *desk) trainer() {
	k.connect("trainer", trainerChars...)
	k.answer("trainer", gatt.FitnessMachineFeature, "86 56 00 00 0C E0 00 00")
	k.answer("trainer", gatt.PowerRange, "00 00 D0 07 05 00")
}

func (k *desk) writes() []string {
	var all []string
	for _, r := range k.out.Requests {
		if r.Kind == Write {
			all = append(all, fmt.Sprintf("%04X % X", r.Char, r.Bytes))
		}
	}
	return all
}

func (k *desk) wants(what string, writes ...string) {
	k.t.Helper()
	if got := k.writes(); !slices.Equal(got, writes) {
		k.t.Errorf("%s: wrote %q, want %q", what, got, writes)
	}
}

func (k *desk) says(what string, kinds ...NoticeKind) {
	k.t.Helper()
	var got []NoticeKind
	for _, n := range k.out.Notices {
		got = append(got, n.Kind)
	}
	if !slices.Equal(got, kinds) {
		k.t.Errorf("%s: notices %+v, want kinds %v", what, k.out.Notices, kinds)
	}
}

func (k *desk) asks(what string, requests ...Request) {
	k.t.Helper()
	same := slices.EqualFunc(k.out.Requests, requests, func(a, b Request) bool {
		return a.Kind == b.Kind && a.Device == b.Device && a.Char == b.Char
	})
	if !same {
		k.t.Errorf("%s: requests %+v, want %+v", what, k.out.Requests, requests)
	}
}

func (k *desk) reads(what string, want ...Reading) {
	k.t.Helper()
	same := slices.EqualFunc(k.out.Readings, want, func(a, b Reading) bool {
		return a.By == b.By && a.Quantity == b.Quantity && math.Abs(a.Value-b.Value) < 5e-5 && a.At.Equal(k.now)
	})
	if !same {
		k.t.Errorf("%s:\n got %+v\nwant %+v", what, k.out.Readings, want)
	}
}

func TestUpReadsWhatTheDeviceSaysOfItself(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement, gatt.CyclingPowerFeature, gatt.BatteryLevel, gatt.FirmwareRevision, gatt.SerialNumber)
	k.says("up", LinkUp)
	k.asks("up",
		Request{Kind: Read, Device: "meter", Char: gatt.CyclingPowerFeature},
		Request{Kind: Read, Device: "meter", Char: gatt.BatteryLevel},
		Request{Kind: Read, Device: "meter", Char: gatt.FirmwareRevision})
}

func TestReadings(t *testing.T) {
	k := newDesk(t, Setting{Device: "meter", Circumference: 2.105}, Setting{Device: "wheel", Circumference: 2.105})
	k.connect("trainer", trainerChars...)
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.connect("wheel", gatt.SpeedCadenceMeasurement)
	k.connect("belt", gatt.HeartRateMeasurement, gatt.BatteryLevel)

	ftms := func(q Quantity, v float64) Reading { return Reading{By: FitnessMachine, Quantity: q, Value: v} }
	cps := func(q Quantity, v float64) Reading { return Reading{By: CyclingPower, Quantity: q, Value: v} }
	k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4 00 FA 00")
	k.reads("bike data", ftms(Power, 250), ftms(Cadence, 90), ftms(MachineSpeed, 25/3.6))
	k.value("trainer", gatt.IndoorBikeData, "74 03 7E 0E E2 00 C0 00 00 10 00 E5 00 03 00 00 00 00 00")
	k.reads("no heart rate in it", ftms(Power, 229), ftms(Cadence, 113), ftms(MachineSpeed, 37.1/3.6), ftms(Resistance, 16))
	k.value("trainer", gatt.IndoorBikeData, "01 02 98")
	k.reads("half a record")
	k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4 00 FA 00")
	k.reads("the whole", ftms(Power, 250), ftms(Cadence, 90), ftms(MachineSpeed, 25/3.6), ftms(HeartRate, 152))

	k.value("meter", gatt.CyclingPowerMeasurement, "3F 08 04 01 66 40 06 A0 86 01 00 00 08 E8 03 00 10 2C 01")
	k.reads("first of a meter", cps(Power, 260), cps(LeftShare, 0.51))
	k.now = k.now.Add(time.Second)
	k.value("meter", gatt.CyclingPowerMeasurement, "30 00 CD 00 A3 86 01 00 9A 0D EA 03 55 15")
	k.reads("second", cps(Power, 205), cps(Cadence, 60*2*1024.0/1365), cps(WheelSpeed, 9.0189))
	k.value("meter", gatt.CyclingPowerMeasurement, "01 00 CD 00 66")
	k.reads("a balance of nobody knows whom", cps(Power, 205))

	k.value("wheel", gatt.SpeedCadenceMeasurement, "03 A0 86 01 00 00 04 E8 03 00 10")
	k.reads("first of a counter")
	k.value("wheel", gatt.SpeedCadenceMeasurement, "03 A3 86 01 00 CD 06 EA 03 55 15")
	k.reads("second of a counter", Reading{By: SpeedCadence, Quantity: Cadence, Value: 60 * 2 * 1024.0 / 1365},
		Reading{By: SpeedCadence, Quantity: WheelSpeed, Value: 9.0189})

	k.value("belt", gatt.HeartRateMeasurement, "16 48 00 04 20 04")
	k.reads("belt", Reading{By: HeartRateBelt, Quantity: HeartRate, Value: 72},
		Reading{By: HeartRateBelt, Quantity: RRInterval, Value: 1}, Reading{By: HeartRateBelt, Quantity: RRInterval, Value: 1.03125})
	k.value("belt", gatt.HeartRateMeasurement, "04 00")
	k.reads("no skin, no rate")
	k.answer("belt", gatt.BatteryLevel, "64")
	k.reads("battery", Reading{By: BatteryLevel, Quantity: Battery, Value: 1})
	k.answer("belt", gatt.BatteryLevel, "FF")
	k.reads("a battery level that means nothing")
}

func TestWheelWithoutCircumferenceHasNoSpeed(t *testing.T) {
	k := newDesk(t)
	k.connect("wheel", gatt.SpeedCadenceMeasurement)
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A0 86 01 00 00 04")
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A3 86 01 00 CD 06")
	k.reads("no circumference")
	k.h.Configure(Setting{Device: "wheel", Circumference: 2.105})
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A6 86 01 00 9A 09")
	k.reads("with one", Reading{By: SpeedCadence, Quantity: WheelSpeed, Value: 9.0189})
}

func TestStandstillComesByItself(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2C 01 E8 03 00 10")
	k.now = k.now.Add(time.Second)
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2E 01 EA 03 55 15")
	for _, rpm := range []float64{90.02198, 90.02198, 0, 0} {
		k.now = k.now.Add(time.Second)
		k.value("meter", gatt.CyclingPowerMeasurement, "20 00 00 00 EA 03 55 15")
		k.reads(k.now.String(), Reading{By: CyclingPower, Quantity: Power, Value: 0}, Reading{By: CyclingPower, Quantity: Cadence, Value: rpm})
	}
}

func TestGarbledIsCountedAndSaidOnce(t *testing.T) {
	k := newDesk(t)
	k.connect("trainer", trainerChars...)
	k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4")
	k.reads("cut short")
	k.says("cut short", Garbled)
	k.value("trainer", gatt.IndoorBikeData, "44 00")
	k.says("again")
	k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4 00 FA 00")
	if len(k.out.Readings) != 3 {
		t.Errorf("after garbled ones: %+v", k.out.Readings)
	}
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2C 01 E8 03 00 10")
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2C 01 00 00 01 00") // counters of another device
	k.says("jump", Garbled)
	k.reads("jump", Reading{By: CyclingPower, Quantity: Power, Value: 300})
	if d := k.h.Devices(); d[0].Garbled != 2 || d[1].Garbled != 1 {
		t.Errorf("counted %d and %d", d[0].Garbled, d[1].Garbled)
	}
}

func TestNoticesOfADevice(t *testing.T) {
	k := newDesk(t, Setting{Device: "belt", Firmware: "1.0"})
	k.connect("belt", gatt.HeartRateMeasurement, gatt.BatteryLevel, gatt.FirmwareRevision)
	for _, row := range []struct {
		name, wire string
		char       uint16
		after      time.Duration
		want       []NoticeKind
	}{
		{"firmware changed", "31 2E 31", gatt.FirmwareRevision, 0, []NoticeKind{FirmwareChanged}},
		{"firmware again", "31 2E 31", gatt.FirmwareRevision, 0, nil},
		{"no firmware", "", gatt.FirmwareRevision, 0, nil},
		{"battery 21 %", "15", gatt.BatteryLevel, 0, nil},
		{"battery 20 %", "14", gatt.BatteryLevel, 0, []NoticeKind{BatteryLow}},
		{"battery 19 %", "13", gatt.BatteryLevel, 0, nil},
		{"battery 10 %", "0A", gatt.BatteryLevel, 0, []NoticeKind{BatteryLow}},
		{"battery 12 %", "0C", gatt.BatteryLevel, 0, nil},
		{"battery 9 %", "09", gatt.BatteryLevel, 0, nil},
		{"a new battery", "64", gatt.BatteryLevel, 0, nil},
		{"nearly empty at once", "05", gatt.BatteryLevel, 0, []NoticeKind{BatteryLow}},
		{"still so", "05", gatt.BatteryLevel, 0, nil},
		{"contact", "06 48", gatt.HeartRateMeasurement, 0, nil},
		{"contact lost", "04 00", gatt.HeartRateMeasurement, time.Second, []NoticeKind{ContactLost}},
		{"still lost", "04 00", gatt.HeartRateMeasurement, time.Second, nil},
		{"back", "06 48", gatt.HeartRateMeasurement, time.Second, nil},
		{"flutters", "04 00", gatt.HeartRateMeasurement, time.Second, nil},
		{"back", "06 48", gatt.HeartRateMeasurement, time.Minute, nil},
		{"lost again", "04 00", gatt.HeartRateMeasurement, time.Second, []NoticeKind{ContactLost}},
	} {
		k.now = k.now.Add(row.after)
		k.value("belt", row.char, row.wire)
		k.says(row.name, row.want...)
	}
	if s := k.h.Settings(); len(s) != 1 || s[0].Firmware != "1.1" || s[0].Name != "the belt" || !s[0].Seen.Equal(noon) {
		t.Errorf("remembered %+v", s)
	}
}

func TestReconnectsWithBackOff(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.event(Event{Kind: Found, Device: "stranger"})
	k.now = k.now.Add(time.Minute)
	k.event(Event{Kind: Lost, Device: "meter", Err: errors.New("out of reach")})
	k.says("lost", LinkLost)
	connect := Request{Kind: Connect, Device: "meter"}
	for i, s := range []int{1, 2, 4, 8, 15, 15, 15} {
		k.wait(time.Duration(s)*time.Second - time.Millisecond)
		k.asks("too early")
		k.wait(time.Millisecond)
		k.asks(fmt.Sprint("try ", i), connect)
		k.event(Event{Kind: Lost, Device: "meter", Err: errors.New("no answer")})
		k.says("failed", []NoticeKind{LinkLost}[:max(0, 1-i)]...)
	}
	k.wait(15 * time.Second)
	k.event(Event{Kind: Up, Device: "meter", Chars: []uint16{gatt.CyclingPowerMeasurement}})
	k.says("back", LinkUp)
	k.now = k.now.Add(time.Minute)
	k.event(Event{Kind: Lost, Device: "meter"})
	k.wait(time.Second)
	k.asks("begun anew after a steady link", connect)
	// A link that flaps does not begin its waits anew.
	k.event(Event{Kind: Up, Device: "meter"})
	k.event(Event{Kind: Lost, Device: "meter"})
	k.wait(time.Second)
	k.asks("flapping")
	k.wait(time.Second)
	k.asks("flapping, later", connect)
	// A port that never answers.
	k.wait(connectTime)
	k.asks("no answer from the port", Request{Kind: Disconnect, Device: "meter"})
	k.event(Event{Kind: Lost, Device: "meter"}) // of that disconnect
	k.wait(4 * time.Second)
	k.asks("and on", connect)
}

func TestCountersBeginAnewOnANewLink(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2C 01 E8 03 00 10")
	k.event(Event{Kind: Lost, Device: "meter"})
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2E 01 EA 03 55 15")
	k.reads("without a link")
	k.wait(time.Second)
	k.event(Event{Kind: Up, Device: "meter", Chars: []uint16{gatt.CyclingPowerMeasurement}})
	k.value("meter", gatt.CyclingPowerMeasurement, "20 00 2E 01 EA 03 55 15")
	k.reads("first of the new link", Reading{By: CyclingPower, Quantity: Power, Value: 302})
}

func TestRadio(t *testing.T) {
	k := newDesk(t)
	k.h.Scan(true)
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.event(Event{Kind: Found, Device: "stranger"})
	k.event(Event{Kind: RadioOff, Err: errors.New("switched off")})
	k.says("off", RadioTrouble, LinkLost)
	k.event(Event{Kind: RadioOff, Err: errors.New("switched off")})
	k.says("off again")
	k.wait(time.Minute)
	k.asks("nothing is tried without a radio")
	if out := k.h.Connect("stranger"); len(out.Requests) != 0 {
		t.Errorf("connects without a radio: %+v", out)
	}
	k.event(Event{Kind: RadioOn})
	k.says("on", RadioTrouble)
	k.asks("on", Request{Kind: ScanOn}, Request{Kind: Connect, Device: "meter"}, Request{Kind: Connect, Device: "stranger"})
	k.event(Event{Kind: RadioOn})
	k.asks("on again")
}

func TestOnlyWhatThePersonConnected(t *testing.T) {
	k := newDesk(t, Setting{Device: "old", Name: "an old one"})
	k.wait(time.Minute)
	k.asks("remembered devices are not connected by themselves")
	k.event(Event{Kind: Up, Device: "stranger"})
	k.asks("up unasked", Request{Kind: Disconnect, Device: "stranger"})
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.out = k.h.Disconnect("meter")
	k.asks("disconnect", Request{Kind: Disconnect, Device: "meter"})
	k.event(Event{Kind: Lost, Device: "meter"})
	k.says("as wished")
	k.wait(time.Minute)
	k.asks("stays away")
	k.out = k.h.Connect("meter")
	k.asks("connect", Request{Kind: Connect, Device: "meter"})
	k.out = k.h.Forget("meter")
	k.asks("forget", Request{Kind: Disconnect, Device: "meter"})
	k.event(Event{Kind: Up, Device: "meter"})
	k.asks("up after it was forgotten", Request{Kind: Disconnect, Device: "meter"})
	if s := k.h.Settings(); len(s) != 1 || s[0].Device != "old" {
		t.Errorf("remembered %+v", s)
	}
	if d := k.h.Devices(); len(d) != 1 || d[0].Name != "an old one" || !d[0].Saved {
		t.Errorf("devices %+v", d)
	}
}

func TestABusyHallIsBounded(t *testing.T) {
	k := newDesk(t, Setting{Device: "mine"})
	for i := range 3 * devicesKept {
		k.now = k.now.Add(time.Millisecond)
		k.event(Event{Kind: Found, Device: fmt.Sprint("other ", i)})
	}
	d := k.h.Devices()
	if len(d) != devicesKept || d[0].ID != "mine" || d[len(d)-1].ID != fmt.Sprint("other ", 3*devicesKept-1) {
		t.Errorf("%d devices, first %s, last %s", len(d), d[0].ID, d[len(d)-1].ID)
	}
}

func TestSentences(t *testing.T) {
	k := newDesk(t)
	k.trainer()
	k.connect("meter", gatt.CyclingPowerMeasurement)
	k.connect("belt", gatt.HeartRateMeasurement)
	k.event(Event{Kind: Found, Device: "other", Advert: Advert{Name: "the other"}})
	sentence := func(i int, want string) {
		t.Helper()
		if got := k.h.Devices()[i].Sentence(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	sentence(1, "the meter is connected and has said nothing yet.")
	k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4 00 FA 00")
	k.value("meter", gatt.CyclingPowerMeasurement, "00 00 FA 00")
	k.value("belt", gatt.HeartRateMeasurement, "00 48")
	sentence(0, "Watts and cadence come from the trainer. The brake we may set is the trainer's: by power up to 2000 W and gradient.")
	sentence(1, "Watts come from the meter.")
	sentence(2, "Heart rate comes from the belt.")
	sentence(3, "the other is not connected.")
	k.event(Event{Kind: Lost, Device: "belt"})
	sentence(2, "the belt is lost, trying again.")
	if age, ok := k.h.Devices()[0].Age(k.now.Add(time.Second)); !ok || age != time.Second {
		t.Errorf("age %v, %v", age, ok)
	}
	if _, ok := k.h.Devices()[3].Age(k.now); ok {
		t.Error("a device that never spoke has an age")
	}
}

// What a device said of itself stands among its facts.
func TestFactsOfADevice(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement, gatt.CyclingPowerControlPoint, gatt.CyclingPowerFeature)
	k.answer("meter", gatt.CyclingPowerFeature, "0D 02 21 00")
	k.answer("meter", gatt.SensorLocation, "0F")
	k.answer("meter", gatt.ManufacturerName, "41 62 63")
	k.answer("meter", gatt.ModelNumber, "58 31")
	k.answer("meter", gatt.FirmwareRevision, "31 2E 32")
	k.value("meter", gatt.CyclingPowerMeasurement, "00 10 C8 00")
	k.event(Event{Kind: Answer, Device: "meter", Char: gatt.BatteryLevel, Err: errors.New("not permitted")})
	d := k.h.Devices()[0]
	if d.Location != "spider" || d.Maker != "Abc" || d.Model != "X1" || d.Firmware != "1.2" || !d.OneOfTwo ||
		!d.TakesOffset || !d.AsksOffset || d.HasBattery || d.Brake.Any() || !slices.Equal(d.Services, []Service{CyclingPower}) {
		t.Errorf("%+v", d)
	}
}

func BenchmarkNotificationToReadings(b *testing.B) {
	h := NewHub([]Setting{{Device: "meter", Circumference: 2.105}})
	h.Connect("meter")
	h.Handle(Event{Kind: Up, Device: "meter", At: noon, Chars: []uint16{gatt.CyclingPowerMeasurement}})
	wire := octets("30 00 CD 00 A3 86 01 00 9A 0D EA 03 55 15")
	e := Event{Kind: Value, Device: "meter", Char: gatt.CyclingPowerMeasurement, Bytes: wire, At: noon}
	b.ReportAllocs()
	for b.Loop() {
		e.At = e.At.Add(time.Second)
		wire[4] += 3 // revolutions and times as at a steady ride
		wire[10] += 2
		wire[13] += 4
		wire[9] += 8
		if len(h.Handle(e).Readings) == 0 {
			b.Fatal("no reading")
		}
	}
}
