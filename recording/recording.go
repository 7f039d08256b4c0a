// Package recording is what was measured: raw channels, each value with its
// time of arrival, gaps kept as gaps. One row a second is a view of them.
package recording

// Quantity names what a channel measures; the names are also those of files.
type Quantity string

// The quantities with their unit.
const (
	Power        Quantity = "power"         // W, displayed by the source
	Cadence      Quantity = "cadence"       // rpm
	WheelSpeed   Quantity = "wheel_speed"   // m/s
	MachineSpeed Quantity = "machine_speed" // m/s, claimed by a trainer
	HeartRate    Quantity = "heart_rate"    // beats per minute
	RRInterval   Quantity = "rr_interval"   // s
	LeftShare    Quantity = "left_share"    // fraction
	Resistance   Quantity = "resistance"    // the machine's own level
	Battery      Quantity = "battery"       // fraction
	Position     Quantity = "position"      // m along the course, by our own physics
	Speed        Quantity = "speed"         // m/s, by our own physics
	Gradient     Quantity = "gradient"      // fraction
	Altitude     Quantity = "altitude"      // m
	Latitude     Quantity = "latitude"      // degrees
	Longitude    Quantity = "longitude"     // degrees
	Target       Quantity = "target"        // W, what the cue or step asked
	Commanded    Quantity = "commanded"     // W or gradient, what the trainer was told
	Left         Quantity = "w_balance"     // J of W′ left, as reckoned while riding
	Shelter      Quantity = "shelter"       // share of own air drag left by riders near, in a live group
	Help         Quantity = "help"          // share left by the host's keeping a live group together
	Brought      Quantity = "brought_up"    // m of Position that were not ridden: brought up by the host of a live group
)

// Channel is one quantity from one source. Seconds rise strictly and count
// from the recording's start; len(Seconds) == len(Values). Used marks the
// channel that moved the rider where several measure the same.
type Channel struct {
	Quantity Quantity
	Source   string // a device's name; "ride" for what the program reckoned
	Seconds  []float64
	Values   []float64
}

// MarkKind says what a mark is.
type MarkKind string

// The kinds of mark.
const (
	Lap      MarkKind = "lap"      // a new lap, step or cue begins
	Pause    MarkKind = "pause"    // the rider stopped, or a key
	Resume   MarkKind = "resume"   //
	Lost     MarkKind = "lost"     // a source fell silent: Source
	Back     MarkKind = "back"     // it speaks again
	Switched MarkKind = "switched" // power is now taken from Source
	Assumed  MarkKind = "assumed"  // a value was carried or assumed from here, words say what
	Measured MarkKind = "measured" // ... until here
	Note     MarkKind = "note"     // anything else a person was told
)

// Mark is something that happened at one instant.
type Mark struct {
	Seconds float64
	Kind    MarkKind
	Source  string
	Words   string
}

// Recording is one ride. StartUnix and ZoneSeconds place it on the calendar.
type Recording struct {
	Title       string
	StartUnix   float64 // s
	ZoneSeconds int     // local time minus UTC
	Sport       string  // "indoor cycling", "road cycling"
	Channels    []Channel
	Marks       []Mark
	Used        map[Quantity]string // the source the ride went by at its end; changes are Switched marks
	Whole       bool                // false: recovered, or cut short; Marks say where
}
