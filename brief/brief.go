// Package brief assembles one Brief: everything the sheet shows and nothing
// about how it looks. The faces (text, HTML, JSON) are internal/render's.
package brief

import (
	"chainline/course"
	"chainline/estimate"
)

// Brief is the sheet a rider takes to the start. SI units; sentences in
// Warnings and Cautions are ready to be shown.
type Brief struct {
	Title string // event name, else course name
	When  string // "Thursday 3 December 2026, 19:30 (Europe/Dublin)"; empty if unknown
	On    string // the day or start that When says, ISO 8601: "2026-12-03T19:30"; empty if unknown
	Kind  string // "time trial", "mass start", "handicap start", "group ride"; empty without an event
	Made  string // date the brief was made on, ISO 8601

	Rider    RiderSheet
	Rig      RigSheet
	Road     RoadSheet
	Course   CourseSheet
	Plan     PlanSheet
	Forecast ForecastSheet
	Room     RoomSheet
	WarmUp   WarmUpSheet
	Worth    []Worth  // what is worth doing before the start, most first
	NextTest NextTest // the test that would narrow most

	Warnings []string // about this brief's numbers: what is missing, wide, outside a model's range
	Cautions []string // about people's safety
}

// RiderSheet is who rides and what their numbers are.
type RiderSheet struct {
	Name         string
	Mass         float64 // kg
	HeartRateMax float64 // bpm; 0 when heart rate is not used
	HeartMaxFrom string  // "measured" or what it was predicted from

	CriticalPower, WPrime, MaxPower, Threshold estimate.Estimate // W, J, W, W
	Fade                                       estimate.Estimate // W per unit of ln(time/30 min)

	Exact    bool           // capacity was stated for a check, not inferred
	Model    string         // a sentence: how the capacity was found
	Evidence []EvidenceLine // what it rests on
	Next     string         // a sentence: what would narrow it most; may be empty
}

// EvidenceLine is one thing known about the rider, in words.
type EvidenceLine struct {
	What string // "180 s maximal test, 330 W"
	When string // ISO date, may be empty
	Used string // how it entered, or why it did not
}

// RigSheet is the equipment, and the language the cues speak.
type RigSheet struct {
	Trainer   string  // "controllable trainer", "plain trainer", "rollers", "indoor bike"
	Source    string  // name of the power source; empty if none
	Accuracy  float64 // fraction, sd of the source's scale
	Speaks    string  // "watts", "wheel speed" or "feel": what a cue is led by
	FloorW    float64 // W the rig cannot go below; 0 if none known
	CeilingW  float64 // W the rig cannot go above; 0 if none known
	Room      string  // one sentence on the room as typed; may be empty
	CurveFrom string  // where the power curve comes from, for plain trainers; else empty
	CurveSD   float64 // fraction, sd of watts read from the curve; 0 if no curve
}

// RoadSheet is the road as used, after defaults.
type RoadSheet struct {
	Name          string // "open road" or the file's name key
	BikeMass      float64
	CdA           estimate.Estimate // m²
	Crr           estimate.Estimate
	Efficiency    float64
	AirDensity    float64 // kg/m³
	AirFrom       string  // a sentence: where the density comes from
	DescentCap    float64 // m/s, 0 none
	StartSpeed    float64 // m/s
	Bearings      bool
	WheelDragArea float64 // m²
	WheelInertia  float64 // kg·m²
	WheelRadius   float64 // m
}

// CourseSheet is what the way is like.
type CourseSheet struct {
	Name      string
	Known     string // "track", "survey" or "sketch"
	Distance  float64
	Ascent    float64 // m, of the profile that is ridden
	RawAscent float64 // m, before smoothing; 0 when nothing was smoothed
	Smoothing string  // a sentence on what was done to the elevations; empty if nothing
	Laps      int
	Climbs    []course.Climb
	Profile   course.Profile   // thinned for drawing; for a sketch the first of Plausible
	Plausible []course.Profile // for a sketch: a few of the profiles the forecast rode
	Sections  int              // road sections of at least 60 s that the plan counts
}

// PlanSheet is the effort to ride.
type PlanSheet struct {
	Style       string  // "careful", "normal", "bold", "given" (from a file) or "stated" (capacity stated)
	ChanceLimit float64 // the chance of running empty the plan had to stay under; 0 when not planned by chance
	Recovery    string  // "differential", "integral", "elite"
	Reserve     float64 // J of W′ the plan keeps back
	ForCP       float64 // W, the critical power the plan was made for (after chance and fade)
	ForWPrime   float64 // J

	Cues  []Cue  // empty for a sketch
	Rules []Rule // effort by gradient: for a sketch, or on request

	Time        float64 // s, this plan on the mean road
	OptimumTime float64 // s, the best ride without regard to memory or 5 W steps
	EvenWatts   float64 // W, the best constant power
	EvenTime    float64 // s
	RulesTime   float64 // s, riding by Rules where there are also cues; 0 if not asked for
	BalanceMin  float64 // J, lowest W′ balance on the way
	MeanWatts   float64 // W, time mean of the plan
	Kept        float64 // share of the possible gain over even power that the plan keeps; NaN-free, 0 if there is none to gain

	EquivalentWatts  float64 // W, the steady power that costs about as much; 0 for a sketch
	ShareOfThreshold float64 // EquivalentWatts over threshold, fraction; 0 for a sketch
	Load             float64 // threshold-hours; 0 for a sketch

	Trace []TracePoint // for drawing: along the course
}

