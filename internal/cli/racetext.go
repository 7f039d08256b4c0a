package cli

import (
	"fmt"
	"math"
	"strings"

	"chainline/internal/problem"
	"chainline/internal/service"
)

// raceText is a race sheet for a terminal, no line over 80 columns.
func raceText(r service.RaceSheet) string {
	var b strings.Builder
	b.WriteString("RACE\n")
	about := []string{}
	for _, part := range []string{r.Title, r.When, r.Rider} {
		if part != "" {
			about = append(about, problem.OneLine(part))
		}
	}
	if len(about) > 0 {
		wrap(&b, "", strings.Join(about, ", "))
	}
	wrap(&b, "", fmt.Sprintf("%s: %.1f km, %.0f m of ascent", problem.OneLine(r.Course), r.LengthM/1000, r.AscentM))
	if t := r.TimeTrial; t != nil {
		wrap(&b, "", fmt.Sprintf("against the clock: %s, four in five within %s to %s, %d cues", lasted(t.MedianS), lasted(t.Low80), lasted(t.High80), t.Cues))
	}
	if r.Enter != "" {
		b.WriteString("\nENTER " + strings.ToUpper(problem.OneLine(r.Enter)) + "\n")
	}
	for _, w := range r.Why {
		wrap(&b, "  ", w)
	}
	if r.Unproved != "" {
		wrap(&b, "  ", r.Unproved)
	}
	categoriesText(&b, r)
	startText(&b, r)
	for _, n := range r.Notes {
		wrap(&b, "", n)
	}
	return b.String()
}

func categoriesText(b *strings.Builder, r service.RaceSheet) {
	if len(r.Categories) == 0 {
		return
	}
	b.WriteString("\nTHE CATEGORIES: CHANCE OF FINISHING WITH THE FRONT GROUP\n")
	for _, c := range r.Categories {
		name := problem.OneLine(c.Name)
		if !c.Forecast {
			wrap(b, "  ", name+": "+c.Standing)
			continue
		}
		wrap(b, "  ", fmt.Sprintf("%s: %s (shelter low %s, middling %s, high %s; ± %.0f %%)", name, chance(c.Chance), chance(c.LowShelter), chance(c.MidShelter), chance(c.TopShelter), 100*c.ChanceSE))
		wrap(b, "    ", c.Standing)
		if c.Lost != nil {
			wrap(b, "    ", fmt.Sprintf("if dropped: %s behind, four in five within %s to %s", lasted(c.Lost.Mean), lasted(c.Lost.Low80), lasted(c.Lost.High80)))
		}
		if c.Opening != nil && c.Mean != nil {
			wrap(b, "    ", fmt.Sprintf("first five minutes %.0f W, the whole %.0f W", c.Opening.Mean, c.Mean.Mean))
		}
		if c.OverLimit >= 0.005 {
			wrap(b, "    ", fmt.Sprintf("shows more than its limit in the race itself: %s", chance(c.OverLimit)))
		}
		b.WriteString("    " + alongText(c.Along) + "\n")
	}
	wrap(b, "  ", "The line of each: still with the front group, by a tenth of the course.")
}

// alongText is the chance at every tenth of the course, middling shelter.
func alongText(along []service.RacePlace) string {
	var cells []string
	for i := 2; i < len(along); i += 2 {
		cells = append(cells, fmt.Sprintf("%3.0f", 100*along[i].Middle))
	}
	return strings.Join(cells, " ") + "  %"
}

func startText(b *strings.Builder, r service.RaceSheet) {
	if len(r.WarmUp) > 0 {
		b.WriteString("\nBEFORE THE GUN\n")
		for _, s := range r.WarmUp {
			what := fmt.Sprintf("%.0f W", s.Watts)
			if s.Watts == 0 {
				what = "rest"
			}
			wrap(b, "  ", fmt.Sprintf("%s before: %s for %s, %s", lasted(-s.StartS), what, lasted(s.DurationS), s.Name))
		}
	}
	if len(r.Lines) > 0 {
		b.WriteString("\nRIDE IT LIKE THIS\n")
		for _, l := range r.Lines {
			wrap(b, "  ", l)
		}
	}
	if len(r.Card) > 0 {
		b.WriteString("\nFOR THE HANDLEBAR\n")
		for _, l := range r.Card {
			wrap(b, "  ", l)
		}
	}
	b.WriteString("\n")
}

