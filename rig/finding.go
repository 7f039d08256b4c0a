package rig

import (
	"chainline/estimate"
	"chainline/recording"
)

// Subject is what a finding is about: one way in which a rig's numbers can be
// wrong. The text is also that of files.
type Subject string

// The subjects, with the unit of a finding's Size.
const (
	Gain             Subject = "gain"               // fraction: shown over true, or over the other source, less one
	Offset           Subject = "offset"             // W
	Delay            Subject = "delay"              // s one source lags the other
	Smoothing        Subject = "smoothing"          // s, time constant of a filter that nobody asked for
	LostSamples      Subject = "lost samples"       // fraction of the samples that should have come
	Stuck            Subject = "stuck"              // s, the longest run of a value that cannot be true
	Spikes           Subject = "spikes"             // number of them
	WarmUpDrift      Subject = "warm-up drift"      // fraction of gain gained between cold and warm
	CadenceBias      Subject = "cadence bias"       // fraction of gain between the low and the high cadences ridden
	PowerBias        Subject = "power bias"         // fraction of gain between the low and the high powers ridden
	ZeroOffset       Subject = "zero offset"        // N m at the crank while nothing is pushed
	LockedHeart      Subject = "heart locked"       // fraction of the time that heart rate follows cadence
	BrakeLag         Subject = "brake lag"          // s, first-order time constant from command to watts
	DeadTime         Subject = "dead time"          // s between a command and the first change
	Overshoot        Subject = "overshoot"          // fraction of the step
	ControlError     Subject = "control error"      // fraction, watts held over watts asked, less one
	IgnoredCommands  Subject = "ignored commands"   // fraction of the commands that changed nothing
	BrakeLimits      Subject = "brake limits"       // W, a floor or ceiling that was met
	Interference     Subject = "interference"       // fraction lost by all devices together
	Fading           Subject = "fading"             // fraction lost by one device alone
	Quantisation     Subject = "quantisation"       // W between neighbouring values
	Circumference    Subject = "circumference"      // fraction: the set over the true one, less one
	TyreSlip         Subject = "tyre slip"          // fraction of speed lost between wheel and roller
	WrongWheel       Subject = "wrong wheel"        // the speed sensor is on a wheel that does not turn
	OneSided         Subject = "one-sided"          // fraction: left share less one half
	NoiseFloor       Subject = "noise"              // fraction, sd of a second's watts about a steady effort
	PowerNoCadence   Subject = "power no cadence"   // fraction of the time
	CadenceNoPower   Subject = "cadence no power"   // fraction of the time
	Impossible       Subject = "impossible"         // number of changes that no rider and flywheel can make
	AgainstPhysics   Subject = "against physics"    // fraction: shown over what speed and inertia ask for, less one
	AgainstHistory   Subject = "against history"    // fraction: watts at this rider's heart rate over those of before, less one
	CoastDown        Subject = "coast-down"         // fraction: this coast-down over the last ones, less one
	Repeatability    Subject = "coast-down scatter" // fraction, sd from day to day
	FirmwareChange   Subject = "firmware"           //
	LinkLatency      Subject = "link"               // s to the host named
	TrainerSpeedOnly Subject = "watts from a curve" // fraction, sd of the curve
)

// Finding is one thing found wrong, how large and how sure.
type Finding struct {
	Subject  Subject
	Source   string            // the device it is about
	Against  string            // what it was compared with; empty if it stands alone
	Size     estimate.Estimate // in the unit of its Subject
	Low95    float64
	High95   float64
	Watts    estimate.Estimate // what it makes of the watts shown at threshold, W; zero where that is not the harm
	Sure     float64           // chance that it is there at all, 0 to 1
	What     string            // one sentence
	Do       []string          // what to do about it, most likely remedy first
	Plot     Plot              // the picture that shows it
	Prior    string            // published or common practice that the judgement rests on; empty if none
	Readings []string          // where data allow more than one reading: each of them (drivetrain loss or error)
}

// Plot is a picture in numbers; it has no look of its own. Points are drawn as
// dots, Lines as lines, Bands between two lines; X and Y say quantity and unit.
type Plot struct {
	Title, X, Y string
	Points      [][2]float64   // at most 600
	Lines       [][][2]float64 // fit, identity, limits
	Names       []string       // of the lines
}

// Unsaid is a subject that could not be judged.
type Unsaid struct {
	Subject Subject
	Source  string
	Because string // "cannot say, because ..." without those three words
}

// VerdictKind is what to do with a source's watts.
type VerdictKind int

// The verdicts.
const (
	CannotSay    VerdictKind = iota
	UseAsIs                  // error at threshold under 2 % with 90 % confidence
	UseCorrected             // wrong, but by a known amount
	DoNotUse
)

