package input

import "fmt"

// WeighingFile is a rider weighed before and after a ride, in SI units but
// for litres.
type WeighingFile struct {
	Before, After float64           // kg, with nothing or the same dry clothes on
	Drunk         float64           // l between the two
	Urine         Optional[float64] // l between the two
	Duration      float64           // s of riding
	Watts         Optional[float64] // mean displayed watts
	Temperature   Optional[float64] // °C of the room
	Humidity      Optional[float64] // relative, fraction
	Date          string            // ISO 8601
	Line          int               // where it stands in the file
}

var weighedFields = []field{
	{key: "before_kg", unit: "kg", low: 20, high: 250, needed: true, hint: "Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "after_kg", unit: "kg", low: 20, high: 250, needed: true, hint: "Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "drunk_l", unit: "l", low: 0, high: 20, needed: true, hint: "Is it in millilitres? 500 ml is 0.5 l."},
	{key: "urine_l", unit: "l", low: 0, high: 5, hint: "Is it in millilitres? 300 ml is 0.3 l."},
	{key: "duration_s", unit: "s", low: 600, high: 36000, needed: true, hint: "Is it in minutes? One minute is 60 s. Under ten minutes scales tell nothing."},
	{key: "watts", unit: "W", low: 10, high: 3000},
	{key: "temperature_c", unit: "degrees C", low: -10, high: 50, hint: "Is it in degrees Fahrenheit? 70 F is 21 C."},
	{key: "humidity_percent", unit: "%", low: 0, high: 100},
	{key: "date", form: date},
}

const maxWeighed = 100

// What can be true of a weighing; our judgement. Rates above 4 l/h have hardly
// been reported of anybody.
const (
	mostSweat           = 5.0      // l/h
	leastMass, mostMass = 0.7, 1.4 // of mass_kg
)

func readWeighing(o object, mass float64) WeighingFile {
	w := WeighingFile{
		Before:      o.number("before_kg").Value,
		After:       o.number("after_kg").Value,
		Drunk:       o.number("drunk_l").Value,
		Urine:       o.number("urine_l"),
		Duration:    o.number("duration_s").Value,
		Watts:       o.number("watts"),
		Temperature: o.number("temperature_c"),
		Humidity:    o.scaled("humidity_percent", 0.01),
		Date:        o.date("date"),
		Line:        o.at.Line,
	}
	if o.f.err != nil {
		return w
	}
	lost := w.Before - w.After + w.Drunk - w.Urine.Or(0) // l, as a litre of sweat is a kilogram
	switch perHour := lost / w.Duration * 3600; {
	case w.Before < leastMass*mass || w.Before > mostMass*mass:
		o.refuse("before_kg", fmt.Sprintf("%g kg is far from mass_kg, %g", w.Before, mass), "the same body in kg", "Is it in pounds? 1 lb is 0.4536 kg.")
	case lost < 0:
		o.refuse("after_kg", fmt.Sprintf("%.2f kg more than before and drink explain", -lost), "at most before_kg + drunk_l - urine_l", "")
	case perHour > mostSweat:
		o.refuse("after_kg", fmt.Sprintf("a loss of %.1f l/h", perHour), fmt.Sprintf("a loss of at most %g l/h", mostSweat), "Sweat is before_kg - after_kg + drunk_l - urine_l over the time ridden.")
	}
	return w
}
