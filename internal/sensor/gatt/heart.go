package gatt

// Contact is what a belt says of its skin contact.
type Contact uint8

// The values of Contact, as bits 1 and 2 of the flags: bit 1 is that contact
// is detected, bit 2 that the belt can tell.
const (
	ContactUnsaid   Contact = 0 // 1 means the same
	ContactLost     Contact = 2
	ContactDetected Contact = 3
)

// HeartRate is one Heart Rate Measurement (2A37).
type HeartRate struct {
	BPM       float64
	Contact   Contact
	HasEnergy bool
	Energy    float64   // kJ, summed
	RR        []float64 // s between beats, the oldest first
	Wide      bool      // the rate has two octets
}

// None reports that there is no heart rate in the message: zero, or measured
// without skin.
func (h HeartRate) None() bool { return h.BPM == 0 || h.Contact == ContactLost }

// DecodeHeartRate reads a Heart Rate Measurement. A single octet left after
// the last whole interval is ignored.
func DecodeHeartRate(b []byte) (HeartRate, error) {
	r := reader{b: b}
	flags := r.u8()
	h := HeartRate{Wide: flags&1 != 0, Contact: Contact(flags >> 1 & 3), HasEnergy: flags&8 != 0}
	if h.Contact == 1 {
		h.Contact = ContactUnsaid
	}
	if h.Wide {
		h.BPM = float64(r.u16())
	} else {
		h.BPM = float64(r.u8())
	}
	if h.HasEnergy {
		h.Energy = float64(r.u16())
	}
	if err := r.err("heart rate measurement"); err != nil {
		return HeartRate{}, err
	}
	if n := len(r.left()) / 2; flags&16 != 0 && n > 0 {
		h.RR = make([]float64, n)
		for i := range h.RR {
			h.RR[i] = float64(r.u16()) / 1024
		}
	}
	return h, nil
}

// Append appends the message to b.
func (h HeartRate) Append(b []byte) []byte {
	flags := byte(h.Contact&3) << 1
	octets := 1
	if h.Wide {
		flags |= 1
		octets = 2
	}
	if h.HasEnergy {
		flags |= 8
	}
	if len(h.RR) > 0 {
		flags |= 16
	}
	b = appendUint(append(b, flags), h.BPM, octets)
	if h.HasEnergy {
		b = appendUint(b, h.Energy, 2)
	}
	for _, s := range h.RR {
		b = appendUint(b, s*1024, 2)
	}
	return b
}

// BodyLocation is where a heart rate sensor is worn (2A38).
type BodyLocation uint8

var bodyLocations = [...]string{"elsewhere", "chest", "wrist", "finger", "hand", "ear lobe", "foot"}

func (l BodyLocation) String() string {
	if int(l) < len(bodyLocations) {
		return bodyLocations[l]
	}
	return "unknown place"
}

// DecodeBodyLocation reads Body Sensor Location (2A38).
func DecodeBodyLocation(b []byte) (BodyLocation, error) {
	r := reader{b: b}
	l := BodyLocation(r.u8())
	return l, r.err("body sensor location")
}

// ResetEnergy is what the heart rate control point (2A39) is written to set
// the summed energy to zero.
func ResetEnergy() []byte { return []byte{1} }
