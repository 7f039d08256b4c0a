package input

import (
	"fmt"
	"io"

	"chainline/course"
)

// SketchFile is a course of which only the line of a route list is known.
type SketchFile struct {
	Name   string
	Sketch course.Sketch // checked: it can be drawn
}

var sketchFields = []field{
	{key: "name", form: text},
	{key: "distance_km", unit: "km", low: 0.2, high: 2000, hint: "Is it in metres? 1000 m is 1 km."},
	{key: "ascent_m", unit: "m", low: 0, high: 100000},
	{key: "laps", form: whole, low: 1, high: 500},
	{key: "lap_length_km", unit: "km", low: 0.2, high: 2000, hint: "Is it in metres? 1000 m is 1 km."},
	{key: "lap_ascent_m", unit: "m", low: 0, high: 100000},
	{key: "lead_in_m", unit: "m", low: 0, high: 100000},
	{key: "main_climb", form: group, keys: climbFields},
	{key: "summit_finish", form: yesNo},
}

var climbFields = []field{
	{key: "length_km", unit: "km", low: 0.05, high: 200, needed: true, hint: "Is it in metres? 1000 m is 1 km."},
	{key: "gradient_percent", unit: "%", low: 0.1, high: 40},
	{key: "ascent_m", unit: "m", low: 1, high: 10000},
	{key: "start_km", unit: "km", low: 0, high: 2000},
}

// ReadSketch reads a sketch of a course; name is what its errors call it.
func ReadSketch(name string, r io.Reader) (SketchFile, error) {
	f := &file{name: name}
	top := f.document(r)
	if f.err != nil {
		return SketchFile{}, f.err
	}
	o := f.open(top, "", sketchFields, "main_climb", climbFields[:2])
	out := SketchFile{Name: o.text("name"), Sketch: course.Sketch{
		Distance:     o.scaled("distance_km", 1000).Value,
		Ascent:       o.number("ascent_m").Value,
		Laps:         o.whole("laps").Value,
		LapLength:    o.scaled("lap_length_km", 1000).Value,
		LapAscent:    o.number("lap_ascent_m").Value,
		LeadIn:       o.number("lead_in_m").Value,
		SummitFinish: o.yesNo("summit_finish").Value,
	}}
	if f.err == nil && !o.has("distance_km") && !o.has("lap_length_km") {
		f.fail(top, "distance_km", "missing", "the length of the whole course in km, or lap_length_km", "")
	}
	if f.err == nil && !o.has("ascent_m") && !o.has("lap_ascent_m") {
		f.fail(top, "ascent_m", "missing", "the ascent of the whole course in m, or lap_ascent_m", "A flat course has 0.")
	}
	if c, ok := o.child("main_climb", climbFields); ok {
		out.Sketch.Climb = readMainClimb(c)
	}
	if f.err != nil {
		return SketchFile{}, f.err
	}
	if err := out.Sketch.Check(); err != nil {
		wrong, expected := splitExpected(err.Error(), "numbers that agree with each other")
		f.fail(top, "", "the sketch does not work out: "+wrong, expected, "")
		return SketchFile{}, f.err
	}
	return out, nil
}

func readMainClimb(o object) *course.SketchClimb {
	gradient, ascent := o.scaled("gradient_percent", 0.01), o.number("ascent_m")
	climb := &course.SketchClimb{Length: o.scaled("length_km", 1000).Value, Ascent: ascent.Value, Start: course.UnknownStart}
	if gradient.Known && ascent.Known {
		o.refuse("gradient_percent", "ascent_m already says how steep it is", "either the one or the other", "")
	}
	if gradient.Known {
		climb.Ascent = gradient.Value * climb.Length
	}
	if start := o.scaled("start_km", 1000); start.Known {
		climb.Start = start.Value
	}
	if steep := climb.Ascent / climb.Length; o.f.err == nil && steep > steepest {
		o.refuse("ascent_m", fmt.Sprintf("a climb of %.0f %%", 100*steep), fmt.Sprintf("a mean gradient of at most %.0f %%", 100*steepest), "")
	}
	return climb
}
