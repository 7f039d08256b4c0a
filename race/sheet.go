package race

import (
	"fmt"
	"math"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
)

// Sheet is what a rider takes to a mass start: values and short sentences. The
// warm-up comes from package session, put beside it by whoever shows it.
type Sheet struct {
	Category string
	// The start: what the front group asks for, and how long a careful rider
	// can give it until half of W′ is gone. +Inf: for good.
	OpeningW, AffordS float64
	HalfGoneW         float64 // W that leaves half of W′ after the first two minutes
	Shelter           []Stretch
	Spend             []Moment
	Gap               Closing // closing a gap of five seconds on the level
	GapShare          float64 // of W′ that costs
	Launch            Launch
	DroppedW          float64 // W to ride home at alone
	DroppedLostS      float64 // s, what being dropped costs in the middle
	Lines             []string
	Card              []string // at most seven lines for the handlebar
	Unproved          string
}

// Stretch is a piece of the course where the wheels save most.
type Stretch struct {
	FromM, ToM float64
	SavedW     float64
}

const (
	careful      = 0.6  // standard deviations below the mean the start is planned for; our judgement
	leave        = 0.5  // share of W′ not to go below in the opening
	mostShelter  = 3    // stretches named
	shelterLeast = 15.0 // W saved, below which a stretch is not named
	shelterOver  = 60.0 // s a stretch lasts at least
	gapS         = 5.0  // s, of the gap priced
	openingS     = 120.0
	finale       = 1.06 // how much faster than usual the bunch comes to the line; our judgement
)

// NewSheet makes the sheet of a category from its outlook.
func NewSheet(q Ask, o Outlook) Sheet {
	c := q.Me.Capacity.AtRisk(careful, o.FinishS.Mean)
	c.CriticalPower = c.SustainableCP(o.FinishS.Mean)
	motion := q.Road.Motion(q.Me.Mass)
	s := Sheet{Category: o.Category.Name, OpeningW: o.FrontOpeningW, Spend: o.Moments, Unproved: Unproved}
	if s.OpeningW == 0 {
		s.OpeningW = o.OpeningW.High80
	}
	s.AffordS = Afford(c, s.OpeningW, leave)
	s.HalfGoneW = c.CriticalPower + (1-leave)*c.WPrime/openingS
	middle := Bunch(Middle)
	s.Shelter = shelterAt(q, o, middle)
	speed := q.speedOn(0)
	s.Gap = CloseGap(motion, c, middle.Factor(6, 0), gapS*speed, speed, 0)
	s.GapShare = s.Gap.CostJ / c.WPrime
	left := o.LeftJ
	if left == 0 {
		left = 0.3 * c.WPrime
	}
	end := q.Way.Gradient(q.Way.length - 100)
	s.Launch = BestLaunch(motion, c, left, finale*q.speedOn(end), end)
	s.DroppedW = math.Round(0.95*c.CriticalPower/5) * 5
	s.DroppedLostS = o.LostS.Mean
	s.say(c, o)
	return s
}

// speedOn is how fast a usual leader of the field takes the bunch over a
// gradient.
func (q Ask) speedOn(gradient float64) float64 {
	const body = 75.0 // kg
	watts := q.Field.Middle() * math.Exp(q.Field.Shift) * body * Usual.lead(1e9, gradient, 1e9)
	return math.Max(3, motionOf(q.Road, body).SpeedAt(watts, gradient, 0))
}

