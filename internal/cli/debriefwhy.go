package cli

import (
	"fmt"
	"math"
	"strings"

	"chainline/debrief"
	"chainline/internal/problem"
	"chainline/internal/service"
)

// againstText is the ride against its plan, and why the forecast was off.
func againstText(b *strings.Builder, a debrief.Against) {
	b.WriteString("\nAGAINST THE PLAN\n")
	forecast := fmt.Sprintf("forecast %s (%s to %s)", lasted(a.ForecastS), lasted(a.Low80S), lasted(a.High80S))
	if a.Finished {
		wrap(b, "  ", fmt.Sprintf("ridden in %s; %s: %s s; %.0f of 100 forecast rides were faster", lasted(a.RiddenS), forecast, signed0(a.OffS), 100*a.Faster))
	} else {
		wrap(b, "  ", fmt.Sprintf("not ridden to its end: it stopped at %.1f km; %s", a.BehindAtM/1000, forecast))
	}
	if a.PausedS >= 1 {
		wrap(b, "  ", "pauses of "+lasted(a.PausedS)+" left out")
	}
	if len(a.Line) > 0 {
		wrap(b, "  ", fmt.Sprintf("%s W off the plan on average", signed0(a.MeanOffW)))
	}
	for _, c := range a.Cues {
		where := fmt.Sprintf("cue %d", c.Number)
		if c.Name != "" {
			where += ", " + problem.OneLine(c.Name)
		}
		where += fmt.Sprintf(" (%.1f to %.1f km)", c.FromM/1000, c.ToM/1000)
		if !c.Ridden {
			wrap(b, "  ", where+": not ridden to its end")
			continue
		}
		wrap(b, "  ", fmt.Sprintf("%s: %s W, %s s; planned %.0f W for %s", where, signed0(c.OffW), signed0(c.OffS), c.PlannedW, lasted(c.PlannedS)))
	}
	if a.Split != nil {
		wrap(b, "  ", fmt.Sprintf("Why %s s:", signed0(a.Split.OffS)))
		for _, p := range a.Split.Parts {
			line := fmt.Sprintf("%s %s s", p.Name, signed0(p.Seconds))
			if p.CouldBeS >= 0.5 {
				line += fmt.Sprintf(" (one of them alone could make ±%.0f s)", p.CouldBeS)
			}
			wrap(b, "    ", line+": "+p.Why)
		}
	}
	if x := a.Best; x != nil {
		wrap(b, "  ", bestWords(*x))
	}
}

func bestWords(x debrief.BestRide) string {
	shown := fmt.Sprintf("The ride showed %.0f W of critical power and %s kJ of W′, %.0f %% of what was thought possible.", x.CriticalPower, kilo(x.WPrime), 100*x.Share)
	if x.SavedS < 0.5 {
		return shown + " With these it could not have been ridden faster."
	}
	return fmt.Sprintf("%s With these the course could have taken %s, %.0f s less.", shown, lasted(x.TimeS), x.SavedS)
}

// learntText is what the ride taught of the rider.
func learntText(b *strings.Builder, l debrief.Learning) {
	b.WriteString("\nWHAT IT TAUGHT\n")
	wrap(b, "  ", l.Sentence)
	movedText(b, l.Numbers)
}

func movedText(b *strings.Builder, numbers []debrief.Moved) {
	for _, n := range numbers {
		unit, by := n.Unit, 1.0
		format := "%s %.0f (%.0f to %.0f) %s, before %.0f (%.0f to %.0f)"
		if unit == "J" {
			unit, by = "kJ", 1000
			format = "%s %.1f (%.1f to %.1f) %s, before %.1f (%.1f to %.1f)"
		}
		a, z := n.Before, n.After
		wrap(b, "  ", fmt.Sprintf(format, n.Name, z.Mean/by, z.Low80/by, z.High80/by, unit, a.Mean/by, a.Low80/by, a.High80/by))
	}
}

// roadText is what the ride says of the road.
func roadText(b *strings.Builder, f debrief.RoadFit) {
	b.WriteString("\nTHE ROAD\n")
	for _, line := range f.Sentences() {
		wrap(b, "  ", line)
	}
}

// seasonText is what several rides come to.
func seasonText(s service.DebriefSeason) string {
	var b strings.Builder
	title := "ALL RIDES\n"
	if s.Rides == 1 {
		title = "LEFT OUT\n"
	}
	b.WriteString(title)
	if s.Rides > 1 {
		line := counted(s.Rides, "ride")
		if s.From != "" {
			line += ", " + s.From + " to " + s.To
		}
		wrap(&b, "  ", line)
		if len(s.Numbers) > 0 {
			wrap(&b, "  ", "Known after the last ride, and before the first:")
			movedText(&b, s.Numbers)
		}
		responseText(&b, s)
	}
	for _, u := range s.Unsaid {
		wrap(&b, "  ", u)
	}
	for _, l := range s.LeftOut {
		wrap(&b, "  ", "left out: "+problem.OneLine(l.Why))
	}
	return b.String()
}

func responseText(b *strings.Builder, s service.DebriefSeason) {
	c := s.Response
	if c == nil || len(c.Days) == 0 {
		return
	}
	d := c.Days[len(c.Days)-1]
	wrap(b, "  ", fmt.Sprintf("On the morning of %s: fitness %.2f (%.2f to %.2f), fatigue %.2f (%.2f to %.2f), net response %s (%s to %s), as steady loads a day in th",
		s.Day(d.Day).Format("2 January 2006"), d.Fitness.Mean, d.Fitness.Low80, d.Fitness.High80, d.Fatigue.Mean, d.Fatigue.Low80, d.Fatigue.High80, signed2(d.Net.Mean), signed2(d.Net.Low80), signed2(d.Net.High80)))
	if c.Caution != "" {
		wrap(b, "  ", c.Caution)
	}
	for _, n := range c.Next {
		wrap(b, "  ", fmt.Sprintf("%s: %s, %.1f th. %s", s.Day(n.Day).Format("Mon 2 January"), n.Kind, n.Load, n.Reason))
	}
	wrap(b, "  ", c.Basis)
}

// signed2 is a number of two decimals with its sign.
func signed2(v float64) string {
	x := math.Round(100*v) / 100
	if x < 0 {
		return fmt.Sprintf("−%.2f", -x)
	}
	return fmt.Sprintf("+%.2f", math.Abs(x))
}
