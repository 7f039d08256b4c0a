package gatt

// SpeedCadence is one measurement of a speed and cadence sensor (2A5B).
type SpeedCadence struct {
	HasWheel  bool
	HasCrank  bool
	WheelRevs uint32
	WheelTime uint16 // ticks of 1/SpeedWheelTicks s
	CrankRevs uint16
	CrankTime uint16 // ticks of 1/CrankTicks s
}

// DecodeSpeedCadence reads a Cycling Speed and Cadence Measurement.
func DecodeSpeedCadence(b []byte) (SpeedCadence, error) {
	r := reader{b: b}
	flags := r.u8()
	m := SpeedCadence{HasWheel: flags&1 != 0, HasCrank: flags&2 != 0}
	if m.HasWheel {
		m.WheelRevs, m.WheelTime = r.uint(4), r.u16()
	}
	if m.HasCrank {
		m.CrankRevs, m.CrankTime = r.u16(), r.u16()
	}
	if err := r.err("speed and cadence measurement"); err != nil {
		return SpeedCadence{}, err
	}
	return m, nil
}

// Append appends the message to b.
func (m SpeedCadence) Append(b []byte) []byte {
	var flags byte
	if m.HasWheel {
		flags |= 1
	}
	if m.HasCrank {
		flags |= 2
	}
	b = append(b, flags)
	if m.HasWheel {
		b = appendRaw(appendRaw(b, m.WheelRevs, 4), uint32(m.WheelTime), 2)
	}
	if m.HasCrank {
		b = appendRaw(appendRaw(b, uint32(m.CrankRevs), 2), uint32(m.CrankTime), 2)
	}
	return b
}

// SpeedCadenceFeatures are the bits of the sensor's features (2A5C).
type SpeedCadenceFeatures uint16

// What a speed and cadence sensor says it has.
const (
	CountsWheel SpeedCadenceFeatures = 1 << iota
	CountsCrank
	KnowsSeveralLocations
)

// DecodeSpeedCadenceFeatures reads CSC Feature (2A5C).
func DecodeSpeedCadenceFeatures(b []byte) (SpeedCadenceFeatures, error) {
	r := reader{b: b}
	f := SpeedCadenceFeatures(r.u16())
	return f, r.err("speed and cadence feature")
}

// Append appends the message to b.
func (f SpeedCadenceFeatures) Append(b []byte) []byte { return appendRaw(b, uint32(f), 2) }

// SpeedCadenceOp is an op code of the SC Control Point (2A55).
type SpeedCadenceOp uint8

// What a speed and cadence sensor may be asked.
const (
	ZeroWheelRevs        SpeedCadenceOp = 0x01 // to the value
	MoveTo               SpeedCadenceOp = 0x03 // a Location
	AskWhere             SpeedCadenceOp = 0x04
	speedCadenceResponse                = 0x10
)

// SpeedCadenceRequest is one wish to a speed and cadence sensor.
type SpeedCadenceRequest struct {
	Op    SpeedCadenceOp
	Value uint32
}

func (op SpeedCadenceOp) octets() int {
	switch op {
	case ZeroWheelRevs:
		return 4
	case MoveTo:
		return 1
	}
	return 0
}

// DecodeSpeedCadenceRequest reads what was written to the control point.
func DecodeSpeedCadenceRequest(b []byte) (SpeedCadenceRequest, error) {
	r := reader{b: b}
	q := SpeedCadenceRequest{Op: SpeedCadenceOp(r.u8())}
	if n := q.Op.octets(); n > 0 {
		q.Value = r.uint(n)
	}
	if err := r.err("speed and cadence control point"); err != nil {
		return SpeedCadenceRequest{}, err
	}
	return q, nil
}

// Append appends the octets to write to b.
func (q SpeedCadenceRequest) Append(b []byte) []byte {
	return appendRaw(append(b, byte(q.Op)), q.Value, q.Op.octets())
}

// SpeedCadenceResponse is an indication of the control point.
type SpeedCadenceResponse struct {
	Op     SpeedCadenceOp
	Result Result
	Param  []byte
}

// DecodeSpeedCadenceResponse reads an indication of the control point. Param
// shares memory with b.
func DecodeSpeedCadenceResponse(b []byte) (SpeedCadenceResponse, error) {
	op, result, param, err := decodeAnswer(b, speedCadenceResponse, "speed and cadence control point's answer")
	if err != nil {
		return SpeedCadenceResponse{}, err
	}
	return SpeedCadenceResponse{Op: SpeedCadenceOp(op), Result: result, Param: param}, nil
}

// Append appends the indication to b.
func (p SpeedCadenceResponse) Append(b []byte) []byte {
	return append(append(b, speedCadenceResponse, byte(p.Op), byte(p.Result)), p.Param...)
}
