package sensor

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
)

const minute = time.Minute

var lookings = []struct {
	name string
	l    Looking
	want []Cause // one after the other, each tried in vain
}{
	{"no radio", Looking{Kind: WantPowerMeter, NoRadio: true, RadioOff: true, Linked: true}, []Cause{CauseNoRadio}},
	{"radio off", Looking{Kind: WantHeartBelt, RadioOff: true, Battery: 0.05, HasBattery: true}, []Cause{CauseRadioOff}},

	{"power meter, nothing known", Looking{Kind: WantPowerMeter, Others: 3, Scanned: minute},
		[]Cause{CauseAsleep, CauseHeld, CauseOtherRadio, CauseBattery}},
	{"trainer, nothing known", Looking{Kind: WantTrainer, Others: 3, Scanned: minute},
		[]Cause{CauseAsleep, CauseHeld, CauseOtherRadio}},
	{"belt, nothing known", Looking{Kind: WantHeartBelt, Others: 3, Scanned: minute},
		[]Cause{CauseAsleep, CauseHeld, CauseDryStrap, CauseOtherRadio, CauseBattery}},
	{"speed and cadence, nothing known", Looking{Kind: WantSpeedCadence, Others: 3, Scanned: minute},
		[]Cause{CauseAsleep, CauseHeld, CauseStillWheel, CauseMagnet, CauseOtherRadio, CauseBattery}},

	{"known before: it speaks this radio", Looking{Kind: WantPowerMeter, Known: true, Others: 3},
		[]Cause{CauseAsleep, CauseHeld, CauseBattery}},
	{"nearly empty at its last word", Looking{Kind: WantPowerMeter, Known: true, Others: 3, HasBattery: true, Battery: 0.1},
		[]Cause{CauseBattery, CauseAsleep, CauseHeld}},
	{"battery was fine", Looking{Kind: WantPowerMeter, Known: true, Others: 3, HasBattery: true, Battery: 0.11},
		[]Cause{CauseAsleep, CauseHeld, CauseBattery}},
	{"a trainer has no battery", Looking{Kind: WantTrainer, Known: true, Others: 3, HasBattery: true},
		[]Cause{CauseAsleep, CauseHeld}},
	{"the cranks turn: not asleep", Looking{Kind: WantPowerMeter, Known: true, Others: 3, Turning: true},
		[]Cause{CauseHeld, CauseBattery}},
	{"the cranks turn, trainer", Looking{Kind: WantTrainer, Known: true, Others: 3, Turning: true}, []Cause{CauseHeld}},
	{"turning cranks do not wake a belt", Looking{Kind: WantHeartBelt, Known: true, Others: 3, Turning: true},
		[]Cause{CauseAsleep, CauseHeld, CauseDryStrap, CauseBattery}},
	{"worn", Looking{Kind: WantHeartBelt, Known: true, Others: 3, Worn: true},
		[]Cause{CauseHeld, CauseDryStrap, CauseBattery}},
	{"nothing at all is heard", Looking{Kind: WantTrainer, Known: true, Scanned: deafAfter},
		[]Cause{CauseAsleep, CauseHeld, CauseDeaf}},
	{"not for long enough", Looking{Kind: WantTrainer, Known: true, Scanned: deafAfter - 1},
		[]Cause{CauseAsleep, CauseHeld}},

	{"it is there", Looking{Kind: WantTrainer, Heard: true}, nil},
	{"there, and cannot be connected", Looking{Kind: WantTrainer, Heard: true, Failing: true}, []Cause{CauseHeld}},
	{"faintly", Looking{Kind: WantPowerMeter, Heard: true, Failing: true, RSSI: -85},
		[]Cause{CauseFar, CauseHeld, CauseBattery}},
	{"loudly", Looking{Kind: WantPowerMeter, Heard: true, Failing: true, RSSI: -84}, []Cause{CauseHeld, CauseBattery}},

	{"connected, nothing to count yet", Looking{Kind: WantPowerMeter, Linked: true}, nil},
	{"connected and counting", Looking{Kind: WantPowerMeter, Linked: true, Turning: true, CrankCounted: true}, nil},
	{"connected and silent", Looking{Kind: WantPowerMeter, Linked: true, Turning: true}, []Cause{CauseBattery}},
	{"trainer silent", Looking{Kind: WantTrainer, Linked: true, Turning: true}, nil},
	{"belt without skin", Looking{Kind: WantHeartBelt, Linked: true, ContactLost: true}, []Cause{CauseDryStrap, CauseBattery}},
	{"belt without skin that still counts", Looking{Kind: WantHeartBelt, Linked: true, ContactLost: true, CrankCounted: true},
		[]Cause{CauseDryStrap, CauseBattery}},
	{"belt that says nothing", Looking{Kind: WantHeartBelt, Linked: true}, []Cause{CauseDryStrap, CauseBattery}},
	{"belt that beats", Looking{Kind: WantHeartBelt, Linked: true, CrankCounted: true}, nil},
	{"nothing turns", Looking{Kind: WantSpeedCadence, Linked: true}, nil},
	{"nothing counted", Looking{Kind: WantSpeedCadence, Linked: true, Turning: true},
		[]Cause{CauseStillWheel, CauseMagnet, CauseBattery}},
	{"wheel only, not counted", Looking{Kind: WantSpeedCadence, Linked: true, Turning: true, HasWheel: true},
		[]Cause{CauseStillWheel, CauseMagnet, CauseBattery}},
	{"crank only, not counted", Looking{Kind: WantSpeedCadence, Linked: true, Turning: true, HasCrank: true},
		[]Cause{CauseMagnet, CauseBattery}},
	{"of two, the wheel is not counted",
		Looking{Kind: WantSpeedCadence, Linked: true, Turning: true, HasWheel: true, HasCrank: true, CrankCounted: true},
		[]Cause{CauseStillWheel, CauseMagnet, CauseBattery}},
	{"of two, the crank is not counted",
		Looking{Kind: WantSpeedCadence, Linked: true, Turning: true, HasWheel: true, HasCrank: true, WheelCounted: true},
		[]Cause{CauseMagnet, CauseBattery}},
	{"wheel only, counted", Looking{Kind: WantSpeedCadence, Linked: true, Turning: true, HasWheel: true, WheelCounted: true}, nil},
	{"both counted", Looking{Kind: WantSpeedCadence, Linked: true, Turning: true, WheelCounted: true, CrankCounted: true}, nil},
}

