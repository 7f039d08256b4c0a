package form

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

type m = map[string]string

// Every sentence about values that do not fit together; each pattern of the
// table is needed by at least one.
func TestSentencesOfTheReader(t *testing.T) {
	hill := func(with m) m {
		out := m{"mass_kg": "70", "evidence.0.kind": "hill", "evidence.0.duration_s": "15 min", "evidence.0.length_m": "3200 m", "evidence.0.ascent_m": "176"}
		maps.Copy(out, with)
		return out
	}
	weighed := func(with m) m {
		out := m{"mass_kg": "70", "weighed.0.before_kg": "70", "weighed.0.after_kg": "69", "weighed.0.drunk_l": "0.5", "weighed.0.duration_s": "1 h"}
		maps.Copy(out, with)
		return out
	}
	easy := m{"mass_kg": "70", "evidence.0.kind": "heart_rate", "evidence.0.duration_s": "10 min", "evidence.0.watts": "70", "evidence.0.heart_rate_bpm": "120"}
	with := func(a, b m) m { out := maps.Clone(a); maps.Copy(out, b); return out }
	sketch := m{"distance_km": "20", "ascent_m": "310"}
	for _, c := range []struct {
		kind       string
		typed      m
		path, want string
	}{
		{Rider, m{"mass_kg": "70", "max_heart_rate_bpm": "110", "resting_heart_rate_bpm": "115"}, "resting_heart_rate_bpm", "The resting heart rate must be below the highest."},
		{Rider, hill(m{"evidence.0.watts": "200"}), "evidence.0.watts", "This does not belong to evidence of the kind “hill”; leave it empty."},
		{Rider, hill(m{"evidence.0.ascent_m": "?"}), "evidence.0.ascent_m", "This has to be known: how much it rises."},
		{Rider, hill(m{"evidence.0.ascent_m": "1376 m"}), "evidence.0.ascent_m", "1376 m up in 3200 m of road is 43 %, more than the 35 % of the steepest streets; the ascent is what the road rises."},
		{Rider, hill(m{"evidence.0.duration_s": "15 s"}), "evidence.0.duration_s", "3200 m in 15 seconds would be 768.0 km/h; between 1.8 to 90 km/h is possible."},
		{Rider, hill(m{"evidence.0.where": "indoor"}), "evidence.0.where", "A hill is climbed on the road; for watts indoors add a best effort."},
		{Rider, with(easy, m{"heart_rate": "off"}), "evidence.0.kind", "Heart rate is switched off for this rider; leave this entry out, or switch it on."},
		{Rider, with(easy, m{"max_heart_rate_bpm": "118"}), "evidence.0.heart_rate_bpm", "An easy load's heart rate must be below the highest, 118 bpm."},
		{Rider, with(easy, m{"resting_heart_rate_bpm": "120"}), "evidence.0.heart_rate_bpm", "An easy load's heart rate must be above that at rest, 120 bpm."},
		{Rider, weighed(m{"mass_kg": "120 kg"}), "weighed.0.before_kg", "70 kg is far from the body mass of 120 kg; is the unit right?"},
		{Rider, weighed(m{"weighed.0.after_kg": "71"}), "weighed.0.after_kg", "That is 0.50 kg more than the mass before and the drink explain."},
		{Rider, weighed(m{"weighed.0.after_kg": "60"}), "weighed.0.after_kg", "That would be a loss of 10.5 litres an hour; at most 5 are possible."},
		{Rider, m{"name": "Jo"}, "mass_kg", "This has to be known: a number from 20 to 250 kg."},
		{Rider, m{"mass_kg": "70", "screening.pregnant": "no"}, "screening.date", "This has to be known: a date like 2 December 2026."},
		{Rider, m{"mass_kg": "70", "weighed.0.before_kg": "70", "weighed.0.after_kg": "69", "weighed.0.drunk_l": "1"}, "weighed.0.duration_s", "This has to be known: a time from 10 min to 10:00:00."},
		{Event, m{"categories.0.min_w_per_kg": "2"}, "categories.0.name", "This has to be known."},
		{Rig, m{"sensors": "none"}, "trainer.kind", "This has to be known: controllable, plain, rollers, bike."},
		{Rig, m{"trainer.kind": "bike", "trainer.power_curve": "20 90\n40 320"}, "trainer.power_curve", "Only a plain trainer or rollers have a table of watts; leave it empty."},
		{Rig, m{"trainer.kind": "plain", "trainer.floor": "20 90"}, "trainer.floor", "Only a trainer that gets harder by itself has this limit; leave it empty."},
		{Rig, m{"trainer.kind": "controllable", "trainer.floor": "30 200", "trainer.ceiling": "30 150"}, "trainer.ceiling", "At 30.0 km/h the most watts are below the least."},
		{Rig, m{"trainer.kind": "plain", "trainer.power_curve_accuracy_percent": "5"}, "trainer.power_curve_accuracy_percent", "There is no table of watts that could be doubted; leave this empty."},
		{Rig, m{"trainer.kind": "plain", "trainer.power_curve": "20 90; 30 80"}, "trainer.power_curve.1", "Wheel speed and watts must both rise from row to row."},
		{Rig, m{"trainer.kind": "controllable", "trainer.floor": "20 90; 20 95"}, "trainer.floor.1", "Wheel speed must rise from row to row."},
		{Rig, m{"trainer.kind": "plain", "trainer.power_curve": "20 90"}, "trainer.power_curve", "At least two rows are needed."},
		{Rig, m{"trainer.kind": "plain", "trainer.power_curve": "20 90\n30"}, "trainer.power_curve", "Row 2 is not a wheel speed and its watts, such as 30 200."},
		{Rig, with(m{"trainer.kind": "bike"}, manyFans(9)), "room.fans", "At most 8 entries fit here."},
		{Rig, m{"trainer.kind": "bike", "power_source.kind": "curve"}, "power_source.kind", "Only the watts of a plain trainer or rollers can be read off a table."},
		{Rig, m{"trainer.kind": "bike", "power_source.kind": "none", "power_source.accuracy_percent": "2"}, "power_source.accuracy_percent", "Where nothing shows watts there is no accuracy; leave it empty."},
		{Rig, m{"trainer.kind": "bike", "cadence_rpm.low": "90"}, "cadence_rpm", "Slowest, preferred and fastest cadence must rise; they are 90, 85 and 100 rpm."},
		{Rig, m{"trainer.kind": "bike", "room.outside_temperature_c": "4"}, "room.outside_temperature_c", "The humidity outside is needed with it."},
		{Rig, m{"trainer.kind": "bike", "room.outside_humidity_percent": "40"}, "room.outside_humidity_percent", "The temperature outside is needed with it."},
		{Rig, m{"trainer.kind": "bike", "room.fans.0": "something"}, "room.fans.0", "The word “something” is not known here; write it like “one pedestal fan, a metre away, high”, or “no fan”."},
		{Rig, m{"trainer.kind": "bike", "room.fans.0": "high"}, "room.fans.0", "No kind of fan in it; write it like “one pedestal fan, a metre away, high”, or “no fan”."},
		{Event, m{"time_zone": "Dublin?"}, "time_zone", "“Dublin?” is no time zone; write one like Europe/Dublin."},
		{Event, m{"time_zone": "Nowhere"}, "time_zone", "“Nowhere” is no time zone; write one like Europe/Dublin."},
		{Event, m{"time_zone": "Europe/Dublin", "start": "29 March 2026 1:30"}, "start", "That time does not exist: the clocks in Europe/Dublin go forward then."},
		{Event, m{"categories.0.name": "a", "categories.0.min_w_per_kg": "3", "categories.0.max_w_per_kg": "2"}, "categories.0.max_w_per_kg", "The most must be above the least, 3 W/kg."},
		{Road, m{"air_density_kg_m3": "1.2", "altitude_m": "100"}, "altitude_m", "The density of the air already says this; give the one or the other."},
		{Road, m{"crr_sd": "0.001"}, "crr_sd", "There is no value that could be doubted; leave this empty."},
		{Course, m{"ascent_m": "310"}, "distance_km", "The length of the whole course, or of a lap, has to be known."},
		{Course, m{"distance_km": "20"}, "ascent_m", "The ascent of the whole course, or of a lap, has to be known."},
		{Course, with(sketch, m{"main_climb.gradient_percent": "5"}), "main_climb.length_km", "This has to be known: a number from 0.05 to 200 km."},
		{Course, with(sketch, m{"main_climb.length_km": "2", "main_climb.gradient_percent": "5", "main_climb.ascent_m": "100"}), "main_climb.gradient_percent", "The climb's ascent already says how steep it is; give the one or the other."},
		{Course, with(sketch, m{"main_climb.length_km": "0.5", "main_climb.ascent_m": "250"}), "main_climb.ascent_m", "That is a climb of 50 %; at most 40 % is possible."},
		{Course, with(sketch, m{"laps": "3", "lap_length_km": "5"}), "", "This does not work out: 3 laps of 5.0 km and a lead-in of 0.0 km are 15.0 km, but the distance is 20.0 km; expected them to agree within 5 %."},
		{"zoo", m{"a": "b"}, "", "There is no such kind of file."},
	} {
		text, errs := YAML(c.kind, c.typed, Metric)
		if text != "" || len(errs) != 1 || errs[c.path] != c.want {
			t.Errorf("%v: %q %v\nwant %s: %s", c.typed, text, errs, c.path, c.want)
		}
	}
}

