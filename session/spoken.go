package session

import (
	"fmt"
	"math"
	"strings"

	"chainline/capacity"
)

// A scaled leg in words, and what to say before the ride.

var spokenVerbs = [...]string{Work: "Ride", Warm: "Warm up", Easy: "Easy", Cool: "Cool down", Sprint: "Sprint", Test: "Test", Off: "Rest"}

// describe gives the leg its feel and its words.
func (l *Leg) describe(v View) {
	switch t := l.Stage.Target; {
	case t.Of == OfAllOut:
		l.Exertion = 20
	case t.Of == OfFeel:
		l.Exertion = int(math.Round((t.From + t.To) / 2))
	default:
		l.Exertion, _ = capacity.Feel(l.ridden(1)/v.CriticalPowerW, l.PlanS)
	}
	l.Feel = capacity.FeelWords(l.Exertion)
	words := spokenVerbs[l.Kind] + " " + l.End.spoken()
	switch {
	case l.Kind == Off:
		words += " without pedalling"
	case l.Stage.Target.Of == OfAllOut:
		words += fmt.Sprintf(" with all you have (about %.0f W)", l.AimW)
	case l.Lead == ByHeart:
		words += fmt.Sprintf(" with the heart at %.0f to %.0f beats a minute", l.HeartLow, l.HeartHigh)
		if l.HeartLow == l.HeartHigh {
			words = strings.Replace(words, fmt.Sprintf("%.0f to ", l.HeartLow), "about ", 1)
		}
	case l.Lead == ByFeel && l.Stage.Target.Of == OfNothing && l.Kind == Work:
		words += " as you like"
	case l.Lead == ByFeel:
		words += ": " + l.Feel
	case l.AimW != l.ToW:
		words += fmt.Sprintf(" from %.0f to %.0f W", l.AimW, l.ToW)
	default:
		words += fmt.Sprintf(" at %.0f W", l.AimW)
	}
	switch {
	case l.CadenceLow > 0 && l.CadenceLow == l.CadenceHigh:
		words += fmt.Sprintf(", %.0f rpm", l.CadenceLow)
	case l.CadenceLow > 0:
		words += fmt.Sprintf(", %.0f to %.0f rpm", l.CadenceLow, l.CadenceHigh)
	}
	l.Words = words
}

func (e End) spoken() string {
	switch e.Kind {
	case AfterDistance:
		return distance(e.Metres)
	case AtBalance:
		is := "left"
		if e.Back {
			is = "back"
		}
		return fmt.Sprintf("until %s of W′ is %s (%s to %s)", percent(e.Left), is, clock(e.LeastS), clock(e.MostS))
	case WhenSpent:
		return "until you cannot go on (at most " + clock(e.MostS) + ")"
	case AtWord:
		return "until you say so (at most " + clock(e.MostS) + ")"
	}
	return clock(e.Seconds)
}

// warnings are said before the ride, each stage's once.
func (s Scaled) warnings(v View) (out []Warning) {
	whole := func(format string, args ...any) { out = append(out, Warning{-1, fmt.Sprintf(format, args...)}) }
	if most := v.CriticalPowerW + v.WPrimeJ/3600; v.ThresholdW > 1.02*most {
		whole("A threshold of %.0f W for an hour is more than critical power and W′ allow (%.0f W): stages by threshold may be too hard.", v.ThresholdW, most)
	}
	if v.HoldsPower && v.FloorW == 0 && v.CeilingW == 0 {
		whole("What this brake can hold is not known, so that nothing here was checked against it.")
	}
	said := map[string]bool{}
	for i, l := range s.Legs {
		for _, text := range l.warnings(v) {
			key := fmt.Sprint(l.At, text)
			if l.Stage.Target.Of == OfAllOut {
				key = text
			}
			if !said[key] {
				said[key] = true
				out = append(out, Warning{i, fmt.Sprintf("%s: %s.", l.Stage.quoted(), text)})
			}
		}
	}
	low := Warning{s.LowestLeg, ""}
	sentence := s.Legs[s.LowestLeg].Stage.quoted()
	switch {
	case s.LowestBalance < -0.01:
		low.Text = fmt.Sprintf("%s: W′ would be spent before it ends. It is not rideable as written: make it shorter or easier.", sentence)
	case s.LowestBalance < 0.10 && !s.meantToEmpty():
		low.Text = fmt.Sprintf("%s: only %.0f %% of W′ is left in it. On a bad day you will not finish it.", sentence, math.Max(0, 100*s.LowestBalance))
	}
	if low.Text != "" {
		out = append(out, low)
	}
	return out
}

// meantToEmpty tells whether the lowest leg is one that is to empty the rider.
func (s Scaled) meantToEmpty() bool {
	l := s.Legs[s.LowestLeg].Stage
	return l.Target.Of == OfAllOut || l.End.Kind == WhenSpent || l.End.Kind == AtBalance && !l.End.Back
}

func (l Leg) warnings(v View) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if l.Brake != "" {
		say("%s", l.Brake)
	}
	t := l.Stage.Target
	switch {
	case t.Of != OfHeart && t.Of != OfHeartMax:
	case v.HeartRateOff:
		say("heart rates are not used for you, so it is ridden by feel: %s", l.Feel)
	case t.Of == OfHeartMax && v.HeartMax == 0:
		say("your maximal heart rate was never measured, so it is ridden by feel: %s", l.Feel)
	case v.HeartMax > 0 && l.HeartHigh > v.HeartMax:
		say("%.0f beats a minute is above your maximum of %.0f", l.HeartHigh, v.HeartMax)
	case l.PlanS < capacity.HeartBandFrom:
		say("it is too short for the heart to follow: begin by feel, %s", l.Feel)
	}
	if t.Of == OfWatts && max(t.From, t.To) > v.MaxPowerW ||
		t.Of == OfCritical && max(t.From, t.To)*v.CriticalPowerW > v.MaxPowerW || t.Of == OfThreshold && max(t.From, t.To)*v.ThresholdW > v.MaxPowerW {
		say("it asks for more than your maximal power, %.0f W: that is taken instead", v.MaxPowerW)
	}
	if l.End.Kind == AtBalance && l.PlanS >= l.End.MostS-0.5 {
		say("W′ will hardly get there before the most time of %s is over", clock(l.End.MostS))
	}
	return out
}
