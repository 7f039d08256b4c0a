package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"chainline/capacity"
	"chainline/internal/form"
	"chainline/internal/service"
)

// Parts of a rider that are asked for.
const (
	partNew    = "new"
	partBasics = "change"
	partHealth = "health"
)

var riderLevels = []Option{{Value: "new", Label: "I am new to it"}, {Value: "regular", Label: "I ride now and then, or every week"},
	{Value: "club", Label: "I ride with a club"}, {Value: "racer", Label: "I race"}}

func noYesField(name, label string) Field {
	return Field{Name: "screening." + name, Label: label, Kind: "radio", Unknown: true, Options: []Option{{Value: "no", Label: "No"}, {Value: "yes", Label: "Yes"}}}
}

// riderParts are the questions of a part.
func riderParts(part string) []RoadPart {
	three := []Field{{Name: "name", Label: "Name", Hint: "By which you find yourself again. It can stay empty."},
		{Name: "mass_kg", Label: "What do you weigh?", Hint: "As you ride: 68 kg or 150 lb."},
		{Name: "level", Label: "How do you ride?", Kind: "radio", Unknown: true, Options: riderLevels}}
	switch part {
	case partNew:
		return []RoadPart{{Fields: three}}
	case partHealth:
		return []RoadPart{{Title: "Before you ride hard", Hint: "Answer for today. The answers are kept with their date, on this computer only. They decide whether hard efforts and tests are suggested at all. They replace no doctor.", Fields: []Field{
			noYesField("chest_pain", "Do you get pain or pressure in the chest?"),
			noYesField("faintness", "Do you faint or get dizzy, or have you lately?"),
			noYesField("palpitations", "Does your heart race or stumble without a reason?"),
			noYesField("unusual_breathlessness", "Are you more out of breath than an effort explains?"),
			noYesField("heart_kidney_or_metabolic_disease", "Do you have a disease of heart, kidneys or metabolism, such as diabetes?"),
			noYesField("ill_now", "Are you ill now, or not quite over an illness?"),
			noYesField("medicine_lowers_heart_rate", "Do you take a medicine that lowers the heart rate or blood pressure?"),
			noYesField("pregnant", "Are you pregnant?"),
			noYesField("told_not_to", "Has a doctor told you not to exercise hard?"),
			noYesField("active", "Have you exercised on three days a week or more for three months?"),
			noYesField("cleared_by_doctor", "Has a doctor who knows all this agreed to hard exercise?"),
		}}}
	}
	return []RoadPart{{Fields: three}, {Title: "More about you", Hint: "Each of these narrows a little.", Fields: []Field{
		{Name: "birth_year", Label: "Year of birth"},
		{Name: "sex", Label: "Sex", Hint: "Published averages differ.", Kind: "select", Unknown: true, Options: []Option{{Value: "female", Label: "Female"}, {Value: "male", Label: "Male"}}},
		{Name: "height_cm", Label: "Height"},
		{Name: "max_heart_rate_bpm", Label: "Highest heart rate ever seen"},
		{Name: "resting_heart_rate_bpm", Label: "Heart rate at rest"},
		{Name: "acclimatised", Label: "Are you used to riding in the heat?", Kind: "select", Unknown: true, Options: []Option{{Value: "yes", Label: "Yes"}, {Value: "no", Label: "No"}}},
	}}}
}

// NewRiderForm asks for a part of a rider; id is empty for a new one.
func NewRiderForm(id, name, part string, values, errs map[string]string, units form.Units) *RiderFormPage {
	p := &RiderFormPage{Base: riderBase("A new rider"), Keep: "Keep this rider", Leave: "/riders", Intro: "Only what you weigh is needed."}
	action := "/riders/new"
	if id != "" {
		p.Title, p.Leave, p.Intro, action = name, "/riders/"+id, "", "/riders/"+id+"/"+part
		p.Keep = "Keep the answers"
	}
	p.Form = NewForm(action, values, errs)
	p.Parts = riderParts(part)
	for i, one := range p.Parts {
		for j, q := range one.Fields {
			p.Parts[i].Fields[j] = keyField(p.Form, form.Rider, units, q)
		}
	}
	return p
}

// sayRider is a rider in a line.
func sayRider(values map[string]string, units form.Units) string {
	var all []string
	if v := values["mass_kg"]; v != "" {
		about, _ := form.About(form.Rider, "mass_kg", units)
		all = append(all, joinUnit(v, about.Unit))
	}
	for _, l := range riderLevels {
		if l.Value == values["level"] {
			all = append(all, map[string]string{"new": "new to it", "regular": "rides regularly", "club": "rides with a club", "racer": "races"}[l.Value])
		}
	}
	switch n := len(form.Entries(values, "evidence")); n {
	case 0:
		all = append(all, "nothing measured yet")
	case 1:
		all = append(all, "one thing known of their power")
	default:
		all = append(all, fmt.Sprintf("%d things known of their power", n))
	}
	return strings.Join(all, ", ") + "."
}

