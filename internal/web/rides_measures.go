package web

import (
	"fmt"

	"chainline/debrief"
	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/render"
)

// The measures of a ride in lines and pictures.

func measuresOf(x debrief.Debrief, critical float64, u form.Units) DebriefMeasures {
	m := x.Measures
	out := DebriefMeasures{Facts: measureFacts(m, u)}
	if len(m.Bests) > 1 {
		ridden, possible := render.BestLine{Class: "ridden"}, render.BestLine{Class: "known"}
		for _, b := range m.Bests {
			ridden.Points = append(ridden.Points, [2]float64{float64(b.Seconds), b.Watts})
			if b.Share > 0 {
				possible.Points = append(possible.Points, [2]float64{float64(b.Seconds), b.Watts / b.Share})
			}
		}
		out.Bests, out.BestSays = render.BestsPicture([]render.BestLine{possible, ridden}, critical, nil), bestsSay(m.Bests, u)
	}
	if t := m.Domains; t != nil {
		for _, d := range []struct {
			name, is string
			of       debrief.Interval
		}{{"moderate", fmt.Sprintf("up to %.0f W", t.FirstW.Mean), t.Moderate}, {"heavy", fmt.Sprintf("up to %.0f W", t.CriticalW.Mean), t.Heavy},
			{"severe", fmt.Sprintf("above critical power, up to %.0f W", t.ExtremeW.Mean), t.Severe}, {"extreme", "what ends within two minutes", t.Extreme}} {
			if d.of.High80 >= 0.5 {
				out.Domains = append(out.Domains, DomainLine{d.name, d.is, rideTime(d.of.Mean), rideTime(d.of.Low80) + " to " + rideTime(d.of.High80)})
			}
		}
	}
	if w := m.Balance; w != nil {
		out.Left, out.LeftSays = render.LeftPicture(*w), leftSays(*w, u)
	}
	out.Heart = heartSays(m)
	for i, c := range m.Climbs {
		out.Climbs = append(out.Climbs, stretchLine(c, fmt.Sprintf("Climb %d", i+1), u))
	}
	for i, l := range m.Laps {
		if l.MovingS >= 5 && len(m.Laps) > 1 {
			out.Laps = append(out.Laps, stretchLine(l, fmt.Sprintf("%d", i+1), u))
		}
	}
	return out
}

func measureFacts(m debrief.Measures, u form.Units) (out [][2]string) {
	add := func(what, format string, a ...any) { out = append(out, [2]string{what, fmt.Sprintf(format, a...)}) }
	w := m.Whole
	add("Moving", "%s", rideTime(w.MovingS))
	if way := w.ToM - w.FromM; way > 0 {
		add("Distance", "%s", u.Distance(way))
	}
	if w.AscentM >= 1 {
		add("Ascent", "%s", u.Elevation(w.AscentM))
	}
	if w.KnownS > 0 {
		add("Work", "%.0f kJ", w.WorkJ/1000)
		add("Power", "%.0f W, at most %.0f", w.MeanW, w.MaxW)
		add("Equivalent power", "%.0f W", w.EquivalentW)
	}
	if m.ShareOfThreshold > 0 {
		add("Share of threshold", "%.0f %%", 100*m.ShareOfThreshold)
		add("Load", "%.2f th (%.2f to %.2f)", m.LoadTh.Mean, m.LoadTh.Low80, m.LoadTh.High80)
	}
	if w.MeanHeart > 0 {
		add("Heart", "%.0f, at most %.0f bpm", w.MeanHeart, w.MaxHeart)
	}
	if c := m.Cadence; c != nil && c.Mean > 0 {
		add("Cadence", "%.0f rpm, mostly %.0f to %.0f", c.Mean, c.Low80, c.High80)
	}
	if t := m.Trimp; t != nil && t.Banister > 0 {
		add("Training impulse by heart rate", "%.0f", t.Banister)
	}
	return out
}

// bestsSay are the bests in words; a few durations far apart.
func bestsSay(all []debrief.Best, u form.Units) (out []string) {
	last := 0.0
	for i, b := range all {
		if float64(b.Seconds) < 3*last && i < len(all)-1 {
			continue
		}
		last = float64(b.Seconds)
		line := fmt.Sprintf("%s: %.0f W from %s on", secondsWords(b.Seconds), b.Watts, rideTime(b.FromS))
		if b.FromM > 0 {
			line += ", " + u.Distance(b.FromM)
		}
		if b.Share > 0 {
			line += fmt.Sprintf(", %.0f %% of what was thought possible", 100*b.Share)
		}
		out = append(out, line)
	}
	return out
}