func TestNextThingToTry(t *testing.T) {
	for _, row := range lookings {
		var got []Cause
		for range 20 {
			s, ok := Next(row.l)
			if !ok {
				break
			}
			if !strings.HasSuffix(s.Do, ".") || !strings.HasSuffix(s.Why, ".") {
				t.Errorf("%s: %+v is not two sentences", row.name, s)
			}
			got = append(got, s.Cause)
			row.l.Tried = append(row.l.Tried, s.Cause)
		}
		if !slices.Equal(got, row.want) {
			t.Errorf("%s: %v, want %v", row.name, got, row.want)
		}
	}
}

// Every cause is reached, and each kind of sensor is woken in its own words.
func TestWordsOfSteps(t *testing.T) {
	seen := map[string]bool{}
	for _, kind := range []Wanted{WantPowerMeter, WantTrainer, WantHeartBelt, WantSpeedCadence} {
		s, ok := Next(Looking{Kind: kind})
		if !ok || s.Cause != CauseAsleep || seen[s.Do] {
			t.Errorf("%d: %+v", kind, s)
		}
		seen[s.Do] = true
	}
	s, _ := Next(Looking{Kind: WantPowerMeter, HasBattery: true, Battery: 0.05})
	if s.Why != "It was nearly empty when the sensor was last heard." {
		t.Error(s.Why)
	}
	s, _ = Next(Looking{Kind: WantPowerMeter, Tried: []Cause{CauseAsleep, CauseHeld, CauseOtherRadio}})
	if s.Cause != CauseBattery || s.Why != "Nothing likelier is left." {
		t.Errorf("%+v", s)
	}
}

func TestWhatTheHubSeesOfAMissingSensor(t *testing.T) {
	k := newDesk(t, Setting{Device: "wheel", Seen: noon.Add(-time.Hour)})
	see := func(what string, got Looking, want Looking) {
		t.Helper()
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
		}
	}
	see("known, unheard", k.h.Looking(WantSpeedCadence, "wheel"), Looking{Kind: WantSpeedCadence, Known: true})

	k.event(Event{Kind: Found, Device: "wheel", Advert: Advert{Services: []uint16{gatt.SpeedCadenceService}, RSSI: -90}})
	k.h.Connect("wheel")
	k.event(Event{Kind: Lost, Device: "wheel"})
	see("heard, not to be had", k.h.Looking(WantSpeedCadence, ""),
		Looking{Kind: WantSpeedCadence, Known: true, Heard: true, Failing: true, RSSI: -90})
	k.wait(deafAfter + time.Second)
	see("heard long ago", k.h.Looking(WantSpeedCadence, ""), Looking{Kind: WantSpeedCadence, Known: true, Failing: true, RSSI: -90})

	k.event(Event{Kind: Up, Device: "wheel", Chars: []uint16{gatt.SpeedCadenceMeasurement, gatt.SpeedCadenceFeature}})
	k.answer("wheel", gatt.SpeedCadenceFeature, "01 00")
	k.connect("trainer", trainerChars...)
	k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4 00 FA 00")
	linked := Looking{Kind: WantSpeedCadence, Known: true, Linked: true, RSSI: -90, Others: 1, HasWheel: true, Turning: true}
	see("the cranks turn and the wheel is not counted", k.h.Looking(WantSpeedCadence, ""), linked)
	if s, ok := Next(k.h.Looking(WantSpeedCadence, "")); !ok || s.Cause != CauseStillWheel {
		t.Errorf("%+v, %v", s, ok)
	}
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A0 86 01 00 00 04")
	k.value("wheel", gatt.SpeedCadenceMeasurement, "01 A3 86 01 00 CD 06")
	linked.WheelCounted = true // though nobody knows its circumference
	see("counted", k.h.Looking(WantSpeedCadence, ""), linked)
	k.wait(recently + time.Second)
	linked.WheelCounted, linked.Turning = false, false
	see("all still", k.h.Looking(WantSpeedCadence, ""), linked)

	k.connect("belt", gatt.HeartRateMeasurement, gatt.BatteryLevel)
	k.answer("belt", gatt.BatteryLevel, "05")
	k.value("belt", gatt.HeartRateMeasurement, "04 00")
	see("a belt", k.h.Looking(WantHeartBelt, ""), Looking{
		Kind: WantHeartBelt, Heard: true, Known: true, Linked: true, Others: 2, HasBattery: true, Battery: 0.05, ContactLost: true,
	})
	k.event(Event{Kind: RadioOff})
	if l := k.h.Looking(WantPowerMeter, ""); !l.RadioOff || l.Linked || l.Heard {
		t.Errorf("%+v", l)
	}
}