// tell fills the page of a rider.
func (p *RiderPage) tell(k service.Known, text string) {
	c := k.Capacity
	cp, wPrime, top, _ := c.Estimates("")
	threshold := c.ThresholdEstimate("")
	p.Facts = []RiderFact{
		{"Critical power", fmt.Sprintf("%.0f W", cp.Mean), fmt.Sprintf("%.0f to %.0f", cp.Low80, cp.High80)},
		{"To spend above it", fmt.Sprintf("%.1f kJ", wPrime.Mean/1000), fmt.Sprintf("%.1f to %.1f", wPrime.Low80/1000, wPrime.High80/1000)},
		{"Threshold", fmt.Sprintf("%.0f W", threshold.Mean), fmt.Sprintf("%.0f to %.0f", threshold.Low80, threshold.High80)},
		{"Maximal power", fmt.Sprintf("%.0f W", top.Mean), fmt.Sprintf("%.0f to %.0f", top.Low80, top.High80)},
	}
	p.Rests = k.Account.Model
	p.Warnings = k.Account.Warnings
	p.Next = k.Learnt.Next(k.Rider, 3600, k.Shown).Sentence
	p.Health = k.Health
	values, err := form.Values(form.Rider, text)
	if err != nil {
		return
	}
	p.Asked = values["screening.date"] != "" || values["screened"] != ""
	line := 0
	for i, path := range form.Entries(values, "evidence") {
		e := RiderEvidence{Place: fmt.Sprint(i), When: values[path+".date"], LeftOut: values[path+".use"] == "no"}
		if e.LeftOut {
			e.What, e.Used = evidenceName(values[path+".kind"]), "left out by you"
		} else if line < len(k.Account.Lines) {
			e.What, e.Used = k.Account.Lines[line].What, k.Account.Lines[line].Used
			line++
		}
		p.Evidence = append(p.Evidence, e)
	}
	p.Curve, p.CurveIn = riderCurve(k)
}

func evidenceName(kind string) string {
	for _, k := range riderKinds {
		if k.Path == kind {
			return k.Name
		}
	}
	return kind
}

// Size of the picture of the power-duration curve, in its own units.
const (
	curveWide, curveHigh                      = 640.0, 260.0
	curveLeft, curveRight, curveTop, curveLow = 8.0, 590.0, 16.0, 222.0
)

var curveTimes = []struct {
	seconds float64
	name    string
}{{5, "5 s"}, {60, "1 min"}, {300, "5 min"}, {1200, "20 min"}, {3600, "1 h"}, {5 * 3600, "5 h"}}

// riderCurve draws the highest power for every duration with its 80 % band, on
// a logarithmic time axis, and says it in words.
func riderCurve(k service.Known) (picture template.HTML, words string) {
	c := k.Capacity
	var low, high, middle []float64
	var times []float64
	const steps = 48
	for i := range steps + 1 {
		t := capacity.PowerFrom * math.Pow(capacity.PowerTo/capacity.PowerFrom, float64(i)/steps)
		e, ok := c.Estimate(func(c capacity.Capacity) float64 { return c.Power(t) }, "")
		if !ok {
			return "", ""
		}
		times, low, high, middle = append(times, t), append(low, e.Low80), append(high, e.High80), append(middle, e.Mean)
	}
	most := high[0] * 1.05
	x := func(t float64) float64 {
		return curveLeft + (curveRight-curveLeft)*math.Log(t/capacity.PowerFrom)/math.Log(capacity.PowerTo/capacity.PowerFrom)
	}
	// Watts by their square root, so that long efforts keep some height.
	y := func(w float64) float64 {
		return curveLow - (curveLow-curveTop)*math.Sqrt(math.Max(0, w)/most)
	}
	var b, band, back, line strings.Builder
	for i, t := range times {
		fmt.Fprintf(&band, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x(t), y(high[i]))
		fmt.Fprintf(&line, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x(t), y(middle[i]))
	}
	for i := len(times) - 1; i >= 0; i-- {
		fmt.Fprintf(&back, "L%.1f %.1f", x(times[i]), y(low[i]))
	}
	fmt.Fprintf(&b, `<svg class="curve" viewBox="0 0 %.0f %.0f" aria-hidden="true">`, curveWide, curveHigh)
	fmt.Fprintf(&b, `<path class="band" d="%s%sZ"/><path class="line" d="%s"/>`, band.String(), back.String(), line.String())
	fmt.Fprintf(&b, `<path class="dots" d="M%.1f %.1fH%.1f"/><text x="%.1f" y="%.1f">%.0f W</text>`, curveLeft, y(c.CriticalPower), curveRight, curveRight+6, y(c.CriticalPower)+4, c.CriticalPower)
	for _, e := range k.Rider.Evidence {
		if e.Watts > 0 && e.Duration > 0 && (e.Kind == capacity.MaximalTest || e.Kind == capacity.BestEffort) {
			fmt.Fprintf(&b, `<circle class="seen" cx="%.1f" cy="%.1f" r="4"/>`, x(e.Duration), y(e.Watts))
		}
	}
	var said []string
	for _, t := range curveTimes {
		e, _ := c.Estimate(func(c capacity.Capacity) float64 { return c.Power(t.seconds) }, "")
		fmt.Fprintf(&b, `<path class="tick" d="M%.1f %.1fv5"/><text class="mid" x="%.1f" y="%.1f">%s</text>`, x(t.seconds), curveLow, x(t.seconds), curveLow+20, t.name)
		said = append(said, fmt.Sprintf("%s %.0f W (%.0f to %.0f)", t.name, e.Mean, e.Low80, e.High80))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()), "The most that can be held, four times out of five inside the band: " + strings.Join(said, ", ") + ". The dotted line is critical power; dots are tests and bests."
}
