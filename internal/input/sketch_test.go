package input

import (
	"reflect"
	"strings"
	"testing"

	"chainline/course"
)

func TestReadSketch(t *testing.T) {
	got, err := ReadSketch("s", strings.NewReader("name: Round the lake\ndistance_km: 41.2\nascent_m: 520\nlaps: 4\nlap_length_km: 10\nlap_ascent_m: 130\nlead_in_m: 1200\n"+
		"main_climb: {length_km: 2.5, gradient_percent: 4, start_km: 4}\nsummit_finish: false\n"))
	want := SketchFile{Name: "Round the lake", Sketch: course.Sketch{Distance: 41200, Ascent: 520, Laps: 4, LapLength: 10000, LapAscent: 130, LeadIn: 1200,
		Climb: &course.SketchClimb{Length: 2500, Ascent: 100, Start: 4000}}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
	got, err = ReadSketch("s", strings.NewReader("distance_km: 12\nascent_m: 620\nsummit_finish: true\nmain_climb: {length_km: 8, ascent_m: 560}\n"))
	want = SketchFile{Sketch: course.Sketch{Distance: 12000, Ascent: 620, SummitFinish: true, Climb: &course.SketchClimb{Length: 8000, Ascent: 560, Start: course.UnknownStart}}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
	got, err = ReadSketch("s", strings.NewReader("lap_length_km: 5\nlap_ascent_m: 0\nlaps: 3\n"))
	if d, a := got.Sketch.Totals(); err != nil || d != 15000 || a != 0 {
		t.Errorf("by laps: %g m, %g m, %v", d, a, err)
	}
}

var brokenSketches = []brokenInput{
	{"course", "distance_km: 21400\nascent_m: 310\n",
		"f:1:14: distance_km: 21400 is out of range; expected a number in km from 0.2 to 2000, or unknown", "Is it in metres? 1000 m is 1 km."},
	{"course", "ascent_m: 310\n",
		"f:1:1: distance_km: missing; expected the length of the whole course in km, or lap_length_km", ""},
	{"course", "distance_km: 21.4\n",
		"f:1:1: ascent_m: missing; expected the ascent of the whole course in m, or lap_ascent_m", "A flat course has 0."},
	{"course", "distance_km: 21.4\nascent_m: 310\nlength_km: 3\n",
		"f:3:1: length_km: not a key here; expected it under main_climb:", ""},
	{"course", "distance_km: 21.4\nascent_m: 310\nmain_climb: {gradient_percent: 5}\n",
		"f:3:13: main_climb.length_km: missing; expected a number in km from 0.05 to 200", ""},
	{"course", "distance_km: 21.4\nascent_m: 310\nmain_climb: {length_km: 3, gradient_percent: 5, ascent_m: 150}\n",
		"f:3:46: main_climb.gradient_percent: ascent_m already says how steep it is; expected either the one or the other", ""},
	{"course", "distance_km: 21.4\nascent_m: 2310\nmain_climb: {length_km: 3, ascent_m: 1500}\n",
		"f:3:38: main_climb.ascent_m: a climb of 50 %; expected a mean gradient of at most 40 %", ""},
	{"course", "distance_km: 0.3\nascent_m: 0\n",
		"f:1:1: the sketch does not work out: a lap of 300 m; expected at least 500 m", ""},
	{"course", "distance_km: 20\nascent_m: 310\nlaps: 3\nlap_length_km: 5\n",
		"f:1:1: the sketch does not work out: 3 laps of 5.0 km and a lead-in of 0.0 km are 15.0 km, but the distance is 20.0 km; expected them to agree within 5 %", ""},
	{"course", "distance_km: 20\nascent_m: 310\nsummit_finish: yes\n",
		"f:3:16: summit_finish: found \"yes\"; expected true or false, or unknown", ""},
}