// secondsWords is a duration as people say it.
func secondsWords(s int) string {
	switch {
	case s < 100:
		return fmt.Sprintf("%d s", s)
	case s < 3600 && s%60 == 0:
		return fmt.Sprintf("%d min", s/60)
	case s < 3600:
		return rideTime(float64(s)) + " min"
	}
	return rideTime(float64(s)) + " h"
}

func leftSays(w debrief.BalanceSeries, u form.Units) (out []string) {
	line := fmt.Sprintf("Lowest at %s", rideTime(w.LowestAtS))
	if w.LowestAtM > 0 {
		line += ", " + u.Distance(w.LowestAtM)
	}
	line += fmt.Sprintf(": %.1f kJ (%.1f to %.1f) of %.1f kJ.", w.Lowest.Mean/1000, w.Lowest.Low80/1000, w.Lowest.High80/1000, w.WPrime/1000)
	if w.BelowZero > 0.5 {
		line += " The capacity known before did not allow this ride."
	}
	out = append(out, line)
	for i, l := range w.Low {
		line := fmt.Sprintf("%d: ran low from %s to %s", i+1, rideTime(l.FromS), rideTime(l.ToS))
		if l.ToM > l.FromM {
			line += fmt.Sprintf(", %s to %s", u.Distance(l.FromM), u.Distance(l.ToM))
		}
		out = append(out, line+fmt.Sprintf(", down to %.1f kJ.", l.LowestJ/1000))
	}
	return out
}

func heartSays(m debrief.Measures) (out []string) {
	if t := m.Drift; t != nil {
		if t.Minutes > 0 {
			out = append(out, fmt.Sprintf("At equal power the heart beat %s bpm in the second half (%d minutes of each compared).", signed(t.AtEqualW), t.Minutes))
		}
		if t.Words != "" {
			out = append(out, t.Words)
		}
	}
	for i, r := range m.Recoveries {
		if i == 3 {
			break
		}
		out = append(out, fmt.Sprintf("In the minute after the effort that ended at %s it fell from %.0f to %.0f bpm.", rideTime(r.AtS), r.FromBpm, r.AfterBpm))
	}
	return out
}

func stretchLine(x debrief.Stretch, name string, u form.Units) StretchLine {
	l := StretchLine{Name: name, Time: rideTime(x.MovingS)}
	if x.Name != "" {
		l.Name += ", " + problem.OneLine(x.Name)
	}
	if x.ToM > x.FromM {
		l.Far = u.Distance(x.ToM - x.FromM)
	}
	if x.KnownS > 0 {
		l.Watts = fmt.Sprintf("%.0f", x.MeanW)
	}
	if x.AskedW > 0 {
		l.More = fmt.Sprintf("%.0f asked", x.AskedW)
	}
	if x.MeanHeart > 0 {
		l.Heart = fmt.Sprintf("%.0f", x.MeanHeart)
	}
	if x.AscentRate > 0 && x.AscentM >= 1 {
		l.More = u.Elevation(x.AscentM) + " up"
	}
	return l
}

func taughtOf(x debrief.Debrief) (out DebriefTaught) {
	if l := x.Learnt; l != nil {
		out.Sentence = l.Sentence
		for _, n := range l.Numbers {
			out.Numbers = append(out.Numbers, movedLine(n))
		}
	}
	if f := x.Road; f != nil {
		out.Road = f.Sentences()
	}
	return out
}

func movedLine(n debrief.Moved) MovedLine {
	unit, by, format := n.Unit, 1.0, "%.0f"
	if unit == "J" {
		unit, by, format = "kJ", 1000, "%.1f"
	}
	say := func(v float64) string { return fmt.Sprintf(format, v/by) }
	return MovedLine{Name: n.Name, Before: say(n.Before.Mean), BeforeRange: say(n.Before.Low80) + " to " + say(n.Before.High80),
		After: say(n.After.Mean) + "\u00a0" + unit, AfterRange: say(n.After.Low80) + " to " + say(n.After.High80), Picture: render.MovedPicture(n)}
}
