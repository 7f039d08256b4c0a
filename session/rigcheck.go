package session

import (
	"fmt"
	"math"
	"strings"

	"chainline/capacity"
)

// The guided rig check: half an hour of easy riding that shows what a rig's
// numbers are worth. Lengths and shares are our judgement: long enough for the
// means of a step to settle, easy enough for everybody. Twelve minutes of warm
// up are common practice, since meters and brakes drift while cold.

// RigCheckID is the check's name in the library.
const RigCheckID = "rig-check"

// CheckLead is what leads the steps of a check.
type CheckLead int

// What leads a check's steps.
const (
	CheckByWatts CheckLead = iota // shown or held
	CheckBySpeed                  // of a plain trainer's wheel
	CheckByFeel                   // nothing is shown
)

// RigCheckWish is what a check is made for.
type RigCheckWish struct {
	Lead CheckLead
	// WheelMS is the wheel speed in m/s of some watts, and ThresholdW the
	// rider's; needed by CheckBySpeed alone.
	WheelMS    func(watts float64) float64
	ThresholdW float64
	// Gentle keeps every step to easy riding, for whom the health questions ask
	// for it: what depends on watts is then seen less well.
	Gentle bool
	// Sprint adds eight seconds all out. Scaling and Allowed keep it from
	// whoever has not passed the health questions.
	Sprint bool
}

// What is asked, as shares of threshold; the fault matrix is ridden by the same
// (internal/checksim). Many steps, because a command that is ignored shows only
// where a change was asked; neighbours far apart for the same reason; up and
// down, so that what changes with power is not taken for what changes with
// time; none is hard.
var (
	checkEasy     = []float64{0.45, 0.60, 0.50, 0.65} // 5 times: 12 minutes
	checkSteps    = []float64{0.50, 0.75, 0.45, 0.85, 0.60, 0.90, 0.55, 0.80, 0.40, 0.90, 0.65, 0.85, 0.50, 0.80, 0.45, 0.70, 0.55, 0.85}
	checkCadences = []float64{60, 75, 90, 100} // rpm, at one power
)

// gentlest is the most that is asked of whom the health questions keep to easy
// riding: the border of Light.
const gentlest = 0.80

// A step and a cadence last so long at most: the guide goes on before, as soon
// as they were even for long enough.
const (
	checkEasyS        = 36
	checkStepS        = 40
	checkCadenceS     = 60
	checkCadenceShare = 0.60
	// A plain trainer has little flywheel: its wheel stands after some seconds.
	// It runs down several times and from a higher speed, so that a curve can be
	// made of it; the guide goes on when the wheel stands.
	plainCoasts     = 4
	plainUpS        = 25
	plainDownS      = 20
	plainCoastShare = 0.80
)

// RigCheck is the check in the notation.
func RigCheck(w RigCheckWish) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("session: Rig check")
	line("purpose: Find out what this rig's numbers are worth: half an hour of easy riding, and a report.")
	line("for: Everybody who wants to trust what is shown; nothing in it is hard.")
	line("caution: If talking becomes an effort, ease off: the check needs steady riding, not hard riding.")
	if w.Sprint {
		line("caution: The sprint is all out. Only after a health screening, with the bicycle clamped tight.")
	}
	line("source: Common practice: warm up first, zero offset before the steps, every step long enough to settle.")
	line("five times:")
	for _, share := range checkEasy {
		line("  warm up %d s %s, say %q", checkEasyS, w.ask(share), w.words(share, "Easy: meters and brakes drift while they are cold"))
	}
	line("end")
	line(`rest 30 s, say "Feet off the pedals, cranks still. Set the meter's zero now, or spin the trainer down"`)
	line(`rest 30 s, say "Turn the cranks backwards by hand, slowly, until the next step"`)
	for _, share := range checkSteps {
		line("ride %d s %s at 80 to 90 rpm, say %q", checkStepS, w.ask(share), w.words(share, "Keep it even"))
	}
	for i, rpm := range checkCadences {
		say := "The same power, pedalled slowly"
		if i > 0 {
			say = "The same power, pedalled faster"
		}
		line("ride %d s %s at %.0f rpm, say %q", checkCadenceS, w.ask(checkCadenceShare), rpm, w.words(checkCadenceShare, say))
	}
	if w.Sprint {
		line(`sprint 8 s, say "Everything, seated, to the end"`)
		line("easy 1 min")
	}
	coasts, up, down, share := 1, 30, 45, checkCadenceShare
	if w.Lead != CheckByWatts {
		coasts, up, down, share = plainCoasts, plainUpS, plainDownS, plainCoastShare
	}
	for range coasts {
		line("easy %d s %s, say %q", up, w.ask(share), w.words(share, "Bring the wheel up to speed"))
		line(`rest %d s, say "Stop pedalling now, legs still: the wheel runs down by itself"`, down)
	}
	line(`rest 1 min, say "Sit still; nothing moves"`)
	line("cool down 2 min")
	read, err := Parse(b.String())
	if err != nil {
		panic("session: the rig check cannot be read: " + err.Error())
	}
	return Print(read)
}

// ask is how hard a step is.
func (w RigCheckWish) ask(share float64) string {
	if w.Gentle {
		share = min(share, gentlest)
	}
	switch {
	case w.Lead == CheckByWatts:
		return fmt.Sprintf("at %.0f %% of threshold", 100*share)
	case share < 0.55:
		return "so that you could sing"
	case share < 0.65:
		return "so that you could chat for hours"
	}
	return "so that you speak in whole sentences"
}

// words tell a rider without watts what to look at.
func (w RigCheckWish) words(share float64, say string) string {
	switch w.Lead {
	case CheckBySpeed:
		if w.Gentle {
			share = min(share, gentlest)
		}
		kmh := math.Round(3.6 * w.WheelMS(share*w.ThresholdW))
		return fmt.Sprintf("Hold the wheel near %.0f km/h. %s", kmh, say)
	case CheckByFeel:
		return "Keep one gear and one feeling. " + say
	}
	return say
}

// checks are the starter as the library has it, led by watts.
var checks = []Starter{{RigCheckID, RigCheck(RigCheckWish{})}}

// IsRigCheck tells whether a session is the guided check.
func IsRigCheck(s Session) bool { return s.Name == "Rig check" }

// CheckParts names what each leg of the guided check is for, in the words of
// rig.PhaseKind; empty for what only stands between.
func CheckParts(legs []Leg) []string {
	out := make([]string, len(legs))
	rests, last := 0, 0
	for i, l := range legs {
		if l.Kind == Off {
			last = i
		}
	}
	for i, l := range legs {
		switch {
		case l.Kind == Warm:
			out[i] = "easy"
		case l.Kind == Off:
			rests++
			switch {
			case rests <= 2:
				out[i] = "zero"
			case i < last:
				out[i] = "coast-down"
			default:
				out[i] = "quiet rest"
			}
		case l.Kind == Sprint:
			out[i] = "sprint"
		case l.Kind == Work && l.CadenceLow > 0 && l.CadenceLow == l.CadenceHigh:
			out[i] = "cadences"
		case l.Kind == Work:
			out[i] = "steps"
		}
	}
	return out
}

// SprintAllowed tells whether a check may have its sprint: only for who passed
// the health questions.
func SprintAllowed(s capacity.Screened) (ok bool, why string) { return Allowed(Maximal, s) }
