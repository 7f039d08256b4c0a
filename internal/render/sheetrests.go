package render

import (
	"math"
	"strings"

	"chainline/brief"
	"chainline/estimate"
)

// rests fills what the brief rests on: the numbers, how sure they are, and why.
func (s *sheet) rests(b brief.Brief) {
	r := b.Rider
	type line struct {
		name, unit string
		e          estimate.Estimate
		scale      float64
		n          int
	}
	lines := []line{
		{"Critical power", "W", r.CriticalPower, 1, 0},
		{"To spend above it", "kJ", r.WPrime, 1e-3, 1},
		{"Threshold", "W", r.Threshold, 1, 0},
		{"Maximal power", "W", r.MaxPower, 1, 0},
		{"Drag area", "m²", b.Road.CdA, 1, 3},
		{"Rolling", "", b.Road.Crr, 1, 4},
	}
	widest := 0.1
	for _, l := range lines {
		if l.e.Mean > 0 && l.e.SD > 0 {
			widest = math.Max(widest, math.Max(l.e.High80-l.e.Mean, l.e.Mean-l.e.Low80)/l.e.Mean)
		}
	}
	widest *= 1.1
	for _, l := range lines {
		if !(l.e.Mean > 0) {
			continue
		}
		row := rest{Name: l.name, Value: decimals(l.e.Mean*l.scale, l.n), Unit: l.unit, Low: 0.5, High: 0.5, Range: "as stated"}
		if l.e.High80 > l.e.Low80 {
			row.Range = between(l.e.Low80*l.scale, l.e.High80*l.scale, l.n)
			row.Low = 0.5 + (l.e.Low80/l.e.Mean-1)/widest/2
			row.High = 0.5 + (l.e.High80/l.e.Mean-1)/widest/2
			row.Picture = true
		}
		s.Rests = append(s.Rests, row)
	}
	if r.Mass > 0 {
		mass := rest{Name: "Mass with bike", Value: decimals(r.Mass+b.Road.BikeMass, 1), Unit: "kg", Range: decimals(r.Mass, 1) + " + " + decimals(b.Road.BikeMass, 1), Low: 0.5, High: 0.5}
		s.Rests = append(s.Rests, mass)
	}
	s.RestsNote = "Each bar holds the truth four times out of five; a wider bar means we know less. " +
		"‘To spend above it’ is the work you can do above critical power before you are empty (W′)."
	s.Model = sentence(r.Model)
	if s.Test == "" { // else the next test has a place of its own
		s.Next = sentence(r.Next)
	}
	for _, e := range r.Evidence {
		s.Evidence = append(s.Evidence, sentence(join([]string{join([]string{e.What, dateWords(e.When)}, ", "), e.Used}, ": ")))
		s.EvidenceOn = append(s.EvidenceOn, e.When)
	}
}

// changes are the sensitivities, in sentences.
func changes(b brief.Brief) []string {
	f := b.Forecast
	var out []string
	say := func(what string, saved float64) {
		switch {
		case saved == 0 || math.IsNaN(saved) || math.IsInf(saved, 0):
		case saved > 0:
			out = append(out, what+": "+lapse(saved)+" faster.")
		default:
			out = append(out, what+": "+lapse(saved)+" slower.")
		}
	}
	if b.Rig.Speaks != "feel" {
		say("5 W more all the way", f.FiveWatts)
	}
	say("0.01 m² less drag area", f.DragArea)
	if f.OneKg != 0 {
		out = append(out, "If the mass you typed is wrong by 1 kg: "+lapse(f.OneKg)+".")
	}
	return out
}