// String is the verdict in words.
func (v VerdictKind) String() string {
	return [...]string{"cannot say", "use as it is", "use corrected", "do not use"}[v]
}

// Verdict is what a source's watts are worth.
type Verdict struct {
	Source  string
	Kind    VerdictKind
	Error   estimate.Estimate // fraction at threshold, shown over true less one
	Within2 float64           // chance that the error is under 2 %
	Because string            // one sentence
	Correct Correction        // of UseCorrected
}

// Correction turns watts shown into watts believed: (shown − OffsetW)/Gain.
// The zero value changes nothing. It is applied on purpose, recorded with the
// ride, and taken back by leaving it out.
type Correction struct {
	Source  string
	Gain    float64 // shown over true; 0 is read as 1
	OffsetW float64
	SD      float64 // fraction at threshold that stays after correcting
	From    string  // "rig check of 2026-11-25 against ..."
}

// Apply is the believed power of watts shown.
func (c Correction) Apply(watts float64) float64 {
	if c.Gain > 0 {
		return (watts - c.OffsetW) / c.Gain
	}
	return watts - c.OffsetW
}

// PhaseKind is a part of the guided check.
type PhaseKind string

// The parts in their usual order.
const (
	Easy      PhaseKind = "easy"       // 12 minutes: meters and brakes drift while cold
	Zero      PhaseKind = "zero"       // zero offset or spin-down; feet off
	Steps     PhaseKind = "steps"      // of power, each held
	Cadences  PhaseKind = "cadences"   // one power at several cadences
	Sprint    PhaseKind = "sprint"     // a few seconds; only with health questions answered
	Coast     PhaseKind = "coast-down" // legs still, the flywheel runs down
	QuietRest PhaseKind = "quiet rest" // nothing moves
)

// Phase is when a part of the check was ridden, seconds of the recording.
type Phase struct {
	Kind     PhaseKind
	From, To float64
	Watts    float64 // asked; 0 none
	Cadence  float64 // asked; 0 none
}

// Climbed is a recorded steep climb outdoors, ridden with one meter.
type Climbed struct {
	Source                   string
	MassKg, MassSD           float64 // rider, bicycle and all that was carried
	AscentM, AscentSD        float64
	LengthM, Seconds         float64
	MeanWatts                float64 // shown
	WindSD                   float64 // m/s along the road, unknown but about nought
	CdA, CdASD, Crr, CrrSD   float64
	TemperatureC, AltitudeM  float64
	SpeedBeginMS, SpeedEndMS float64
	AtCrank                  bool // the meter stands before the drivetrain
}

// PastEffort is one steady stretch of an earlier ride on the same source.
type PastEffort struct {
	Source           string
	Day              float64 // days before this check
	Watts, HeartRate float64
}

// PastCoast is an earlier coast-down: seconds from one wheel speed to another.
type PastCoast struct {
	Day, FromMS, ToMS, Seconds float64
}

// Round is one round trip to the host a person named.
type Round struct {
	Sent float64 // s
	Took float64 // s; negative when it never came back
}

// CheckInput is all a check may look at. Only Recording is needed; what is
// missing makes its subjects unsaid, never guessed.
type CheckInput struct {
	Rig                         Rig
	Recording                   *recording.Recording
	Other                       *recording.Recording // the same ride as another device wrote it; its clock may differ
	Phases                      []Phase              // of the guided check; empty for any ride
	Threshold                   float64              // W at which errors are stated; 0: 200 W, and it is said
	Outdoors                    []Climbed
	History                     []PastEffort
	Coasts                      []PastCoast
	Rounds                      []Round
	Firmware                    []string              // devices whose firmware changed, in words
	Side                        map[string]SourceKind // where each source measures, where known; by its name in the recording
	OnlyLeft                    map[string]bool       // sources that measure one leg and double it
	Circumference               float64               // m, as the speed sensor's wheel is set; 0 as the rig's
	TrueCircumference           float64               // m, as measured with a tape; 0 not measured
	FlywheelInertia, FlywheelSD float64               // kg at the wheel's rim; 0 unknown
}

// Report is everything a check found.
type Report struct {
	Findings  []Finding // worst first
	Clear     []Subject // looked at and found right, by subject
	Unsaid    []Unsaid
	Verdicts  []Verdict     // one a power source
	Threshold float64       // W the errors are stated at
	Curve     *PowerCurve   // of a plain trainer, where it could be fitted
	Minutes   float64       // of the recording that were used
	Warm      bool          // the check saw the warm state
	Brake     *ControlModel // how the brake answers, where commands showed it; nil else
	Clock     *Clock        // of the other recording by this one's; nil where there is none
}
