package gatt

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// MachineFeatures is what a fitness machine says it has (2ACC): what it
// measures and which targets may be set.
type MachineFeatures struct {
	Measures MachineMeasures
	Targets  MachineTargets
}

// MachineMeasures are the bits of a machine's features.
type MachineMeasures uint32

// What a machine can measure or say.
const (
	MeasuresAverageSpeed MachineMeasures = 1 << iota
	MeasuresCadence
	MeasuresDistance
	MeasuresInclination
	MeasuresElevationGain
	MeasuresPace
	MeasuresSteps
	MeasuresResistance
	MeasuresStrides
	MeasuresEnergy
	MeasuresHeartRate
	MeasuresMetabolic
	MeasuresElapsed
	MeasuresRemaining
	MeasuresPower
	MeasuresBeltForce
	KeepsUserData
)

// MachineTargets are the bits of the targets that may be set.
type MachineTargets uint32

// What may be set on a machine.
const (
	TakesSpeed MachineTargets = 1 << iota
	TakesInclination
	TakesResistance
	TakesPower
	TakesHeartRate
	TakesEnergy
	TakesSteps
	TakesStrides
	TakesDistance
	TakesTime
	TakesTimeInTwoZones
	TakesTimeInThreeZones
	TakesTimeInFiveZones
	TakesSimulation
	TakesWheelCircumference
	TakesSpinDown
	TakesCadence
)

// DecodeMachineFeatures reads Fitness Machine Feature (2ACC).
func DecodeMachineFeatures(b []byte) (MachineFeatures, error) {
	r := reader{b: b}
	f := MachineFeatures{Measures: MachineMeasures(r.uint(4)), Targets: MachineTargets(r.uint(4))}
	if err := r.err("fitness machine feature"); err != nil {
		return MachineFeatures{}, err
	}
	return f, nil
}

// Append appends the message to b.
func (f MachineFeatures) Append(b []byte) []byte {
	return appendRaw(appendRaw(b, uint32(f.Measures), 4), uint32(f.Targets), 4)
}

// Range is what a machine takes as a target: speeds in m/s, inclinations as
// a fraction, resistances in the machine's own level, heart rates in beats
// per minute, powers in W.
type Range struct{ Min, Max, Step float64 }

// Usable reports whether the range leaves any choice; machines exist that
// send zeros.
func (r Range) Usable() bool { return r.Max > r.Min && r.Step >= 0 }

// Fit is v held within the range and rounded to its steps, counted from its
// least value. A range without choice changes nothing.
func (r Range) Fit(v float64) float64 {
	if !r.Usable() {
		return v
	}
	v = math.Min(math.Max(v, r.Min), r.Max)
	if r.Step > 0 {
		steps := math.Min(math.Round((v-r.Min)/r.Step), math.Floor((r.Max-r.Min)/r.Step+1e-9))
		v = r.Min + steps*r.Step
	}
	return v
}

// narrowResistanceStep is the unit of the three-octet resistance range.
const narrowResistanceStep = 10

// DecodeRange reads one of the supported ranges, 2AD4 to 2AD8. That of the
// resistance has six octets by the service's first description and three by
// the later supplement: its length decides. Panics on another characteristic.
func DecodeRange(char uint16, b []byte) (Range, error) {
	if char == ResistanceRange && len(b) >= 3 && len(b) < 6 {
		return Range{
			Min:  float64(b[0]) * narrowResistanceStep,
			Max:  float64(b[1]) * narrowResistanceStep,
			Step: float64(b[2]) * narrowResistanceStep,
		}, nil
	}
	octets, signed, per := rangeShape(char)
	r := reader{b: b}
	is := Range{
		Min:  r.number(octets, signed) / per,
		Max:  r.number(octets, signed) / per,
		Step: r.number(octets, false) / per,
	}
	if err := r.err("supported range"); err != nil {
		return Range{}, err
	}
	return is, nil
}

// Append appends the message of one of the supported ranges to b; that of
// the resistance with six octets.
func (r Range) Append(char uint16, b []byte) []byte {
	octets, signed, per := rangeShape(char)
	b = appendNumber(b, r.Min*per, octets, signed)
	b = appendNumber(b, r.Max*per, octets, signed)
	return appendUint(b, r.Step*per, octets)
}

