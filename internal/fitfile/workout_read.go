package fitfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/filedef"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"

	"chainline/internal/problem"
	"chainline/session"
)

// MaxWorkout is the largest workout file that is read, in bytes.
const MaxWorkout = 1 << 20

// openMostS is how long a step lasts at most that the file gives no end, s.
const openMostS = 1800.0

// ReadWorkout reads a FIT workout file; name is what the file is called in an
// error. Whatever of it has no like in a session comes back as losses, one
// sentence each.
func ReadWorkout(r io.Reader, name string) (s session.Session, losses []string, err error) {
	name = problem.OneLine(name)
	data, err := io.ReadAll(io.LimitReader(r, MaxWorkout+1))
	switch {
	case err != nil:
		return s, nil, problem.Bad("%s: cannot be read to its end: %v", name, err)
	case len(data) > MaxWorkout:
		return s, nil, problem.Bad("%s: larger than %d kB, expected a FIT workout", name, MaxWorkout>>10)
	}
	d := decoder.New(bytes.NewReader(data))
	fit, err := d.Decode()
	if err != nil {
		return s, nil, problem.Bad("%s: %s", name, damage(err))
	}
	f := filedef.NewWorkout(fit.Messages...)
	switch {
	case f.FileId.Type != typedef.FileWorkout:
		return s, nil, problem.Bad("%s: a FIT file of type %s, expected a workout", name, f.FileId.Type)
	case len(f.WorkoutSteps) == 0:
		return s, nil, problem.Bad("%s: a FIT workout without steps", name)
	case len(f.WorkoutSteps) > session.MaxLegs:
		return s, nil, problem.Bad("%s: %d steps, expected at most %d", name, len(f.WorkoutSteps), session.MaxLegs)
	}
	w := workoutReader{}
	if d.Next() {
		w.lose("what follows the first workout in the file is left out")
	}
	s.Name, s.Purpose = "Workout", ""
	if f.Workout != nil {
		s.Name, s.Purpose = cmpText(plainText(f.Workout.WktName), s.Name), plainText(f.Workout.WktDescription)
		if f.Workout.Sport != typedef.SportInvalid && f.Workout.Sport != typedef.SportCycling {
			w.lose("the workout is for another sport (%s)", f.Workout.Sport)
		}
	}
	if s.Blocks, err = w.blocks(f.WorkoutSteps); err != nil {
		return session.Session{}, nil, problem.Bad("%s: %v", name, err)
	}
	if err := s.Check(); err != nil {
		return session.Session{}, nil, problem.Bad("%s: %v", name, err)
	}
	return s, w.losses, nil
}

// damage is what a decoder's error means.
func damage(err error) string {
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "the file is cut short, expected a whole FIT workout"
	case errors.Is(err, decoder.ErrNotFITFile):
		return "not a FIT file, expected a FIT workout"
	case errors.Is(err, decoder.ErrCRCChecksumMismatch):
		return "the file is damaged: its checksum does not hold"
	}
	return "the file is damaged: " + problem.OneLine(err.Error())
}

func cmpText(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// plainText is foreign text as it may stand in a session: one line, printable,
// at most 200 characters.
func plainText(s string) string {
	s = strings.ToValidUTF8(s, "")
	s = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, s)
	if runes := []rune(s); len(runes) > 200 {
		s = string(runes[:200])
	}
	return strings.TrimSpace(s)
}

type workoutReader struct{ losses []string }

func (w *workoutReader) lose(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(w.losses, text) {
		w.losses = append(w.losses, text)
	}
}

// piece is a block and the number of the step it begins with.
type piece struct {
	first int
	block session.Block
}

// blocks folds repeats: a repeat takes back every piece from the step it
// names.
func (w *workoutReader) blocks(steps []*mesgdef.WorkoutStep) ([]session.Block, error) {
	var done []piece
	numbers := map[int]int{} // message index → place
	for place, step := range steps {
		number := place
		if step.MessageIndex != typedef.MessageIndexInvalid {
			number = int(step.MessageIndex & typedef.MessageIndexMask)
		}
		numbers[number] = place
		if !repeats(step.DurationType) {
			done = append(done, piece{place, session.Block{Stage: w.stage(step, place+1)}})
			continue
		}
		first, known := numbers[int(min(step.DurationValue, math.MaxInt32))]
		at := slices.IndexFunc(done, func(p piece) bool { return p.first == first })
		if !known || first >= place || at < 0 {
			return nil, fmt.Errorf("step %d repeats from step %d, which is not there or stands within another repeat", place+1, step.DurationValue+1)
		}
		group := session.Block{Times: w.times(step, place+1)}
		for _, p := range done[at:] {
			group.Blocks = append(group.Blocks, p.block)
		}
		done = append(done[:at], piece{first, group})
	}
	blocks := make([]session.Block, 0, len(done))
	for _, p := range done {
		blocks = append(blocks, p.block)
	}
	return blocks, nil
}

