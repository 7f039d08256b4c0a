package gatt

// PowerOp is an op code of the Cycling Power Control Point (2A66).
type PowerOp uint8

// What a power meter may be asked.
const (
	SetWheelRevs         PowerOp = 0x01 // revolutions
	SetLocation          PowerOp = 0x02
	AskLocations         PowerOp = 0x03
	SetCrankLength       PowerOp = 0x04 // m
	AskCrankLength       PowerOp = 0x05
	SetChainLength       PowerOp = 0x06
	AskChainLength       PowerOp = 0x07
	SetChainWeight       PowerOp = 0x08
	AskChainWeight       PowerOp = 0x09
	SetSpanLength        PowerOp = 0x0A
	AskSpanLength        PowerOp = 0x0B
	StartOffset          PowerOp = 0x0C
	MaskContent          PowerOp = 0x0D
	AskSamplingRate      PowerOp = 0x0E
	AskCalibrationDate   PowerOp = 0x0F
	StartEnhancedOffset  PowerOp = 0x10
	controlPointResponse         = 0x20
)

var powerShapes = [...]shape{
	SetWheelRevs:   {4, false, 1},
	SetLocation:    {1, false, 1},
	SetCrankLength: {2, false, 2000}, // 0.5 mm
	SetChainLength: {2, false, 1},
	SetChainWeight: {2, false, 1},
	SetSpanLength:  {2, false, 1},
	MaskContent:    {2, false, 1},
}

func (op PowerOp) shape() shape {
	if int(op) < len(powerShapes) {
		return powerShapes[op]
	}
	return shape{}
}

// PowerRequest is one wish to a power meter. Value belongs to ops that set
// something: SetCrankLength in metres, the others as the raw number.
type PowerRequest struct {
	Op    PowerOp
	Value float64
}

// DecodePowerRequest reads what was written to the control point. An op code
// that is not known is no error: its answer is that it is not supported.
func DecodePowerRequest(b []byte) (PowerRequest, error) {
	r := reader{b: b}
	q := PowerRequest{Op: PowerOp(r.u8())}
	if s := q.Op.shape(); s.octets > 0 {
		q.Value = r.number(s.octets, s.signed) / s.per
	}
	if err := r.err("cycling power control point"); err != nil {
		return PowerRequest{}, err
	}
	return q, nil
}

// Append appends the octets to write to b.
func (q PowerRequest) Append(b []byte) []byte {
	b = append(b, byte(q.Op))
	if s := q.Op.shape(); s.octets > 0 {
		b = appendNumber(b, q.Value*s.per, s.octets, s.signed)
	}
	return b
}

// PowerResponse is an indication of a power meter's control point.
type PowerResponse struct {
	Op     PowerOp
	Result Result
	Param  []byte // what follows, uninterpreted
}

// DecodePowerResponse reads an indication of the control point. Param shares
// memory with b.
func DecodePowerResponse(b []byte) (PowerResponse, error) {
	op, result, param, err := decodeAnswer(b, controlPointResponse, "cycling power control point's answer")
	if err != nil {
		return PowerResponse{}, err
	}
	return PowerResponse{Op: PowerOp(op), Result: result, Param: param}, nil
}

// Append appends the indication to b.
func (p PowerResponse) Append(b []byte) []byte {
	return append(append(b, controlPointResponse, byte(p.Op), byte(p.Result)), p.Param...)
}

// Offset is the raw offset a StartOffset brought: in newtons, or in 1/32 N m
// for a meter with MeasuresTorque. That it is signed and that it has these
// units is from memory; the description only calls it raw.
func (p PowerResponse) Offset() (raw int16, ok bool) {
	if p.Op != StartOffset || p.Result != Success || len(p.Param) < 2 {
		return 0, false
	}
	r := reader{b: p.Param}
	return r.s16(), true
}

// CrankLength is what AskCrankLength brought, in metres.
func (p PowerResponse) CrankLength() (metres float64, ok bool) {
	if p.Op != AskCrankLength || p.Result != Success || len(p.Param) < 2 {
		return 0, false
	}
	r := reader{b: p.Param}
	return float64(r.u16()) / 2000, true
}

// Locations are the places AskLocations brought.
func (p PowerResponse) Locations() []Location {
	if p.Op != AskLocations || p.Result != Success {
		return nil
	}
	places := make([]Location, len(p.Param))
	for i, at := range p.Param {
		places[i] = Location(at)
	}
	return places
}

// decodeAnswer reads what answers of the older control points have in common.
func decodeAnswer(b []byte, want uint8, what string) (op uint8, result Result, param []byte, err error) {
	r := reader{b: b}
	code := r.u8()
	op, result = r.u8(), Result(r.u8())
	if err := r.err(what); err != nil {
		return 0, 0, nil, err
	}
	if code != want {
		return 0, 0, nil, &CodeError{What: what, Got: code, Want: want}
	}
	return op, result, r.left(), nil
}
