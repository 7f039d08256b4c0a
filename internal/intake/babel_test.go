package intake

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"chainline/recording"
)

// An independent program reads the same FIT files: what it writes as a table
// and as GPX holds what the FIT reader finds, second for second.
func TestFITAsGpsbabelReadsIt(t *testing.T) {
	if _, err := exec.LookPath("gpsbabel"); err != nil {
		const hint = "gpsbabel is missing: apt-get install gpsbabel"
		if os.Getenv("CHAINLINE_NO_FITCHECK") == "1" {
			t.Skip("NOT CHECKED by an independent reader (CHAINLINE_NO_FITCHECK=1): " + hint)
		}
		t.Fatal(hint + "; or set CHAINLINE_NO_FITCHECK=1 to go without this check")
	}
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		t.Fatal(err)
	}
	samples := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	for _, x := range []struct {
		file, format, name string
		quantities         []recording.Quantity
		least              int // values compared
	}{
		{"from_official_sdk/activity_lowbattery.fit", "unicsv,utc=0", "table.csv", []recording.Quantity{recording.Power, recording.HeartRate, recording.Cadence, recording.Altitude}, 14_500},
		{"from_official_sdk/WithGearChangeData.fit", "unicsv,utc=0", "table.csv", []recording.Quantity{recording.Power, recording.HeartRate, recording.Cadence}, 5_500},
		{"from_garmin_forums/triathlon_summary_last.fit", "gpx,garminextensions=1", "track.gpx", []recording.Quantity{recording.HeartRate, recording.Altitude, recording.Latitude, recording.Longitude}, 12_000},
	} {
		data, err := os.ReadFile(filepath.Join(samples, x.file))
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "ride.fit")
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		made, err := exec.Command("gpsbabel", "-t", "-i", "garmin_fit,allpoints", "-f", file, "-o", x.format, "-F", "-").Output()
		if err != nil {
			t.Fatalf("%s: %v", x.file, err)
		}
		fit, theirs := read(t, "ride.fit", data), read(t, x.name, made)
		compared := 0
		for _, q := range x.quantities {
			mine := allOf(fit, q)
			for at, v := range allOf(theirs, q) {
				have, ok := mine[at]
				if !ok && v == 0 {
					continue // it writes zeros where a record has no place
				}
				if !ok || math.Abs(have-v) > map[recording.Quantity]float64{recording.Altitude: 0.11, recording.Latitude: 2e-6, recording.Longitude: 2e-6}[q] {
					t.Fatalf("%s: %s is %g, %v at %g; gpsbabel reads %g", x.file, q, have, ok, at, v)
				}
				compared++
			}
		}
		if compared < x.least {
			t.Errorf("%s: only %d values compared", x.file, compared)
		}
	}
}

// allOf is every reading of a quantity by its second since 1970.
func allOf(rides []Arrived, q recording.Quantity) map[float64]float64 {
	out := map[float64]float64{}
	for _, a := range rides {
		c, _ := a.Recording.Signal(q, "")
		for i, s := range slices.All(c.Seconds) {
			out[math.Round(a.Recording.StartUnix+s)] = c.Values[i]
		}
	}
	return out
}
