package web

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/service"
)

// What a person can tell of a check's sources: a climb outdoors, a meter of
// one leg, the flywheel's inertia. Nothing of it is needed.

// climbAsk is one question about a climb: the form's name of it, and the key
// of the climb's file.
type climbAsk struct {
	key   string
	field Field
}

func climbAsks() []climbAsk {
	number := func(key, label, unit, hint string) climbAsk {
		return climbAsk{key, Field{Name: "climb-" + strings.ReplaceAll(key, "_", "-"), Label: label, Unit: unit, Hint: hint, Numeric: true}}
	}
	return []climbAsk{
		{"source", Field{Name: "climb-source", Label: "Which meter went up?", Hint: "Its name as a report calls it, or ‘meter’ where there is only one. Of two files, the name of the file."}},
		{"measures", Field{Name: "climb-measures", Label: "Where does it measure?", Kind: "select", Unknown: true,
			Options: []Option{{Value: "crank", Label: "At the crank"}, {Value: "pedal", Label: "In the pedals"}, {Value: "hub", Label: "In the rear hub"}}}},
		number("watts", "Mean watts it showed from foot to top", "W", ""),
		number("mass_kg", "Rider, bicycle and all that was carried", "kg", "Clothes, shoes, bottles and tools too."),
		number("mass_doubt_kg", "How sure is that mass? Give or take", "kg", "As a standard deviation. Left empty: 1 kg."),
		number("ascent_m", "Ascent", "m", "From a map, not from the meter's own barometer."),
		number("length_km", "Length of the road", "km", ""),
		{"time_s", Field{Name: "climb-time-s", Label: "Time from foot to top", Hint: "Like 28:40, or 1:02:15, without a stop."}},
		number("temperature_c", "Temperature", "°C", ""),
		number("height_m", "Height above the sea, half way up", "m", ""),
		{"wind", Field{Name: "climb-wind", Label: "Wind", Kind: "radio", Unknown: true, Options: []Option{{Value: "calm", Label: "Calm"}, {Value: "breezy", Label: "Breezy"}}}},
	}
}

// toldFields are the questions about a climb, and those about the rig.
func toldFields(f *Form) (climb, more []Field) {
	for _, a := range climbAsks() {
		climb = append(climb, f.Field(a.field))
	}
	more = []Field{
		f.Field(Field{Name: "one-leg", Label: "A meter measures one leg and doubles it", Kind: "check"}),
		f.Field(Field{Name: "one-leg-name", Label: "Which one does?", Hint: "Its name as a report calls it; left empty, the only power meter there is."}),
		f.Field(Field{Name: "flywheel", Label: "Inertia of flywheel and wheel, as a mass at the wheel's rim", Numeric: true, Unit: "kg", Hint: "From the maker's sheet. With it a coast-down tells a plain trainer's curve."}),
		f.Field(Field{Name: "flywheel-doubt", Label: "Give or take", Numeric: true, Unit: "kg", Hint: "As a standard deviation. Left empty: a tenth of it."}),
	}
	return climb, more
}

// toldOpen tells whether something in these fields was typed or is wrong.
func toldOpen(fields []Field) bool {
	return slices.ContainsFunc(fields, func(f Field) bool { return f.Value != "" || f.Error != "" })
}

// told reads what was told into what a check is about.
func (a *checkAsk) told(typed, errs map[string]string) {
	a.Climb = climbText(typed, errs)
	if typed["one-leg"] != "" || typed["one-leg-name"] != "" {
		for name := range strings.SplitSeq(typed["one-leg-name"], ",") {
			if name = strings.TrimSpace(name); name == "" {
				name = "meter"
			}
			a.OneLeg = append(a.OneLeg, problem.OneLine(name))
		}
	}
	a.FlywheelKg = toldNumber(typed, errs, "flywheel", 0.1, 200, "kg")
	if a.FlywheelSD = toldNumber(typed, errs, "flywheel-doubt", 0, 200, "kg"); errs["flywheel"] != "" || errs["flywheel-doubt"] != "" {
		return
	}
	switch {
	case a.FlywheelSD > 0 && a.FlywheelKg == 0:
		errs["flywheel"] = "Write the inertia too, or leave its doubt empty."
	case a.FlywheelSD > a.FlywheelKg:
		errs["flywheel-doubt"] = "The doubt is larger than the inertia itself."
	}
}

func toldNumber(typed, errs map[string]string, name string, low, high float64, unit string) float64 {
	text := strings.ReplaceAll(typed[name], ",", ".")
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= low && v <= high) {
		errs[name] = fmt.Sprintf("Write a number from %g to %g %s, or leave it empty.", low, high, unit)
		return 0
	}
	return v
}

// climbText is the climb that was typed as the text of a climb's file, empty
// if none was.
func climbText(typed, errs map[string]string) string {
	asks := climbAsks()
	if !slices.ContainsFunc(asks, func(a climbAsk) bool { return typed[a.field.Name] != "" }) {
		return ""
	}
	keys := map[string]input.Key{}
	for _, k := range input.ClimbKeys() {
		keys[k.Name] = k
	}
	var b strings.Builder
	wrong := false
	for _, a := range asks {
		value, says := climbValue(keys[a.key], typed[a.field.Name])
		if says != "" {
			errs[a.field.Name], wrong = says, true
		}
		if value != "" {
			fmt.Fprintf(&b, "%s: %s\n", a.key, value)
		}
	}
	if wrong {
		return ""
	}
	if _, err := input.ReadClimb("climb", strings.NewReader(b.String())); err != nil {
		errs["climb-ascent-m"] = "These answers do not go together. " + oneLine(err) + "."
		return ""
	}
	return b.String()
}

// climbValue is one answer as the file has it, or what is wrong with it.
func climbValue(k input.Key, text string) (value, says string) {
	if text == "" {
		if k.Needed {
			return "", "A climb can be judged only with this. Leave all about the climb empty if there was none."
		}
		return "", ""
	}
	switch k.Form {
	case "text":
		return strconv.Quote(problem.OneLine(text)), ""
	case "word":
		if !slices.Contains(k.Words, text) {
			return "", "Choose one of these."
		}
		return text, ""
	}
	if k.Name == "time_s" && strings.Contains(text, ":") {
		s, err := clockSeconds(text)
		if err != nil {
			return "", "Write a time like 28:40."
		}
		text = s
	}
	text = strings.ReplaceAll(strings.ReplaceAll(text, ",", "."), "−", "-")
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= k.Low && v <= k.High) {
		return "", fmt.Sprintf("Write a number from %g to %g.", k.Low, k.High)
	}
	return strconv.FormatFloat(v, 'f', -1, 64), ""
}

// clockSeconds reads minutes and seconds, or hours too.
func clockSeconds(text string) (string, error) {
	total := 0
	parts := strings.Split(text, ":")
	for i, p := range parts {
		n, err := strconv.Atoi(p)
		if err != nil || n < 0 || n > 1000 || i > 0 && n > 59 || len(parts) > 3 {
			return "", errors.New("no time")
		}
		total = 60*total + n
	}
	return strconv.Itoa(total), nil
}

// tell puts what was told into the check that is made.
func (a checkAsk) tell(q *service.CheckRequest) error {
	q.OneLeg, q.FlywheelKg, q.FlywheelSD = a.OneLeg, a.FlywheelKg, a.FlywheelSD
	if a.Climb == "" {
		return nil
	}
	c, err := input.ReadClimb("climb", strings.NewReader(a.Climb))
	if err != nil {
		return err
	}
	q.Climbs = []input.ClimbFile{c}
	q.From = append(slices.Clone(q.From), "a climb outdoors")
	return nil
}
