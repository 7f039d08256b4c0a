package gatt

// MachineOp is an op code of the Fitness Machine Control Point (2AD9).
type MachineOp uint8

// What a machine may be asked.
const (
	RequestControl        MachineOp = 0x00
	ResetMachine          MachineOp = 0x01 // gives control away too
	SetSpeed              MachineOp = 0x02 // m/s
	SetInclination        MachineOp = 0x03 // fraction
	SetResistance         MachineOp = 0x04 // level
	SetPower              MachineOp = 0x05 // W
	SetHeartRate          MachineOp = 0x06 // beats per minute
	StartOrResume         MachineOp = 0x07
	StopOrPause           MachineOp = 0x08 // MachineStop or MachinePause
	SetEnergy             MachineOp = 0x09
	SetSteps              MachineOp = 0x0A
	SetStrides            MachineOp = 0x0B
	SetDistance           MachineOp = 0x0C // m
	SetTime               MachineOp = 0x0D // s
	SetTimeInTwoZones     MachineOp = 0x0E // Times, s
	SetTimeInThreeZones   MachineOp = 0x0F
	SetTimeInFiveZones    MachineOp = 0x10
	SetSimulation         MachineOp = 0x11 // Simulation
	SetWheelCircumference MachineOp = 0x12 // m
	SpinDown              MachineOp = 0x13 // SpinDownStart or SpinDownIgnore
	SetCadence            MachineOp = 0x14 // rpm
	machineResponse                 = 0x80
)

// Values of StopOrPause and SpinDown.
const (
	MachineStop    = 1
	MachinePause   = 2
	SpinDownStart  = 1
	SpinDownIgnore = 2
)

// Simulation is what a machine is told of a road (op 0x11). The sign of the
// wind is not stated in the text that could be read.
type Simulation struct {
	Wind     float64 // m/s
	Gradient float64 // fraction
	Crr      float64
	Cw       float64 // kg/m in version 1.0 of the service, no unit in 1.0.1
	// CrrPer is how many units of the octet make a Crr of 1; 0 is
	// StandardCrrPer. Machines that take 1000 are about.
	CrrPer float64
}

// StandardCrrPer is the resolution of Crr in the text of the service, 0.0001.
const StandardCrrPer = 10000

func (s Simulation) crrPer() float64 {
	if s.CrrPer > 0 {
		return s.CrrPer
	}
	return StandardCrrPer
}

func (s Simulation) append(b []byte) []byte {
	b = appendInt(b, s.Wind*1000)
	b = appendInt(b, s.Gradient*perFineGradient)
	b = appendUint(b, s.Crr*s.crrPer(), 1)
	return appendUint(b, s.Cw*100, 1)
}

func readSimulation(r *reader) Simulation {
	return Simulation{
		Wind:     float64(r.s16()) / 1000,
		Gradient: float64(r.s16()) / perFineGradient,
		Crr:      float64(r.u8()) / StandardCrrPer,
		Cw:       float64(r.u8()) / 100,
	}
}

// MachineRequest is one wish to a machine. Value belongs to ops with one
// value, in the unit named at the op.
type MachineRequest struct {
	Op         MachineOp
	Value      float64
	Wide       bool // SetResistance with two octets instead of one
	Simulation Simulation
	Times      [5]float64 // s, for the times in zones, as many as it has
}

// shape is how one value stands in a message.
type shape struct {
	octets int
	signed bool
	per    float64
}

var requestShapes = [...]shape{
	SetSpeed:              {2, false, perMetrePerSecond},
	SetInclination:        {2, true, perGradient},
	SetResistance:         {1, false, perLevel},
	SetPower:              {2, true, 1},
	SetHeartRate:          {1, false, 1},
	StopOrPause:           {1, false, 1},
	SetEnergy:             {2, false, 1},
	SetSteps:              {2, false, 1},
	SetStrides:            {2, false, 1},
	SetDistance:           {3, false, 1},
	SetTime:               {2, false, 1},
	SetWheelCircumference: {2, false, perMetre},
	SpinDown:              {1, false, 1},
	SetCadence:            {2, false, perRevolution},
}

