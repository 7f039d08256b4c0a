package gatt

// StatusOp is an op code of Fitness Machine Status (2ADA).
type StatusOp uint8

// What a machine says happened to it.
const (
	StatusReset              StatusOp = 0x01
	StatusStopped            StatusOp = 0x02 // by the rider: MachineStop or MachinePause
	StatusSafetyKey          StatusOp = 0x03
	StatusStarted            StatusOp = 0x04
	StatusSpeed              StatusOp = 0x05 // m/s
	StatusInclination        StatusOp = 0x06 // fraction
	StatusResistance         StatusOp = 0x07 // level
	StatusPower              StatusOp = 0x08 // W
	StatusHeartRate          StatusOp = 0x09
	StatusEnergy             StatusOp = 0x0A
	StatusSteps              StatusOp = 0x0B
	StatusStrides            StatusOp = 0x0C
	StatusDistance           StatusOp = 0x0D // m
	StatusTime               StatusOp = 0x0E // s
	StatusTimeInTwoZones     StatusOp = 0x0F // Times, s
	StatusTimeInThreeZones   StatusOp = 0x10
	StatusTimeInFiveZones    StatusOp = 0x11
	StatusSimulation         StatusOp = 0x12
	StatusWheelCircumference StatusOp = 0x13 // m
	StatusSpinDown           StatusOp = 0x14 // SpinDownRequested and on
	StatusCadence            StatusOp = 0x15 // rpm
	StatusControlLost        StatusOp = 0xFF
)

// Values of StatusSpinDown.
const (
	SpinDownRequested    = 1
	SpinDownSuccess      = 2
	SpinDownError        = 3
	SpinDownStopPedaling = 4
)

// Status is one Fitness Machine Status message. Value is in the unit named
// at the op.
type Status struct {
	Op         StatusOp
	Value      float64
	Narrow     bool // StatusResistance with one octet, as some machines send
	Simulation Simulation
	Times      [5]float64 // s
}

// request is the op of the control point whose value this status repeats.
func (op StatusOp) request() MachineOp {
	switch {
	case op >= StatusSpeed && op <= StatusHeartRate:
		return MachineOp(op) - 3 // 05 is the speed here, 02 there
	case op >= StatusEnergy && op <= StatusWheelCircumference:
		return MachineOp(op) - 1
	case op == StatusCadence:
		return SetCadence
	case op == StatusSpinDown:
		return SpinDown
	case op == StatusStopped:
		return StopOrPause
	}
	return RequestControl // no value
}

// DecodeStatus reads Fitness Machine Status (2ADA). Octets after the value
// are ignored: a spin-down's success is known to carry some. An op code that
// is not known is no error.
func DecodeStatus(b []byte) (Status, error) {
	r := reader{b: b}
	s := Status{Op: StatusOp(r.u8())}
	of := s.Op.request()
	switch shape := of.shape(); {
	case s.Op == StatusResistance && len(b) == 2:
		s.Narrow = true
		s.Value = float64(r.u8()) / perLevel
	case s.Op == StatusResistance:
		s.Value = float64(r.s16()) / perLevel
	case shape.octets > 0:
		s.Value = r.number(shape.octets, shape.signed) / shape.per
	case s.Op == StatusSimulation:
		s.Simulation = readSimulation(&r)
	default:
		for i := range of.zones() {
			s.Times[i] = float64(r.u16())
		}
	}
	if err := r.err("fitness machine status"); err != nil {
		return Status{}, err
	}
	return s, nil
}

// Append appends the message to b.
func (s Status) Append(b []byte) []byte {
	b = append(b, byte(s.Op))
	of := s.Op.request()
	switch shape := of.shape(); {
	case s.Op == StatusResistance && !s.Narrow:
		b = appendInt(b, s.Value*perLevel)
	case shape.octets > 0:
		b = appendNumber(b, s.Value*shape.per, shape.octets, shape.signed)
	case s.Op == StatusSimulation:
		b = s.Simulation.append(b)
	default:
		for i := range of.zones() {
			b = appendUint(b, s.Times[i], 2)
		}
	}
	return b
}
