package fitfile

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"
	"unicode/utf8"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/filedef"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"

	"chainline/session"
)

// Offsets of workout targets in the FIT profile: below them a value is a
// percentage, above them watts or beats a minute.
const (
	wattsOffset = uint32(typedef.WorkoutPowerWattsOffset) // 1000
	beatsOffset = uint32(typedef.WorkoutHrBpmOffset)      // 100
)

// WorkoutOptions say how a session becomes a FIT workout.
type WorkoutOptions struct {
	// View writes powers in this rider's watts; without it they are shares of
	// threshold, and shares of critical power cannot be written.
	View *session.View
	// Around widens a target that is one figure by this share on both sides,
	// for devices that alarm at the edges; 0 writes the figure.
	Around  float64
	Created time.Time
	Serial  uint32 // 0 is read as 1: the profile has no 0
}

// WriteWorkout writes a session as a FIT workout file. What FIT cannot say
// comes back as losses, one sentence each; each such step has the sentence in
// our notation in its notes.
func WriteWorkout(w io.Writer, s session.Session, o WorkoutOptions) (losses []string, err error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	var legs []session.Leg
	if o.View != nil {
		scaled, _, err := session.Scale(s, *o.View)
		if err != nil {
			return nil, err
		}
		legs = scaled.Legs
	}
	b := workoutWriter{options: o, legs: legs}
	b.blocks(s.Blocks, 0)
	if s.For != "" || len(s.Cautions) > 0 || s.Source != "" {
		b.lose("for whom the session is, its cautions and its source have no place in a FIT workout")
	}
	f := filedef.NewWorkout()
	f.FileId.SetManufacturer(typedef.ManufacturerDevelopment).SetProduct(0).SetSerialNumber(max(1, o.Serial)).SetTimeCreated(o.Created)
	f.Workout = mesgdef.NewWorkout(nil).SetSport(typedef.SportCycling).SetSubSport(typedef.SubSportIndoorCycling).
		SetWktName(fitText(s.Name)).SetWktDescription(fitText(s.Purpose)).SetNumValidSteps(uint16(len(b.steps)))
	f.WorkoutSteps = b.steps
	fit := f.ToFIT(nil)
	if err := encoder.New(w).Encode(&fit); err != nil {
		return nil, fmt.Errorf("write a FIT workout: %w", err)
	}
	return b.losses, nil
}

// fitText cuts a text to what a FIT string field holds, 254 bytes.
func fitText(s string) string {
	for len(s) > 254 {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
	}
	return s
}

type workoutWriter struct {
	options WorkoutOptions
	legs    []session.Leg // scaled, if there is a view
	steps   []*mesgdef.WorkoutStep
	losses  []string
	stages  int
}

func (b *workoutWriter) lose(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(b.losses, text) {
		b.losses = append(b.losses, text)
	}
}

func (b *workoutWriter) blocks(blocks []session.Block, depth int) {
	for _, block := range blocks {
		if block.Times == 0 {
			b.stage(block.Stage)
			continue
		}
		first := len(b.steps)
		b.blocks(block.Blocks, depth+1)
		if depth > 0 {
			b.lose("groups within groups are written, and some devices do not read them")
		}
		b.add(mesgdef.NewWorkoutStep(nil).SetDurationType(typedef.WktStepDurationRepeatUntilStepsCmplt).SetDurationValue(uint32(first)).
			SetTargetType(typedef.WktStepTargetOpen).SetTargetValue(uint32(block.Times)))
	}
}

func (b *workoutWriter) add(step *mesgdef.WorkoutStep) {
	b.steps = append(b.steps, step.SetMessageIndex(typedef.MessageIndex(len(b.steps))))
}

func (b *workoutWriter) stage(s session.Stage) {
	var leg *session.Leg
	for i := range b.legs {
		if b.legs[i].At == b.stages {
			leg = &b.legs[i]
			break
		}
	}
	b.stages++
	step, losses := encodeStage(s, leg, b.options.Around)
	for _, loss := range losses {
		said := s
		said.Say = ""
		b.lose("“%s”: %s", said.Sentence(), loss)
	}
	if len(losses) > 0 || s.Say != "" {
		note := s.Sentence()
		if fitText(note) != note {
			b.lose("“%s”: the note is cut", note)
		}
		step.SetNotes(fitText(note))
	}
	b.add(step)
}

// stepNames are the kinds of stage as names of steps; reading takes them back.
var stepNames = map[session.StageKind]string{session.Work: "ride", session.Warm: "warm up", session.Easy: "easy", session.Cool: "cool down",
	session.Sprint: "sprint", session.Test: "test", session.Off: "rest"}

