// Package session answers what a session asks for: the notation that sessions
// are written in, the starter library, scaling to a rider and a brake; and the
// warm-up, the cool-down and the timeline to the gun.
package session

import (
	"strings"

	"chainline/capacity"
	"chainline/estimate"
)

// Kind is the kind of start.
type Kind int

const (
	Private   Kind = iota // nobody waits: a ride of one's own
	TimeTrial             // alone against the clock
	MassStart             // everybody at once
	Handicap              // slower riders leave first
	GroupRide             // together, without a result
)

// kinds are the words of an event file, in the order of Kind.
var kinds = [...]string{"private ride", "time trial", "mass start", "handicap start", "group ride"}

// ParseKind reads "time trial", "mass start", "handicap start", "group ride",
// and "private ride" or nothing.
func ParseKind(s string) (Kind, bool) {
	s = strings.ToLower(strings.TrimSpace(s))
	for k, word := range kinds {
		if s == word {
			return Kind(k), true
		}
	}
	return Private, s == ""
}

// String is the kind in words.
func (k Kind) String() string { return kinds[k] }

// Pen is what can be done while waiting in the start pen.
type Pen int

const (
	PenFree  Pen = iota // on the own rig, at any power: the usual case indoors
	PenEasy             // only easy pedalling
	PenStill            // no pedalling
)

// Rig is what of the rig matters before the start.
type Rig struct {
	PowerMeter   bool // has a zero offset
	Controllable bool // a trainer that takes target power; has a spin-down unless Rollers
	Rollers      bool
	Fan          bool
	HeartStrap   bool
	FloorW       float64 // W, least the rig can hold; 0 if none
	CeilingW     float64 // W, most the rig can hold; 0 if none
}

// Recovery is how W′ comes back: a published form and the log-normal factor on
// its time constants, as capacity.RecoverySpread gives them.
type Recovery struct {
	Form        capacity.Recovery
	SpeedMedian float64 // 0 is read as 1
	SpeedLogSD  float64 // ≥ 0
}

// Request is what the warm-up depends on.
type Request struct {
	Kind     Kind
	PenS     float64 // s in the start pen before the gun, 0 to MaxPenS
	Pen      Pen
	Level    capacity.Level
	Age      float64 // years; 0 unknown
	Screened bool    // a health screening is on file

	Capacity capacity.Capacity // in displayed watts
	Recovery Recovery
	Rig      Rig

	RideS      float64 // s, expected duration of the ride, > 0
	FirstWatts float64 // W, mean of the first minutes of the plan; 0 unknown
	FirstS     float64 // s that FirstWatts covers; 0 unknown

	HasClock   bool
	StartClock int // minutes after midnight of the gun, 0 to 1439
}

// MaxPenS is the longest wait in a pen that is accepted, s.
const MaxPenS = 3600.0

// Step is an even effort for a time.
type Step struct {
	StartS, DurationS float64 // s; StartS before the gun is negative
	Watts             float64 // W displayed; 0 is resting
	Name              string
	Exertion          int // Borg 6 to 20
}

// Moment is something to do at a time before the gun.
type Moment struct {
	AtS   float64 // s, negative
	Clock string  // "19:06"; empty without a time of day
	What  string
}

// WarmUp is the warm-up, the timeline to the gun and the cool-down.
type WarmUp struct {
	Steps        []Step            // contiguous, the last ends at 0
	BalanceAtGun float64           // share of W′ at the gun, median recovery
	BalanceSlow  float64           // the same at the 90th percentile of slowness
	LastHardS    float64           // s before the gun at which the last hard effort ends; 0 if there is none
	Prior        Prior             // what the steps amount to, for Gain and GainAt
	WaitS        float64           // s from the last effort, hard or steady, to the gun
	Gain         estimate.Estimate // J, against no warm-up at all
	Timeline     []Moment
	CoolDown     []Step   // StartS from the finish
	Why          string   // a sentence
	Lines        []string // sentences for the sheet: what is fitted, what it costs, where it comes from
}
