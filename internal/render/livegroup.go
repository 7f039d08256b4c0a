package render

import (
	"fmt"
	"math"

	"chainline/internal/ride"
)

// mostGroupLines are the riders of a group that a terminal shows.
const mostGroupLines = 8

var linkWords = map[string]string{ride.LinkHere: "hosted here", ride.LinkWell: "link well", ride.LinkSlow: "link slow", ride.LinkSilent: "the host is not heard"}

// GroupText is a live group for a terminal; nil gives nothing.
func GroupText(g *ride.GroupSheet) []string {
	if g == nil {
		return nil
	}
	head := "group " + g.Title + ": no gun yet"
	switch {
	case g.GunSet && g.ClockS < 0:
		head = "group " + g.Title + ": gun in " + clock(-g.ClockS)
	case g.GunSet:
		head = "group " + g.Title + ": " + clock(g.ClockS) + " since the gun"
	}
	if words := linkWords[g.Link]; words != "" {
		head += ", " + words
	}
	if g.Link == ride.LinkSilent && g.SilentS > 0 {
		head += fmt.Sprintf(" for %.0f s", g.SilentS)
	}
	air := fmt.Sprintf("air drag %.0f %%", 100*g.Shelter)
	if g.Keep {
		air += fmt.Sprintf(", host's help leaves %.0f %% of it", 100*g.Extra)
	}
	out := []string{head, air}
	for _, d := range g.Riders[:min(len(g.Riders), mostGroupLines)] {
		out = append(out, dotLine(d))
	}
	if more := len(g.Riders) - mostGroupLines; more > 0 {
		out = append(out, fmt.Sprintf("and %d more", more))
	}
	for _, p := range g.Phrases {
		out = append(out, "» "+p.From+": "+p.Words)
	}
	for i := range out {
		out[i] = clean(out[i])
	}
	return out
}

func dotLine(d ride.GroupDot) string {
	line := fmt.Sprintf("  %7.2f km  %s", d.AtM/1000, d.Name)
	switch {
	case d.You:
		line += " (you)"
	case d.Known && math.Abs(d.BehindS) < 0.5:
		line += ", beside you"
	case d.Known && d.BehindS < 0:
		line += fmt.Sprintf(", %s ahead", gap(-d.BehindS))
	case d.Known:
		line += fmt.Sprintf(", %s behind", gap(d.BehindS))
	}
	switch d.State {
	case ride.DotWaiting:
		line += ", waiting"
	case ride.DotSilent:
		line += fmt.Sprintf(", not heard for %.0f s", d.SilentS)
	case ride.DotGone:
		line += ", gone"
	case ride.DotHome:
		line += ", home"
	}
	if d.LateS > 0 {
		line += ", left the line " + clock(d.LateS) + " after the gun"
	}
	if d.Extra {
		line += ", with the host's help"
	}
	return line
}

func gap(s float64) string {
	if s < 60 {
		return fmt.Sprintf("%.0f s", s)
	}
	return clock(s)
}
