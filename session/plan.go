package session

// A session as it is written, before anybody rides it. Notation in parse.go
// and print.go, scaling to a rider in scale.go.

// Session is a ride planned in steps.
type Session struct {
	Name     string
	Purpose  string   // what it is for, one sentence
	For      string   // for whom
	Cautions []string // who should not, and what to look out for
	Source   string   // where its facts come from; empty for common practice
	Blocks   []Block
}

// Block is one stage, or a group of blocks ridden Times times.
type Block struct {
	Times  int // ≥ 1 for a group; 0 for a stage
	Blocks []Block
	Stage  Stage
}

// StageKind is what a stage is in its session. Kinds other than Test do not
// change what is asked; they choose words, and what may be left out.
type StageKind int

// The kinds of stage, named by the verb that begins them in the notation.
const (
	Work   StageKind = iota // ride
	Warm                    // warm up
	Easy                    // easy
	Cool                    // cool down
	Sprint                  // sprint: seconds, all you have
	Test                    // test: a maximal effort whose result is read
	Off                     // rest: no pedalling
)

// Reference is what a target is a share of, or measured in.
type Reference int

// The references of a target.
const (
	OfNothing   Reference = iota // none: "as you like" after ride; after other verbs the verb says it all
	OfThreshold                  // share of functional threshold power, 0.05 to 3
	OfCritical                   // share of critical power, 0.05 to 3
	OfWatts                      // displayed watts, 1 to 3000
	OfHeartMax                   // share of maximal heart rate, 0.3 to 1
	OfHeart                      // beats per minute, 40 to 230
	OfFeel                       // exertion from 6 to 20
	OfAllOut                     // all you have
)

// Target is how hard. From and To are the same for one value; they are the
// lower and upper end of a band; or, with Ramp, its beginning and its end
// (which may be lower). Only power ramps.
type Target struct {
	Of       Reference
	From, To float64
	Ramp     bool
}

// EndKind is what ends a stage.
type EndKind int

// The ends of a stage.
const (
	AfterTime     EndKind = iota // Seconds
	AfterDistance                // Metres
	AtBalance                    // when Left of W′ is left (or Back, see End), between LeastS and MostS
	WhenSpent                    // when the rider cannot go on, at most MostS
	AtWord                       // when the rider or the host says so, at most MostS
)

// End is when a stage is over. MostS is set for AtBalance, WhenSpent and
// AtWord, LeastS for AtBalance alone.
type End struct {
	Kind          EndKind
	Seconds       float64 // s
	Metres        float64 // m
	Left          float64 // share of W′, 0 to 1
	Back          bool    // AtBalance: over when W′ has come back up to Left, not gone down to it
	LeastS, MostS float64 // s
}

// Stage is one thing to do in a session.
type Stage struct {
	Kind                    StageKind
	Target                  Target
	End                     End
	CadenceLow, CadenceHigh float64 // rpm, 0 if free
	Say                     string  // cue text for the rider, one line
}

// Count is which turn of a repeated group this is: N of Of, from 1.
type Count struct{ N, Of int }

// Lead is what a leg is led by.
type Lead int

// What a leg is led by. Whatever leads, the watts are there for planning.
const (
	ByWatts Lead = iota // hold AimW
	ByHeart             // keep the heart between HeartLow and HeartHigh; AimW is where to begin
	ByFeel              // ride by feel; AimW is an estimate and nothing to hold
)

// Leg is one stage of a session scaled to a rider: what the engine follows.
type Leg struct {
	Stage Stage // as written
	At    int   // which stage of the session that is, in the order they are written, from 0
	Kind  StageKind
	Lead  Lead
	Words string  // what to do, one line: "6 min at 240 W, 85 to 95 rpm"
	Say   string  // cue text as written; may be empty
	Turns []Count // outermost first; empty outside groups

	// Displayed watts at the beginning of the leg and, for a ramp, at its end
	// (ToW = AimW otherwise). LowW and HighW are the band around AimW that
	// counts as on target. AimW is 0 only for Off.
	LowW, AimW, HighW, ToW  float64
	HeartLow, HeartHigh     float64 // bpm; 0 unless Lead is ByHeart
	Exertion                int     // to expect, Borg 6 to 20; asked for if Lead is ByFeel
	Feel                    string  // the same in words
	CadenceLow, CadenceHigh float64 // rpm, 0 if free

	End   End
	LeftJ float64 // J of W′ at which an AtBalance leg ends

	// What to expect: planned start and length in s with the interval that
	// legs ended by distance or W′ leave open, share of W′ at the end, and the
	// lowest share of W′ within the leg.
	StartS, PlanS, PlanLowS, PlanHighS float64
	BalanceEnd, BalanceLow             float64

	// Brake is empty when a brake that holds target power can hold the leg,
	// else what it cannot do and what will be done instead.
	Brake   string
	HeldW   float64 // what the brake is set to at the beginning, W: AimW within its limits; 0 if it is not to hold watts here
	HeldToW float64 // the same at the end of the leg
}

// WattsAt is the target in displayed watts after a share (0 to 1) of the leg:
// of its seconds, its metres, or its most time where no clock ends it.
func (l Leg) WattsAt(share float64) float64 {
	return l.AimW + (l.ToW-l.AimW)*min(1, max(0, share))
}

// HeldAt is what the brake is set to there, W; 0 if it is not to hold watts.
func (l Leg) HeldAt(share float64) float64 {
	return l.HeldW + (l.HeldToW-l.HeldW)*min(1, max(0, share))
}

// Warning is something to say before the ride.
type Warning struct {
	Leg  int    // index into Legs; −1 for the whole session
	Text string // one sentence
}

// Scaled is a session for one rider on one rig.
type Scaled struct {
	Session Session
	Legs    []Leg

	// Totals of the plan. The interval of the time is open only where legs end
	// by distance, on W′ or when the rider cannot go on.
	PlanS, PlanLowS, PlanHighS float64 // s
	WorkJ                      float64 // J of displayed power
	EquivalentW                float64 // equivalent power, W
	LoadTh                     float64 // threshold-hours; 0 if threshold is unknown
	LowestBalance              float64 // lowest share of W′ to expect; negative: not rideable as written
	LowestLeg                  int     // index of the leg in which that is
}

// View is what scaling must know of a rider and a rig. All watts displayed.
type View struct {
	ThresholdW     float64 // W, functional threshold power; > 0
	CriticalPowerW float64 // W; > 0
	WPrimeJ        float64 // J; > 0
	WPrimeSDJ      float64 // J, its standard deviation; 0 if none is known
	MaxPowerW      float64 // W, highest momentary power; > CriticalPowerW
	Recovery       Recovery

	HeartMax     float64 // bpm, measured or typed; 0 unknown. A maximum predicted from age does not belong here.
	HeartRateOff bool    // heart rates mean nothing for this rider
	MassKg       float64 // kg; 0 unknown

	// FloorW and CeilingW are what the brake can hold; 0 if not known or no
	// brake is set. HoldsPower is true when a brake is set to target power.
	FloorW, CeilingW float64
	HoldsPower       bool
	NoWatts          bool // nothing shows this rider watts: every leg is led by heart or feel

	// Speed is the rider's own road speed in m/s at steady watts, for stages
	// that end on distance; nil takes a flat road without wind (our judgement).
	Speed func(watts float64) float64
}
