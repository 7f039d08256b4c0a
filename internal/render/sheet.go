package render

import (
	"math"
	"strings"

	"chainline/brief"
)

// sheet is a brief in words, in the order a reader meets it. Text and HTML
// both set it, so that they cannot disagree.
type sheet struct {
	Title, Who, Rig, Made string
	On, MadeOn            string   // of Who and Made, ISO 8601
	EvidenceOn            []string // of Evidence, one for one
	Heroes                []hero
	Sketch                bool

	Lead       string // what the rig speaks: head of the column
	Cues       []row
	Rules      []row
	RulesNote  string
	Notes      []note // what the rig cannot do, referred to by Mark
	HasHeart   bool
	SecondHead string // of a second quantity beside the lead; empty if there is none
	FeelHead   string
	CueNote    string

	RulesCaption string
	StripNote    string
	Scale        []scaleStep
	Rests        []rest
	RestsNote    string
	Model        string
	Next         string
	Evidence     []string
	Changes      []string
	Plan         []string
	Course       []string
	Climbs       []climb
	ClimbNote    string
	Road         []string
	Room         string

	before

	Warnings                             []string
	PlanCautions, RoomCautions, Cautions []string // next to what they are about; the rest at the foot
}

type hero struct{ Label, Value, Note string }

type note struct{ Mark, Text string }

// row is a cue, or a rule of effort by gradient.
type row struct {
	Number, Km, Name, Gear, Mark      string
	Lead, PlusMinus                   string
	Exertion, Feel, Heart, At, Second string
	Left                              string  // '41 %'
	LeftShare                         float64 // 0..1
	Share                             string  // of the ride's time, for a rule
}

// rest is a number the brief rests on, with its interval placed on a scale
// common to all: 0 and 1 are its ends, 0.5 the mean.
type rest struct {
	Name, Value, Unit, Range string
	Low, High                float64
	Picture                  bool
}

type climb struct{ At, Length, Ascent, Mean, Steepest string }

type scaleStep struct {
	Level int
	Text  string
}

func newSheet(b brief.Brief) sheet {
	s := sheet{Title: b.Title, Sketch: b.Course.Known == "sketch", before: newBefore(b)}
	s.PlanCautions, s.RoomCautions, s.Cautions = placeCautions(b.Cautions, b.Room.Known)
	for _, w := range b.Warnings {
		s.Warnings = append(s.Warnings, sentence(w))
	}
	if s.Title == "" {
		s.Title = b.Course.Name
	}
	if s.Title == "" {
		s.Title = "Ride brief"
	}
	s.Who, s.On, s.MadeOn = who(b), b.On, b.Made
	s.Rig = rigLine(b.Rig)
	if b.Made != "" {
		s.Made = "Made " + dateWords(b.Made)
	}
	s.Heroes = heroes(b)
	s.tables(b)
	s.StripNote, s.Scale = stripNote(b)
	s.rests(b)
	s.Changes = changes(b)
	s.Plan = planWords(b)
	s.courseWords(b)
	s.Road = roadWords(b)
	if !b.Room.Known { // else the room has a section of its own
		s.Room = sentence(b.Rig.Room)
	}
	return s
}

func who(b brief.Brief) string {
	first := join([]string{b.Rider.Name, b.When}, ", ")
	laps := ""
	if b.Course.Laps > 1 {
		laps = plural(b.Course.Laps, "lap")
	}
	up := whole(b.Course.Ascent) + nb + "m up"
	second := join([]string{b.Kind, laps, distance(courseLength(b)), up}, ", ")
	return join([]string{sentence(first), sentence(second)}, " ")
}

func rigLine(r brief.RigSheet) string {
	s := upper(r.Trainer)
	switch {
	case r.Source != "" && r.Accuracy > 0:
		s = join([]string{s, "watts from " + r.Source + ", ± " + short(100*r.Accuracy) + nb + "% (sd)"}, ", ")
	case r.Source != "":
		s = join([]string{s, "watts from " + r.Source}, ", ")
	case r.CurveFrom != "":
		s = join([]string{s, "no power meter"}, ", ")
	}
	return s
}

// short is a number to one decimal, without a decimal that says nothing.
func short(x float64) string { return strings.TrimSuffix(decimals(x, 1), ".0") }

func heroes(b brief.Brief) []hero {
	p, f := b.Plan, b.Forecast
	var out []hero
	low, median, high := forecastClock(f.Low80, f.Median, f.High80)
	finish := hero{"Finish, most likely", median, "four times out of five between " + low + " and " + high}
	if f.Alone {
		finish.Label = "Finish if you rode it alone"
		finish.Note = "most likely; " + finish.Note
	}
	if f.Draws == 0 {
		finish.Value, finish.Note = clock(p.Time), "if everything is as assumed; nothing was drawn, so there is no interval"
	}
	out = append(out, finish)
	if p.EvenTime > 0 {
		out = append(out, evenHero(b))
	}
	if f.Draws > 0 {
		out = append(out, emptyHero(b))
	}
	if p.OptimumTime > 0 {
		label := "These " + plural(len(p.Cues), "cue") + " cost"
		switch {
		case len(p.Cues) == 1:
			label = "This one cue costs"
		case len(p.Cues) == 0 && len(p.Rules) > 0:
			label = "Riding by " + plural(len(joined(p.Rules)), "rule") + " costs"
		case len(p.Cues) == 0:
			label = "This plan costs"
		}
		out = append(out, hero{label, lapse(math.Max(0, p.Time-p.OptimumTime)), "against the perfect ride"})
	}
	return out
}

