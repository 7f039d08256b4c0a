package gatt

// PowerFields are the flags of a Cycling Power Measurement.
type PowerFields uint16

// The flags of a Cycling Power Measurement. The power itself is always there.
const (
	PowerBalance       PowerFields = 1 << iota
	PowerBalanceOfLeft             // the balance is the left leg's; else nobody says whose
	PowerTorque
	PowerTorqueAtCrank // the torque is summed at the crank; else at the wheel
	PowerWheel
	PowerCrank
	PowerExtremeForces
	PowerExtremeTorques
	PowerExtremeAngles
	PowerTopDeadSpot
	PowerBottomDeadSpot
	PowerEnergy
	PowerAsksOffset // the sensor asks for its zero offset to be set
	powerFlags      = 1<<13 - 1
)

// Ticks of event times in one second. That of a wheel in a power measurement
// is finer than the same thing in a speed and cadence measurement.
const (
	PowerWheelTicks = 2048
	CrankTicks      = 1024
	SpeedWheelTicks = 1024
)

// PowerMeasurement is one Cycling Power Measurement (2A63).
type PowerMeasurement struct {
	Has        PowerFields
	Power      float64 // W, can be negative
	Balance    float64 // fraction
	Torque     float64 // N m, summed since the connection began; wraps at 2048
	WheelRevs  uint32
	WheelTime  uint16 // ticks of 1/PowerWheelTicks s
	CrankRevs  uint16
	CrankTime  uint16  // ticks of 1/CrankTicks s
	ForceMax   float64 // N
	ForceMin   float64 // N
	TorqueMax  float64 // N m
	TorqueMin  float64 // N m
	AngleMax   float64 // degrees of the crank
	AngleMin   float64
	TopDead    float64 // degrees
	BottomDead float64
	Energy     float64 // kJ
}

// DecodePower reads a Cycling Power Measurement.
func DecodePower(b []byte) (PowerMeasurement, error) {
	r := reader{b: b}
	m := PowerMeasurement{Has: PowerFields(r.u16()) & powerFlags}
	m.Power = float64(r.s16())
	if m.Has&PowerBalance != 0 {
		m.Balance = float64(r.u8()) / 200
	}
	if m.Has&PowerTorque != 0 {
		m.Torque = float64(r.u16()) / perNewtonMetre
	}
	if m.Has&PowerWheel != 0 {
		m.WheelRevs, m.WheelTime = r.uint(4), r.u16()
	}
	if m.Has&PowerCrank != 0 {
		m.CrankRevs, m.CrankTime = r.u16(), r.u16()
	}
	if m.Has&PowerExtremeForces != 0 {
		m.ForceMax, m.ForceMin = float64(r.s16()), float64(r.s16())
	}
	if m.Has&PowerExtremeTorques != 0 {
		m.TorqueMax, m.TorqueMin = float64(r.s16())/perNewtonMetre, float64(r.s16())/perNewtonMetre
	}
	if m.Has&PowerExtremeAngles != 0 {
		both := r.uint(3)
		m.AngleMax, m.AngleMin = float64(both&0xFFF), float64(both>>12)
	}
	if m.Has&PowerTopDeadSpot != 0 {
		m.TopDead = float64(r.u16())
	}
	if m.Has&PowerBottomDeadSpot != 0 {
		m.BottomDead = float64(r.u16())
	}
	if m.Has&PowerEnergy != 0 {
		m.Energy = float64(r.u16())
	}
	if err := r.err("cycling power measurement"); err != nil {
		return PowerMeasurement{}, err
	}
	return m, nil
}