func repeats(t typedef.WktStepDuration) bool {
	switch t {
	case typedef.WktStepDurationRepeatUntilStepsCmplt, typedef.WktStepDurationRepeatUntilTime, typedef.WktStepDurationRepeatUntilDistance,
		typedef.WktStepDurationRepeatUntilCalories, typedef.WktStepDurationRepeatUntilHrLessThan, typedef.WktStepDurationRepeatUntilHrGreaterThan,
		typedef.WktStepDurationRepeatUntilPowerLessThan, typedef.WktStepDurationRepeatUntilPowerGreaterThan,
		typedef.WktStepDurationRepeatUntilPowerLastLapLessThan, typedef.WktStepDurationRepeatUntilMaxPowerLastLapLessThan,
		typedef.WktStepDuration(27): // until a load that is another's
		return true
	}
	return false
}

func (w *workoutReader) times(step *mesgdef.WorkoutStep, n int) int {
	switch v := step.TargetValue; {
	case step.DurationType != typedef.WktStepDurationRepeatUntilStepsCmplt:
		w.lose("step %d repeats until something is reached that a session cannot ask for: it is ridden once", n)
		return 1
	case v == 0 || v == basetype.Uint32Invalid:
		w.lose("step %d does not say how often it repeats: once", n)
		return 1
	case v > session.MaxTimes:
		w.lose("step %d repeats %d times: %d are kept", n, v, session.MaxTimes)
		return session.MaxTimes
	default:
		return int(v)
	}
}

// stage is one step. Where its note is the sentence of a stage that is written
// as this very step, that stage is taken: FIT could not say all of it.
func (w *workoutReader) stage(step *mesgdef.WorkoutStep, n int) session.Stage {
	note := ""
	if step.Notes != basetype.StringInvalid {
		note = step.Notes
	}
	if noted, err := session.Parse(note); err == nil && len(noted.Blocks) == 1 && noted.Blocks[0].Times == 0 {
		if stage := noted.Blocks[0].Stage; sameStep(step, stage) {
			return stage
		}
	}
	s := session.Stage{Kind: kindOf(step), End: w.end(step, n), Target: w.target(step, n)}
	w.cadence(&s, step, n)
	s.Say = strings.ReplaceAll(plainText(note), `"`, "'")
	if name := plainText(step.WktStepName); s.Say == "" && step.WktStepName != basetype.StringInvalid && !isVerb(name) {
		s.Say = strings.ReplaceAll(name, `"`, "'")
	}
	if s.Kind == session.Sprint && s.Target.Of == session.OfNothing {
		s.Target.Of = session.OfAllOut
	}
	return w.repaired(s, n)
}

// repaired is the stage without what does not pass: the target, else the
// cadence, else both.
func (w *workoutReader) repaired(s session.Stage, n int) session.Stage {
	check := func(s session.Stage) error {
		return session.Session{Blocks: []session.Block{{Stage: s}}}.Check()
	}
	err := check(s)
	if err == nil {
		return s
	}
	w.lose("step %d: not all of it makes sense and is left out (%s)", n, strings.TrimPrefix(err.Error(), "session: "))
	noTarget, noCadence := s, s
	noTarget.Target = session.Target{}
	if s.Kind == session.Sprint {
		noTarget.Target.Of = session.OfAllOut
	}
	noCadence.CadenceLow, noCadence.CadenceHigh = 0, 0
	for _, less := range []session.Stage{noTarget, noCadence} {
		if check(less) == nil {
			return less
		}
	}
	return session.Stage{Kind: session.Work, End: s.End, Say: s.Say}
}

func sameStep(step *mesgdef.WorkoutStep, stage session.Stage) bool {
	made, _ := encodeStage(stage, nil, 0)
	return made.WktStepName == step.WktStepName && made.Intensity == step.Intensity && made.DurationType == step.DurationType &&
		made.DurationValue == step.DurationValue && made.TargetType == step.TargetType && made.TargetValue == step.TargetValue &&
		made.CustomTargetValueLow == step.CustomTargetValueLow && made.CustomTargetValueHigh == step.CustomTargetValueHigh &&
		made.SecondaryTargetType == step.SecondaryTargetType && made.SecondaryTargetValue == step.SecondaryTargetValue &&
		made.SecondaryCustomTargetValueLow == step.SecondaryCustomTargetValueLow && made.SecondaryCustomTargetValueHigh == step.SecondaryCustomTargetValueHigh
}

func isVerb(name string) bool {
	for _, n := range stepNames {
		if strings.EqualFold(n, name) {
			return true
		}
	}
	return false
}

