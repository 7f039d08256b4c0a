package gatt

import "testing"

// Bluetooth SIG, CSC Measurement XML: read.
func TestPublishedSpeedCadence(t *testing.T) {
	check(t, DecodeSpeedCadence, func(m SpeedCadence) []byte { return m.Append(nil) }, []both[SpeedCadence]{
		{
			name: "both", wire: "03 A0 86 01 00 00 04 E8 03 00 10",
			want: SpeedCadence{HasWheel: true, HasCrank: true, WheelRevs: 100000, WheelTime: 1024, CrankRevs: 1000, CrankTime: 4096},
		},
		{name: "crank", wire: "02 E8 03 00 10", want: SpeedCadence{HasCrank: true, CrankRevs: 1000, CrankTime: 4096}},
		{
			name: "wheel", wire: "01 FF FF FF FF 00 FC",
			want: SpeedCadence{HasWheel: true, WheelRevs: 0xFFFFFFFF, WheelTime: 0xFC00},
		},
		{
			name: "reserved bits", wire: "F2 E8 03 00 10 99", back: "02 E8 03 00 10",
			want: SpeedCadence{HasCrank: true, CrankRevs: 1000, CrankTime: 4096},
		},
	})
	for _, wire := range []string{"03 A0 86 01 00 00 04 E8 03 00 10", "02 E8 03 00 10", "01 FF FF FF FF 00 FC"} {
		short(t, DecodeSpeedCadence, wire)
	}
}

// CSC Feature and SC Control Point XML: read.
func TestPublishedSpeedCadenceControlPoint(t *testing.T) {
	check(t, DecodeSpeedCadenceRequest, func(q SpeedCadenceRequest) []byte { return q.Append(nil) }, []both[SpeedCadenceRequest]{
		{name: "set the revolutions", wire: "01 00 00 00 00", want: SpeedCadenceRequest{Op: ZeroWheelRevs}},
		{name: "move", wire: "03 0C", want: SpeedCadenceRequest{Op: MoveTo, Value: uint32(AtRearWheel)}},
		{name: "where", wire: "04", want: SpeedCadenceRequest{Op: AskWhere}},
	})
	check(t, DecodeSpeedCadenceResponse, func(p SpeedCadenceResponse) []byte { return p.Append(nil) }, []both[SpeedCadenceResponse]{
		{name: "set", wire: "10 01 01", want: SpeedCadenceResponse{Op: ZeroWheelRevs, Result: Success}},
	})
	check(t, DecodeSpeedCadenceFeatures, func(f SpeedCadenceFeatures) []byte { return f.Append(nil) }, []both[SpeedCadenceFeatures]{
		{name: "all", wire: "07 00", want: CountsWheel | CountsCrank | KnowsSeveralLocations},
	})
	short(t, DecodeSpeedCadenceRequest, "01 00 00 00 00")
	short(t, DecodeSpeedCadenceResponse, "10 01 01")
	short(t, DecodeSpeedCadenceFeatures, "07 00")
}

// Bluetooth SIG, Heart Rate Measurement XML: read. Bit 1 is contact
// detected, bit 2 contact supported; intervals are 1/1024 s, oldest first.
func TestPublishedHeartRate(t *testing.T) {
	check(t, DecodeHeartRate, func(h HeartRate) []byte { return h.Append(nil) }, []both[HeartRate]{
		{name: "rate", wire: "00 48", want: HeartRate{BPM: 72}},
		{
			name: "contact and two intervals", wire: "16 48 00 04 20 04",
			want: HeartRate{BPM: 72, Contact: ContactDetected, RR: []float64{1, 1.03125}},
		},
		{name: "two octets", wire: "01 2C 01", want: HeartRate{BPM: 300, Wide: true}},
		{
			name: "energy", wire: "18 8C 2C 01 B0 01",
			want: HeartRate{BPM: 140, HasEnergy: true, Energy: 300, RR: []float64{0.421875}},
		},
		{
			name: "energy, two octets", wire: "19 8C 00 2C 01 B0 01",
			want: HeartRate{BPM: 140, Wide: true, HasEnergy: true, Energy: 300, RR: []float64{0.421875}},
		},
		{name: "no contact", wire: "04 00", want: HeartRate{Contact: ContactLost}},
		{name: "an odd octet left", wire: "10 48 00 04 20", want: HeartRate{BPM: 72, RR: []float64{1}}, back: "10 48 00 04"},
		{name: "contact 1 is not supported", wire: "02 48", want: HeartRate{BPM: 72}, back: "00 48"},
	})
	for _, wire := range []string{"00 48", "01 2C 01", "18 8C 2C 01"} {
		short(t, DecodeHeartRate, wire)
	}
	for wire, none := range map[string]bool{"04 00": true, "04 48": true, "06 48": false, "00 48": false, "00 00": true} {
		h, err := DecodeHeartRate(octets(t, wire))
		if err != nil || h.None() != none {
			t.Errorf("%s: none %v, %v", wire, h.None(), err)
		}
	}
}

// Body Sensor Location and Heart Rate Control Point XML: read.
func TestPublishedBodyLocation(t *testing.T) {
	for wire, want := range map[string]string{
		"00": "elsewhere", "01": "chest", "02": "wrist", "03": "finger", "04": "hand", "05": "ear lobe", "06": "foot",
		"07": "unknown place",
	} {
		l, err := DecodeBodyLocation(octets(t, wire))
		if err != nil || l.String() != want {
			t.Errorf("%s: %v, %v", wire, l, err)
		}
	}
	if b := ResetEnergy(); len(b) != 1 || b[0] != 1 {
		t.Errorf("% X", b)
	}
	short(t, DecodeBodyLocation, "01")
}

// Bluetooth SIG, Battery Level XML: read.
func TestPublishedBattery(t *testing.T) {
	for _, row := range []struct {
		wire  string
		level float64
		known bool
	}{{"64", 1, true}, {"00", 0, true}, {"0A", 0.1, true}, {"65", 0, false}, {"FF", 0, false}} {
		level, known, err := DecodeBattery(octets(t, row.wire))
		if err != nil || level != row.level || known != row.known {
			t.Errorf("%s: %g, %v, %v", row.wire, level, known, err)
		}
		if b := AppendBattery(nil, row.level); row.known && b[0] != octets(t, row.wire)[0] {
			t.Errorf("%g: % X", row.level, b)
		}
	}
	if _, _, err := DecodeBattery(nil); err == nil {
		t.Error("nothing is no battery level")
	}
	if b := AppendBattery(nil, 1.7); b[0] != 100 {
		t.Errorf("more than full: % X", b)
	}
}

// Bluetooth SIG, PnP ID XML: read.
func TestPublishedProduct(t *testing.T) {
	check(t, DecodeProduct, func(p Product) []byte { return p.Append(nil) }, []both[Product]{
		{name: "product", wire: "01 FF FF 02 00 10 01", want: Product{Source: 1, Vendor: 0xFFFF, Product: 2, Version: 0x0110}},
	})
	short(t, DecodeProduct, "01 FF FF 02 00 10 01")
}