func manyFans(n int) m {
	out := m{}
	for i := range n {
		out["room.fans."+itoa(i)] = "one desk fan"
	}
	return out
}

// A page that shows a part changes only that part, to the letter.
func TestChange(t *testing.T) {
	const text = "name: Jo\nmass_kg: 61.37\nheight_cm: 171\nevidence:\n  - {kind: talk, watts: 110}\n  - {kind: talk, watts: 120, use: no}\n"
	for _, c := range []struct {
		typed m
		want  string
	}{
		{m{"height_cm": "5 ft 8"}, "name: Jo\nmass_kg: 61.37\nheight_cm: 172.72\nevidence:\n  - {kind: talk, watts: 110}\n  - {kind: talk, watts: 120, use: no}\n"},
		{m{"mass_kg": "135.3", "name": ""}, "mass_kg: 61.37\nheight_cm: 171\nevidence:\n  - {kind: talk, watts: 110}\n  - {kind: talk, watts: 120, use: no}\n"},
		{m{"evidence.0.kind": "", "evidence.0.watts": " "}, "name: Jo\nmass_kg: 61.37\nheight_cm: 171\nevidence:\n  - {kind: talk, watts: 120, use: no}\n"},
		{m{"evidence.2.kind": "talk", "evidence.2.watts": "130"}, "name: Jo\nmass_kg: 61.37\nheight_cm: 171\nevidence:\n  - {kind: talk, watts: 110}\n  - {kind: talk, watts: 120, use: no}\n  - {kind: talk, watts: 130}\n"},
	} {
		got, errs := Change(Rider, text, c.typed, Imperial)
		if got != c.want || len(errs) > 0 {
			t.Errorf("%v: %v\n%s\nwant\n%s", c.typed, errs, got, c.want)
		}
	}
	if got, errs := Change(Rig, "trainer: {kind: bike}\nroom: {fans: []}\n", m{"room.fans.0.kind": "desk"}, Metric); len(errs) > 0 || got != "trainer:\n  kind: bike\nroom:\n  fans:\n    - {kind: desk}\n" {
		t.Errorf("a first fan: %v\n%s", errs, got)
	}
	if got, errs := Change(Rider, "{", nil, Metric); got != "" || errs[""] == "" {
		t.Errorf("what is no file: %q %v", got, errs)
	}
}

