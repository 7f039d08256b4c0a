package input

import (
	"errors"
	"io"
	"math"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"chainline/internal/problem"
	"chainline/rig"
	"chainline/room"
)

func TestReadRider(t *testing.T) {
	got, err := ReadRider("r", strings.NewReader(`# rider
name: Jo Ash
mass_kg: 68.5
height_cm: 172
birth_year: 1989
sex: female            # or male; optional
level: regular
max_heart_rate_bpm: 186
heart_rate: off
screened: 2026-09-01
evidence:
  - {kind: test, duration_s: 180, watts: 330, date: 2026-10-02, source: hub, where: indoor}
  - {kind: threshold, watts: 231, from: 20-minute test, date: 2026-10-10, accuracy_percent: 2}
`))
	want := RiderFile{
		Name: "Jo Ash", Mass: 68.5, Height: Some(1.72), BirthYear: Some(1989), Sex: "female", Level: "regular",
		MaxHeartRate: Some(186.0), HeartRateOff: true, Screened: "2026-09-01",
		Evidence: []EvidenceFile{
			{Kind: "test", Duration: 180, Watts: 330, Date: "2026-10-02", Source: "hub", Where: "indoor", Line: 12},
			{Kind: "threshold", Watts: 231, From: "20-minute test", Date: "2026-10-10", AccuracyPercent: Some(2.0), Line: 13},
		},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
}

func TestReadEveryKindOfEvidence(t *testing.T) {
	got, err := ReadRider("r", strings.NewReader(`mass_kg: 71
acclimatised: no
resting_heart_rate_bpm: 58
evidence:
  - {kind: best, duration_s: 1200, watts: 210, harder: much, source: hub, where: outdoor}
  - kind: hill
    duration_s: 780
    length_m: 2600
    ascent_m: 143
    bike_mass_kg: 12.5
    mass_kg: 73
    cda_m2: 0.38
    harder: little
    date: 2026-08-16
    where: outdoor
  - {kind: hill, duration_s: 600, length_m: 1500, ascent_m: 90, bike_mass_kg: unknown, date: unknown}
  - {kind: heart_rate, duration_s: 900, watts: 70, heart_rate_bpm: 118, source: borrowed trainer, accuracy_percent: 5}
  - {kind: talk, watts: 110, where: indoor}
  - {kind: test, duration_s: 300, watts: 190, harder: no}
weighed:
  - {before_kg: 61.4, after_kg: 60.5, drunk_l: 0.6, urine_l: 0.2, duration_s: 4500, watts: 190, temperature_c: 18, humidity_percent: 45, date: 2026-11-14}
  - {before_kg: 70, after_kg: 69, drunk_l: 0, duration_s: 3600}
`))
	want := RiderFile{
		Mass: 71, Acclimatised: Some(false), RestingHeartRate: Some(58.0),
		Evidence: []EvidenceFile{
			{Kind: "best", Duration: 1200, Watts: 210, Harder: "much", Source: "hub", Where: "outdoor", Line: 5},
			{Kind: "hill", Duration: 780, Length: 2600, Ascent: 143, BikeMass: Some(12.5), Mass: Some(73.0), CdA: Some(0.38), Harder: "little",
				Date: "2026-08-16", Where: "outdoor", Line: 6},
			{Kind: "hill", Duration: 600, Length: 1500, Ascent: 90, Line: 16},
			{Kind: "heart_rate", Duration: 900, Watts: 70, HeartRate: 118, Source: "borrowed trainer", AccuracyPercent: Some(5.0), Line: 17},
			{Kind: "talk", Watts: 110, Where: "indoor", Line: 18},
			{Kind: "test", Duration: 300, Watts: 190, Harder: "no", Line: 19},
		},
		Weighed: []WeighingFile{
			{Before: 61.4, After: 60.5, Drunk: 0.6, Urine: Some(0.2), Duration: 4500, Watts: Some(190.0), Temperature: Some(18.0), Humidity: Some(0.45),
				Date: "2026-11-14", Line: 21},
			{Before: 70, After: 69, Duration: 3600, Line: 22},
		},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
}

func TestUnknownIsLikeLeftOut(t *testing.T) {
	text := "mass_kg: 70\n"
	for _, f := range riderFields {
		if !f.needed {
			text += f.key + ": unknown\n"
		}
	}
	if got, err := ReadRider("r", strings.NewReader(text)); err != nil || !reflect.DeepEqual(got, RiderFile{Mass: 70}) {
		t.Errorf("rider %+v, %v", got, err)
	}
	for name, fields := range map[string][]field{"road": roadFields, "event": eventFields} {
		text = ""
		for _, f := range fields {
			text += f.key + ": unknown\n"
		}
		if err := readers[name]("f", strings.NewReader(text)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	rigText := "trainer: {kind: plain, power_curve: unknown, gears: unknown, wheel_circumference_mm: unknown}\npower_source: unknown\nroom: unknown\nsensors: unknown\ncadence_rpm: unknown\n"
	a, err := ReadRig("f", strings.NewReader(rigText))
	b, err2 := ReadRig("f", strings.NewReader("trainer: {kind: plain}\n"))
	if err != nil || err2 != nil || !reflect.DeepEqual(a, b) {
		t.Errorf("rigs differ: %+v %+v, %v %v", a, b, err, err2)
	}
}

func TestReadRig(t *testing.T) {
	got, err := ReadRig("r", strings.NewReader(`trainer: {kind: controllable}
power_source: {name: hub, kind: trainer, accuracy_percent: 2}
room: {temperature_c: 21, humidity_percent: 50, airflow_m_s: 2.5}
`))
	want := RigFile{Rig: rig.Rig{
		Source:  rig.PowerSource{Name: "hub", Kind: rig.SourceTrainer, Accuracy: 0.02},
		Cadence: rig.DefaultCadence, WheelCircumference: rig.DefaultWheelCircumference,
		HeartRate: true, SpeedSensor: true, SensorsAssumed: true,
	}, Room: room.Room{Temperature: 21, Humidity: 0.5, Airflow: 2.5, TemperatureKnown: true, HumidityKnown: true, AirflowKnown: true}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
	file, err := ReadRig("r", strings.NewReader(`trainer:
  kind: rollers
  power_curve: [{wheel_speed_km_h: 18, watts: 60}, {wheel_speed_km_h: 36, watts: 180}]
  power_curve_accuracy_percent: 8
  gears: {chainrings: [50, 34], cogs: [11, 28]}
  wheel_circumference_mm: 2100
power_source: none
sensors: [speed, cadence]
cadence_rpm: {preferred: 90}
`))
	if err != nil {
		t.Fatal(err)
	}
	rollers := file.Rig
	if w := rollers.Trainer.Curve.Watts(10); math.Abs(w-180) > 1e-9 || rollers.Trainer.Curve.SD != 0.08 {
		t.Errorf("curve: %v W at 36 km/h, sd %v", w, rollers.Trainer.Curve.SD)
	}
	if rollers.Source != (rig.PowerSource{}) || rollers.Speaks() != rig.WheelSpeed || rollers.HeartRate || !rollers.CadenceSensor || rollers.SensorsAssumed ||
		rollers.Cadence != (rig.CadenceRange{Low: 70, Preferred: 90, High: 100}) || math.Abs(rollers.WheelCircumference-2.1) > 1e-12 ||
		!reflect.DeepEqual(rollers.Gears, rig.Gears{Chainrings: []int{50, 34}, Cogs: []int{11, 28}}) {
		t.Errorf("got %+v", rollers)
	}
}

func TestReadRoom(t *testing.T) {
	read := func(text string) room.Room {
		t.Helper()
		file, err := ReadRig("r", strings.NewReader("trainer: {kind: bike}\n"+text))
		if err != nil {
			t.Error(err)
		}
		return file.Room
	}
	desk := room.Fan{Count: 1, Kind: room.Desk, Distance: 1, Setting: room.Medium}
	for text, want := range map[string]room.Room{
		"": {},
		"room: {temperature_c: 0, humidity_percent: 0, airflow_m_s: 0}":                                                                 {TemperatureKnown: true, HumidityKnown: true, AirflowKnown: true},
		"room: {temperature_c: unknown, volume_m3: unknown, openings: unknown, fans: unknown, clothing: unknown, airflow_m_s: unknown}": {},
		"room: {volume_m3: 30, openings: closed, clothing: shorts}":                                                                     {Volume: 30, Openings: room.Closed, Clo: 0.15},
		"room: {openings: door, clothing: shorts_and_jersey}":                                                                           {Openings: room.DoorOpen, Clo: 0.3},
		"room: {openings: window, clothing: long}":                                                                                      {Openings: room.WindowOpen, Clo: 0.5},
		"room: {openings: door_and_window}":                                                                                             {Openings: room.DoorAndWindowOpen},
		"room: {openings: hall}":                                                                                                        {Openings: room.Hall},
		"room: {outside_temperature_c: -4, outside_humidity_percent: 80}":                                                               {OutsideTemperature: -4, OutsideHumidity: 0.8, OutsideKnown: true},
		"room: {fans: []}":             {Fans: []room.Fan{}},
		"room: {fans: no fan}":         {Fans: []room.Fan{}},
		"room: {fans: [none]}":         {Fans: []room.Fan{}},
		"room: {fans: a desk fan}":     {Fans: []room.Fan{desk}},
		"room: {fans: [{kind: desk}]}": {Fans: []room.Fan{desk}},
		"room: {fans: [{kind: desk, distance_m: unknown, setting: unknown, count: unknown}]}": {Fans: []room.Fan{desk}},
		"room:\n  fans:\n    - one pedestal fan, a metre away, high\n    - {kind: floor, distance_m: 1.5, setting: low, count: 2}\n    - \"two desk fans at 80 cm on low and an industrial fan\"\n": {
			Fans: []room.Fan{{Count: 1, Kind: room.Pedestal, Distance: 1, Setting: room.High}, {Count: 2, Kind: room.Floor, Distance: 1.5, Setting: room.Low},
				{Count: 2, Kind: room.Desk, Distance: 0.8, Setting: room.Low}, {Count: 1, Kind: room.Industrial, Distance: 1, Setting: room.Medium}}},
	} {
		if got := read(text); !reflect.DeepEqual(got, want) {
			t.Errorf("%q:\n got %+v\nwant %+v", text, got, want)
		}
	}
}

// Every kind of fan and every setting that keys know, the room knows.
func TestFanKeysAreTheRoomsWords(t *testing.T) {
	for _, kind := range fanFields[0].words {
		for _, setting := range fanFields[2].words {
			file, err := ReadRig("r", strings.NewReader("trainer: {kind: bike}\nroom: {fans: [{kind: "+kind+", setting: "+setting+"}]}\n"))
			if err != nil || len(file.Room.Fans) != 1 || !strings.Contains(file.Room.Fans[0].String(), kind) || !strings.Contains(file.Room.Fans[0].String(), setting) {
				t.Errorf("%s, %s: %v, %v", kind, setting, file.Room.Fans, err)
			}
		}
	}
}

func TestReadRoad(t *testing.T) {
	got, err := ReadRoad("r", strings.NewReader(`bike_mass_kg: 8.6
cda_m2: 0.32
cda_sd_m2: 0.02
crr: 0.004
drivetrain_efficiency: 0.976
bearings: true
altitude_m: -12
temperature_c: 4
pressure_hpa: 990
humidity_percent: 80
start_speed_m_s: 0
`))
	want := RoadFile{BikeMass: Some(8.6), CdA: Some(0.32), CdASD: Some(0.02), Crr: Some(0.004), Efficiency: Some(0.976), Bearings: Some(true),
		Altitude: Some(-12.0), Temperature: Some(4.0), Pressure: Some(99000.0), Humidity: Some(0.8), StartSpeed: Some(0.0)}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
}

func TestReadEvent(t *testing.T) {
	got, err := ReadEvent("e", strings.NewReader(`name: Two Mills
start: 2026-07-03T19:30
time_zone: Europe/Dublin
kind: mass
pen_s: 300
lead_in_m: 1200
laps: 2
categories: [{name: steady, min_w_per_kg: 2.2, max_w_per_kg: 2.9, over_s: 1200}]
`))
	if err != nil {
		t.Fatal(err)
	}
	// By hand: Irish summer time is UTC+1.
	if !got.Start.Value.Equal(time.Date(2026, 7, 3, 18, 30, 0, 0, time.UTC)) || !got.HasClock || got.TimeZone != "Europe/Dublin" {
		t.Errorf("start %v in %q", got.Start, got.TimeZone)
	}
	got.Start = Optional[time.Time]{}
	want := EventFile{Name: "Two Mills", HasClock: true, TimeZone: "Europe/Dublin", Kind: "mass", Pen: Some(300.0), LeadIn: Some(1200.0), Laps: Some(2),
		Categories: []CategoryFile{{Name: "steady", Min: Some(2.2), Max: Some(2.9), Over: Some(1200.0)}}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	got, err = ReadEvent("e", strings.NewReader("start: 2026-12-03\n"))
	if err != nil || got.HasClock || !got.Start.Value.Equal(time.Date(2026, 12, 3, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("a date alone: %+v, %v", got, err)
	}
}

func TestReadPlan(t *testing.T) {
	got, err := ReadPlan("p", strings.NewReader("\ufefffrom_m,to_m,watts\r\n0,500.5,200\r\n500.5, 1000, 0\r\n"))
	want := []PlanRow{{0, 500.5, 200}, {500.5, 1000, 0}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, %v, want %v", got, err, want)
	}
}

func TestParseLength(t *testing.T) {
	for s, want := range map[string]float64{"21.4km": 21400, "800m": 800, " 5 km ": 5000, "0m": 0, ".5km": 500, "2000km": 2e6} {
		if got, err := ParseLength(s); err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("%q: %v, %v, want %v", s, got, err, want)
		}
	}
	for s, hint := range map[string]string{"": "", "21.4": "unit", "21,4km": "comma", "13mi": "", "-5km": "", "1e3m": "", "NaNkm": "", "infkm": "",
		"2001km": "", strings.Repeat("9", 400) + "km": "", "5km\n5km": ""} {
		got, err := ParseLength(s)
		msg, h := problem.ForPerson(err)
		if err == nil || problem.ExitCode(err) != 2 || !strings.Contains(msg, "expected a length") || !strings.Contains(h, hint) {
			t.Errorf("%q: %v, %q, hint %q", s, got, msg, h)
		}
	}
}

func TestParseSketchClimb(t *testing.T) {
	for s, want := range map[string]SketchClimb{
		"5.2km@6.1%":            {5200, 317.2, Optional[float64]{}},
		"5.2km/310m":            {5200, 310, Optional[float64]{}},
		"5.2km/310m from 12km":  {5200, 310, Some(12000.0)},
		" 800m@10%  from 400m ": {800, 80, Some(400.0)},
	} {
		got, err := ParseSketchClimb(s)
		if err != nil || math.Abs(got.Ascent-want.Ascent) > 1e-9 || got.Length != want.Length || got.From != want.From {
			t.Errorf("%q: %+v, %v, want %+v", s, got, err, want)
		}
	}
	for _, s := range []string{"", "5.2km", "5.2km@6.1", "5.2km@-6%", "5.2km@NaN%", "5.2km@Inf%", "5.2km@0x6%", "5.2km/310", "0km/310m", "5km/0m",
		"1km@41%", "1km/500m", "5km/300m from", "5km/300m from x", "5km@6%@7%", "5.2@6%", "5km@1e400%"} {
		got, err := ParseSketchClimb(s)
		if msg, _ := problem.ForPerson(err); err == nil || problem.ExitCode(err) != 2 || !strings.Contains(msg, "expected a climb") {
			t.Errorf("%q: %+v, %q", s, got, msg)
		}
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("wire cut") }

func TestUnreadableIsNoMisuse(t *testing.T) {
	for kind, read := range readers {
		err := read("f", failing{})
		if msg, _ := problem.ForPerson(err); msg != "f: could not be read" || problem.ExitCode(err) != 1 || !strings.Contains(err.Error(), "wire cut") {
			t.Errorf("%s: %v", kind, err)
		}
	}
}

// endless yields the same text for ever and counts what was taken.
type endless struct {
	text  string
	taken int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.text[(e.taken+i)%len(e.text)]
	}
	e.taken += len(p)
	return len(p), nil
}

// Hostile files are refused in bounded time and memory: an endless one after
// 1 MB, the worst of 1 MB in seconds at most, an alias bomb at its first anchor.
func TestHostileFiles(t *testing.T) {
	for kind, read := range readers {
		e := &endless{text: "mass_kg: 70\n"}
		if msg, _ := problem.ForPerson(read("f", e)); msg != "f:1:1: the file is larger than 1 MB; expected a file that a person wrote" {
			t.Errorf("%s: %q", kind, msg)
		}
		if e.taken > 2*maxBytes {
			t.Errorf("%s: read %d bytes of an endless file", kind, e.taken)
		}
	}
	bomb := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'k'; c++ {
		p := string(c - 1)
		bomb += string(c) + ": &" + string(c) + " [" + strings.Repeat("*"+p+",", 8) + "*" + p + "]\n"
	}
	for name, text := range map[string]string{
		"bomb": bomb, "brackets": strings.Repeat("[", 1e6), "pairs": strings.Repeat("[],", 3e5), "dashes": strings.Repeat("- ", 5e5),
		"questions": strings.Repeat("? ", 5e5), "keys": strings.Repeat("a: 1\n", 1e5), "quotes": "a: \"" + strings.Repeat("x", 1e6),
		"lines": strings.Repeat("\n", 1e6), "open": "a: [" + strings.Repeat("\n1,", 1e5), "commas": strings.Repeat(",", 1e6), "braces": strings.Repeat("{a: ", 2e5),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		for kind, read := range map[string]func(string, io.Reader) error{"rider": readers["rider"], "plan": readers["plan"]} {
			err := read("f", strings.NewReader(text))
			if problem.ExitCode(err) != 2 {
				t.Errorf("%s as %s: %v", name, kind, err)
			}
		}
		runtime.ReadMemStats(&after)
		allocated := (after.TotalAlloc - before.TotalAlloc) >> 20
		t.Logf("%s: %v, %d MB allocated", name, time.Since(start).Round(time.Millisecond), allocated)
		if allocated > 500 {
			t.Errorf("%s: %d MB allocated in all", name, allocated)
		}
	}
}
