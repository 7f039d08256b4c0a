package fitfile

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"chainline/recording"
)

// Two decoders that have nothing to do with the library that writes read
// every file: fit-file-parser (npm, MIT), run by node, and gpsbabel (Debian,
// GPL). They are needed to run these tests, not to build Chainline.

// need fails the test if a tool is missing, for a check that does not run is
// none; on a machine without them CHAINLINE_NO_FITCHECK=1 skips it aloud.
func need(t *testing.T, there bool, hint string) {
	t.Helper()
	if there {
		return
	}
	if os.Getenv("CHAINLINE_NO_FITCHECK") == "1" {
		t.Skip("NOT CHECKED by an independent FIT decoder (CHAINLINE_NO_FITCHECK=1): " + hint)
	}
	t.Fatal(hint + "; or set CHAINLINE_NO_FITCHECK=1 to go without this check")
}

// variants are recordings that differ in what they hold.
func variants(t *testing.T) map[string]*recording.Recording {
	all := map[string]*recording.Recording{"everything": ride(t)}
	only := func(keep ...recording.Quantity) *recording.Recording {
		r := ride(t)
		var channels []recording.Channel
		for _, c := range r.Channels {
			for _, q := range keep {
				if c.Quantity == q {
					channels = append(channels, c)
				}
			}
		}
		r.Channels = channels
		r.Used = nil
		return r
	}
	all["indoors, no place"] = only(recording.Power, recording.Cadence, recording.HeartRate, recording.Speed, recording.Position)
	all["a belt alone"] = only(recording.HeartRate, recording.RRInterval)
	all["power alone"] = only(recording.Power)
	return all
}

// fixed is one second as a decoder sees it; NaN is absent.
type fixed struct {
	unix                                                               int64
	power, cadence, heart, speed, distance, altitude, lat, lon, pedals float64
}

// wanted are the records a file should have, from the recording's rows,
// rounded as the format does.
func wanted(t *testing.T, r *recording.Recording) []fixed {
	t.Helper()
	rows, err := r.Rows(1)
	if err != nil {
		t.Fatal(err)
	}
	var pedals []float64
	for _, c := range rows.Columns {
		if c.Source == "pedals" && c.Quantity == recording.Power && !c.Used {
			pedals = c.Values
		}
	}
	round := func(q recording.Quantity, k int, scale float64) float64 {
		return math.Round(value(rows.Column(q), k)*scale) / scale
	}
	var out []fixed
	for k, s := range rows.Seconds {
		if rows.Paused[k] {
			continue
		}
		f := fixed{
			int64(math.Round(r.StartUnix)) + int64(s),
			round(recording.Power, k, 1), round(recording.Cadence, k, 1), round(recording.HeartRate, k, 1),
			round(recording.Speed, k, 1000), round(recording.Position, k, 100), round(recording.Altitude, k, 5),
			value(rows.Column(recording.Latitude), k), value(rows.Column(recording.Longitude), k),
			math.Round(value(pedals, k)),
		}
		known := false
		for _, v := range []float64{f.power, f.cadence, f.heart, f.speed, f.distance, f.altitude, f.pedals} {
			known = known || !math.IsNaN(v)
		}
		if known { // a second of which nothing is known has no record
			out = append(out, f)
		}
	}
	return out
}

// same compares a decoder's value to the wanted one; NaN is only like NaN.
func same(t *testing.T, what string, at int64, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) && math.IsNaN(want) || math.Abs(got-want) <= tol {
		return
	}
	t.Errorf("%s at %d: read %g, want %g", what, at, got, want)
}

// message is what fit-file-parser makes of one.
type message map[string]any

func (m message) number(name string) float64 {
	if v, ok := m[name].(float64); ok {
		return v
	}
	return math.NaN()
}

func (m message) unix(t *testing.T, name string) int64 {
	t.Helper()
	text, _ := m[name].(string)
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at.Unix()
}

func TestReadByNode(t *testing.T) {
	_, err := exec.LookPath("node")
	need(t, err == nil, "node is missing: apt-get install nodejs npm")
	dir := filepath.Join("testdata", "decoder")
	_, err = os.Stat(filepath.Join(dir, "node_modules", "fit-file-parser"))
	need(t, err == nil, "the decoder is missing: npm ci --ignore-scripts --prefix internal/fitfile/testdata/decoder")
	for name, r := range variants(t) {
		t.Run(name, func(t *testing.T) {
			data := write(t, r, Options{})
			got := byNode(t, dir, data)
			records(t, r, got.Records)
			total := r.Totals("")
			if len(got.Sessions) != 1 || len(got.Laps) != 3 {
				t.Fatalf("%d sessions, %d laps", len(got.Sessions), len(got.Laps))
			}
			totals(t, got.Sessions[0], &total)
			for i, l := range r.Laps("") {
				totals(t, got.Laps[i], &l)
			}
			if got.Activity.unix(t, "local_timestamp")-got.Activity.unix(t, "timestamp") != 3600 {
				t.Error("local time")
			}
			if s := got.Sessions[0]; s["sport"] != "cycling" || s["sub_sport"] != "indoor_cycling" {
				t.Errorf("sport %v, %v", s["sport"], s["sub_sport"])
			}
			beats := 0
			for _, h := range got.HRV {
				for _, v := range h.Time {
					if v != nil {
						beats++
					}
				}
			}
			if c, there := r.Signal(recording.RRInterval, ""); there && beats != len(c.Values) {
				t.Errorf("%d beats, want %d", beats, len(c.Values))
			}
			data[len(data)/2] ^= 4
			if out, err := node(dir, data); err == nil {
				t.Errorf("a damaged file was read: %.60s", out)
			}
		})
	}
}

