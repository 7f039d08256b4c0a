// Package sensor is between devices and the ride: a port brings bytes, the
// hub turns them into readings and a trainer's wishes into requests. Nothing
// in it blocks, starts a goroutine or reads a clock, so that a ride on the
// bench runs as fast as it can and the same twice. Ports live below:
// bluetooth (a radio), bench (a simulated rig) and replay (a recording).
package sensor

import "time"

// Port is a way to devices. Do returns at once; what comes of a request
// arrives among the events, in order for each device. Only one goroutine
// reads Events. Close ends every link and closes the channel.
type Port interface {
	Do(Request)
	Events() <-chan Event
	Close() error
}

// RequestKind says what a port is asked to do.
type RequestKind int

// What a port can be asked. Connect also finds the device's services and
// switches on notifications and indications for every characteristic of
// gatt.Known it has, indications of control points first; only then does Up
// arrive. Write is always with response.
const (
	ScanOn RequestKind = iota + 1
	ScanOff
	Connect
	Disconnect
	Read
	Write
)

// Request is one wish to a port. Char and Bytes belong to Read and Write.
type Request struct {
	Kind   RequestKind
	Device string // as in Event.Device; empty for scans
	Char   uint16 // 16-bit characteristic number
	Bytes  []byte
}

// EventKind says what a port saw.
type EventKind int

// What a port reports.
const (
	Found    EventKind = iota + 1 // an advertisement: Advert
	Up                            // connected and subscribed: Chars
	Lost                          // the link is gone, or Connect failed: Err says why
	Value                         // a notification or indication: Char, Bytes
	Answer                        // what a Read brought: Char, Bytes or Err
	Wrote                         // a Write was acknowledged, or refused: Char, Err
	RadioOff                      // the port itself cannot work: Err says why
	RadioOn                       // it works (again)
)

// Event is one thing a port saw. At is the arrival: notifications carry no
// time of their own.
type Event struct {
	Kind   EventKind
	Device string // the port's own lasting name of the device (an address)
	At     time.Time
	Char   uint16
	Bytes  []byte
	Chars  []uint16
	Advert Advert
	Err    error
}

// Advert is what a device says of itself before anyone connects.
type Advert struct {
	Name        string
	Services    []uint16
	ServiceData map[uint16][]byte
	RSSI        int // dBm; 0 is unknown
}

// Quantity is what a reading measures.
type Quantity int

// The quantities, with their unit. MachineSpeed is what a trainer claims: it
// is recorded and never moves the rider.
const (
	Power        Quantity = iota + 1 // W, displayed
	Cadence                          // rpm
	WheelSpeed                       // m/s, wheel revolutions times circumference
	MachineSpeed                     // m/s
	HeartRate                        // beats per minute
	RRInterval                       // s, one reading for each interval, oldest first
	LeftShare                        // left leg's share of power, fraction
	Resistance                       // the machine's own level
	Battery                          // fraction
)

// Service says which service a reading came by: one device may tell its
// power twice.
type Service uint16

// The services that carry readings.
const (
	FitnessMachine Service = 0x1826
	CyclingPower   Service = 0x1818
	SpeedCadence   Service = 0x1816
	HeartRateBelt  Service = 0x180D
	BatteryLevel   Service = 0x180F
)

// Reading is one thing measured, stamped on arrival.
type Reading struct {
	Device   string
	By       Service
	Quantity Quantity
	At       time.Time
	Value    float64
}

// CommandKind is one of the three ways a trainer is driven.
type CommandKind int

// How a trainer is driven.
const (
	TargetPower CommandKind = iota + 1
	TargetGradient
	TargetResistance
)

// Command is what a trainer is told. Only what passed ride's safety gate may
// be given to Hub.Command.
type Command struct {
	Kind     CommandKind
	Watts    float64 // TargetPower, displayed by the trainer
	Gradient float64 // TargetGradient, a fraction
	Level    float64 // TargetResistance, a fraction of the brake's range
}

// Setting is what is remembered of one device between rides.
type Setting struct {
	Device          string    `json:"device"`
	Name            string    `json:"name"`
	Firmware        string    `json:"firmware,omitempty"`         // as last seen
	ResistanceBytes int       `json:"resistance_bytes,omitempty"` // 1 or 2; 0 is not known yet
	CrrScale        float64   `json:"crr_scale,omitempty"`        // resolution of Crr in simulation, 0.0001 or 0.001; 0 is the standard's
	Circumference   float64   `json:"circumference,omitempty"`    // metres, of the wheel a sensor counts
	Seen            time.Time `json:"seen"`
}

// Notice is something a person should hear of, in a sentence.
type Notice struct {
	Device string
	At     time.Time
	Kind   NoticeKind
	Words  string
}

// NoticeKind says what a notice is about.
type NoticeKind int

// What notices are about.
const (
	LinkUp NoticeKind = iota + 1
	LinkLost
	ControlGained
	ControlLost
	ControlRefused
	CommandFailed
	FirmwareChanged
	BatteryLow
	ContactLost // a belt without skin
	OffsetDone
	SpinDown
	Garbled // a message that could not be read; counted, said once
	RadioTrouble
)

// Out is what the hub answers with.
type Out struct {
	Readings []Reading
	Requests []Request
	Notices  []Notice
}