var intensities = map[session.StageKind]typedef.Intensity{session.Work: typedef.IntensityActive, session.Warm: typedef.IntensityWarmup,
	session.Easy: typedef.IntensityRecovery, session.Cool: typedef.IntensityCooldown, session.Sprint: typedef.IntensityInterval,
	session.Test: typedef.IntensityInterval, session.Off: typedef.IntensityRest}

// encodeStage is one stage as a step, with the leg of the rider it is for if
// there is one, and what could not be said.
func encodeStage(s session.Stage, leg *session.Leg, around float64) (step *mesgdef.WorkoutStep, losses []string) {
	step = mesgdef.NewWorkoutStep(nil).SetWktStepName(stepNames[s.Kind]).SetIntensity(intensities[s.Kind])
	if loss := encodeEnd(step, s.End); loss != "" {
		losses = append(losses, loss)
	}
	if loss := encodeTarget(step, s, leg, around); loss != "" {
		losses = append(losses, loss)
	}
	if s.CadenceLow > 0 {
		low, high := uint32(s.CadenceLow), uint32(s.CadenceHigh)
		if step.TargetType == typedef.WktStepTargetOpen {
			step.SetTargetType(typedef.WktStepTargetCadence).SetTargetValue(0).SetCustomTargetValueLow(low).SetCustomTargetValueHigh(high)
		} else {
			step.SetSecondaryTargetType(typedef.WktStepTargetCadence).SetSecondaryTargetValue(0).
				SetSecondaryCustomTargetValueLow(low).SetSecondaryCustomTargetValueHigh(high)
		}
	}
	return step, losses
}

func encodeEnd(step *mesgdef.WorkoutStep, e session.End) (loss string) {
	switch e.Kind {
	case session.AfterDistance:
		step.SetDurationType(typedef.WktStepDurationDistance).SetDurationValue(uint32(math.Round(100 * e.Metres))) // centimetres
	case session.AtBalance:
		step.SetDurationType(typedef.WktStepDurationTime).SetDurationValue(uint32(1000 * e.MostS))
		return "FIT knows no W′: it lasts its most time"
	case session.WhenSpent, session.AtWord:
		step.SetDurationType(typedef.WktStepDurationOpen)
		return "its most time is only in the note: in FIT it has no end but a key"
	default:
		step.SetDurationType(typedef.WktStepDurationTime).SetDurationValue(uint32(1000 * e.Seconds)) // milliseconds
	}
	return ""
}

func encodeTarget(step *mesgdef.WorkoutStep, s session.Stage, leg *session.Leg, around float64) (loss string) {
	t := s.Target
	open := func() { step.SetTargetType(typedef.WktStepTargetOpen) }
	custom := func(target typedef.WktStepTarget, low, high float64, offset uint32) {
		step.SetTargetType(target).SetTargetValue(0).
			SetCustomTargetValueLow(uint32(math.Round(low)) + offset).SetCustomTargetValueHigh(uint32(math.Round(high)) + offset)
	}
	widen := func(low, high float64) (float64, float64) {
		if low == high {
			return low * (1 - around), high * (1 + around)
		}
		return min(low, high), max(low, high)
	}
	from, to, offset := t.From, t.To, wattsOffset
	switch t.Of {
	case session.OfHeartMax:
		custom(typedef.WktStepTargetHeartRate, 100*from, 100*to, 0)
		if 100*from != math.Round(100*from) || 100*to != math.Round(100*to) {
			return "shares of the maximal heart rate are whole percents in FIT"
		}
		return ""
	case session.OfHeart:
		custom(typedef.WktStepTargetHeartRate, from, to, beatsOffset)
		return ""
	case session.OfFeel, session.OfAllOut:
		open()
		return "how it should feel is only in the note"
	case session.OfNothing:
		if leg == nil || leg.Lead != session.ByWatts || leg.AimW == 0 {
			open()
			return ""
		}
		from, to, t.Ramp = leg.AimW, leg.ToW, leg.AimW != leg.ToW
	case session.OfCritical, session.OfThreshold:
		switch {
		case leg != nil && !t.Ramp && from < to:
			from, to = leg.LowW, leg.HighW
		case leg != nil:
			from, to = leg.AimW, leg.ToW
		case t.Of == session.OfCritical:
			open()
			return "FIT knows no critical power: without a rider's watts the effort is only in the note"
		default:
			from, to, offset = 100*from, 100*to, 0
			if from != math.Round(from) || to != math.Round(to) {
				loss = "shares of threshold are whole percents in FIT"
			}
		}
	}
	low, high := widen(from, to)
	custom(typedef.WktStepTargetPower, low, high, offset)
	if t.Ramp && from != to {
		return fmt.Sprintf("FIT knows no rise within a step: it is a band from %.0f to %.0f", low, high)
	}
	return loss
}
