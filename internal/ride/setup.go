package ride

import (
	"fmt"
	"time"

	"chainline/capacity"
	"chainline/course"
	"chainline/internal/sensor"
	"chainline/physics"
	"chainline/rig"
	"chainline/session"
)

// Way is how the program is there during a ride.
type Way string

// The three ways to be there. Listening never writes to a trainer: on race
// day another program usually holds it.
const (
	Controlling Way = "controlling" // target power or gradient
	Showing     Way = "showing"     // a plain trainer: wheel speed, gear, cadence, feel
	Listening   Way = "listening"
)

// Advance is what moves the cues of a course on.
type Advance string

// What moves cues on. ByPosition is our own physics; the others are for
// riding beside another program.
const (
	ByPosition Advance = "position"
	ByTime     Advance = "time"     // the plan's clock
	ByKey      Advance = "key"      // the rider says when
	ByDistance Advance = "distance" // as ByPosition, put right when the rider confirms a distance
)

// Setup is everything a ride starts from. It is the first record of the
// journal, so that a ride can be understood and gone on with without anything
// else.
type Setup struct {
	ID    string    `json:"id"`
	Title string    `json:"title"`
	Begun time.Time `json:"begun"` // when recording began, with its zone
	Way   Way       `json:"way"`

	Rider   Rider           `json:"rider"`
	Rig     Rig             `json:"rig"`
	Session *session.Scaled `json:"session,omitempty"`
	Course  *Course         `json:"course,omitempty"`
	Room    Room            `json:"room"`
	// Flat is the road that distances in a session and free riding go by; zero
	// for an ordinary bicycle.
	Flat physics.Motion `json:"flat,omitzero"`

	// StartAt is the gun of a course; zero starts with the first pedal stroke,
	// or by key when WaitForKey is set.
	StartAt    time.Time `json:"start_at,omitzero"`
	WaitForKey bool      `json:"wait_for_key,omitempty"`
	Limits     Limits    `json:"limits"`
	Bench      bool      `json:"bench,omitempty"` // the rig is simulated, and the recording says so
	Of         Of        `json:"of,omitzero"`
	// Group is the live group course that the ride is in; whoever begins or
	// goes on with the ride joins it (Core.Join).
	Group *InGroup `json:"group,omitempty"`
}

// InGroup says which live group course a ride is in. How to reach it stands
// elsewhere: a journal holds no secret.
type InGroup struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Host  bool   `json:"host,omitempty"` // it is hosted by the same program
}

// Of are the IDs of what a ride is of, where they are kept; the engine does not
// read them.
type Of struct {
	Rider  string `json:"rider,omitempty"`
	Rig    string `json:"rig,omitempty"`
	Course string `json:"course,omitempty"`
	Road   string `json:"road,omitempty"`
}

// Rider is what the engine must know of a rider. Watts are displayed.
type Rider struct {
	Name      string           `json:"name"`
	Mass      float64          `json:"mass_kg"`
	Balance   capacity.Balance `json:"balance"`
	MaxPower  float64          `json:"max_power_w"`
	Threshold float64          `json:"threshold_w"`
	// HeartMax is measured or typed; 0 when unknown: a maximum predicted from
	// age warns nobody.
	HeartMax float64 `json:"heart_max_bpm,omitempty"`
}

// SourceKey names one stream of watts: a device and the service it comes by,
// or the power curve of a plain trainer.
type SourceKey string

// KeyOf is the key of what a device tells by a service.
func KeyOf(device string, by sensor.Service) SourceKey {
	return SourceKey(fmt.Sprintf("%s/%04X", device, uint16(by)))
}

// FromCurve is the key of watts reckoned from wheel speed.
const FromCurve SourceKey = "curve"

// Correction is what the last rig check found of a source: corrected watts
// are Gain·displayed + Offset. It is applied on purpose and recorded.
type Correction struct {
	Gain   float64 `json:"gain"`
	Offset float64 `json:"offset_w"`
}

