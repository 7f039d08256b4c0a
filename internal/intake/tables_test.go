package intake

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"chainline/internal/problem"
	"chainline/recording"
)

// What tables of rides look like elsewhere.
func TestCSVDialects(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		want map[recording.Quantity]float64 // the value of the second row
		unix float64
		zone int
		said string
	}{
		"plain":    {"time,watts,hr,rpm\n0,100,120,80\n1,101,121,81\n2,102,122,82\n", map[recording.Quantity]float64{"power": 101, "heart_rate": 121, "cadence": 81}, 0, 0, "the date is not in the file"},
		"german":   {"Zeit;Leistung (W);Geschwindigkeit (km/h);Höhe (m)\n0:00:00;100;36,0;12,5\n0:00:01;110,5;36,0;12,6\n", map[recording.Quantity]float64{"power": 110.5, "speed": 10, "altitude": 12.6}, 0, 0, ""},
		"iso":      {"timestamp\tpower\tspeed_m_s\n2026-05-01T10:00:00+02:00\t200\t9\n2026-05-01T10:00:01+02:00\t210\t9.5\n", map[recording.Quantity]float64{"power": 210, "speed": 9.5}, 1777622400, 7200, ""},
		"epoch ms": {"Time (ms),Power [W]\n1777622400000,200\n1777622401000,201\n", map[recording.Quantity]float64{"power": 201}, 1777622400, 0, ""},
		"two":      {"date,time,power,distance (km)\n2026-05-01,10:00:00,200,0\n2026-05-01,10:00:01,201,0.01\n", map[recording.Quantity]float64{"power": 201, "position": 10}, 1777629600, 0, "do not say their zone"},
		"minutes":  {"Minutes, Watts, HR\n0,100,120\n0.0166666666667,101,121\n", map[recording.Quantity]float64{"power": 101}, 0, 0, ""},
		"preamble": {"a ride of mine\n\n# Secs,Power\n0,100\n1,101\n", map[recording.Quantity]float64{"power": 101}, 0, 0, ""},
		"guessed":  {"secs,speed,distance\n0,30,0\n1,31,0.008\n2,32,0.017\n", map[recording.Quantity]float64{"speed": 31 / 3.6, "position": 8}, 0, 0, "taken as km/h by its values"},
		"gaps":     {"secs,power,hr\n0,100,\n1,,121\n2,nan,n/a\n3,99,122\n", map[recording.Quantity]float64{"heart_rate": 121}, 0, 0, ""},
		"quoted":   {"\"secs\",\"power\"\n\"0\",\"100,5\"\n\"1\",\"101,5\"\n", map[recording.Quantity]float64{"power": 101.5}, 0, 0, ""},
		"no time":  {"power,cadence\n100,80\n101,81\n", map[recording.Quantity]float64{"power": 101}, 0, 0, "rows are taken as a second apart"},
		"sparse":   {"secs,power\n0,100\n1,101\n6,106\n12,107\n17,102\n22,103\n27,103\n32,103\n37,103\n42,103\n47,103\n", map[recording.Quantity]float64{"power": 101}, 0, 0, "power was recorded only every 5 s"},
		"others":   {"secs,power,mood\n0,100,good\n1,101,bad\n", map[recording.Quantity]float64{"power": 101}, 0, 0, "columns left out: mood"},
		"mph, ft":  {"secs,speed (mph),elevation (ft)\n0,20,100\n1,20,100\n", map[recording.Quantity]float64{"speed": 8.9408, "altitude": 30.48}, 0, 0, ""},
		"sorted":   {"secs,power\n0,100\n1,101\n5,105\n6,106\n7,107\n2,102\n3,103\n", map[recording.Quantity]float64{"power": 101}, 0, 0, "sorted by time"},
	} {
		got := read(t, "a/b.csv", []byte(c.text))
		rec := &got[0].Recording
		for q, want := range c.want {
			ch, _ := rec.Signal(q, "")
			i, ok := slices.BinarySearchFunc(ch.Seconds, 1, func(s, want float64) int { return int(math.Round(10 * (s - want))) })
			if !ok || math.Abs(ch.Values[i]-want) > 1e-9*math.Abs(want) {
				t.Errorf("%s: %s is %v at %v, want %g at 1 s", name, q, ch.Values, ch.Seconds, want)
			}
		}
		if rec.StartUnix != c.unix || rec.ZoneSeconds != c.zone {
			t.Errorf("%s: starts at %g, zone %d", name, rec.StartUnix, rec.ZoneSeconds)
		}
		if said := strings.Join(got[0].Losses, "; "); !strings.Contains(said, c.said) {
			t.Errorf("%s: said %q, want %q", name, said, c.said)
		}
	}
	utf16 := []byte{0xFF, 0xFE}
	for _, b := range []byte("secs,power\r\n0,100\r\n1,101\r\n") {
		utf16 = append(utf16, b, 0)
	}
	if got := read(t, "u.csv", utf16); len(got[0].Recording.Channels) != 1 {
		t.Errorf("UTF-16: %+v", got[0].Recording)
	}
}