func kindOf(step *mesgdef.WorkoutStep) session.StageKind {
	for kind, name := range stepNames {
		if name == step.WktStepName && intensities[kind] == step.Intensity && kind != session.Test {
			return kind
		}
	}
	switch step.Intensity {
	case typedef.IntensityWarmup:
		return session.Warm
	case typedef.IntensityCooldown:
		return session.Cool
	case typedef.IntensityRest, typedef.IntensityRecovery:
		return session.Easy
	}
	return session.Work
}

func (w *workoutReader) end(step *mesgdef.WorkoutStep, n int) session.End {
	v := float64(step.DurationValue)
	known := step.DurationValue != basetype.Uint32Invalid
	within := func(x, low, high float64, unit string) float64 {
		y := math.Round(math.Max(low, math.Min(high, x)))
		if y != x {
			w.lose("step %d: its length of %g %s becomes %g %s", n, x, unit, y, unit)
		}
		return y
	}
	switch step.DurationType {
	case typedef.WktStepDurationTime, typedef.WktStepDurationTimeOnly, typedef.WktStepDurationRepetitionTime:
		if known {
			return session.End{Kind: session.AfterTime, Seconds: within(v/1000, 1, session.MaxStageS, "s")}
		}
	case typedef.WktStepDurationDistance:
		if known {
			return session.End{Kind: session.AfterDistance, Metres: within(v/100, 100, session.MaxStageM, "m")}
		}
	case typedef.WktStepDurationOpen, typedef.WktStepDurationInvalid:
	default:
		w.lose("step %d ends on something a session cannot ask for (duration type %d): here it ends when you say so", n, byte(step.DurationType))
	}
	w.lose("step %d has no time of its own: it ends when you say so, after %.0f min at most", n, openMostS/60)
	return session.End{Kind: session.AtWord, MostS: openMostS}
}

func (w *workoutReader) target(step *mesgdef.WorkoutStep, n int) session.Target {
	low, high := step.CustomTargetValueLow, step.CustomTargetValueHigh
	inZone := step.TargetValue != 0 && step.TargetValue != basetype.Uint32Invalid
	has := low != basetype.Uint32Invalid && high != basetype.Uint32Invalid
	switch t := step.TargetType; t {
	case typedef.WktStepTargetOpen, typedef.WktStepTargetInvalid, typedef.WktStepTargetCadence:
	case typedef.WktStepTargetPower, typedef.WktStepTargetHeartRate:
		switch {
		case inZone:
			w.lose("step %d asks for zone %d of a device, whose borders are not in the file: it is ridden as you like", n, step.TargetValue)
		case !has:
			w.lose("step %d has a target without values: it is ridden as you like", n)
		case t == typedef.WktStepTargetPower:
			return w.band(n, low, high, wattsOffset, session.OfThreshold, session.OfWatts, 0.05)
		default:
			return w.band(n, low, high, beatsOffset, session.OfHeartMax, session.OfHeart, 0.3)
		}
	default:
		w.lose("step %d asks for something a session cannot (target type %d): it is ridden as you like", n, byte(t))
	}
	return session.Target{}
}

// band is a custom target: shares up to the offset, absolute above.
func (w *workoutReader) band(n int, low, high, offset uint32, share, absolute session.Reference, least float64) session.Target {
	if low > high {
		low, high = high, low
	}
	switch {
	case low <= offset && high <= offset:
		t := session.Target{Of: share, From: float64(low) / 100, To: float64(high) / 100}
		if t.From < least && t.To >= least {
			w.lose("step %d: %d %% becomes %.0f %%", n, low, 100*least)
			t.From = least
		}
		return t
	case low > offset && high > offset:
		return session.Target{Of: absolute, From: float64(low - offset), To: float64(high - offset)}
	}
	w.lose("step %d mixes percent with absolute values: it is ridden as you like", n)
	return session.Target{}
}

// cadence may be the target or stand beside it.
func (w *workoutReader) cadence(s *session.Stage, step *mesgdef.WorkoutStep, n int) {
	low, high, zone := step.SecondaryCustomTargetValueLow, step.SecondaryCustomTargetValueHigh, step.SecondaryTargetValue
	switch {
	case step.TargetType == typedef.WktStepTargetCadence:
		low, high, zone = step.CustomTargetValueLow, step.CustomTargetValueHigh, step.TargetValue
	case step.SecondaryTargetType == typedef.WktStepTargetCadence:
	case step.SecondaryTargetType != typedef.WktStepTargetInvalid && step.SecondaryTargetType != typedef.WktStepTargetOpen:
		w.lose("step %d has a second target that is left out (type %d)", n, byte(step.SecondaryTargetType))
		return
	default:
		return
	}
	if low == basetype.Uint32Invalid || high == basetype.Uint32Invalid || zone != 0 && zone != basetype.Uint32Invalid {
		w.lose("step %d asks for a cadence zone of a device, whose borders are not in the file", n)
		return
	}
	s.CadenceLow, s.CadenceHigh = float64(min(low, high)), float64(max(low, high))
}
