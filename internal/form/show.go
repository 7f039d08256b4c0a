package form

import (
	"math"
	"strconv"

	"chainline/internal/input"
)

// showValue is a file's value as a person would type it.
func showValue(k input.Key, raw string, u Units) string {
	switch k.Form {
	case "yesNo":
		return map[string]string{"true": "yes", "false": "no"}[raw]
	case "date":
		return raw // as a page's date field has it
	case "number", "whole":
		v, err := strconv.ParseFloat(raw, 64)
		if err != nil {
			return raw
		}
		switch {
		case k.Unit == "s":
			return Duration(v)
		case k.Unit == "cm" && u == Imperial:
			return feetAndInches(v)
		}
		m := measureOf(k)
		return m.unit(u).say(v, m.decimals)
	}
	return raw
}

func feetAndInches(cm float64) string {
	tenths := math.Round(cm / (100 * inch) * 10)
	whole := math.Floor(tenths / 120)
	return short(whole) + " ft " + rounded((tenths-120*whole)/10, 1) + " in"
}

// Field describes a value to a page that asks for it.
type Field struct {
	Form      string   // number, whole, duration, text, word, yesNo, date, moment, zone, list, group
	Unit      string   // of a number typed without one; may be empty
	Words     []string // to choose from
	Needed    bool
	Low, High string // of a number, in Unit
}

// About is what a page should know of a path; false if there is no such value.
func About(kind, path string, units Units) (Field, bool) {
	k, ok := find(kind, path)
	if !ok {
		return Field{}, false
	}
	f := Field{Form: k.Form, Words: k.Words, Needed: k.Needed}
	switch {
	case k.Form == "yesNo":
		f.Words = []string{"yes", "no"}
	case k.Form == "list" && k.Entry != nil:
		f.Words = k.Entry.Words
	case k.Unit == "s":
		f.Form, f.Low, f.High = "duration", Duration(k.Low), Duration(k.High)
	case k.Form == "number" || k.Form == "whole":
		u := measureOf(k).unit(units)
		f.Unit = u.shown
		f.Low, f.High = limits(k, u)
	}
	return f, true
}

// Unit is that of a number typed without one, where a page asks for what is no
// value of a file; empty if there is none.
func (u Units) Unit(k input.Key) string { return measureOf(k).unit(u).shown }

// Number reads such a number, in the key's unit; 0 for "I don't know". wrong
// is a plain sentence if it cannot be taken.
func (u Units) Number(k input.Key, typed string) (v float64, wrong string) {
	if unknown(typed) {
		return 0, ""
	}
	r := readNumber(k, typed, u)
	if r.wrong != "" {
		return 0, r.wrong
	}
	v, _ = strconv.ParseFloat(r.raw, 64) // as it was just written
	return v, ""
}

func (u Units) pick(metric, imperial string) string {
	if u == Imperial {
		return imperial
	}
	return metric
}

// Mass is kilograms in words: 70 kg, 154.3 lb.
func (u Units) Mass(kg float64) string {
	return u.pick(rounded(kg, 1)+" kg", rounded(kg/pound, 1)+" lb")
}

// Height is metres of body height: 168 cm, 5 ft 6.1 in.
func (u Units) Height(m float64) string {
	return u.pick(rounded(100*m, 0)+" cm", feetAndInches(100*m))
}

// Distance is metres of way: 850 m, 21.4 km, 13.3 mi.
func (u Units) Distance(m float64) string {
	if u == Metric && math.Abs(m) < 999.5 {
		return rounded(m, 0) + " m"
	}
	return u.pick(rounded(m/1000, 1)+" km", rounded(m/mile, 1)+" mi")
}

// Elevation is metres up or down: 310 m, 1017 ft.
func (u Units) Elevation(m float64) string {
	return u.pick(rounded(m, 0)+" m", rounded(m/foot, 0)+" ft")
}

// Temperature is degrees Celsius in words: 21 °C, 70 °F.
func (u Units) Temperature(c float64) string {
	return u.pick(rounded(c, 0)+" °C", rounded(32+1.8*c, 0)+" °F")
}

// Speed is metres per second in words: 32.4 km/h, 20.1 mph.
func (u Units) Speed(mps float64) string {
	return u.pick(rounded(3.6*mps, 1)+" km/h", rounded(3600*mps/mile, 1)+" mph")
}
