package gatt

import (
	"testing"
	"time"
)

func encodePower(m PowerMeasurement) []byte { return m.Append(nil) }

const (
	wireC5 = "3F 08 04 01 66 40 06 A0 86 01 00 00 08 E8 03 00 10 2C 01"
	wireC8 = "C0 06 FA 00 A4 01 DD FF C0 03 C0 FF 02 00 B2 00"
)

// Bluetooth SIG, Cycling Power Measurement XML: read. That counters wrap is
// arithmetic; the prose of the service could not be read.
func TestPublishedPowerMeasurement(t *testing.T) {
	check(t, DecodePower, encodePower, []both[PowerMeasurement]{
		{name: "power alone", wire: "00 00 FA 00", want: PowerMeasurement{Power: 250}},
		{name: "negative", wire: "00 00 F6 FF", want: PowerMeasurement{Power: -10}},
		{
			name: "crank", wire: "20 00 2C 01 E8 03 00 10",
			want: PowerMeasurement{Has: PowerCrank, Power: 300, CrankRevs: 1000, CrankTime: 4096},
		},
		{
			name: "wheel", wire: "10 00 C8 00 A0 86 01 00 00 08",
			want: PowerMeasurement{Has: PowerWheel, Power: 200, WheelRevs: 100000, WheelTime: 2048},
		},
		{
			name: "balance, torque, wheel, crank, energy", wire: wireC5,
			want: PowerMeasurement{
				Has:   PowerBalance | PowerBalanceOfLeft | PowerTorque | PowerTorqueAtCrank | PowerWheel | PowerCrank | PowerEnergy,
				Power: 260, Balance: 0.51, Torque: 50, WheelRevs: 100000, WheelTime: 2048,
				CrankRevs: 1000, CrankTime: 4096, Energy: 300,
			},
		},
		{
			name: "extreme angles, packed", wire: "00 01 FA 00 5F 30 11",
			want: PowerMeasurement{Has: PowerExtremeAngles, Power: 250, AngleMax: 95, AngleMin: 275},
		},
		{
			name: "extremes and dead spots", wire: wireC8,
			want: PowerMeasurement{
				Has:   PowerExtremeForces | PowerExtremeTorques | PowerTopDeadSpot | PowerBottomDeadSpot,
				Power: 250, ForceMax: 420, ForceMin: -35, TorqueMax: 30, TorqueMin: -2, TopDead: 2, BottomDead: 178,
			},
		},
		{
			name: "asks for its offset", wire: "00 10 C8 00",
			want: PowerMeasurement{Has: PowerAsksOffset, Power: 200},
		},
		{
			name: "reserved bits, octets after the last field", wire: "00 E0 FA 00 01 02",
			want: PowerMeasurement{Power: 250}, back: "00 00 FA 00",
		},
	})
	for _, wire := range []string{"00 00 FA 00", wireC5, wireC8, "00 01 FA 00 5F 30 11"} {
		short(t, DecodePower, wire)
	}
}

// The packing of the angles as the XML itself gives it: 0x123ABC is 0xABC
// and 0x123. Read.
func TestPublishedExtremeAngles(t *testing.T) {
	m, err := DecodePower(octets(t, "00 01 00 00 BC 3A 12"))
	if err != nil || m.AngleMax != 0xABC || m.AngleMin != 0x123 {
		t.Errorf("%+v, %v", m, err)
	}
}

