package web

import (
	"cmp"
	"slices"
	"strings"

	"chainline/internal/form"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/service"
)

// What a person can tell of a check's sources: a climb outdoors, a meter of
// one leg, the flywheel's inertia. Nothing of it is needed.

// climbAsk is one question about a climb: the key of the climb's file, and how
// it is asked.
type climbAsk struct {
	key   string
	field Field
}

func (a climbAsk) name() string { return "climb-" + strings.ReplaceAll(a.key, "_", "-") }

func climbAsks(u form.Units) []climbAsk {
	return []climbAsk{
		{"source", Field{Label: "Which meter went up?", Hint: "Its name as a report calls it, or ‘meter’ where there is only one. Of two files, the name of the file."}},
		{"measures", Field{Label: "Where does it measure?", Kind: "select", Unknown: true,
			Options: []Option{{Value: "crank", Label: "At the crank"}, {Value: "pedal", Label: "In the pedals"}, {Value: "hub", Label: "In the rear hub"}}}},
		{"watts", Field{Label: "Mean watts it showed from foot to top"}},
		{"mass_kg", Field{Label: "Rider, bicycle and all that was carried", Hint: "Clothes, shoes, bottles and tools too."}},
		{"mass_doubt_kg", Field{Label: "How sure is that mass? Give or take", Hint: "As a standard deviation. Left empty: " + u.Mass(1) + "."}},
		{"ascent_m", Field{Label: "Ascent", Hint: "From a map, not from the meter's own barometer."}},
		{"length_km", Field{Label: "Length of the road"}},
		{"time_s", Field{Label: "Time from foot to top", Hint: "Like 28:40, or 1:02:15, without a stop."}},
		{"temperature_c", Field{Label: "Temperature"}},
		{"height_m", Field{Label: "Height above the sea, half way up"}},
		{"wind", Field{Label: "Wind", Kind: "radio", Unknown: true, Options: []Option{{Value: "calm", Label: "Calm"}, {Value: "breezy", Label: "Breezy"}}}},
	}
}

// The mass at the rim that turns like flywheel and wheel, and what is not sure
// of it.
var flywheelKey, flywheelDoubtKey = input.Key{Form: "number", Unit: "kg", Low: 0.1, High: 200}, input.Key{Form: "number", Unit: "kg", High: 200}

// toldFields are the questions about a climb, and those about the rig.
func toldFields(f *Form, u form.Units) (climb, more []Field) {
	for _, a := range climbAsks(u) {
		q := a.field
		q.Name = a.name()
		if about, _ := form.About(form.Climb, a.key, u); about.Form == "number" {
			q.Numeric, q.Unit = true, about.Unit
		}
		climb = append(climb, f.Field(q))
	}
	more = []Field{
		f.Field(Field{Name: "one-leg", Label: "A meter measures one leg and doubles it", Kind: "check"}),
		f.Field(Field{Name: "one-leg-name", Label: "Which one does?", Hint: "Its name as a report calls it; left empty, the only power meter there is."}),
		f.Field(Field{Name: "flywheel", Label: "Inertia of flywheel and wheel, as a mass at the wheel's rim", Numeric: true, Unit: u.Unit(flywheelKey), Hint: "From the maker's sheet. With it a coast-down tells a plain trainer's curve."}),
		f.Field(Field{Name: "flywheel-doubt", Label: "Give or take", Numeric: true, Unit: u.Unit(flywheelDoubtKey), Hint: "As a standard deviation. Left empty: a tenth of it."}),
	}
	return climb, more
}

// toldOpen tells whether something in these fields was typed or is wrong.
func toldOpen(fields []Field) bool {
	return slices.ContainsFunc(fields, func(f Field) bool { return f.Value != "" || f.Error != "" })
}

// told reads what was told into what a check is about, and says how it was
// read where that may be doubted.
func (a *checkAsk) told(typed, errs map[string]string, u form.Units) (heard string) {
	a.Climb, heard = climbText(typed, errs, u)
	if typed["one-leg"] != "" || typed["one-leg-name"] != "" {
		for name := range strings.SplitSeq(typed["one-leg-name"], ",") {
			if name = strings.TrimSpace(name); name == "" {
				name = "meter"
			}
			a.OneLeg = append(a.OneLeg, problem.OneLine(name))
		}
	}
	number := func(name string, k input.Key) float64 {
		v, wrong := u.Number(k, typed[name])
		if wrong != "" {
			errs[name] = wrong
		}
		return v
	}
	a.FlywheelKg, a.FlywheelSD = number("flywheel", flywheelKey), number("flywheel-doubt", flywheelDoubtKey)
	switch {
	case errs["flywheel"] != "" || errs["flywheel-doubt"] != "":
	case a.FlywheelSD > 0 && a.FlywheelKg == 0:
		errs["flywheel"] = "Write the inertia too, or leave its doubt empty."
	case a.FlywheelSD > a.FlywheelKg:
		errs["flywheel-doubt"] = "The doubt is larger than the inertia itself."
	}
	return heard
}

// climbText is the climb that was typed as the text of a climb's file, empty
// if none was, and how it was read where that may be doubted.
func climbText(typed, errs map[string]string, u form.Units) (text, heard string) {
	names, values := map[string]string{}, map[string]string{}
	known := Answers(typed)
	for _, a := range climbAsks(u) {
		names[a.key] = a.name()
		if v := known[a.name()]; v != "" {
			values[a.key] = v
		}
	}
	if len(values) == 0 {
		return "", ""
	}
	text, wrong := form.YAML(form.Climb, values, u)
	for key, says := range wrong {
		if about, _ := form.About(form.Climb, key, u); about.Needed && values[key] == "" {
			says = "A climb can be judged only with this. Leave all about the climb empty if there was none."
		}
		errs[cmp.Or(names[key], names["ascent_m"])] = says
	}
	return text, readAs(form.Climb, "", values, u)
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