type nodeFile struct {
	Activity message
	Sessions []message
	Laps     []message
	Records  []message
	HRV      []struct{ Time []*float64 }
}

func node(dir string, data []byte) ([]byte, error) {
	cmd := exec.Command("node", "decode.mjs")
	cmd.Dir = dir
	cmd.Stdin = bytes.NewReader(data)
	return cmd.Output()
}

func byNode(t *testing.T, dir string, data []byte) nodeFile {
	t.Helper()
	out, err := node(dir, data)
	if err != nil {
		t.Fatal(err)
	}
	var got nodeFile
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	return got
}

func records(t *testing.T, r *recording.Recording, got []message) {
	t.Helper()
	want := wanted(t, r)
	if len(got) != len(want) {
		t.Fatalf("%d records, want %d", len(got), len(want))
	}
	for i, w := range want {
		if at := got[i].unix(t, "timestamp"); at != w.unix {
			t.Fatalf("record %d at %d, want %d", i, at, w.unix)
		}
		same(t, "power", w.unix, got[i].number("power"), w.power, 0)
		same(t, "pedals' power", w.unix, got[i].number("power pedals"), w.pedals, 0)
		same(t, "cadence", w.unix, got[i].number("cadence"), w.cadence, 0)
		same(t, "heart rate", w.unix, got[i].number("heart_rate"), w.heart, 0)
		same(t, "speed", w.unix, got[i].number("speed"), w.speed, 1e-9)
		same(t, "distance", w.unix, got[i].number("distance"), w.distance, 1e-6)
		same(t, "altitude", w.unix, got[i].number("altitude"), w.altitude, 1e-6)
		same(t, "latitude", w.unix, got[i].number("position_lat"), w.lat, 90/math.Exp2(30))
		same(t, "longitude", w.unix, got[i].number("position_long"), w.lon, 90/math.Exp2(30))
	}
}

// totals compares what a lap or session says to the recording's, to rounding.
func totals(t *testing.T, m message, want *recording.Totals) {
	t.Helper()
	at := int64(want.From)
	same(t, "elapsed", at, m.number("total_elapsed_time"), want.Elapsed, 0.0005)
	same(t, "timer", at, m.number("total_timer_time"), want.Moving, 0.0005)
	same(t, "work", at, m.number("total_work"), want.WorkJ, 0.5)
	same(t, "mean power", at, m.number("avg_power"), want.MeanW, 0.5)
	same(t, "highest power", at, m.number("max_power"), want.MaxW, 0.5)
	same(t, "mean cadence", at, m.number("avg_cadence"), want.MeanCadence, 0.5)
	same(t, "mean heart rate", at, m.number("avg_heart_rate"), want.MeanHeart, 0.5)
	same(t, "highest heart rate", at, m.number("max_heart_rate"), want.MaxHeart, 0.5)
	same(t, "distance", at, m.number("total_distance"), want.DistanceM, 0.005)
	same(t, "mean speed", at, m.number("avg_speed"), want.DistanceM/want.Moving, 0.0005)
	same(t, "ascent", at, m.number("total_ascent"), want.AscentM, 0.5)
}

func TestReadByGpsbabel(t *testing.T) {
	_, err := exec.LookPath("gpsbabel")
	need(t, err == nil, "gpsbabel is missing: apt-get install gpsbabel")
	for name, r := range variants(t) {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "ride.fit")
			if err := os.WriteFile(file, write(t, r, Options{}), 0o600); err != nil {
				t.Fatal(err)
			}
			// allpoints, or records without a place are left out in silence
			out, err := exec.Command("gpsbabel", "-t", "-i", "garmin_fit,allpoints", "-f", file, "-o", "unicsv,utc=0", "-F", "-").Output()
			if err != nil {
				t.Fatal(err)
			}
			lines, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
			if err != nil || len(lines) == 0 {
				t.Fatalf("%v, %d lines", err, len(lines))
			}
			want := wanted(t, r)
			if len(lines)-1 != len(want) {
				t.Fatalf("%d records, want %d", len(lines)-1, len(want))
			}
			for i, w := range want {
				babelRecord(t, lines[0], lines[i+1], w)
			}
		})
	}
}

// babelRecord compares one line; an empty cell is absent.
func babelRecord(t *testing.T, head, line []string, w fixed) {
	t.Helper()
	cells := map[string]string{}
	for i, name := range head {
		cells[name] = line[i]
	}
	at, err := time.Parse("2006/01/02 15:04:05", cells["Date"]+" "+cells["Time"])
	if err != nil || at.Unix() != w.unix {
		t.Fatalf("%v: time %v, want %d", err, at, w.unix)
	}
	number := func(name string) float64 {
		v, err := strconv.ParseFloat(cells[name], 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	same(t, "power", w.unix, number("Power"), w.power, 0)
	same(t, "cadence", w.unix, number("Cadence"), w.cadence, 0)
	same(t, "heart rate", w.unix, number("Heartrate"), w.heart, 0)
	same(t, "speed", w.unix, number("Speed"), w.speed, 0.00501)
	same(t, "altitude", w.unix, number("Altitude"), w.altitude, 0.0501)
	if !math.IsNaN(w.lat) {
		same(t, "latitude", w.unix, number("Latitude"), w.lat, 1e-6)
		same(t, "longitude", w.unix, number("Longitude"), w.lon, 1e-6)
	}
}
