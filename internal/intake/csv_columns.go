package intake

import (
	"math"
	"slices"
	"strings"

	"chainline/recording"
)

// field is what a column's name says it is.
type field struct {
	time     bool
	date     bool // a date of its own, beside a time of day
	quantity recording.Quantity
	unit     unit
	source   string
}

// unit is how a column's numbers are counted; empty: the name does not say.
type unit string

// columnNames are the words by which a column is known, lower case, letters
// only, its unit taken off. Common practice in tables of rides.
var columnNames = map[string]recording.Quantity{
	"power": recording.Power, "watts": recording.Power, "watt": recording.Power, "w": recording.Power, "pwr": recording.Power, "leistung": recording.Power, "puissance": recording.Power, "potencia": recording.Power,
	"heartrate": recording.HeartRate, "hr": recording.HeartRate, "bpm": recording.HeartRate, "pulse": recording.HeartRate, "heart": recording.HeartRate, "puls": recording.HeartRate, "herzfrequenz": recording.HeartRate,
	"cadence": recording.Cadence, "cad": recording.Cadence, "rpm": recording.Cadence, "trittfrequenz": recording.Cadence, "cadencia": recording.Cadence,
	"speed": recording.Speed, "velocity": recording.Speed, "kmh": recording.Speed, "kph": recording.Speed, "mph": recording.Speed, "geschwindigkeit": recording.Speed, "vitesse": recording.Speed,
	"wheelspeed": recording.WheelSpeed, "machinespeed": recording.MachineSpeed,
	"distance": recording.Position, "dist": recording.Position, "position": recording.Position, "distanz": recording.Position, "strecke": recording.Position,
	"altitude": recording.Altitude, "alt": recording.Altitude, "elevation": recording.Altitude, "ele": recording.Altitude, "height": recording.Altitude, "hohe": recording.Altitude, "höhe": recording.Altitude,
	"latitude": recording.Latitude, "lat": recording.Latitude, "positionlat": recording.Latitude,
	"longitude": recording.Longitude, "lon": recording.Longitude, "lng": recording.Longitude, "long": recording.Longitude, "positionlong": recording.Longitude,
	"gradient": recording.Gradient, "grade": recording.Gradient, "slope": recording.Gradient,
	"leftshare": recording.LeftShare, "left": recording.LeftShare,
	"resistance": recording.Resistance, "battery": recording.Battery,
	"target": recording.Target, "targetpower": recording.Target, "commanded": recording.Commanded, "wbalance": recording.Left,
}

var timeNames = []string{"time", "seconds", "secs", "sec", "s", "second", "timestamp", "elapsed", "elapsedtime", "datetime", "timeofday", "date", "zeit", "utc", "localtime", "clock", "t", "minutes", "min", "mins", "ms", "milliseconds", "h", "duration", "temps", "tiempo", "dateandtime", "datetimeutc", "timeutc"}

// unitWords, longest first where one is the end of another.
var unitWords = []struct {
	word string
	unit unit
}{
	{"km/h", "km/h"}, {"km_h", "km/h"}, {"kmh", "km/h"}, {"kph", "km/h"}, {"mph", "mph"}, {"mi/h", "mph"}, {"m/s", "m/s"}, {"m_s", "m/s"}, {"mps", "m/s"}, {"ms-1", "m/s"},
	{"kilometers", "km"}, {"kilometres", "km"}, {"meters", "m"}, {"metres", "m"}, {"miles", "mi"}, {"feet", "ft"},
	{"seconds", "s"}, {"secs", "s"}, {"sec", "s"}, {"minutes", "min"}, {"mins", "min"}, {"min", "min"}, {"milliseconds", "ms"}, {"ms", "ms"},
	{"watts", "W"}, {"watt", "W"}, {"kw", "kW"}, {"bpm", "bpm"}, {"rpm", "rpm"}, {"1/min", "rpm"}, {"percent", "%"}, {"pct", "%"}, {"%", "%"},
	{"degrees", "deg"}, {"deg", "deg"}, {"°", "deg"}, {"semicircles", "semicircles"},
	{"km", "km"}, {"mi", "mi"}, {"ft", "ft"}, {"m", "m"}, {"s", "s"}, {"w", "W"}, {"h", "h"}, {"j", "J"},
}