func TestEntries(t *testing.T) {
	values := m{"a": "1", "evidence.0.x": "0", "evidence.1.x": "1", "evidence.10.x": "10", "evidence.2": "2"}
	if got := Entries(values, "evidence"); !slices.Equal(got, []string{"evidence.0", "evidence.1", "evidence.2", "evidence.10"}) {
		t.Errorf("entries %v", got)
	}
	if got := Next(values, "evidence"); got != "evidence.11" || Next(values, "weighed") != "weighed.0" {
		t.Errorf("next %s", got)
	}
	if got := Without(values, "evidence.1"); !maps.Equal(got, m{"a": "1", "evidence.0.x": "0", "evidence.9.x": "10", "evidence.1": "2"}) {
		t.Errorf("without %v", got)
	}
	if got := Without(m{"room.fans": "1", "room.x": "2", "roomy": "3"}, "room"); !maps.Equal(got, m{"roomy": "3"}) {
		t.Errorf("without a group %v", got)
	}
}

// Every way to answer makes a rig that is read, and its answers lead to it
// again.
func TestRigFromEveryAnswer(t *testing.T) {
	options := func(i int) []string { return append([]string{"I don't know"}, Answers[i].Words...) }
	count := 0
	for _, a := range options(0) {
		for _, b := range options(1) {
			for _, c := range options(2) {
				for _, d := range options(3) {
					answers := m{Answers[0].Question: a, Answers[1].Question: b, Answers[2].Question: c, Answers[3].Question: d}
					values, why := RigFromAnswers(answers)
					text, errs := YAML(Rig, values, Metric)
					if len(errs) > 0 || text == "" || !strings.HasSuffix(why, ".") {
						t.Errorf("%v: %v, %v %q", answers, values, errs, why)
					}
					if again, _ := RigFromAnswers(AnswersFromRig(values)); !maps.Equal(again, values) {
						t.Errorf("%v: %v, then %v by %v", answers, values, again, AnswersFromRig(values))
					}
					count++
				}
			}
		}
	}
	if count != 5*3*3*7 {
		t.Errorf("%d ways", count)
	}
	for _, c := range []struct {
		answers m
		trainer string
		source  string
	}{
		{m{}, "plain", ""},
		{m{AskPlug: "no", AskHarder: "no", AskWheel: "on", AskWatts: "nothing"}, "plain", "none"},
		{m{AskPlug: "yes", AskHarder: "yes", AskWheel: "off", AskWatts: "trainer"}, "controllable", "trainer"},
		{m{AskPlug: "yes", AskWatts: "trainer"}, "controllable", "trainer"},
		{m{AskPlug: "yes"}, "plain", ""},
		{m{AskWheel: "rollers", AskWatts: "crank"}, "rollers", "crank"},
		{m{AskWheel: "rollers", AskHarder: "yes"}, "controllable", ""},
		{m{AskWheel: "no_bike", AskWatts: "table"}, "bike", ""},
		{m{AskWheel: "on", AskHarder: "no", AskWatts: "table"}, "plain", "curve"},
	} {
		if values, _ := RigFromAnswers(c.answers); values["trainer.kind"] != c.trainer || values["power_source.kind"] != c.source {
			t.Errorf("%v: %v, want %s and %q", c.answers, values, c.trainer, c.source)
		}
	}
}

