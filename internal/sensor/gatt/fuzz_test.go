package gatt

import (
	"bytes"
	"testing"
	"time"
)

// vectors seed every fuzz test: what one service means by an octet is as
// good a surprise as any to another.
var vectors = []string{
	"", "86 56 00 00 0C E0 00 00", wireI1, "44 00 00 00 00 00 FB FF", wireI3, wireI4, "01 02 98",
	"44 20 C4 09 B4 00 FA 00 AA BB", "44 00 C4 09 B4", "64 00 7E 0E E2 00 10 E5 00",
	"00 00 D0 07 01 00", "38 FF DC 05 05 00", "00 00 E8 03 01 00", "0A 00 C8 00 0A 00", "00 0A 01", "9C FF C8 00 05 00",
	"00", "01", "02 C4 09", "03 2D 00", "04 7D", "04 7D 00", "05 C8 00", "05 9C FF", "06 8C", "07", "08 01",
	"11 AC 0D A9 01 28 33", "11 30 F8 12 FD 21 3C", "12 3A 52", "13 01", "14 B4 00", "10 01 00 02 00 03 00 04 00 05 00",
	"80 00 01", "80 00 05", "80 13 01 D0 07 10 0E", "08 FA 00", "07 7D", "14 02 20 4E", "FF",
	"00 0C", "01 02 57 61 72 6D", "01 20 00", "00 20",
	"00 00 FA 00", "20 00 2C 01 E8 03 00 10", "20 00 FA 00 FF FF 00 FC", "10 00 C8 00 A0 86 01 00 00 08",
	wireC5, "00 01 FA 00 5F 30 11", wireC8, "00 10 C8 00", "0D 02 21 00", "04 59 01", "20 05 01 59 01", "20 0C 01 F4 FF",
	"03 A0 86 01 00 00 04 E8 03 00 10", "02 E8 03 00 10", "01 FF FF FF FF 00 FC", "01 00 00 00 00", "10 01 01",
	"00 48", "16 48 00 04 20 04", "01 2C 01", "18 8C 2C 01 B0 01", "04 00", "10 48 00 04 20", "64", "01 FF FF 02 00 10 01",
}

func seed(f *testing.F) {
	for _, v := range vectors {
		f.Add(octets(f, v))
	}
}

// stable checks that what was decoded encodes to octets that decode and
// encode to themselves: nothing is invented on the way.
func stable[T any](t *testing.T, b []byte, decode func([]byte) (T, error), encode func(T) []byte) {
	t.Helper()
	v, err := decode(b)
	if err != nil {
		return
	}
	once := encode(v)
	again, err := decode(once)
	if err != nil {
		t.Fatalf("% X decodes, its encoding % X does not: %v", b, once, err)
	}
	if twice := encode(again); !bytes.Equal(once, twice) {
		t.Fatalf("% X encodes to % X, then to % X", b, once, twice)
	}
}

func FuzzBike(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) { stable(t, b, DecodeBike, encodeBike) })
}

func FuzzMachine(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		stable(t, b, DecodeMachineFeatures, func(v MachineFeatures) []byte { return v.Append(nil) })
		stable(t, b, DecodeMachineAdvert, func(v MachineAdvert) []byte { return v.Append(nil) })
		stable(t, b, DecodeTraining, func(v Training) []byte { return v.Append(nil) })
		for char := SpeedRange; char <= PowerRange; char++ {
			stable(t, b, func(b []byte) (Range, error) { return DecodeRange(char, b) },
				func(r Range) []byte { return r.Append(char, nil) })
		}
	})
}

func FuzzMachineControl(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		stable(t, b, DecodeMachineRequest, encodeRequest)
		stable(t, b, DecodeMachineResponse, func(v MachineResponse) []byte { return v.Append(nil) })
		stable(t, b, DecodeStatus, func(v Status) []byte { return v.Append(nil) })
	})
}

func FuzzPower(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		stable(t, b, DecodePower, encodePower)
		stable(t, b, DecodePowerFeatures, func(v PowerFeatures) []byte { return v.Append(nil) })
		stable(t, b, DecodePowerRequest, func(v PowerRequest) []byte { return v.Append(nil) })
		stable(t, b, DecodePowerResponse, func(v PowerResponse) []byte { return v.Append(nil) })
		if p, err := DecodePowerResponse(b); err == nil {
			p.Offset()
			p.CrankLength()
			p.Locations()
		}
		if l, err := DecodeLocation(b); err == nil && l.String() == "" {
			t.Fatalf("location %d has no name", l)
		}
	})
}

func FuzzSpeedCadence(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		stable(t, b, DecodeSpeedCadence, func(v SpeedCadence) []byte { return v.Append(nil) })
		stable(t, b, DecodeSpeedCadenceFeatures, func(v SpeedCadenceFeatures) []byte { return v.Append(nil) })
		stable(t, b, DecodeSpeedCadenceRequest, func(v SpeedCadenceRequest) []byte { return v.Append(nil) })
		stable(t, b, DecodeSpeedCadenceResponse, func(v SpeedCadenceResponse) []byte { return v.Append(nil) })
	})
}

func FuzzHeartAndDevice(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		stable(t, b, DecodeHeartRate, func(v HeartRate) []byte { return v.Append(nil) })
		stable(t, b, DecodeProduct, func(v Product) []byte { return v.Append(nil) })
		if l, err := DecodeBodyLocation(b); err == nil && l.String() == "" {
			t.Fatalf("location %d has no name", l)
		}
		if level, known, err := DecodeBattery(b); err == nil && known && (level < 0 || level > 1) {
			t.Fatalf("battery %g", level)
		}
		if s := DecodeText(b); len(s) > 3*len(b) {
			t.Fatalf("%q out of % X", s, b)
		}
	})
}

// FuzzCounter feeds octets as counters: a rate is never negative, infinite or
// beyond belief.
func FuzzCounter(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		c, r, at := NewCrank(), reader{b: b}, noon
		for len(r.left()) >= 5 {
			at = at.Add(time.Duration(r.u8()) * 20 * time.Millisecond)
			got := c.Add(uint32(r.u16()), r.u16(), at)
			if !(got.Rate >= 0 && got.Rate <= fastestCrank) {
				t.Fatalf("%+v", got)
			}
		}
	})
}

func BenchmarkDecodeBike(b *testing.B) {
	wire := octets(b, wireI1)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := DecodeBike(wire); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecodePower(b *testing.B) {
	wire := octets(b, wireC5)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := DecodePower(wire); err != nil {
			b.Fatal(err)
		}
	}
}
