package gatt

// BikeFields says which fields of BikeData are there. The bits are those of
// the message's flags, but for BikeSpeed, which the flags say the other way
// round, and the three bits of single energies, which the message says by
// reserved values.
type BikeFields uint16

// The fields of Indoor Bike Data, in the order of the message.
const (
	BikeSpeed BikeFields = 1 << iota
	BikeAverageSpeed
	BikeCadence
	BikeAverageCadence
	BikeDistance
	BikeResistance
	BikePower
	BikeAveragePower
	BikeEnergy // the three energies are in the message, known or not
	BikeHeartRate
	BikeMetabolic
	BikeElapsed
	BikeRemaining
	BikeEnergyTotal
	BikeEnergyPerHour
	BikeEnergyPerMinute
)

const (
	bikeMoreData = 1 << 0
	bikeFlags    = 0x1FFE // flags of fields; the rest is reserved, but bit 0
)

// BikeData is one Indoor Bike Data message (2AD2), or several merged.
type BikeData struct {
	Has             BikeFields
	Speed           float64 // m/s
	AverageSpeed    float64 // m/s
	Cadence         float64 // rpm
	AverageCadence  float64 // rpm
	Distance        uint32  // m, wraps at 2^24
	Resistance      float64 // the machine's own level, no unit
	Power           float64 // W, can be negative
	AveragePower    float64 // W
	EnergyTotal     float64 // kcal
	EnergyPerHour   float64 // kcal/h
	EnergyPerMinute float64 // kcal/min
	HeartRate       float64 // beats per minute; machines say 0 for none
	Metabolic       float64 // metabolic equivalents
	Elapsed         float64 // s
	Remaining       float64 // s
	// NarrowResistance says that the resistance has one octet, as the later
	// supplement has it, not two, as the service's first description.
	NarrowResistance bool
}

// More reports that this message is not the last of its record: bit 0 of its
// flags is set, and then speed is absent.
func (d BikeData) More() bool { return d.Has&BikeSpeed == 0 }

// DecodeBike reads Indoor Bike Data. Descriptions disagree about the octets
// of the resistance: two are tried first; one, when the message then lacks
// exactly one octet.
func DecodeBike(b []byte) (BikeData, error) {
	d, missing := decodeBike(b, 2)
	if missing == 1 && d.Has&BikeResistance != 0 {
		d, missing = decodeBike(b, 1)
	}
	if missing > 0 {
		return BikeData{}, &ShortError{What: "indoor bike data", Got: len(b), Need: len(b) + missing}
	}
	return d, nil
}

func decodeBike(b []byte, resistanceOctets int) (d BikeData, missing int) {
	r := reader{b: b}
	flags := r.u16()
	d.Has = BikeFields(flags & bikeFlags)
	if flags&bikeMoreData == 0 {
		d.Has |= BikeSpeed
	}
	field := func(f BikeFields, to *float64, octets int, signed bool, per float64) {
		if d.Has&f != 0 {
			*to = r.number(octets, signed) / per
		}
	}
	field(BikeSpeed, &d.Speed, 2, false, perMetrePerSecond)
	field(BikeAverageSpeed, &d.AverageSpeed, 2, false, perMetrePerSecond)
	field(BikeCadence, &d.Cadence, 2, false, perRevolution)
	field(BikeAverageCadence, &d.AverageCadence, 2, false, perRevolution)
	if d.Has&BikeDistance != 0 {
		d.Distance = r.uint(3)
	}
	field(BikeResistance, &d.Resistance, resistanceOctets, resistanceOctets == 2, 1)
	d.NarrowResistance = d.Has&BikeResistance != 0 && resistanceOctets == 1
	field(BikePower, &d.Power, 2, true, 1)
	field(BikeAveragePower, &d.AveragePower, 2, true, 1)
	if d.Has&BikeEnergy != 0 {
		known := func(f BikeFields, to *float64, octets int, unknown uint32) {
			if v := r.uint(octets); v != unknown {
				*to = float64(v)
				d.Has |= f
			}
		}
		known(BikeEnergyTotal, &d.EnergyTotal, 2, 0xFFFF)
		known(BikeEnergyPerHour, &d.EnergyPerHour, 2, 0xFFFF)
		known(BikeEnergyPerMinute, &d.EnergyPerMinute, 1, 0xFF)
	}
	field(BikeHeartRate, &d.HeartRate, 1, false, 1)
	field(BikeMetabolic, &d.Metabolic, 1, false, 10)
	field(BikeElapsed, &d.Elapsed, 2, false, 1)
	field(BikeRemaining, &d.Remaining, 2, false, 1)
	return d, max(0, r.at-len(b))
}

