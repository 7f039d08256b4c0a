package cli

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A ride against its brief is shared and opened with the same numbers; misuse
// is one line.
func TestShareAndOpen(t *testing.T) {
	course, files := riddenShort(t)
	do := func(args ...string) (int, string, string) {
		var o, e bytes.Buffer
		code := Run(t.Context(), args, Streams{Out: &o, Err: &e, Workers: 2, Version: "1.2", Now: func() time.Time { return time.Date(2026, 12, 4, 8, 0, 0, 0, time.UTC) }})
		return code, o.String(), e.String()
	}
	to := filepath.Join(t.TempDir(), "ride.zip")
	if code, _, errs := do(append([]string{"share", files["fit"], "--course", course, "--harder", "little", "--without", "heart_rate,name", "--out", to}, racer...)...); code != 0 {
		t.Fatal(errs)
	}
	code, out, errs := do("open", to, "--json")
	var got struct {
		Debrief struct {
			Rider   string `json:"rider"`
			Debrief struct {
				Against *struct{} `json:"against_plan"`
			} `json:"debrief"`
		} `json:"debrief"`
		Again bool `json:"reckoned_anew"`
	}
	if err := json.Unmarshal([]byte(out), &got); code != 0 || err != nil || got.Debrief.Debrief.Against == nil || got.Debrief.Rider != "" {
		t.Fatalf("%d %v %s %.300s", code, err, errs, out)
	}
	if code, out, _ := do("open", to); code != 0 || !strings.HasPrefix(out, "A share file made by version 1.2; left out of it on purpose: heart rate, name.") {
		t.Errorf("%d %.200s", code, out)
	}
	for _, args := range [][]string{{"share", files["fit"]}, {"share", files["fit"], "--out", "x.fit"}, {"share", files["fit"], "--out", to, "--without", "shoes"}, {"open", files["fit"]}, {"open", "none.zip"}} {
		if code, _, errs := do(args...); code != 2 || strings.Count(strings.TrimSpace(errs), "\n") > 1 {
			t.Errorf("%v: %d %s", args, code, errs)
		}
	}
}
