package input

import (
	"fmt"
	"io"

	"chainline/rig"
)

// ClimbFile is a steep climb ridden outdoors with a power source that a rig
// check is to judge, in SI units.
type ClimbFile struct {
	Source              string         // as the check's report calls it, or what it is: trainer, meter, crank, pedal, hub
	Place               rig.SourceKind // where it measures; SourceNone: not said
	Mass                float64        // kg, rider, bicycle and all that was carried
	MassSD              float64        // kg
	Ascent              float64        // m
	AscentSD            Optional[float64]
	Length, Duration    float64 // m, s
	Watts               float64 // mean, as shown
	Temperature, Height float64 // °C; m above the sea, half way up
	Wind                string  // one of WindWords
}

// WindWords are what is remembered of the wind on a climb.
var WindWords = []string{"calm", "breezy", "unknown"}

var climbedFields = []field{
	{key: "source", form: text, needed: true},
	{key: "measures", form: word, words: []string{"crank", "pedal", "hub"}},
	{key: "mass_kg", unit: "kg", low: 30, high: 300, needed: true, hint: "Rider, bicycle and all that was carried. Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "mass_doubt_kg", unit: "kg", low: 0, high: 20},
	{key: "ascent_m", unit: "m", low: 1, high: 5000, needed: true},
	{key: "ascent_doubt_m", unit: "m", low: 0, high: 500},
	{key: "length_km", unit: "km", low: 0.05, high: 200, needed: true, hint: "Is it in metres? 1000 m is 1 km."},
	{key: "time_s", unit: "s", low: 1, high: 86400, needed: true, hint: "Is it in minutes? One minute is 60 s."},
	{key: "watts", unit: "W", low: 10, high: 3000, needed: true},
	{key: "temperature_c", unit: "degrees C", low: -30, high: 50, needed: true, hint: "Is it in degrees Fahrenheit? 70 F is 21 C."},
	{key: "height_m", unit: "m", low: -500, high: 6000, needed: true},
	{key: "wind", form: word, words: WindWords[:2]},
}

// massDoubt is what scales at home and a bag that was not weighed leave open;
// our judgement.
const massDoubt = 1.0 // kg

// ReadClimb reads a climb ridden outdoors; name is what its errors call it.
func ReadClimb(name string, r io.Reader) (ClimbFile, error) {
	f := &file{name: name}
	top := f.document(r)
	if f.err != nil {
		return ClimbFile{}, f.err
	}
	o := f.open(top, "", climbedFields, "", nil)
	out := ClimbFile{
		Source:      o.text("source"),
		Place:       sourceKinds[o.word("measures")],
		Mass:        o.number("mass_kg").Value,
		MassSD:      o.number("mass_doubt_kg").Or(massDoubt),
		Ascent:      o.number("ascent_m").Value,
		AscentSD:    o.number("ascent_doubt_m"),
		Length:      o.scaled("length_km", 1000).Value,
		Duration:    o.number("time_s").Value,
		Watts:       o.number("watts").Value,
		Temperature: o.number("temperature_c").Value,
		Height:      o.number("height_m").Value,
		Wind:        o.word("wind"),
	}
	if out.Wind == "" {
		out.Wind = WindWords[2]
	}
	switch {
	case f.err != nil:
	case out.Ascent > steepest*out.Length:
		o.refuse("ascent_m", fmt.Sprintf("a climb of %.0f %%", 100*out.Ascent/out.Length), fmt.Sprintf("a mean gradient of at most %.0f %%", 100*steepest), "")
	case out.Length/out.Duration > 30:
		o.refuse("time_s", fmt.Sprintf("%.0f km/h uphill", 3.6*out.Length/out.Duration), "the seconds from foot to top", "Is it in minutes? One minute is 60 s.")
	}
	if f.err != nil {
		return ClimbFile{}, f.err
	}
	return out, nil
}