func TestShown(t *testing.T) {
	for _, c := range [][2]string{
		{Metric.Mass(70), "70 kg"}, {Imperial.Mass(68.038856), "150 lb"}, {Metric.Height(1.684), "168 cm"}, {Imperial.Height(1.7018), "5 ft 7 in"}, {Imperial.Height(1.8287), "6 ft 0 in"},
		{Metric.Distance(21400), "21.4 km"}, {Metric.Distance(850), "850 m"}, {Metric.Distance(999.7), "1 km"}, {Imperial.Distance(21400), "13.3 mi"}, {Metric.Elevation(310), "310 m"}, {Imperial.Elevation(310), "1017 ft"},
		{Metric.Temperature(21.1), "21 °C"}, {Imperial.Temperature(21.1), "70 °F"}, {Metric.Temperature(-0.2), "0 °C"}, {Metric.Speed(9), "32.4 km/h"}, {Imperial.Speed(9), "20.1 mph"},
	} {
		if c[0] != c[1] {
			t.Errorf("%q, want %q", c[0], c[1])
		}
	}
	for _, c := range []struct {
		kind, path string
		units      Units
		want       Field
	}{
		{Rider, "mass_kg", Imperial, Field{Form: "number", Unit: "lb", Needed: true, Low: "45", High: "551"}},
		{Rider, "evidence.3.duration_s", Metric, Field{Form: "duration", Low: "1 s", High: "10:00:00"}},
		{Rider, "sex", Metric, Field{Form: "word", Words: []string{"female", "male"}}},
		{Course, "summit_finish", Metric, Field{Form: "yesNo", Words: []string{"yes", "no"}}},
		{Rig, "sensors", Metric, Field{Form: "list", Words: []string{"speed", "cadence", "heart_rate"}}},
		{Road, "descent_cap_m_s", Metric, Field{Form: "number", Unit: "km/h", Low: "11", High: "180"}},
	} {
		got, ok := About(c.kind, c.path, c.units)
		if !ok || got.Form != c.want.Form || got.Unit != c.want.Unit || got.Needed != c.want.Needed || got.Low != c.want.Low || got.High != c.want.High || !slices.Equal(got.Words, c.want.Words) {
			t.Errorf("%s: %+v, want %+v", c.path, got, c.want)
		}
	}
	if _, ok := About(Rider, "evidence.x.watts", Metric); ok {
		t.Error("an entry without a number")
	}
}

