package gatt

import (
	"math"
	"testing"
)

// Fitness Machine Service 1.0.1, 4.3: read.
func TestPublishedMachineFeature(t *testing.T) {
	check(t, DecodeMachineFeatures, func(f MachineFeatures) []byte { return f.Append(nil) }, []both[MachineFeatures]{{
		name: "trainer", wire: "86 56 00 00 0C E0 00 00",
		want: MachineFeatures{
			Measures: MeasuresCadence | MeasuresDistance | MeasuresResistance | MeasuresEnergy | MeasuresHeartRate |
				MeasuresElapsed | MeasuresPower,
			Targets: TakesResistance | TakesPower | TakesSimulation | TakesWheelCircumference | TakesSpinDown,
		},
	}})
	short(t, DecodeMachineFeatures, "86 56 00 00 0C E0 00 00")
	// The numbers of the bits at the ends of both lists.
	for _, row := range []struct{ got, bit uint32 }{
		{uint32(MeasuresPower), 14}, {uint32(KeepsUserData), 16},
		{uint32(TakesSimulation), 13}, {uint32(TakesCadence), 16}, {uint32(TakesPower), 3},
	} {
		if row.got != 1<<row.bit {
			t.Errorf("%b is not bit %d", row.got, row.bit)
		}
	}
}

// Bluetooth SIG XML of Supported Power Range, Resistance Level Range and
// Inclination Range: read. The three-octet resistance range is that of the
// GATT Specification Supplement as an open library's documentation repeats
// it: secondary.
func TestPublishedRanges(t *testing.T) {
	for _, row := range []struct {
		name   string
		char   uint16
		wire   string
		want   Range
		narrow bool
	}{
		{"power", PowerRange, "00 00 D0 07 01 00", Range{0, 2000, 1}, false},
		{"power below zero", PowerRange, "38 FF DC 05 05 00", Range{-200, 1500, 5}, false},
		{"resistance", ResistanceRange, "00 00 E8 03 01 00", Range{0, 100, 0.1}, false},
		{"resistance in ones", ResistanceRange, "0A 00 C8 00 0A 00", Range{1, 20, 1}, false},
		{"resistance, three octets", ResistanceRange, "00 0A 01", Range{0, 100, 10}, true},
		{"inclination", InclinationRange, "9C FF C8 00 05 00", Range{-0.1, 0.2, 0.005}, false},
	} {
		check(t, func(b []byte) (Range, error) { return DecodeRange(row.char, b) },
			func(r Range) []byte {
				if row.narrow {
					return r.AppendNarrow(nil)
				}
				return r.Append(row.char, nil)
			},
			[]both[Range]{{name: row.name, wire: row.wire, want: row.want}})
	}
	short(t, func(b []byte) (Range, error) { return DecodeRange(PowerRange, b) }, "00 00 D0 07 01 00")
	short(t, func(b []byte) (Range, error) { return DecodeRange(ResistanceRange, b) }, "00 0A 01")
}

func TestOtherRanges(t *testing.T) {
	check(t, func(b []byte) (Range, error) { return DecodeRange(SpeedRange, b) },
		func(r Range) []byte { return r.Append(SpeedRange, nil) },
		[]both[Range]{{name: "speed", wire: "64 00 88 13 0A 00", want: Range{1 / 3.6, 50 / 3.6, 0.1 / 3.6}}})
	check(t, func(b []byte) (Range, error) { return DecodeRange(HeartRateRange, b) },
		func(r Range) []byte { return r.Append(HeartRateRange, nil) },
		[]both[Range]{{name: "heart rate", wire: "3C C8 01", want: Range{60, 200, 1}}})
	defer func() {
		if recover() == nil {
			t.Error("no panic for a characteristic that is no range")
		}
	}()
	DecodeRange(IndoorBikeData, nil)
}

func TestRangeFit(t *testing.T) {
	for _, row := range []struct {
		r        Range
		v, wants float64
	}{
		{Range{0, 2000, 1}, 250.4, 250},
		{Range{0, 2000, 1}, 2500, 2000},
		{Range{-200, 1500, 5}, 252.6, 255},
		{Range{-200, 1500, 5}, -500, -200},
		{Range{25, 800, 50}, 790, 775}, // the last step below the greatest value
		{Range{0, 100, 0}, 12.34, 12.34},
		{Range{0, 0, 1}, 250, 250}, // no range at all
		{Range{0, 100, 0.1}, 12.34, 12.3},
	} {
		if got := row.r.Fit(row.v); math.Abs(got-row.wants) > 1e-9 {
			t.Errorf("%+v.Fit(%g) = %g, want %g", row.r, row.v, got, row.wants)
		}
	}
}

// Fitness Machine Service 1.0.1, 4.10: read.
func TestPublishedTrainingStatus(t *testing.T) {
	check(t, DecodeTraining, func(s Training) []byte { return s.Append(nil) }, []both[Training]{
		{name: "idle", wire: "00 01", want: Training{State: TrainingIdle}},
		{name: "watt control", wire: "00 0C", want: Training{State: TrainingControlledByPower}},
		{name: "with words", wire: "01 02 57 61 72 6D", want: Training{State: TrainingWarmingUp, Text: "Warm"}},
	})
	short(t, DecodeTraining, "00 01")
	if s := TrainingControlledByPower.String(); s != "controlled by power" {
		t.Error(s)
	}
	if s := TrainingState(0x10).String(); s != "reserved" {
		t.Error(s)
	}
}

func TestTextOfDevicesIsMadeSafe(t *testing.T) {
	for wire, want := range map[string]string{
		"57 61 72 6D 00 FF FF": "Warm",
		"20 41 1B 5B 42 0A 20": "A[B",
		"41 FF 42":             "A\uFFFDB",
		"":                     "",
	} {
		if got := DecodeText(octets(t, wire)); got != want {
			t.Errorf("%s: %q, want %q", wire, got, want)
		}
	}
}

// Fitness Machine Service 1.0.1, 3: read. That machines are about which
// misplace an octet or a bit is secondary.
func TestPublishedMachineAdvert(t *testing.T) {
	check(t, DecodeMachineAdvert, func(a MachineAdvert) []byte { return a.Append(nil) }, []both[MachineAdvert]{
		{name: "indoor bike", wire: "01 20 00", want: MachineAdvert{Available: true, Kinds: KindIndoorBike}},
		{name: "an octet left out", wire: "00 20", want: MachineAdvert{Kinds: KindIndoorBike}, back: "00 20 00"},
	})
	for _, wire := range []string{"", "01"} {
		if _, err := DecodeMachineAdvert(octets(t, wire)); err == nil {
			t.Errorf("%q: no error", wire)
		}
	}
}