// fieldOf reads a column's name: "Power (W)", "speed_km_h", "HR [bpm]",
// "watts", "power_w:pedals".
func fieldOf(name string) field {
	lower := strings.ToLower(strings.TrimSpace(strings.Trim(name, `"' `)))
	f := field{}
	if head, _, ok := strings.Cut(lower, ":"); ok && strings.Contains(head, "_") {
		f.source = clip(strings.TrimSpace(name[strings.Index(name, ":")+1:]))
		lower = head
	}
	if whole := letters(lower); columnNames[whole] != "" && len(whole) > 2 || whole == "hr" || whole == "w" {
		f.quantity, f.unit = columnNames[whole], unitAlone(lower, columnNames[whole])
		if f.unit == "" {
			_, f.unit = cutUnit(lower)
		}
		return f
	}
	stem, u := cutUnit(lower)
	word := letters(stem)
	switch {
	case word == "date":
		f.time, f.date = true, true
	case slices.Contains(timeNames, word):
		f.time, f.unit = true, u
		if f.unit == "" {
			_, f.unit = cutUnit("x " + lower)
		}
	default:
		f.quantity, f.unit = columnNames[word], u
	}
	return f
}

// unitAlone: names like "kph" are the unit themselves.
func unitAlone(lower string, q recording.Quantity) unit {
	for _, u := range unitWords {
		if u.word == lower && (q == recording.Speed || q == recording.Power) {
			return u.unit
		}
	}
	return ""
}

// cutUnit takes the unit off a name's end, in brackets or behind a sign that
// parts words.
func cutUnit(name string) (stem string, u unit) {
	for _, pair := range []string{"()", "[]", "{}", "<>"} {
		from, to := strings.IndexByte(name, pair[0]), strings.LastIndexByte(name, pair[1])
		if from >= 0 && to > from {
			inside := strings.TrimSpace(name[from+1 : to])
			for _, w := range unitWords {
				if w.word == inside {
					return name[:from], w.unit
				}
			}
			return name[:from], ""
		}
	}
	for _, w := range unitWords {
		stem, ok := strings.CutSuffix(name, w.word)
		if ok && stem != "" && strings.ContainsAny(stem[len(stem)-1:], "_ -/,.%") {
			return stem, w.unit
		}
	}
	return name, ""
}

func letters(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r > 0x7F && r != '°' && r != 0xFFFD {
			return r
		}
		return -1
	}, s)
}

// scale is what turns a column's numbers into SI, and what was guessed where
// the name says no unit and it matters.
func (u unit) scale(q recording.Quantity, values []float64, duration float64) (scale float64, guess string) {
	switch u {
	case "km/h":
		return 1 / 3.6, ""
	case "mph":
		return 0.44704, ""
	case "km":
		return 1000, ""
	case "mi":
		return 1609.344, ""
	case "ft":
		return 0.3048, ""
	case "kW":
		return 1000, ""
	case "%":
		return 0.01, ""
	case "semicircles":
		return 180.0 / (1 << 31), ""
	case "":
		return guessed(q, values, duration)
	}
	return 1, ""
}

// guessed is a judgement of ours: the unit under which the values are those of
// somebody on a bike.
func guessed(q recording.Quantity, values []float64, duration float64) (scale float64, guess string) {
	var known []float64
	for _, v := range values {
		if !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return 1, ""
	}
	slices.Sort(known)
	high := known[len(known)*9/10]
	switch q {
	case recording.Speed, recording.WheelSpeed, recording.MachineSpeed:
		if high > 18 {
			return 1 / 3.6, "km/h"
		}
		return 1, "m/s"
	case recording.Position:
		if way := known[len(known)-1] - known[0]; way > 0 && duration > 0 && way/duration < 0.1 {
			return 1000, "km"
		}
		return 1, "m"
	case recording.Gradient, recording.LeftShare:
		if high > 1 {
			return 0.01, "percent"
		}
	case recording.Latitude, recording.Longitude:
		if math.Abs(known[0]) > 360 {
			return 180.0 / (1 << 31), "semicircles"
		}
	}
	return 1, ""
}
