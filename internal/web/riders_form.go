package web

import (
	"fmt"
	"strings"
	"time"

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
func (p *RiderPage) tell(k service.Known, text string, today time.Time) {
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
	day := values["screening.date"]
	if day == "" {
		day = values["screened"]
	}
	p.Asked = day != ""
	if p.Asked {
		p.AskedOn, p.AskAgain = day, olderThan(day, today, healthLasts)
	}
	p.Offered = offered(k)
	line := 0
	for i, path := range form.Entries(values, "evidence") {
		e := RiderEvidence{Place: fmt.Sprint(i), When: values[path+".date"], LeftOut: values[path+".use"] == "no"}
		if e.LeftOut {
			e.What, e.Used = evidenceName(values[path+".kind"]), "left out by you"
		} else if line < len(k.Account.Lines) {
			e.What, e.Used = capital(k.Account.Lines[line].What), k.Account.Lines[line].Used
			line++
		}
		p.Evidence = append(p.Evidence, e)
	}
	p.Curve, p.CurveRows = RiderCurve(k)
	p.Strokes = strings.Contains(string(p.Curve), `class="off"`)
	p.Unplaced = unplaced(values)
}

// healthLasts is how long the answers to the health questions are taken to
// hold. Our judgement: half a year.
const healthLasts = 183 * 24 * time.Hour

func olderThan(day string, now time.Time, long time.Duration) bool {
	t, err := time.Parse(time.DateOnly, day[:min(len(day), 10)])
	return err == nil && now.Sub(t) > long
}

// offered says what the health questions change in what is suggested.
func offered(k service.Known) string {
	switch {
	case len(k.Health) > 0 && !k.Rider.Screened:
		return "For now only what the answers allow is suggested."
	case capacity.MayTestMaximally(k.Rider):
		return "All-out tests and races may be suggested to you."
	case k.Rider.Screened:
		return "Hard rides may be suggested to you; all-out tests are kept for adults who have ridden hard before."
	}
	return "No all-out test is suggested."
}

func evidenceName(kind string) string {
	for _, k := range riderKinds {
		if k.Path == kind {
			return k.Name
		}
	}
	return kind
}
