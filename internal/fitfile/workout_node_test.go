package fitfile

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"chainline/session"
)

// A decoder that has nothing to do with the library that writes reads a
// workout: types by their names in the profile, values as they stand.
func TestWorkoutReadByNode(t *testing.T) {
	_, err := exec.LookPath("node")
	need(t, err == nil, "node is missing: apt-get install nodejs npm")
	dir := filepath.Join("testdata", "decoder")
	_, err = os.Stat(filepath.Join(dir, "node_modules", "fit-file-parser"))
	need(t, err == nil, "the decoder is missing: npm ci --ignore-scripts --prefix internal/fitfile/testdata/decoder")
	s, err := session.Parse(`session: Read by another
warm up 10 min from 50 to 70 % of threshold
ride 5 min at 280 W at 90 to 95 rpm
twice:
  ride 1.5 km at 80 % of threshold
  easy 2 min
end
ride 5 min with the heart at 130 to 140 beats a minute
ride until 30 % is left, at least 2 min, at most 8 min, at 300 W
ride until you say so, at most 5 min, as you like`)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := WriteWorkout(&b, s, WorkoutOptions{Created: time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	out, err := node(dir, b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Messages struct {
			FileID  []message `json:"file_id"`
			Workout []message
			Steps   []message `json:"workout_step"`
		}
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	m := got.Messages
	if len(m.FileID) != 1 || m.FileID[0]["type"] != "workout" || m.FileID[0]["manufacturer"] != "development" || len(m.Workout) != 1 ||
		m.Workout[0]["wkt_name"] != "Read by another" || m.Workout[0]["sport"] != "cycling" || m.Workout[0]["num_valid_steps"] != 8. {
		t.Errorf("file %v, workout %v", m.FileID, m.Workout)
	}
	fields := []string{"duration_type", "duration_value", "target_type", "target_value", "custom_target_value_low", "custom_target_value_high", "secondary_custom_target_value_high", "intensity"}
	want := []string{
		"[time 600000 power 0 50 70 <nil> warmup]",
		"[time 300000 power 0 1280 1280 95 active]",
		"[distance 150000 power 0 80 80 <nil> active]",
		"[time 120000 open <nil> <nil> <nil> <nil> recovery]",
		"[repeat_until_steps_cmplt 2 open 2 <nil> <nil> <nil> <nil>]",
		"[time 300000 heart_rate 0 230 240 <nil> active]",
		"[time 480000 power 0 1300 1300 <nil> active]",
		"[open <nil> open <nil> <nil> <nil> <nil> active]",
	}
	if len(m.Steps) != len(want) {
		t.Fatalf("%d steps, want %d", len(m.Steps), len(want))
	}
	for i, step := range m.Steps {
		var values []any
		for _, f := range fields {
			values = append(values, step[f])
		}
		if text := fmt.Sprint(values); text != want[i] {
			t.Errorf("step %d: %s, want %s", i, text, want[i])
		}
	}
}
