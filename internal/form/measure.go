package form

import (
	"math"
	"strconv"
	"strings"

	"chainline/internal/input"
)

// unit is a way to say a quantity: factor times what is said, plus offset, is
// what the file says.
type unit struct {
	shown          string // as it is written
	names          []string
	factor, offset float64
}

// measure is a kind of quantity: its units, the file's first, and for metric
// and imperial the unit of a bare number.
type measure struct {
	units    []unit
	bare     [2]int // index of the unit
	decimals int    // of a value shown in another unit than the file's
	doubtful map[string]string
}

// Factors are exact by definition of the international yard and pound (1959);
// a stone is 14 pounds, a foot 12 inches, a mile 5280 feet.
const (
	pound = 0.45359237
	inch  = 0.0254
	foot  = 12 * inch
	mile  = 5280 * foot
)

func in(factor float64, shown string, names ...string) unit {
	return unit{shown: shown, names: append([]string{strings.ToLower(shown)}, names...), factor: factor}
}

var (
	kilogram = in(1, "kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes")
	pounds   = in(pound, "lb", "lbs", "pound", "pounds")
	stone    = in(14*pound, "st", "stone", "stones")
	metre    = []string{"metre", "metres", "meter", "meters"}
	feet     = []string{"foot", "feet", "'"}
	inches   = []string{"inch", "inches", "\""}
	miles    = []string{"mile", "miles"}
	km       = []string{"kilometre", "kilometres", "kilometer", "kilometers", "k"}

	plain       = measure{units: []unit{{factor: 1}}}
	mass        = measure{units: []unit{kilogram, pounds, stone, in(0.001, "g", "gram", "grams")}, bare: [2]int{0, 1}, decimals: 1}
	height      = measure{units: []unit{in(1, "cm", "centimetre", "centimetres", "centimeter", "centimeters"), in(100, "m", metre...), in(100*inch, "in", inches...), in(100*foot, "ft", feet...)}, bare: [2]int{0, 2}, decimals: 1}
	road        = measure{units: []unit{in(1, "m", metre...), in(1000, "km", km...), in(mile, "mi", miles...), in(foot, "ft", feet...), in(3*foot, "yd", "yard", "yards")}, bare: [2]int{0, 2}, decimals: 3}
	elevation   = measure{units: []unit{in(1, "m", metre...), in(foot, "ft", feet...)}, bare: [2]int{0, 1}, decimals: 1}
	near        = measure{units: []unit{in(1, "m", metre...), in(0.01, "cm", "centimetres"), in(foot, "ft", feet...), in(inch, "in", inches...), in(0.001, "mm")}, bare: [2]int{0, 2}, decimals: 2}
	radius      = measure{units: near.units, bare: [2]int{0, 3}, decimals: 2}
	long        = measure{units: []unit{in(1, "km", km...), in(mile/1000, "mi", miles...), in(0.001, "m", metre...)}, bare: [2]int{0, 1}, decimals: 3}
	small       = measure{units: []unit{in(1, "mm", "millimetres", "millimeters"), in(10, "cm", "centimetres", "centimeters"), in(1000, "m", metre...), in(1000*inch, "in", inches...)}}
	wheelSpeed  = measure{units: []unit{in(1, "km/h", "kmh", "kph"), in(mile/1000, "mph"), in(3.6, "m/s")}, bare: [2]int{0, 1}, decimals: 2}
	roadSpeed   = measure{units: []unit{in(1, "m/s"), in(1/3.6, "km/h", "kmh", "kph"), in(mile/3600, "mph")}, bare: [2]int{1, 2}, decimals: 1}
	airSpeed    = measure{units: roadSpeed.units, bare: [2]int{0, 2}, decimals: 1}
	temperature = measure{units: []unit{in(1, "°C", "c", "celsius", "degrees", "degrees c", "°", "degrees celsius", "centigrade"),
		{"°F", []string{"°f", "f", "fahrenheit", "degrees f", "degrees fahrenheit"}, 5. / 9, -160. / 9}}, bare: [2]int{0, 1}, decimals: 1}
	volume = measure{units: []unit{in(1, "m³", "m3", "cubic metres", "cubic meters"), in(foot*foot*foot, "ft³", "ft3", "cu ft", "cubic feet")}, bare: [2]int{0, 1}, decimals: 0}
	drink  = measure{units: []unit{in(1, "l", "litre", "litres", "liter", "liters"), in(0.001, "ml", "millilitres", "milliliters"), in(0.01, "cl"), in(0.1, "dl")},
		doubtful: map[string]string{"pint": drinkDoubt, "pints": drinkDoubt, "pt": drinkDoubt, "fl oz": drinkDoubt, "oz": drinkDoubt, "ounces": drinkDoubt, "cups": drinkDoubt, "bottle": drinkDoubt, "bottles": drinkDoubt}}
	percent  = measure{units: []unit{in(1, "%", "percent", "per cent")}}
	fraction = measure{units: []unit{{factor: 1}, in(0.01, "%", "percent", "per cent")}}
	watts    = measure{units: []unit{in(1, "W", "watt", "watts"), in(1000, "kW")}}
	ratio    = measure{units: []unit{in(1, "W/kg", "watts per kilogram", "watts/kg")}}
	pressure = measure{units: []unit{in(1, "hPa", "mbar", "mb"), in(10, "kPa"), in(33.8639, "inHg")}}
	beats    = measure{units: []unit{in(1, "bpm", "beats", "beats per minute", "beats/min", "/min")}}
	turns    = measure{units: []unit{in(1, "rpm", "turns per minute", "/min")}}
	toothed  = measure{units: []unit{in(1, "teeth", "t", "tooth")}}
	area     = measure{units: []unit{in(1, "m²", "m2", "square metres")}}
	density  = measure{units: []unit{in(1, "kg/m³", "kg/m3")}}
	inertia  = measure{units: []unit{in(1, "kg m²", "kg m2", "kgm2", "kg·m²")}}
)