// Rig is what the engine must know of a rig.
type Rig struct {
	Name    string      `json:"name"`
	Order   []SourceKey `json:"order,omitempty"`   // the rider's own order of power sources; others follow, meters first
	Trainer string      `json:"trainer,omitempty"` // device that may be told; empty: the first that can
	// Trusted is the meter the trainer is steered by; empty: the trainer holds
	// its own watts.
	Trusted     SourceKey                `json:"trusted,omitempty"`
	Corrections map[SourceKey]Correction `json:"corrections,omitempty"`

	CurvePoints   []rig.Point `json:"curve,omitempty"` // of a plain trainer
	CurveSD       float64     `json:"curve_sd,omitempty"`
	RollingMass   float64     `json:"rolling_mass_kg,omitempty"` // what wheel and flywheel weigh in effect, at the tyre
	Circumference float64     `json:"circumference_m,omitempty"`
	DeadTime      float64     `json:"dead_time_s,omitempty"` // of the brake, measured; 0 unknown
	Lag           float64     `json:"lag_s,omitempty"`       // of the brake, first order, measured; 0 unknown
	FloorW        float64     `json:"floor_w,omitempty"`
	CeilingW      float64     `json:"ceiling_w,omitempty"`
	// Gradient drives the trainer by the course's gradient instead of by the
	// cue's watts; Share is how much of it (0.5 halves the slopes).
	Gradient bool    `json:"gradient,omitempty"`
	Share    float64 `json:"share,omitempty"`
}

// Cue is one instruction of a course's plan.
type Cue struct {
	FromM     float64 `json:"from_m"`
	ToM       float64 `json:"to_m"`
	StartS    float64 `json:"start_s"` // planned
	Watts     float64 `json:"watts"`
	Name      string  `json:"name"`
	Exertion  int     `json:"exertion,omitempty"`
	Feel      string  `json:"feel,omitempty"`
	HeartLow  float64 `json:"heart_low,omitempty"`
	HeartHigh float64 `json:"heart_high,omitempty"`
	Gear      string  `json:"gear,omitempty"`
	WheelKmh  float64 `json:"wheel_kmh,omitempty"`
}

// Course is a way to ride with its plan.
type Course struct {
	Name       string         `json:"name"`
	Profile    course.Profile `json:"profile"`
	Motion     physics.Motion `json:"motion"`
	StartSpeed float64        `json:"start_speed"`
	Cues       []Cue          `json:"cues"`
	PlannedS   float64        `json:"planned_s"`
	Low80      float64        `json:"low80_s,omitempty"`
	High80     float64        `json:"high80_s,omitempty"`
	Advance    Advance        `json:"advance"`
	Basis      *Basis         `json:"basis,omitempty"` // what the rest is made anew from while riding; none: the plan stays
}

// Room is what drink and fan reminders rest on, from the brief.
type Room struct {
	SweatLPerH   float64 `json:"sweat_l_per_h,omitempty"` // expected at PlannedWatts; 0 unknown: no reminders
	PlannedWatts float64 `json:"planned_watts,omitempty"`
	DrinkShare   float64 `json:"drink_share,omitempty"` // of what is sweated
	FanWatts     float64 `json:"fan_watts,omitempty"`   // displayed watts whose heat this room cannot carry away; 0 none
}

// Check says what is wrong with a setup, in a sentence.
func (s Setup) Check() error {
	switch {
	case s.Way != Controlling && s.Way != Showing && s.Way != Listening:
		return fmt.Errorf("a ride is controlling, showing or listening, not %q", s.Way)
	case s.Session != nil && s.Course != nil:
		return fmt.Errorf("a ride follows a session or a course, not both")
	case !(s.Rider.Mass > 0):
		return fmt.Errorf("the rider's mass is missing")
	case !(s.Rider.Balance.CriticalPower > 0) || !(s.Rider.Balance.WPrime > 0):
		return fmt.Errorf("the rider's critical power and W′ are missing")
	case s.Course != nil && (len(s.Course.Profile.Distance) < 2 || s.Course.Profile.Length() <= 0):
		return fmt.Errorf("the course has no length")
	case s.Session != nil && len(s.Session.Legs) == 0:
		return fmt.Errorf("the session has no steps")
	}
	return nil
}