// shelterAt are the stretches where the wheels of a bunch save most watts.
func shelterAt(q Ask, o Outlook, s Shelter) []Stretch {
	motion := q.Road.Motion(q.Me.Mass)
	var out []Stretch
	for _, part := range course.Sections(q.Way.Profile) {
		v := motion.SpeedAt(q.Me.Capacity.CriticalPower*Usual.lead(1e9, part.Gradient, 1e9), part.Gradient, 0)
		if v <= 0 || (part.To-part.From)/v < shelterOver {
			continue
		}
		full, in := motion.PowerAt(v, part.Gradient, 0), motion.Sheltered(s.Factor(6, 0)).PowerAt(v, part.Gradient, 0)
		if saved := full - math.Max(0, in); full > 0 && saved >= shelterLeast {
			out = append(out, Stretch{part.From, part.To, saved})
		}
	}
	for i := 1; i < len(out); i++ {
		for j := i; j > 0 && out[j].SavedW > out[j-1].SavedW; j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	return out[:min(len(out), mostShelter)]
}

func (s *Sheet) say(c capacity.Capacity, o Outlook) {
	add := func(line, card string) {
		s.Lines = append(s.Lines, line)
		if card != "" && len(s.Card) < 7 {
			s.Card = append(s.Card, card)
		}
	}
	if math.IsInf(s.AffordS, 1) {
		add(fmt.Sprintf("The start: the front group takes about %.0f W over the first five minutes, at or below your critical power of %.0f W.", s.OpeningW, c.CriticalPower),
			fmt.Sprintf("start %.0f W: you can hold that", round5(s.OpeningW)))
	} else {
		add(fmt.Sprintf("The start: the front group takes about %.0f W over the first five minutes. You can give that for %s until half of your W′ is gone; %.0f W for two minutes is the most.", s.OpeningW, clock(s.AffordS), s.HalfGoneW),
			fmt.Sprintf("start %.0f W, at most %s", round5(s.OpeningW), clock(s.AffordS)))
	}
	for i, p := range s.Shelter {
		card := ""
		if i == 0 {
			card = fmt.Sprintf("sit in km %s", span(p.FromM, p.ToM))
		}
		add(fmt.Sprintf("Sit in from km %s: in the wheels it takes %.0f W less.", span(p.FromM, p.ToM), p.SavedW), card)
	}
	for i, m := range s.Spend {
		card := ""
		if i < 2 {
			card = fmt.Sprintf("km %s: %.0f W for %s", span(m.FromM, m.ToM), round5(m.Watts), clock(m.Seconds))
		}
		add(fmt.Sprintf("Spend at km %s (%.1f %%): %s of those who are dropped are dropped here; holding the wheel took %.0f W for %s.", span(m.FromM, m.ToM), 100*m.Gradient, estimate.Chance(m.Share), m.Watts, clock(m.Seconds)), card)
	}
	switch {
	case s.Gap.CostJ < 50: // printed as 0.0 kJ
		add(fmt.Sprintf("A gap of five seconds on the level can be closed without going above critical power: %.0f W for %s.", s.Gap.Watts, clock(s.Gap.Seconds)), "")
	case !math.IsInf(s.Gap.CostJ, 1):
		add(fmt.Sprintf("Closing a gap of five seconds on the level costs %.1f kJ, %.0f %% of your W′: %.0f W for %s.", s.Gap.CostJ/1000, 100*s.GapShare, s.Gap.Watts, clock(s.Gap.Seconds)), "")
	default:
		add("A gap of five seconds on the level is more than you can close alone: never let one open.", "let no gap open")
	}
	if s.Launch.FromM > 0 && o.LeftJ > 0 {
		add(fmt.Sprintf("If you are there at the end: go %.0f m before the line, %.0f W for %s.", s.Launch.FromM, s.Launch.Watts, clock(s.Launch.Seconds)),
			fmt.Sprintf("go at %.0f m to go", s.Launch.FromM))
	}
	add(fmt.Sprintf("If you are dropped: %.0f W, and take the next wheels that come. Riders dropped from this group were %s behind in the middle.", s.DroppedW, clock(s.DroppedLostS)),
		fmt.Sprintf("dropped: %.0f W, wait for wheels", s.DroppedW))
}

func round5(w float64) float64 { return 5 * math.Round(w/5) }

func span(from, to float64) string { return fmt.Sprintf("%.1f to %.1f", from/1000, to/1000) }