// Append appends the message to b.
func (m PowerMeasurement) Append(b []byte) []byte {
	b = appendRaw(b, uint32(m.Has&powerFlags), 2)
	b = appendInt(b, m.Power)
	if m.Has&PowerBalance != 0 {
		b = appendUint(b, m.Balance*200, 1)
	}
	if m.Has&PowerTorque != 0 {
		b = appendUint(b, m.Torque*perNewtonMetre, 2)
	}
	if m.Has&PowerWheel != 0 {
		b = appendRaw(appendRaw(b, m.WheelRevs, 4), uint32(m.WheelTime), 2)
	}
	if m.Has&PowerCrank != 0 {
		b = appendRaw(appendRaw(b, uint32(m.CrankRevs), 2), uint32(m.CrankTime), 2)
	}
	if m.Has&PowerExtremeForces != 0 {
		b = appendInt(appendInt(b, m.ForceMax), m.ForceMin)
	}
	if m.Has&PowerExtremeTorques != 0 {
		b = appendInt(appendInt(b, m.TorqueMax*perNewtonMetre), m.TorqueMin*perNewtonMetre)
	}
	if m.Has&PowerExtremeAngles != 0 {
		low, high := uint32(held(m.AngleMax, 0, 0xFFF)), uint32(held(m.AngleMin, 0, 0xFFF))
		b = appendRaw(b, low|high<<12, 3)
	}
	if m.Has&PowerTopDeadSpot != 0 {
		b = appendUint(b, m.TopDead, 2)
	}
	if m.Has&PowerBottomDeadSpot != 0 {
		b = appendUint(b, m.BottomDead, 2)
	}
	if m.Has&PowerEnergy != 0 {
		b = appendUint(b, m.Energy, 2)
	}
	return b
}

// PowerFeatures are the bits of Cycling Power Feature (2A65).
type PowerFeatures uint32

// What a power meter says it has.
const (
	HasBalance PowerFeatures = 1 << iota
	HasTorque
	HasWheel
	HasCrank
	HasExtremes
	HasExtremeAngles
	HasDeadSpots
	HasEnergy
	HasOffsetIndicator
	HasOffsetCompensation
	HasContentMasking
	HasSeveralLocations
	HasCrankLength
	HasChainLength
	HasChainWeight
	HasSpanLength
	MeasuresTorque // at its strain gauges; else force
	HasDirection
	HasCalibrationDate
	HasEnhancedOffset
)

// Distribution says whether a power meter may be one half of a pair.
type Distribution uint8

// The values of Distribution.
const (
	DistributionUnsaid Distribution = iota
	NotDistributed
	Distributed
)

// Distribution is what the features say of a pair of meters.
func (f PowerFeatures) Distribution() Distribution { return Distribution(f >> 20 & 3) }

// With is the features with a distribution set.
func (f PowerFeatures) With(d Distribution) PowerFeatures {
	return f&^(3<<20) | PowerFeatures(d&3)<<20
}

// DecodePowerFeatures reads Cycling Power Feature (2A65).
func DecodePowerFeatures(b []byte) (PowerFeatures, error) {
	r := reader{b: b}
	f := PowerFeatures(r.uint(4))
	return f, r.err("cycling power feature")
}

// Append appends the message to b.
func (f PowerFeatures) Append(b []byte) []byte { return appendRaw(b, uint32(f), 4) }

// Location is where a sensor sits (2A5D).
type Location uint8

var locations = [...]string{
	"elsewhere", "top of the shoe", "in the shoe", "hip", "front wheel", "left crank",
	"right crank", "left pedal", "right pedal", "front hub", "rear dropout", "chainstay",
	"rear wheel", "rear hub", "chest", "spider", "chain ring",
}

func (l Location) String() string {
	if int(l) < len(locations) {
		return locations[l]
	}
	return "unknown place"
}

// Places where power is measured or wheels are counted.
const (
	AtFrontWheel Location = 4
	AtLeftCrank  Location = 5
	AtRearWheel  Location = 12
	AtRearHub    Location = 13
	AtSpider     Location = 15
)

// DecodeLocation reads Sensor Location (2A5D).
func DecodeLocation(b []byte) (Location, error) {
	r := reader{b: b}
	l := Location(r.u8())
	return l, r.err("sensor location")
}