// Cue is one instruction: from here to there, hold this.
type Cue struct {
	Number        int
	FromM, ToM    float64 // m
	StartS, LastS float64 // s: when it begins on the mean road, how long it lasts
	Watts         float64 // W displayed
	Name          string  // "Off the line", "Climb 1", "Over the top", ...
	WPerKg        float64
	Share         float64 // of critical power, fraction
	WheelKmh      float64 // km/h on this trainer's wheel; 0 if the rig does not speak it
	WheelLowKmh   float64 // 80 % interval of the above, from the doubt about the curve
	WheelHighKmh  float64
	Exertion      int     // Borg 6-20
	Feel          string  // the exertion in our words
	HeartLow      float64 // bpm; 0 when no band is given (cue under three minutes, or heart rate off)
	HeartHigh     float64
	BalanceEnd    float64 // J left at its end
	Gear          string  // "50×15", when the rig needs one; empty otherwise
	Flag          string  // what the rig cannot do with this cue; empty otherwise
}

// Rule is effort by gradient: between these gradients, hold this.
type Rule struct {
	FromGradient, ToGradient            float64 // fractions; ±Inf at the ends
	Name                                string  // "steep up", "down", ...
	Watts                               float64
	WPerKg                              float64
	WheelKmh, WheelLowKmh, WheelHighKmh float64
	Exertion                            int
	Feel                                string
	HeartLow, HeartHigh                 float64
	ShareOfTime                         float64 // fraction of the ride spent under this rule
	Gear, Flag                          string
}

// TracePoint is the plan at one place, for drawing.
type TracePoint struct {
	M, Elevation, Watts, OptimumWatts, Speed, Seconds, Balance float64
}

// ForecastSheet is what is likely to happen, from seeded draws.
type ForecastSheet struct {
	Draws       int
	Seed        uint64
	Median      float64 // s
	Low80       float64 // s
	High80      float64 // s
	EvenMedian  float64 // s, the best even effort ridden in the same draws; 0 if it was not
	ChanceEmpty float64
	EmptyAt     float64 // m, where those who run empty do it, median; 0 if none do
	EmptyCue    int     // number of the cue it happens on most often; 0 if none
	Alone       bool    // a mass start whose bunch was not simulated
	Rest        string  // sentence: what was drawn

	FiveWatts float64 // s saved by 5 W more throughout (positive = faster)
	DragArea  float64 // s saved by 0.01 m² less
	OneKg     float64 // s lost if the mass typed is wrong by 1 kg (heavier)
}

// RoomSheet is what the effort does to rider and room. The zero value, with
// Known false, is a brief without a room (a capacity stated for a check).
type RoomSheet struct {
	Known       bool
	Temperature float64 // °C at the start
	Humidity    float64 // relative, fraction, at the start
	Assumed     string  // what of the room was not typed and is taken as usual; empty if nothing
	Airflow     float64 // m/s over the rider
	AirflowFrom string  // "one pedestal fan, 1 m away, high", "as typed", "no fan: only your own movement"

	MetabolicHeatW float64           // W, heat the body has to get rid of
	EndTemperature estimate.Estimate // °C, room at the end of the ride
	EndHumidity    estimate.Estimate // relative, fraction
	AirflowNeeded  float64           // m/s at which the heat can leave; 0 if still air will do, +Inf if none suffices
	WattsThatWould float64           // W displayed that this room can carry away with its airflow; 0 if the plan is below
	HeatSteadyS    float64           // s after which the effort is no longer steady; 0 if it is to the end
	Standard       string            // a sentence: the heat-strain standard's verdict, or that this is outside its range

	SweatLPerH          estimate.Estimate // l/h
	FluidLow, FluidHigh float64           // l over the ride: what to drink
	LossPercent         float64           // of body mass, if nothing is drunk
	Drink               string            // a sentence
	Food                string            // a sentence; empty for short rides
	Lines               []string          // sentences for the sheet, most important first
}

// WarmUpSheet is the warm-up and what else has to happen before the gun.
type WarmUpSheet struct {
	Steps        []WarmUpStep // in order; StartS negative, the gun at 0; the last ends at 0
	BalanceAtGun float64      // share of W′ back at the gun, fraction
	LastHardS    float64      // s before the gun at which the last hard effort ends
	Timeline     []Moment     // in order
	CoolDown     []WarmUpStep // StartS from the finish
	Why          string       // a sentence
}

// WarmUpStep is an even effort for a time.
type WarmUpStep struct {
	StartS, DurationS float64 // s
	Watts             float64 // W displayed; 0 is resting
	Name              string  // "easy", "steady", "hard", "in the pen"
	Exertion          int     // Borg 6-20
}

// Moment is something to do at a time before the gun (s, negative).
type Moment struct {
	AtS   float64
	Clock string // "19:06"; empty if the start has no time of day
	What  string
}

// Worth is what one thing done before the start is worth: finish time in
// seconds saved on average over the draws, with its 80 % interval.
type Worth struct {
	What          string  // "put a fan a metre in front, high"
	Seconds       float64 // s faster on average; 0 for what only narrows
	Low80, High80 float64 // s
	NarrowsFromS  float64 // s, width of the finish's 80 % interval before; 0 if it does not narrow
	NarrowsToS    float64 // s, after
	Why           string  // a sentence: what it rests on
	AlreadyDone   bool    // this rider does it already: the number is what would be lost without
}

// NextTest is the test that would narrow the threshold most among those this
// rider may do.
type NextTest struct {
	What          string // "a maximal test of 12 to 20 minutes"; empty if none is worth it
	Maximal       bool
	Recommended   bool    // the threshold's sd is above 6 % of its mean
	SDNow, SDThen float64 // W, of the threshold now and expected after the test
	Seconds       float64 // s the forecast's 80 % interval would narrow by
	Sentence      string  // ready to be shown; empty if nothing is suggested
}
