package form

import (
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func kindOf(path string) string {
	for _, k := range []struct{ end, kind string }{{"rig", Rig}, {"road", Road}, {"race", Event}, {"trial", Event}} {
		if strings.HasSuffix(path, k.end+".yaml") {
			return k.kind
		}
	}
	return Rider
}

// samples are files of every kind, those of the demo and one of a sketch.
func samples(t testing.TB) map[string]string {
	out := map[string]string{"sketch": "name: Round the lake\ndistance_km: 21.4\nascent_m: 310\nmain_climb:\n  length_km: 3.2\n  gradient_percent: 5.5\n  start_km: 12\nsummit_finish: false\n",
		"whole-rig": "trainer: {kind: plain, power_curve: [{wheel_speed_km_h: 20, watts: 90}, {wheel_speed_km_h: 40, watts: 320}], power_curve_accuracy_percent: 8}\nsensors: []\n" +
			"room: {volume_m3: 30, outside_temperature_c: -4, outside_humidity_percent: 80, airflow_m_s: 1.5, fans: [\"one desk fan, high\", {kind: floor, distance_m: 1.5, count: 2}]}\ncadence_rpm: {low: 60}\n",
		"full-road": "name: \"unknown: 1\"\nair_density_kg_m3: 1.19\ndescent_cap_m_s: 20\nbearings: false\nstart_speed_m_s: 5\ncrr: 0.0045\ncrr_sd: 0.001\n",
		"answers":   "mass_kg: 80.25\nscreening: {date: 2026-11-02, chest_pain: no, medicine_lowers_heart_rate: yes}\nevidence:\n  - {kind: talk, watts: 110, use: no}\n"}
	paths, _ := filepath.Glob("../../demo/*.yaml")
	if len(paths) < 9 {
		t.Fatalf("only %d demo files", len(paths))
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		out[path] = string(data)
	}
	return out
}

func sampleKind(name string) string {
	switch name {
	case "sketch":
		return Course
	case "whole-rig":
		return Rig
	case "full-road":
		return Road
	}
	return kindOf(name)
}

// What a form shows makes the same file again, whatever the units: exactly in
// metric, and in imperial after the first time.
func TestFormsRoundTrip(t *testing.T) {
	for name, text := range samples(t) {
		kind := sampleKind(name)
		for _, units := range []Units{Metric, Imperial} {
			values, err := ValuesIn(kind, text, units)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			once, errs := YAML(kind, values, units)
			if len(errs) > 0 {
				t.Errorf("%s, units %d: %v of %v", name, units, errs, values)
				continue
			}
			again, err := ValuesIn(kind, once, units)
			if err != nil || !maps.Equal(values, again) {
				t.Errorf("%s, units %d: %v\n%v\n%v", name, units, err, values, again)
			}
			if twice, errs := YAML(kind, again, units); twice != once || len(errs) > 0 {
				t.Errorf("%s, units %d: %v\n%s\n%s", name, units, errs, once, twice)
			}
			if kept, errs := Change(kind, once, values, units); kept != once || len(errs) > 0 {
				t.Errorf("%s, units %d: shown and sent back it changed: %v\n%s\n%s", name, units, errs, once, kept)
			}
		}
		// In metric nothing is lost on the way.
		values, _ := Values(kind, text)
		once, _ := YAML(kind, values, Metric)
		kept, errs := Change(kind, text, nil, Imperial)
		if once != kept || len(errs) > 0 {
			t.Errorf("%s: %v\n%s\n%s", name, errs, once, kept)
		}
	}
}

// The newcomer: a mass, a level, and nothing else known.
func TestNewcomerNeedsThreeFields(t *testing.T) {
	for _, name := range []string{"", "Aoife"} {
		typed := map[string]string{}
		for path := range map[string]bool{"height_cm": true, "birth_year": true, "sex": true, "max_heart_rate_bpm": true, "resting_heart_rate_bpm": true, "heart_rate": true,
			"acclimatised": true, "evidence.0.kind": true, "evidence.0.watts": true, "screening.date": true, "screening.pregnant": true} {
			typed[path] = "I don’t know"
		}
		typed["name"], typed["mass_kg"], typed["level"] = name, "11 st 2", "new"
		text, errs := YAML(Rider, typed, Metric)
		want := "mass_kg: 70.76041\nlevel: new\n"
		if name != "" {
			want = "name: Aoife\n" + want
		}
		if len(errs) > 0 || text != want {
			t.Errorf("%v\n%s", errs, text)
		}
	}
	answers := map[string]string{AskPlug: "I don't know", AskHarder: "?", AskWheel: "", AskWatts: "not sure"}
	values, why := RigFromAnswers(answers)
	for _, path := range []string{"trainer.power_curve.0.watts", "trainer.gears.cogs", "power_source.accuracy_percent", "sensors", "room.temperature_c", "room.fans", "room.fans.0"} {
		values[path] = "I don't know"
	}
	text, errs := YAML(Rig, values, Metric)
	if len(errs) > 0 || text != "trainer:\n  kind: plain\n" || why == "" {
		t.Errorf("%v %q\n%s", errs, why, text)
	}
}

// All that is wrong is said at once, each beside its field, whatever gaps the
// entries have.
func TestErrorsAllAtOnce(t *testing.T) {
	typed := map[string]string{"mass_kg": "heavy", "height_cm": "17", "level": "pro", "max_heart_rate_bpm": "150", "resting_heart_rate_bpm": "160 bpm",
		"evidence.0.kind": "", "evidence.2.kind": "test", "evidence.2.watts": "5", "evidence.2.duration_s": "5 min",
		"evidence.5.kind": "hill", "evidence.5.duration_s": "10 min", "evidence.5.length_m": "2 km", "evidence.5.ascent_m": "1200 m",
		"evidence.6.watts": "200", "evidence.7.kind": "threshold", "evidence.7.watts": "230", "evidence.7.harder": "no",
		"evidence.8.kind": "best", "evidence.8.watts": "230", "evidence.9.kind": "talk", "evidence.9.watts": "120", "zoo": "x"}
	before := maps.Clone(typed)
	text, errs := YAML(Rider, typed, Metric)
	want := map[string]string{
		"mass_kg":                "“heavy” is not a number; write one from 20 to 250 kg.",
		"height_cm":              "17 cm is less than the least possible here, 100 cm.",
		"level":                  "Choose one of these: new, regular, club, racer.",
		"resting_heart_rate_bpm": "160 bpm is more than the most possible here, 120 bpm.",
		"evidence.2.watts":       "5 W is less than the least possible here, 10 W.",
		"evidence.5.ascent_m":    "1200 m up in 2000 m of road is 60 %, more than the 35 % of the steepest streets; the ascent is what the road rises.",
		"evidence.6.kind":        "This has to be known: test, best, ride, threshold, hill, heart rate, talk.",
		"evidence.7.harder":      "This does not belong to evidence of the kind “threshold”; leave it empty.",
		"evidence.8.duration_s":  "This has to be known: over how long it was ridden.",
		"zoo":                    "There is no such value here.",
	}
	if text != "" || !maps.Equal(errs, want) {
		for path := range maps.Keys(errs) {
			if errs[path] != want[path] {
				t.Errorf("%s: %q, want %q", path, errs[path], want[path])
			}
		}
		for path := range want {
			if errs[path] == "" {
				t.Errorf("%s: nothing is said", path)
			}
		}
	}
	if !maps.Equal(before, typed) {
		t.Error("what was typed was changed")
	}
}