// planWords say how the plan was made and what it keeps back.
func planWords(b brief.Brief) []string {
	p := b.Plan
	var out []string
	switch p.Style {
	case "given":
		out = append(out, "The effort comes from the plan you gave; nothing was planned for you.")
	case "stated":
		out = append(out, "Planned for the capacity you stated, taken as exact.")
	case "":
	default:
		s := "A " + p.Style + " plan"
		if p.ChanceLimit > 0 {
			s += ": at most " + percent(p.ChanceLimit, 0) + " of rides like this one may run empty"
		}
		out = append(out, s+".")
	}
	full := p.ForWPrime
	if !(full > 0) {
		full = b.Rider.WPrime.Mean
	}
	if full > 0 && p.Reserve > 0 {
		out = append(out, percent(p.Reserve/full, 0)+" of what you can spend is kept back.")
	}
	if full > 0 && len(p.Cues) > 0 {
		out = append(out, "At its lowest you have "+percent(p.BalanceMin/full, 0)+" left.")
	}
	if p.MeanWatts > 0 {
		out = append(out, "On average "+whole(p.MeanWatts)+nb+"W.")
	}
	if p.EquivalentWatts > 0 {
		line := "It costs about as much as a steady " + whole(p.EquivalentWatts) + nb + "W"
		if p.ShareOfThreshold > 0 && p.Load > 0 {
			line += ", " + percent(p.ShareOfThreshold, 0) + " of your threshold: a load of " + decimals(p.Load, 2) + " threshold-hours"
		}
		out = append(out, line+".")
	}
	if f := b.Forecast; f.Draws > 0 {
		out = append(out, "The forecast rode it "+thousands(f.Draws)+" times, each time with other luck in all that is not known for sure.")
	}
	return out
}

// shownClimbs is how many climbs the page lists; the JSON has them all.
const shownClimbs = 5

func (s *sheet) courseWords(b brief.Brief) {
	c := b.Course
	known := map[string]string{"track": "from a recorded track", "survey": "as surveyed", "sketch": "only length and ascent are known"}[c.Known]
	name := c.Name
	if strings.Contains(clean(name), clean(distance(courseLength(b)))) { // a sketch is named by its length
		name = ""
	}
	first := join([]string{name, distance(courseLength(b)), whole(c.Ascent) + " m up"}, ", ")
	if c.Laps > 1 {
		first += " in " + plural(c.Laps, "lap")
	}
	if known != "" {
		first += "; " + known
	}
	s.Course = append(s.Course, sentence(first))
	if c.Smoothing != "" {
		s.Course = append(s.Course, sentence(c.Smoothing))
	} else if c.RawAscent > 0 && math.Abs(c.RawAscent-c.Ascent) >= 1 {
		s.Course = append(s.Course, "Before smoothing it had "+whole(c.RawAscent)+nb+"m of ascent.")
	}
	if c.Known == "sketch" { // the climbs of one of many possible profiles say nothing
		return
	}
	least := 0.0
	if len(c.Climbs) > shownClimbs { // keep the biggest, in the order they come
		var sizes []float64
		for _, u := range c.Climbs {
			sizes = append(sizes, u.Ascent)
		}
		least = kthLargest(sizes, shownClimbs)
	}
	for _, u := range c.Climbs {
		if len(s.Climbs) == shownClimbs || u.Ascent < least {
			continue
		}
		s.Climbs = append(s.Climbs, climb{"km " + km(u.Start), distance(u.Length), whole(u.Ascent) + " m", percent(u.Mean, 1), percent(u.Steepest, 1)})
	}
	if n := len(c.Climbs) - len(s.Climbs); n > 0 {
		s.ClimbNote = "and " + plural(n, "smaller climb") + "."
	}
}

func kthLargest(x []float64, k int) float64 {
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[j] > x[i] {
				x[i], x[j] = x[j], x[i]
			}
		}
	}
	return x[k-1]
}

func roadWords(b brief.Brief) []string {
	r := b.Road
	name := r.Name
	if name == "" {
		name = "open road"
	}
	var out []string
	line := upper(name) + ": bike " + decimals(r.BikeMass, 1) + " kg"
	if r.AirDensity > 0 {
		line += ", air " + decimals(r.AirDensity, 3) + " kg/m³"
	}
	if r.Efficiency > 0 {
		line += ", drivetrain " + percent(r.Efficiency, 1)
	}
	out = append(out, line+".")
	if r.AirFrom != "" {
		out = append(out, sentence(r.AirFrom))
	}
	if r.DescentCap > 0 {
		out = append(out, "No faster than "+whole(3.6*r.DescentCap)+" km/h downhill.")
	}
	if r.StartSpeed > 0 {
		out = append(out, "You start at "+whole(3.6*r.StartSpeed)+" km/h.")
	}
	if b.Rig.CurveFrom != "" {
		text := "Wheel speeds from " + b.Rig.CurveFrom
		if b.Rig.CurveSD > 0 {
			text += "; watts read from it are within " + percent(estimate.Z80*b.Rig.CurveSD, 0) + " four times out of five"
		}
		out = append(out, text+".")
	}
	return out
}