// Whatever two values are typed: no panic, and either a file that can be shown
// and made again, or clean sentences.
func FuzzForm(f *testing.F) {
	f.Add(uint8(0), "mass_kg", "70", "evidence.3.watts", "200")
	f.Add(uint8(1), "trainer.kind", "plain", "trainer.power_curve", "20 90\n40 300")
	f.Add(uint8(1), "trainer.kind", "bike", "room.fans.0", "one desk fan, high")
	f.Add(uint8(2), "name", "a: b", "crr", "0.4 %")
	f.Add(uint8(3), "distance_km", "13 mi", "ascent_m", "1,017 ft")
	f.Add(uint8(4), "start", "3 Dec 2026 at 7 pm", "categories.9.name", "brisk")
	f.Add(uint8(1), "trainer", "x", "trainer.kind", "plain")
	f.Add(uint8(0), "mass_kg.0", "70", "mass_kg", "70")
	f.Add(uint8(0), "evidence..watts", "70", ".", "\x00")
	f.Fuzz(func(t *testing.T, k uint8, path, value, path2, value2 string) {
		if len(path)+len(value)+len(path2)+len(value2) > 500 {
			return
		}
		kind := []string{Rider, Rig, Road, Course, Event}[k%5]
		for _, units := range []Units{Metric, Imperial} {
			text, errs := YAML(kind, m{path: value, path2: value2}, units)
			for at, s := range errs {
				if s == "" || !utf8.ValidString(s) || strings.ContainsAny(s, "\n\r\x1b") {
					t.Fatalf("%q: %q", at, s)
				}
			}
			if len(errs) > 0 {
				if text != "" {
					t.Fatalf("a text beside errors: %q %v", text, errs)
				}
				continue
			}
			values, err := ValuesIn(kind, text, units)
			if err != nil {
				t.Fatalf("%q: %v", text, err)
			}
			if again, errs := Change(kind, text, values, units); again != text || len(errs) > 0 {
				t.Fatalf("%q became %q: %v", text, again, errs)
			}
		}
	})
}