// What this program writes as CSV comes back: sources, pauses, laps.
func TestOwnCSV(t *testing.T) {
	r := ride(2, 300, "")
	b := recording.NewBuilder("x", 0, 0, "")
	for _, c := range r.Channels[:2] {
		for i, s := range c.Seconds {
			if s < 100 || s >= 120 {
				_ = b.Add(c.Quantity, c.Source, s, c.Values[i])
				_ = b.Add(recording.Power, "pedals", s, 99)
			}
		}
	}
	for _, m := range []recording.Mark{{Seconds: 100, Kind: recording.Pause}, {Seconds: 120, Kind: recording.Resume}, {Seconds: 200, Kind: recording.Lap, Words: "hard"}} {
		_ = b.Mark(m)
	}
	was := b.Recording(true)
	got := read(t, "own.csv", csvOf(t, &was))[0].Recording
	x, y := was.Totals(""), got.Totals("")
	if math.Abs(x.WorkJ-y.WorkJ) > 1e-9*x.WorkJ || x.Moving != y.Moving {
		t.Errorf("%g J in %g s came back as %g J in %g s", x.WorkJ, x.Moving, y.WorkJ, y.Moving)
	}
	if !slices.Equal(got.Sources(recording.Power), []string{"recorded", "pedals"}) || len(got.Laps("")) != 2 {
		t.Errorf("sources %q, marks %v", got.Sources(recording.Power), got.Marks)
	}
}

func TestGPX(t *testing.T) {
	point := func(s int, inner string) string {
		return fmt.Sprintf("<trkpt lat=\"10.%04d\" lon=\"20\"><time>%s</time>%s</trkpt>\n", s, utc(1_764_000_000+int64(s)), inner)
	}
	var b strings.Builder
	b.WriteString("<gpx version=\"1.1\"><trk><type>cycling</type><trkseg>\n")
	for s := range 20 {
		b.WriteString(point(s, "<extensions><a><b:watts xmlns:b=\"urn:b\">"+fmt.Sprint(100+s)+"</b:watts></a></extensions>"))
	}
	b.WriteString("</trkseg><trkseg>\n")
	for s := 60; s < 80; s++ {
		b.WriteString(point(s, "<heartrate>130</heartrate>"))
	}
	b.WriteString("<trkpt lat=\"99\" lon=\"20\"><time>yesterday</time></trkpt>\n")
	text := b.String() + "</trkseg></trk><trk><trkseg>" + point(90000, "<ele>5</ele>") + point(90001, "<ele>6</ele>") + "</trkseg></trk></gpx>"
	got := read(t, "dir/two.gpx", []byte(text))
	if len(got) != 2 {
		t.Fatalf("%d rides", len(got))
	}
	rec := &got[0].Recording
	if p, _ := rec.Signal(recording.Power, ""); len(p.Values) != 20 || p.Values[7] != 107 || p.Seconds[7] != 7 {
		t.Errorf("power %v", p)
	}
	if h, _ := rec.Signal(recording.HeartRate, ""); len(h.Values) != 20 || h.Seconds[0] != 60 {
		t.Errorf("heart rate %v", h)
	}
	if d, _ := rec.Signal(recording.Position, ""); math.Abs(d.Values[19]-19*11.1195) > 0.01 { // a ten-thousandth of a degree of latitude
		t.Errorf("%g m", d.Values[19])
	}
	if m := rec.Totals("").Moving; rec.Sport != "road cycling" || m != 39 {
		t.Errorf("%s, %g s outside pauses: %v", rec.Sport, m, rec.Marks)
	}
	said := strings.Join(got[0].Losses, "\n")
	for _, want := range []string{"line 43: lat=\"99\": expected degrees from -90 to 90", "line 43: time: \"yesterday\"; expected one like"} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %s\n%s", want, said)
		}
	}
	cut := read(t, "cut.gpx", []byte(b.String()))
	if len(cut) != 1 || cut[0].Recording.Whole || !strings.Contains(cut[0].Losses[0], "ends in the middle") {
		t.Errorf("%+v", cut)
	}
	if p, _ := cut[0].Recording.Signal(recording.Power, ""); len(p.Values) != 20 {
		t.Errorf("%d readings before the cut", len(p.Values))
	}
}

