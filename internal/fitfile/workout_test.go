package fitfile_test

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/kit/hash/crc16"
	"github.com/muktihari/fit/profile/filedef"
	"github.com/muktihari/fit/profile/typedef"

	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/session"
)

var workoutTime = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

func parsed(t testing.TB, text string) session.Session {
	t.Helper()
	s, err := session.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func writtenWorkout(t testing.TB, s session.Session, o fitfile.WorkoutOptions) ([]byte, []string) {
	t.Helper()
	var b bytes.Buffer
	o.Created = workoutTime
	losses, err := fitfile.WriteWorkout(&b, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), losses
}

func workoutSteps(t *testing.T, data []byte) *filedef.Workout {
	t.Helper()
	fit, err := decoder.New(bytes.NewReader(data)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	return filedef.NewWorkout(fit.Messages...)
}

// What FIT can say goes out and comes back as it was, and without a loss.
func TestWorkoutThereAndBack(t *testing.T) {
	s := parsed(t, `session: Both ways
purpose: What FIT can say

warm up 10 min at 50 to 60 % of threshold
three times:
  ride 5 min at 240 W at 85 to 95 rpm
  ride 2 km at 95 % of threshold
  easy 90 s
end
ride 20 min with the heart at 70 to 80 % of its maximum
ride 10 min with the heart at 130 to 140 beats a minute
ride 3 min as you like at 100 rpm
rest 1 min
sprint 10 s at 700 W
cool down 5 min
`)
	data, losses := writtenWorkout(t, s, fitfile.WorkoutOptions{})
	if len(losses) != 0 {
		t.Errorf("lost %q", losses)
	}
	back, losses, err := fitfile.ReadWorkout(bytes.NewReader(data), "a.fit")
	if err != nil || len(losses) != 0 || !reflect.DeepEqual(s, back) {
		t.Errorf("%v %q\n%s", err, losses, session.Print(back))
	}
}

// The values in the file by the FIT profile: milliseconds, centimetres, watts
// plus 1000, percent of threshold as they are, beats plus 100, a repeat that
// names the step it goes back to and how often.
func TestWorkoutValues(t *testing.T) {
	data, _ := writtenWorkout(t, parsed(t, "ride 5 min at 280 W at 90 rpm\ntwice:\nride 1.5 km at 80 % of threshold\nend\nride 5 min with the heart at 130 to 140 bpm"), fitfile.WorkoutOptions{Serial: 7})
	f := workoutSteps(t, data)
	if f.FileId.Manufacturer != typedef.ManufacturerDevelopment || f.FileId.Type != typedef.FileWorkout || !f.FileId.TimeCreated.Equal(workoutTime) || f.FileId.SerialNumber != 7 {
		t.Errorf("file id %+v", f.FileId)
	}
	if f.Workout.Sport != typedef.SportCycling || f.Workout.NumValidSteps != 4 || len(f.WorkoutSteps) != 4 {
		t.Fatalf("workout %+v, %d steps", f.Workout, len(f.WorkoutSteps))
	}
	for i, want := range [][6]uint32{
		{uint32(typedef.WktStepDurationTime), 300000, uint32(typedef.WktStepTargetPower), 0, 1280, 1280},
		{uint32(typedef.WktStepDurationDistance), 150000, uint32(typedef.WktStepTargetPower), 0, 80, 80},
		{uint32(typedef.WktStepDurationRepeatUntilStepsCmplt), 1, uint32(typedef.WktStepTargetOpen), 2, 1<<32 - 1, 1<<32 - 1},
		{uint32(typedef.WktStepDurationTime), 300000, uint32(typedef.WktStepTargetHeartRate), 0, 230, 240},
	} {
		s := f.WorkoutSteps[i]
		got := [6]uint32{uint32(s.DurationType), s.DurationValue, uint32(s.TargetType), s.TargetValue, s.CustomTargetValueLow, s.CustomTargetValueHigh}
		if got != want || int(s.MessageIndex) != i {
			t.Errorf("step %d: %v, want %v", i, got, want)
		}
	}
	if s := f.WorkoutSteps[0]; s.SecondaryTargetType != typedef.WktStepTargetCadence || s.SecondaryCustomTargetValueLow != 90 || s.SecondaryCustomTargetValueHigh != 90 {
		t.Errorf("cadence %+v", s)
	}
}

// Each thing FIT cannot say is named; the note brings it back to us, and not
// to others: once the step is changed the note counts no more.
func TestWorkoutLosses(t *testing.T) {
	for text, want := range map[string]string{
		"ride until 30 % is left, at least 2 min, at most 8 min, at 300 W":        "FIT knows no W′: it lasts its most time",
		"ride until you say so, at most 10 min, at 200 W":                         "its most time is only in the note",
		"ride until you cannot go on, at most 10 min, from 100 to 300 W":          "FIT knows no rise within a step: it is a band from 100 to 300",
		"warm up 10 min from 50 to 70 % of threshold":                             "FIT knows no rise within a step: it is a band from 50 to 70",
		"ride 5 min at 95 % of critical power":                                    "FIT knows no critical power",
		"ride 5 min at 80.25 % of threshold":                                      "shares of threshold are whole percents in FIT",
		"ride 5 min so that only a few words come":                                "how it should feel is only in the note",
		"test 20 min all out, say \"even\"":                                       "how it should feel is only in the note",
		"for: nobody\nride 5 min at 200 W":                                        "have no place in a FIT workout",
		"twice:\ntwice:\nride 5 min at 200 W\nend\nend":                           "some devices do not read them",
		"ride 5 min at 200 W, say \"" + strings.Repeat("round and ", 30) + "on\"": "the note is cut",
	} {
		s := parsed(t, text)
		data, losses := writtenWorkout(t, s, fitfile.WorkoutOptions{})
		if !strings.Contains(strings.Join(losses, "\n"), want) {
			t.Errorf("%s: lost %q, want %q", text, losses, want)
		}
		back, lost, err := fitfile.ReadWorkout(bytes.NewReader(data), "a.fit")
		if err != nil {
			t.Fatal(err)
		}
		cut := strings.Contains(want, "cut") || strings.Contains(want, "no place")
		if same := reflect.DeepEqual(s.Blocks, back.Blocks); !same && !cut {
			t.Errorf("%s: came back as %s, lost %q", text, session.Print(back), lost)
		}
	}
	data, _ := writtenWorkout(t, parsed(t, "warm up 10 min from 50 to 70 % of threshold"), fitfile.WorkoutOptions{})
	f := workoutSteps(t, data)
	f.WorkoutSteps[0].SetCustomTargetValueHigh(80)
	back, _, err := fitfile.ReadWorkout(bytes.NewReader(encodedWorkout(t, f)), "a.fit")
	if err != nil || back.Blocks[0].Stage.Target != (session.Target{Of: session.OfThreshold, From: 0.5, To: 0.8}) {
		t.Errorf("the note outlives a change of the step: %v %+v", err, back.Blocks)
	}
}

// With a rider's view everything that can be watts is, critical power too.
func TestWorkoutInWatts(t *testing.T) {
	v := session.View{ThresholdW: 250, CriticalPowerW: 260, WPrimeJ: 18000, MaxPowerW: 900}
	data, losses := writtenWorkout(t, parsed(t, "ride 5 min at 110 % of critical power\neasy 5 min\nride 5 min at 80 to 90 % of threshold\nwarm up 5 min from 40 to 60 % of threshold"),
		fitfile.WorkoutOptions{View: &v, Around: 0.05})
	if len(losses) != 1 || !strings.Contains(losses[0], "a band from 100 to 150") {
		t.Errorf("losses %q", losses)
	}
	for i, want := range [][2]uint32{{1272, 1300}, {1124, 1137}, {1200, 1225}, {1100, 1150}} {
		if s := workoutSteps(t, data).WorkoutSteps[i]; s.CustomTargetValueLow != want[0] || s.CustomTargetValueHigh != want[1] {
			t.Errorf("step %d: %d to %d, want %v", i, s.CustomTargetValueLow, s.CustomTargetValueHigh, want)
		}
	}
}

// Every starter session goes out and comes back with its stages, apart from
// what the losses name.
func TestWorkoutLibrary(t *testing.T) {
	for _, starter := range session.Library() {
		s := starter.Session()
		data, _ := writtenWorkout(t, s, fitfile.WorkoutOptions{})
		back, lost, err := fitfile.ReadWorkout(bytes.NewReader(data), starter.ID)
		if err != nil || !reflect.DeepEqual(s.Blocks, back.Blocks) || s.Name != back.Name {
			t.Errorf("%s: %v, lost %q\n%s", starter.ID, err, lost, session.Print(back))
		}
	}
}

// workoutSample is a file of the library's test data in the module cache: others'
// workouts, which are not copied into this repository.
func workoutSample(t testing.TB, name string) []byte {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		t.Fatalf("where is the FIT library? %v", err)
	}
	data, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(out)), "testdata", "from_official_sdk", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// Four workouts written by others, with their values as the tables beside the
// files list them.
func TestWorkoutsOfOthers(t *testing.T) {
	for name, want := range map[string]struct {
		name, text string
		lost       []string
	}{
		"WorkoutIndividualSteps.fit": {"Example 1", `warm up 60 s, say "_A_"
ride 500 m as you like, say "B1_"
ride 500 m as you like, say "B2_"
cool down until you say so, at most 30 min, say "_C_"
`, []string{"step 1 asks for zone 2 of a device", "step 2 asks for zone 5", "step 4 ends on something"}},
		"WorkoutRepeatSteps.fit": {"Example 2", `warm up 60 s, say "_A_"
three times:
  ride 500 m as you like, say "B1_"
  ride 500 m as you like, say "B2_"
end
cool down until you say so, at most 30 min, say "_C_"
`, []string{"step 3 asks for zone 3"}},
		"WorkoutRepeatGreaterThanStep.fit": {"Example 2", `warm up 60 s, say "_A_"
once:
  ride 500 m as you like, say "B1_"
  ride 500 m as you like, say "B2_"
end
cool down until you say so, at most 30 min, say "_C_"
`, []string{"step 4 repeats until something is reached"}},
		"WorkoutCustomTargetValues.fit": {"Example 1", `warm up 60 s with the heart at 50 to 60 % of its maximum, say "_A_"
ride 500 m at 300 to 310 W, say "B1_"
ride 500 m at 260 to 270 W, say "B2_"
cool down until you say so, at most 30 min, at 220 to 230 W, say "_C_"
`, []string{"step 4 has no time of its own"}},
	} {
		s, lost, err := fitfile.ReadWorkout(bytes.NewReader(workoutSample(t, name)), name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if s.Name != want.name {
			t.Errorf("%s: called %q", name, s.Name)
		}
		s.Name = ""
		want.text = strings.ReplaceAll(want.text, "warm up 60 s", "warm up 1 min")
		if got := session.Print(s); got != want.text {
			t.Errorf("%s: got\n%swant\n%s", name, got, want.text)
		}
		for _, l := range want.lost {
			if !strings.Contains(strings.Join(lost, "\n"), l) {
				t.Errorf("%s: lost %q, want %q", name, lost, l)
			}
		}
	}
}

// What is no workout gives one line that says so.
func TestWorkoutErrors(t *testing.T) {
	good, _ := writtenWorkout(t, parsed(t, "ride 5 min at 200 W"), fitfile.WorkoutOptions{})
	flipped := bytes.Clone(good)
	flipped[len(flipped)-10] ^= 0x40
	for want, data := range map[string][]byte{
		"not a FIT file":                       []byte("this is a text, and not a short one"),
		"expected a whole":                     good[:len(good)-9],
		"its checksum":                         flipped,
		"of type activity, expected a workout": workoutSample(t, "Activity.fit"),
		"larger than":                          make([]byte, fitfile.MaxWorkout+1),
	} {
		_, _, err := fitfile.ReadWorkout(bytes.NewReader(data), "we\nird.fit")
		text, _ := problem.ForPerson(err)
		if err == nil || !strings.Contains(text, want) || !strings.HasPrefix(text, "we ird.fit: ") || strings.Contains(text, "\n") {
			t.Errorf("got %q, want %q", text, want)
		}
	}
	if _, lost, err := fitfile.ReadWorkout(bytes.NewReader(slices.Concat(good, good)), "two"); err != nil || !slices.Contains(lost, "what follows the first workout in the file is left out") {
		t.Errorf("two in one: %v, lost %q", err, lost)
	}
	for n := range good {
		if _, _, err := fitfile.ReadWorkout(bytes.NewReader(good[:n]), "cut"); err == nil {
			t.Errorf("read without complaint when cut to %d of %d bytes", n, len(good))
		}
		turned := bytes.Clone(good)
		turned[n] ^= 0xFF
		if s, _, err := fitfile.ReadWorkout(bytes.NewReader(turned), "turned"); err == nil && n >= 14 {
			t.Errorf("read without complaint with byte %d turned: %s", n, session.Print(s))
		}
	}
}

func FuzzReadWorkout(f *testing.F) {
	for _, text := range []string{"ride 5 min at 200 W", "three times:\ntwice:\nride 2 km at 80 % of threshold at 90 rpm\nend\neasy 1 min\nend", "test until you cannot go on, at most 9 min, from 50 to 300 W"} {
		data, _ := writtenWorkout(f, parsed(f, text), fitfile.WorkoutOptions{})
		f.Add(data)
	}
	for _, name := range []string{"WorkoutCustomTargetValues.fit", "WorkoutRepeatGreaterThanStep.fit"} {
		f.Add(workoutSample(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, _, err := fitfile.ReadWorkout(bytes.NewReader(resealed(data)), "a.fit")
		if err != nil {
			if text, _ := problem.ForPerson(err); strings.Contains(text, "\n") || strings.Contains(text, "inside of the program") {
				t.Errorf("error %q", text)
			}
			return
		}
		if err := s.Check(); err != nil {
			t.Fatal(err)
		}
		again, _ := writtenWorkout(t, s, fitfile.WorkoutOptions{})
		if _, _, err := fitfile.ReadWorkout(bytes.NewReader(again), "b.fit"); err != nil {
			t.Fatalf("written again, but: %v\n%s", err, session.Print(s))
		}
	})
}

func encodedWorkout(t *testing.T, f *filedef.Workout) []byte {
	t.Helper()
	var b bytes.Buffer
	fit := f.ToFIT(nil)
	if err := encoder.New(&b).Encode(&fit); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// resealed gives fuzzed bytes a right length and checksums, so that the fuzzer
// gets behind them.
func resealed(data []byte) []byte {
	if len(data) < 16 || data[0] != 14 {
		return data
	}
	out := bytes.Clone(data)
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-16))
	sum := crc16.New()
	sum.Write(out[:12])
	binary.LittleEndian.PutUint16(out[12:], sum.Sum16())
	sum.Reset()
	sum.Write(out[:len(out)-2])
	binary.LittleEndian.PutUint16(out[len(out)-2:], sum.Sum16())
	return out
}

// The fuzzer's seal is the file's own, or the fuzzer would never get inside.
func TestWorkoutFuzzSeal(t *testing.T) {
	data, _ := writtenWorkout(t, parsed(t, "ride 5 min at 200 W"), fitfile.WorkoutOptions{})
	if !bytes.Equal(resealed(data), data) {
		t.Errorf("sealed\n%x\nwritten\n%x", resealed(data), data)
	}
}