// evenHero compares like with like: both forecast in the same draws, or both
// on the mean road.
func evenHero(b brief.Brief) hero {
	p, even, gain := b.Plan, b.Plan.EvenTime, b.Plan.EvenTime-b.Plan.Time
	if m := b.Forecast.EvenMedian; m > 0 {
		even, gain = m, m-b.Forecast.Median
	}
	h := hero{"Best even effort", clock(even), "at " + whole(p.EvenWatts) + nb + "W all the way"}
	if b.Rig.Speaks != "watts" {
		h.Note = "at one effort all the way"
	}
	notable := math.Max(0.5, 1e-3*p.Time) // what is worth a word
	switch {
	case gain >= notable && p.Kept > 0 && p.Kept <= 1:
		h.Note += "; the plan gains " + lapse(gain) + ", " + percent(p.Kept, 0) + " of what can be gained"
	case gain >= notable:
		h.Note += "; the plan gains " + lapse(gain)
	case gain <= -notable:
		h.Note += "; that is " + lapse(gain) + " quicker than this plan"
	default:
		h.Note += "; the plan is no quicker, only easier to ride"
	}
	return h
}

func emptyHero(b brief.Brief) hero {
	f := b.Forecast
	h := hero{Label: "Runs empty before the line", Value: odds(f.ChanceEmpty)}
	where := ""
	if f.EmptyCue > 0 {
		where = "most often on cue " + whole(float64(f.EmptyCue))
		if f.EmptyAt > 0 {
			where += ", near km " + km(f.EmptyAt)
		}
	} else if f.EmptyAt > 0 {
		where = "most often near km " + km(f.EmptyAt)
	}
	if f.ChanceEmpty == 0 {
		h.Value, h.Note = "never", "in "+thousands(f.Draws)+" tries"
		return h
	}
	h.Note = where
	return h
}

// thousands groups digits in threes.
func thousands(n int) string {
	s := whole(float64(n))
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// leadOf is what a cue says in the language of the rig, as short as can be.
func leadOf(speaks string, c brief.Cue) string {
	switch speaks {
	case "wheel speed":
		return wheel(c.WheelKmh, c.WheelLowKmh, c.WheelHighKmh)
	case "feel":
		return whole(float64(c.Exertion))
	}
	return whole(c.Watts)
}

// wheel rounds a wheel speed to half a kilometre an hour where it is known
// well, else to a whole one.
func wheel(v, low, high float64) string {
	if high-low >= 2 {
		return whole(v)
	}
	return decimals(v, 1)
}

func plusMinus(v, low, high float64) string {
	half := (high - low) / 2
	if !(half > 0) || v <= 0 {
		return ""
	}
	if high-low >= 2 {
		return "± " + whole(math.Max(1, math.Round(half)))
	}
	return "± " + decimals(math.Max(0.1, half), 1)
}

// stripNote says what the lines of the strip are and what its tint means.
func stripNote(b brief.Brief) (string, []scaleStep) {
	if b.Course.Known == "sketch" {
		n := min(len(b.Course.Plausible), 5)
		if n < 2 {
			return "One of the ways this course may look: only its length and ascent are known.", nil
		}
		return upper(count(n)) + " of the ways this course may look: only its length and ascent are known.", nil
	}
	if len(b.Plan.Cues) == 0 && len(b.Plan.Trace) < 2 {
		return "The course from the side.", nil
	}
	var scale []scaleStep
	for _, share := range []float64{0, 0.5, 0.75, 1, 1.25, 1.5} {
		scale = append(scale, scaleStep{level(share), percent(share, 0)})
	}
	scale[0].Text, scale[len(scale)-1].Text = "rest", "150 % and more"
	cp := whole(b.Rider.CriticalPower.Mean) + nb
	return "Line: the effort. Dots: your critical power, " + cp + "W. Tint, in % of it:", scale
}

// stripWords is the strip for those who cannot see it.
func stripWords(b brief.Brief) (title, desc string) {
	length := distance(courseLength(b))
	title = "The course, " + length + " with " + whole(b.Course.Ascent) + " m of ascent"
	var s []string
	for _, c := range b.Course.Climbs {
		s = append(s, "A climb from km "+km(c.Start)+": "+distance(c.Length)+" at "+percent(c.Mean, 1)+".")
	}
	if b.Course.Known == "sketch" {
		note, _ := stripNote(b)
		return title, note
	}
	title += ", and the effort planned on it"
	hard, easy := -1, -1
	for i, c := range b.Plan.Cues {
		if hard < 0 || c.Watts > b.Plan.Cues[hard].Watts {
			hard = i
		}
		if easy < 0 || c.Watts < b.Plan.Cues[easy].Watts {
			easy = i
		}
	}
	if hard >= 0 {
		h, e := b.Plan.Cues[hard], b.Plan.Cues[easy]
		s = append(s, upper(plural(len(b.Plan.Cues), "cue"))+"; the hardest is cue "+whole(float64(h.Number))+" at "+whole(h.Watts)+
			" W, the easiest cue "+whole(float64(e.Number))+" at "+whole(e.Watts)+" W. The table lists them all.")
	}
	return title, strings.Join(s, " ")
}