// AppendNarrow appends the range of a resistance with three octets to b.
func (r Range) AppendNarrow(b []byte) []byte {
	b = appendUint(b, r.Min/narrowResistanceStep, 1)
	b = appendUint(b, r.Max/narrowResistanceStep, 1)
	return appendUint(b, r.Step/narrowResistanceStep, 1)
}

func rangeShape(char uint16) (octets int, signed bool, per float64) {
	switch char {
	case SpeedRange:
		return 2, false, perMetrePerSecond
	case InclinationRange:
		return 2, true, perGradient
	case ResistanceRange:
		return 2, true, perLevel
	case HeartRateRange:
		return 1, false, 1
	case PowerRange:
		return 2, true, 1
	}
	panic(fmt.Sprintf("gatt: %04X is not a supported range", char))
}

// Training is what a machine says it is doing (2AD3).
type Training struct {
	State TrainingState
	Text  string // the machine's own words, if any
	// Long says that the text goes on: the rest is had by reading.
	Long bool
}

// TrainingState is a state of Training Status.
type TrainingState uint8

var trainingStates = [...]string{
	"other", "idle", "warming up", "low-intensity interval", "high-intensity interval",
	"recovery interval", "isometric", "controlled by heart rate", "fitness test",
	"below the controlled region", "above the controlled region", "cooling down",
	"controlled by power", "manual", "before the workout", "after the workout",
}

func (s TrainingState) String() string {
	if int(s) < len(trainingStates) {
		return trainingStates[s]
	}
	return "reserved"
}

// The states a trainer for bicycles is likely to say.
const (
	TrainingIdle              TrainingState = 0x01
	TrainingWarmingUp         TrainingState = 0x02
	TrainingControlledByPower TrainingState = 0x0C
	TrainingManual            TrainingState = 0x0D
)

// DecodeTraining reads Training Status (2AD3).
func DecodeTraining(b []byte) (Training, error) {
	r := reader{b: b}
	flags := r.u8()
	t := Training{State: TrainingState(r.u8())}
	if err := r.err("training status"); err != nil {
		return Training{}, err
	}
	if flags&3 != 0 {
		t.Text = text(r.left())
		t.Long = flags&2 != 0
	}
	return t, nil
}

// Append appends the message to b.
func (t Training) Append(b []byte) []byte {
	var flags byte
	if t.Text != "" {
		flags = 1
	}
	if t.Long {
		flags |= 2
	}
	return append(append(b, flags, byte(t.State)), t.Text...)
}

// text is a string as devices send them: made valid, cut at the first zero,
// without spaces or control characters about it.
func text(b []byte) string {
	s, _, _ := strings.Cut(string(b), "\x00")
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "\uFFFD")
	}
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F {
			return -1
		}
		return r
	}, s))
}

// MachineAdvert is what a fitness machine adds to its advertisement: service
// data of FitnessMachineService.
type MachineAdvert struct {
	Available bool
	Kinds     uint16 // bits; KindIndoorBike
}

// KindIndoorBike is the bit of MachineAdvert.Kinds that means a bicycle or a
// trainer for one.
const KindIndoorBike uint16 = 1 << 5

// DecodeMachineAdvert reads the service data of a machine's advertisement.
// Machines are about that leave out an octet or set another bit, so nobody
// should be turned away for what stands here.
func DecodeMachineAdvert(b []byte) (MachineAdvert, error) {
	r := reader{b: b}
	a := MachineAdvert{Available: r.u8()&1 != 0}
	if len(b) == 2 {
		a.Kinds = uint16(r.u8())
		return a, nil
	}
	a.Kinds = r.u16()
	if err := r.err("fitness machine advertisement"); err != nil {
		return MachineAdvert{}, err
	}
	return a, nil
}

// Append appends the service data to b.
func (a MachineAdvert) Append(b []byte) []byte {
	var flags byte
	if a.Available {
		flags = 1
	}
	return appendRaw(append(b, flags), uint32(a.Kinds), 2)
}