const drinkDoubt = "How much a bottle, cup, pint or ounce holds differs; how many millilitres is it?"

// measureOf says how a key's number is measured.
func measureOf(k input.Key) measure {
	switch k.Name {
	case "length_m", "lead_in_m":
		return road
	case "distance_m":
		return near
	case "wheel_radius_m":
		return radius
	case "airflow_m_s":
		return airSpeed
	case "crr", "crr_sd", "drivetrain_efficiency":
		return fraction
	}
	if m, ok := byUnit[k.Unit]; ok {
		return m
	}
	return plain
}

var byUnit = map[string]measure{"kg": mass, "cm": height, "m": elevation, "km": long, "mm": small, "km/h": wheelSpeed, "m/s": roadSpeed, "degrees C": temperature,
	"m3": volume, "l": drink, "%": percent, "W": watts, "W/kg": ratio, "hPa": pressure, "bpm": beats, "rpm": turns, "teeth": toothed, "m2": area, "kg/m3": density, "kg m2": inertia}

func (m measure) unit(u Units) unit { return m.units[m.bare[u]] }

// names of all units, for taking a text apart.
func (m measure) names() (out []string) {
	for _, u := range m.units {
		out = append(out, u.names...)
	}
	for name := range m.doubtful {
		out = append(out, name)
	}
	return out
}

func (m measure) find(name string) (unit, bool) {
	name = strings.TrimRight(name, ". ")
	for _, u := range m.units {
		for _, n := range u.names {
			if n == name {
				return u, true
			}
		}
	}
	return unit{}, false
}

// file is a number said in a unit as the file says it. What was converted is
// rounded to a millionth, far below what anybody can measure.
func (u unit) file(v float64) float64 {
	if u.factor == 1 && u.offset == 0 {
		return v
	}
	return math.Round((u.factor*v+u.offset)*1e6)/1e6 + 0
}

// say is a file's number as it is said in this unit.
func (u unit) say(file float64, decimals int) string {
	if u.factor == 1 && u.offset == 0 {
		return short(file)
	}
	return rounded((file-u.offset)/u.factor, decimals)
}

// with is a number with the unit's name.
func (u unit) with(number string) string {
	switch {
	case u.shown == "":
		return number
	case u.shown == "%":
		return number + " %"
	}
	return number + " " + u.shown
}

func short(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// rounded is a number with at most so many decimals, without idle zeros.
func rounded(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