func (op MachineOp) zones() int {
	switch op {
	case SetTimeInTwoZones:
		return 2
	case SetTimeInThreeZones:
		return 3
	case SetTimeInFiveZones:
		return 5
	}
	return 0
}

func (op MachineOp) shape() shape {
	if int(op) < len(requestShapes) {
		return requestShapes[op]
	}
	return shape{}
}

// DecodeMachineRequest reads what was written to the control point. An op
// code that is not known is no error: its answer is that it is not supported.
func DecodeMachineRequest(b []byte) (MachineRequest, error) {
	r := reader{b: b}
	q := MachineRequest{Op: MachineOp(r.u8())}
	switch s := q.Op.shape(); {
	case q.Op == SetResistance && len(b) >= 3:
		q.Wide = true
		q.Value = float64(r.s16()) / perLevel
	case s.octets > 0:
		q.Value = r.number(s.octets, s.signed) / s.per
	case q.Op == SetSimulation:
		q.Simulation = readSimulation(&r)
	default:
		for i := range q.Op.zones() {
			q.Times[i] = float64(r.u16())
		}
	}
	if err := r.err("fitness machine control point"); err != nil {
		return MachineRequest{}, err
	}
	return q, nil
}

// Append appends the octets to write to b. What a field cannot carry is held
// to the nearest it can.
func (q MachineRequest) Append(b []byte) []byte {
	b = append(b, byte(q.Op))
	switch s := q.Op.shape(); {
	case q.Op == SetResistance && q.Wide:
		b = appendInt(b, q.Value*perLevel)
	case s.octets > 0:
		b = appendNumber(b, q.Value*s.per, s.octets, s.signed)
	case q.Op == SetSimulation:
		b = q.Simulation.append(b)
	default:
		for i := range q.Op.zones() {
			b = appendUint(b, q.Times[i], 2)
		}
	}
	return b
}

// Result is what a control point answers; the codes 1 to 4 are those of the
// Cycling Power and the Speed and Cadence control points too.
type Result uint8

// What a control point answers.
const (
	Success          Result = 1
	NotSupported     Result = 2
	InvalidParameter Result = 3
	OperationFailed  Result = 4
	NotPermitted     Result = 5 // control has not been granted
)

func (r Result) String() string {
	switch r {
	case Success:
		return "done"
	case NotSupported:
		return "not supported"
	case InvalidParameter:
		return "value refused"
	case OperationFailed:
		return "failed"
	case NotPermitted:
		return "not permitted"
	}
	return "an answer outside the standard"
}

// MachineResponse is an indication of the machine's control point. A
// spin-down that begins brings the speeds to reach and to coast down to.
type MachineResponse struct {
	Op        MachineOp
	Result    Result
	HasSpeeds bool
	Low, High float64 // m/s
}

// DecodeMachineResponse reads an indication of the machine's control point.
func DecodeMachineResponse(b []byte) (MachineResponse, error) {
	r := reader{b: b}
	code := r.u8()
	p := MachineResponse{Op: MachineOp(r.u8()), Result: Result(r.u8())}
	if err := r.err("fitness machine control point's answer"); err != nil {
		return MachineResponse{}, err
	}
	if code != machineResponse {
		return MachineResponse{}, &CodeError{What: "fitness machine control point's answer", Got: code, Want: machineResponse}
	}
	if p.Op == SpinDown && p.Result == Success && len(r.left()) >= 4 {
		p.HasSpeeds = true
		p.Low = float64(r.u16()) / perMetrePerSecond
		p.High = float64(r.u16()) / perMetrePerSecond
	}
	return p, nil
}

// Append appends the indication to b.
func (p MachineResponse) Append(b []byte) []byte {
	b = append(b, machineResponse, byte(p.Op), byte(p.Result))
	if p.HasSpeeds {
		b = appendUint(b, p.Low*perMetrePerSecond, 2)
		b = appendUint(b, p.High*perMetrePerSecond, 2)
	}
	return b
}