// Two messages give a rate. Units of the event times: Cycling Power
// Measurement and CSC Measurement XML, read: a wheel counts 1/2048 s in
// power, 1/1024 s in speed and cadence; a crank 1/1024 s in both. The rates
// are computed from the octets, a wheel of 2.105 m assumed.
func TestPublishedCounters(t *testing.T) {
	power := func(wire string) PowerMeasurement {
		m, err := DecodePower(octets(t, wire))
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	speed := func(wire string) SpeedCadence {
		m, err := DecodeSpeedCadence(octets(t, wire))
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	crank := func(a, b PowerMeasurement) Turned {
		return two(NewCrank(), uint32(a.CrankRevs), a.CrankTime, uint32(b.CrankRevs), b.CrankTime)
	}
	c2 := crank(power("20 00 2C 01 E8 03 00 10"), power("20 00 2E 01 EA 03 55 15"))
	c3 := crank(power("20 00 FA 00 FF FF 00 FC"), power("20 00 FA 00 01 00 55 01"))
	a, b := power("10 00 C8 00 A0 86 01 00 00 08"), power("10 00 CD 00 A3 86 01 00 9A 0D")
	c4 := two(NewPowerWheel(), a.WheelRevs, a.WheelTime, b.WheelRevs, b.WheelTime)
	s, u := speed("03 A0 86 01 00 00 04 E8 03 00 10"), speed("03 A3 86 01 00 CD 06 EA 03 55 15")
	s1 := two(NewSpeedWheel(), s.WheelRevs, s.WheelTime, u.WheelRevs, u.WheelTime)
	s1crank := two(NewCrank(), uint32(s.CrankRevs), s.CrankTime, uint32(u.CrankRevs), u.CrankTime)
	v, w := speed("01 FF FF FF FF 00 FC"), speed("01 01 00 00 00 55 01")
	s3 := two(NewSpeedWheel(), v.WheelRevs, v.WheelTime, w.WheelRevs, w.WheelTime)
	for _, row := range []struct {
		name        string
		got         Turned
		revs        uint32
		ticks       uint16
		per, want   float64
		lastPrinted float64
	}{
		{"crank", c2, 2, 1365, 60, 90.02, 0.005},
		{"crank, both counters wrap", c3, 2, 1365, 60, 90.02, 0.005},
		{"wheel of a power meter", c4, 3, 1434, 2.105, 9.0189, 0.00005},
		{"wheel of a speed sensor", s1, 3, 717, 2.105, 9.0189, 0.00005},
		{"crank of a cadence sensor", s1crank, 2, 1365, 60, 90.02, 0.005},
		{"wheel wraps", s3, 2, 1365, 1, 2 * 1024.0 / 1365, 1e-12},
	} {
		if !row.got.Known || row.got.Revs != row.revs || row.got.Ticks != row.ticks {
			t.Errorf("%s: %+v", row.name, row.got)
		}
		if !near(row.got.Rate*row.per, row.want, row.lastPrinted) {
			t.Errorf("%s: %g, want %g", row.name, row.got.Rate*row.per, row.want)
		}
	}
}

var noon = time.Date(2026, 1, 10, 12, 0, 0, 0, time.UTC)

func two(c Counter, revs1 uint32, time1 uint16, revs2 uint32, time2 uint16) Turned {
	c.Add(revs1, time1, noon)
	return c.Add(revs2, time2, noon.Add(time.Second))
}

// While a rider coasts the event time does not advance: the same counters
// are no new data. That is from memory; when to call it a standstill is our
// judgement.
func TestPublishedCoasting(t *testing.T) {
	c := NewCrank()
	if r := c.Add(1000, 0x1000, noon); r.Known {
		t.Error("a rate out of one message")
	}
	c.Add(1002, 0x1555, noon.Add(time.Second))
	for _, row := range []struct {
		after time.Duration
		rpm   float64
	}{
		{2 * time.Second, 90.02}, {3900 * time.Millisecond, 90.02}, {4 * time.Second, 0}, {100 * time.Second, 0},
	} {
		r := c.Add(1002, 0x1555, noon.Add(row.after))
		if !r.Known || !near(r.Rate*60, row.rpm, 0.005) || r.Revs != 0 {
			t.Errorf("after %v: %+v, want %g rpm", row.after, r, row.rpm)
		}
	}
	// The pause was longer than the time takes to wrap: its length is not a rate.
	if r := c.Add(1003, 0x1555+2048, noon.Add(101*time.Second)); r.Known || r.Absurd {
		t.Errorf("first turn after the pause: %+v", r)
	}
	if r := c.Add(1004, 0x1555+3072, noon.Add(102*time.Second)); !r.Known || !near(r.Rate, 1, 1e-12) {
		t.Errorf("second turn after the pause: %+v", r)
	}
}

func TestCounterDoesNotBelieveJumps(t *testing.T) {
	c := NewCrank()
	c.Add(1000, 0, noon)
	c.Add(1001, 1024, noon.Add(time.Second))
	for name, r := range map[string]Turned{
		"reset to zero":   addTo(c, 0, 0),
		"backwards":       addTo(c, 1000, 2048),
		"no time between": addTo(c, 1002, 1024),
		"too fast":        addTo(c, 1001+6, 2048),
	} {
		if r.Known || !r.Absurd {
			t.Errorf("%s: %+v", name, r)
		}
	}
	if r := addTo(c, 1001+5, 2048); !r.Known || r.Rate != 5 {
		t.Errorf("as fast as may be: %+v", r)
	}
	if c.Turning(noon.Add(5 * time.Second)) {
		t.Error("turning four seconds after the last revolution")
	}
	if !c.Turning(noon.Add(2 * time.Second)) {
		t.Error("not turning one second after a revolution")
	}
	c.Reset()
	if r := c.Add(1, 1, noon); r.Known || r.Absurd {
		t.Errorf("after a reset: %+v", r)
	}
}

// addTo works on a copy.
func addTo(c Counter, revs uint32, ticks uint16) Turned {
	return c.Add(revs, ticks, noon.Add(2*time.Second))
}

// Cycling Power Feature XML: read.
func TestPublishedPowerFeature(t *testing.T) {
	want := HasBalance | HasWheel | HasCrank | HasOffsetCompensation | MeasuresTorque
	check(t, DecodePowerFeatures, func(f PowerFeatures) []byte { return f.Append(nil) }, []both[PowerFeatures]{
		{name: "meter", wire: "0D 02 21 00", want: want.With(Distributed)},
	})
	if d := want.With(Distributed).Distribution(); d != Distributed {
		t.Errorf("distribution %d", d)
	}
	if HasEnhancedOffset != 1<<19 {
		t.Errorf("enhanced offset is %b", HasEnhancedOffset)
	}
	short(t, DecodePowerFeatures, "0D 02 21 00")
}

// Cycling Power Control Point XML: read. The half millimetre of crank
// lengths is secondary (an open library, MIT); that a raw offset is signed
// is from memory.
func TestPublishedPowerControlPoint(t *testing.T) {
	check(t, DecodePowerRequest, func(q PowerRequest) []byte { return q.Append(nil) }, []both[PowerRequest]{
		{name: "offset", wire: "0C", want: PowerRequest{Op: StartOffset}},
		{name: "crank length", wire: "04 59 01", want: PowerRequest{Op: SetCrankLength, Value: 0.1725}},
		{name: "ask crank length", wire: "05", want: PowerRequest{Op: AskCrankLength}},
		{name: "revolutions", wire: "01 A0 86 01 00", want: PowerRequest{Op: SetWheelRevs, Value: 100000}},
		{name: "unknown", wire: "55 01", want: PowerRequest{Op: 0x55}, back: "55"},
	})
	check(t, DecodePowerResponse, func(p PowerResponse) []byte { return p.Append(nil) }, []both[PowerResponse]{
		{name: "crank length", wire: "20 05 01 59 01", want: PowerResponse{Op: AskCrankLength, Result: Success, Param: []byte{0x59, 1}}},
		{name: "offset", wire: "20 0C 01 F4 FF", want: PowerResponse{Op: StartOffset, Result: Success, Param: []byte{0xF4, 0xFF}}},
		{name: "the rider moved", wire: "20 0C 04", want: PowerResponse{Op: StartOffset, Result: OperationFailed}},
	})
	p, _ := DecodePowerResponse(octets(t, "20 0C 01 F4 FF"))
	if raw, ok := p.Offset(); !ok || raw != -12 {
		t.Errorf("offset %d, %v", raw, ok)
	}
	if _, ok := p.CrankLength(); ok {
		t.Error("a crank length out of an offset")
	}
	p, _ = DecodePowerResponse(octets(t, "20 05 01 59 01"))
	if m, ok := p.CrankLength(); !ok || !near(m, 0.1725, 1e-12) {
		t.Errorf("crank length %g, %v", m, ok)
	}
	p, _ = DecodePowerResponse(octets(t, "20 03 01 05 06"))
	if at := p.Locations(); len(at) != 2 || at[0] != AtLeftCrank || at[1].String() != "right crank" {
		t.Errorf("locations %v", at)
	}
	p, _ = DecodePowerResponse(octets(t, "20 0C 04"))
	if _, ok := p.Offset(); ok {
		t.Error("an offset out of a failure")
	}
	short(t, DecodePowerResponse, "20 0C 04")
	short(t, DecodePowerRequest, "04 59 01")
}

// Sensor Location XML: read.
func TestPublishedSensorLocation(t *testing.T) {
	for wire, want := range map[string]string{
		"00": "elsewhere", "04": "front wheel", "05": "left crank", "06": "right crank", "07": "left pedal",
		"08": "right pedal", "09": "front hub", "0A": "rear dropout", "0B": "chainstay", "0C": "rear wheel",
		"0D": "rear hub", "0E": "chest", "0F": "spider", "10": "chain ring", "11": "unknown place",
	} {
		l, err := DecodeLocation(octets(t, wire))
		if err != nil || l.String() != want {
			t.Errorf("%s: %v, %v, want %s", wire, l, err, want)
		}
	}
	short(t, DecodeLocation, "00")
}