func FuzzGPX(f *testing.F) {
	f.Add(gpxOf(ride(1, 5, "")))
	f.Add([]byte("<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2026-05-01T10:00:00Z</time><hr>1e300</hr></trkpt></trkseg><trkseg><trkpt lat='1' lon='2'/></trkseg></trk></gpx>"))
	f.Add([]byte("<gpx><trk><trkseg><trkpt><time>2026-05-01T10:00:00Z</time><power>200</power></trkpt></trk>"))
	f.Add([]byte("<gpx><!DOCTYPE x [<!ENTITY a \"b\">]>&a;</gpx>"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzed(t, data, readGPX) })
}

func FuzzCSV(f *testing.F) {
	f.Add([]byte("time,power,hr\n0,100,120\n1,101,121\n"))
	f.Add([]byte("Zeit;Leistung (W)\n0:00:00;100,5\n23:59:59;1\n0:00:01;2\n"))
	f.Add([]byte("timestamp\tpower\n2026-05-01T10:00:00Z\t200\n1e300\t1e-300\n"))
	f.Add([]byte("seconds,paused,power_w,power_w:pedals,marks\n1,0,100,101,lap\n2,1,,,lap: x; pause\n"))
	f.Add([]byte("date,time,speed,latitude\n2026-05-01,10:00:00,1,5e9\n"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzed(t, data, readCSV) })
}

func fuzzed(t *testing.T, data []byte, read func(string, []byte) ([]Arrived, error)) {
	got, err := read("fuzz", data)
	if err != nil {
		message, _ := problem.ForPerson(err)
		if len(got) > 0 || !strings.HasPrefix(message, "fuzz: ") {
			t.Fatal(len(got), err)
		}
		return
	}
	for _, a := range got {
		if err := a.Recording.Validate(); err != nil {
			t.Fatal(err)
		}
	}
}

// Names of columns as people write them.
func TestColumnNames(t *testing.T) {
	for name, want := range map[string]field{
		"Heart Rate (bpm)": {quantity: recording.HeartRate, unit: "bpm"}, "heart_rate_bpm": {quantity: recording.HeartRate, unit: "bpm"},
		"HR [bpm]": {quantity: recording.HeartRate, unit: "bpm"}, "HeartRate": {quantity: recording.HeartRate}, "hr": {quantity: recording.HeartRate}, "BPM": {quantity: recording.HeartRate},
		"Power (W)": {quantity: recording.Power, unit: "W"}, "power_w": {quantity: recording.Power, unit: "W"}, "Watts": {quantity: recording.Power, unit: "W"}, "W": {quantity: recording.Power, unit: "W"}, "Power(watts)": {quantity: recording.Power, unit: "W"},
		"Cadence [rpm]": {quantity: recording.Cadence, unit: "rpm"}, "cadence_rpm": {quantity: recording.Cadence, unit: "rpm"}, "RPM": {quantity: recording.Cadence},
		"speed_m_s": {quantity: recording.Speed, unit: "m/s"}, "Speed (km/h)": {quantity: recording.Speed, unit: "km/h"}, "km/h": {quantity: recording.Speed, unit: "km/h"}, "Speed_kmh": {quantity: recording.Speed, unit: "km/h"}, "Speed (kph)": {quantity: recording.Speed, unit: "km/h"}, "Velocity": {quantity: recording.Speed},
		"Distance (m)": {quantity: recording.Position, unit: "m"}, "distance_km": {quantity: recording.Position, unit: "km"}, "Dist [mi]": {quantity: recording.Position, unit: "mi"},
		"Alt (m)": {quantity: recording.Altitude, unit: "m"}, "Elevation [ft]": {quantity: recording.Altitude, unit: "ft"}, "altitude": {quantity: recording.Altitude},
		"lat": {quantity: recording.Latitude}, "longitude_deg": {quantity: recording.Longitude, unit: "deg"}, "Grade (%)": {quantity: recording.Gradient, unit: "%"},
		"time": {time: true}, "Time (s)": {time: true, unit: "s"}, "time_s": {time: true, unit: "s"}, "secs": {time: true, unit: "s"}, "Minutes": {time: true, unit: "min"}, "Time [ms]": {time: true, unit: "ms"}, "timestamp": {time: true}, "Elapsed Time (sec)": {time: true, unit: "s"}, "Date": {time: true, date: true},
		"power_w:pedals of mine": {quantity: recording.Power, unit: "W", source: "pedals of mine"},
		"Torque (Nm)":            {}, "temperature": {}, "": {}, "lap": {}, "moving": {}, "calories": {}, "smoothness": {},
	} {
		if got := fieldOf(name); got != want {
			t.Errorf("%q is %+v, want %+v", name, got, want)
		}
	}
}