// Append appends the message to b.
func (d BikeData) Append(b []byte) []byte {
	flags := uint16(d.Has) & bikeFlags
	if d.More() {
		flags |= bikeMoreData
	}
	b = appendRaw(b, uint32(flags), 2)
	field := func(f BikeFields, v float64, octets int, signed bool) {
		if d.Has&f != 0 {
			b = appendNumber(b, v, octets, signed)
		}
	}
	field(BikeSpeed, d.Speed*perMetrePerSecond, 2, false)
	field(BikeAverageSpeed, d.AverageSpeed*perMetrePerSecond, 2, false)
	field(BikeCadence, d.Cadence*perRevolution, 2, false)
	field(BikeAverageCadence, d.AverageCadence*perRevolution, 2, false)
	if d.Has&BikeDistance != 0 {
		b = appendRaw(b, d.Distance, 3)
	}
	if d.NarrowResistance {
		field(BikeResistance, d.Resistance, 1, false)
	} else {
		field(BikeResistance, d.Resistance, 2, true)
	}
	field(BikePower, d.Power, 2, true)
	field(BikeAveragePower, d.AveragePower, 2, true)
	if d.Has&BikeEnergy != 0 {
		known := func(f BikeFields, v float64, octets int) {
			if d.Has&f == 0 {
				v = 0xFFFF // held to 0xFF in one octet
			}
			b = appendUint(b, v, octets)
		}
		known(BikeEnergyTotal, d.EnergyTotal, 2)
		known(BikeEnergyPerHour, d.EnergyPerHour, 2)
		known(BikeEnergyPerMinute, d.EnergyPerMinute, 1)
	}
	field(BikeHeartRate, d.HeartRate, 1, false)
	field(BikeMetabolic, d.Metabolic*10, 1, false)
	field(BikeElapsed, d.Elapsed, 2, false)
	field(BikeRemaining, d.Remaining, 2, false)
	return b
}

// unclosedLimit is how many records in a row may stay without their last
// message before a machine is taken to send whole records that say more
// follows. Our judgement.
const unclosedLimit = 3

// BikeMerger puts records together that a machine had to split: all but the
// last message say that more follows. Reset it when the link is lost.
type BikeMerger struct {
	part     BikeData
	unclosed int
}

// Reset drops a record that is only partly there.
func (m *BikeMerger) Reset() { *m = BikeMerger{} }

// Add takes the next message and gives the record when it is whole. A field
// that comes twice before the last message means that this last message was
// lost: what there is of that record is given, and the next one begun. Some
// machines without a speed never send a last message; after a few such
// records each message of theirs is taken as whole.
func (m *BikeMerger) Add(d BikeData) (record BikeData, whole bool) {
	if !d.More() {
		m.unclosed = 0
		record = merged(m.part, d)
		m.part = BikeData{}
		return record, true
	}
	if m.unclosed >= unclosedLimit {
		return d, true
	}
	if m.part.Has&d.Has == 0 {
		m.part = merged(m.part, d)
		return BikeData{}, false
	}
	m.unclosed++
	record, m.part = m.part, d
	if m.unclosed >= unclosedLimit {
		m.part = BikeData{}
		return d, true // the newer of the two; the older is late already
	}
	return record, true
}

// merged is a with the fields of b laid over it.
func merged(a, b BikeData) BikeData {
	if a.Has == 0 {
		return b
	}
	fields := []struct {
		is   BikeFields
		to   *float64
		from float64
	}{
		{BikeSpeed, &a.Speed, b.Speed},
		{BikeAverageSpeed, &a.AverageSpeed, b.AverageSpeed},
		{BikeCadence, &a.Cadence, b.Cadence},
		{BikeAverageCadence, &a.AverageCadence, b.AverageCadence},
		{BikeResistance, &a.Resistance, b.Resistance},
		{BikePower, &a.Power, b.Power},
		{BikeAveragePower, &a.AveragePower, b.AveragePower},
		{BikeEnergyTotal, &a.EnergyTotal, b.EnergyTotal},
		{BikeEnergyPerHour, &a.EnergyPerHour, b.EnergyPerHour},
		{BikeEnergyPerMinute, &a.EnergyPerMinute, b.EnergyPerMinute},
		{BikeHeartRate, &a.HeartRate, b.HeartRate},
		{BikeMetabolic, &a.Metabolic, b.Metabolic},
		{BikeElapsed, &a.Elapsed, b.Elapsed},
		{BikeRemaining, &a.Remaining, b.Remaining},
	}
	for _, f := range fields {
		if b.Has&f.is != 0 {
			*f.to = f.from
		}
	}
	if b.Has&BikeDistance != 0 {
		a.Distance = b.Distance
	}
	if b.Has&BikeResistance != 0 {
		a.NarrowResistance = b.NarrowResistance
	}
	a.Has |= b.Has
	return a
}