// handicapText is a start list for a terminal.
func handicapText(h service.HandicapSheet) string {
	var b strings.Builder
	b.WriteString("HANDICAP START\n")
	wrap(&b, "", fmt.Sprintf("%s, %.1f km", problem.OneLine(h.Course), h.LengthM/1000))
	for i, x := range h.Bunches {
		name := "after " + startGap(x.GapS)
		if i == 0 {
			name = "first, at 0:00"
		}
		b.WriteString("\n" + name + "\n")
		for _, r := range x.Riders {
			fmt.Fprintf(&b, "  %s first home %s ± %.0f %%, in at %s to %s\n", pad(problem.OneLine(r.Name), 22), chance(r.Chance), 100*r.SE, startGap(r.Arrives.Low80), startGap(r.Arrives.High80))
		}
	}
	b.WriteString("\n")
	wrap(&b, "", fmt.Sprintf("All equal would be %.0f %% each. Arrivals spread by %.0f s (one standard deviation).", 100*h.Fair, h.SpreadS))
	if len(h.Changes) > 0 {
		b.WriteString("\nWHAT THE ARRIVALS CHANGED (the list above is for next time)\n")
		for _, c := range h.Changes {
			wrap(&b, "  ", fmt.Sprintf("%s: %+.1f %% of their power; %s", problem.OneLine(c.Name), 100*c.Share, c.Why))
		}
	}
	for _, n := range h.Notes {
		wrap(&b, "", n)
	}
	wrap(&b, "", h.Unproved)
	return b.String()
}

// startGap is minutes and seconds.
func startGap(s float64) string {
	n := int(math.Round(s))
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

// togetherText is a group ride for a terminal.
func togetherText(t service.TogetherSheet) string {
	var b strings.Builder
	b.WriteString("TOGETHER\n")
	switch {
	case t.Best == "":
		wrap(&b, "", "None of these courses suits everybody.")
	case len(t.Courses) > 1:
		wrap(&b, "", "The longest that suits everybody: "+problem.OneLine(t.Best))
	}
	for _, c := range t.Courses {
		b.WriteString("\n")
		wrap(&b, "", fmt.Sprintf("%s, %.1f km: %s at %.1f km/h", problem.OneLine(c.Course), c.LengthM/1000, lasted(c.Seconds), 3.6*c.SpeedMS))
		wrap(&b, "  ", c.Why)
		for _, r := range c.Riders {
			role := "shelters"
			if r.Leads {
				role = "takes turns"
			}
			climb := ""
			if r.ClimbW > 0 {
				climb = fmt.Sprintf(", climbs %.0f W", r.ClimbW)
			}
			wrap(&b, "  ", fmt.Sprintf("%s %s: wheels %.0f W, front %.0f W%s, never above %.0f W; could hold %.1f km/h", problem.OneLine(r.Name), role, r.LevelW, r.FrontW, climb, r.NeverW, 3.6*r.HoldsMS))
			for _, o := range r.Over {
				wrap(&b, "      ", fmt.Sprintf("above critical power by %.0f W at km %.1f to %.1f", o.OverW, o.FromM/1000, o.ToM/1000))
			}
		}
		for _, g := range c.Regroup {
			wrap(&b, "  ", fmt.Sprintf("Regroup at km %.1f if the climb is ridden at one's own pace: %s from the first to the last, %s.", g.AtM/1000, lasted(g.WaitS), problem.OneLine(g.Last)))
		}
	}
	for _, n := range t.Notes {
		wrap(&b, "", n)
	}
	return b.String()
}
