package cli

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"chainline/debrief"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/recording"
)

// What is listed in the text at most; all stands in the JSON.
const (
	shownChanges = 20
	shownParts   = 16
)

// debriefText is a debrief as plain text.
func debriefText(s service.DebriefSheet) string {
	var b strings.Builder
	d := s.Debrief
	b.WriteString("DEBRIEF\n")
	about := []string{}
	base := filepath.Base(s.File)
	for _, part := range []string{problem.OneLine(d.Title), problem.OneLine(s.Rider)} {
		if part != "" && part != strings.TrimSuffix(base, filepath.Ext(base)) { // a file's name is no title
			about = append(about, part)
		}
	}
	if s.Date != "" {
		began := time.Unix(int64(d.StartUnix), 0).In(time.FixedZone("", d.ZoneSeconds))
		about = append(about, began.Format("2 January 2006, 15:04"))
	}
	if len(about) > 0 {
		wrap(&b, "", strings.Join(about, ", "))
	}
	from := fmt.Sprintf("from %s, %s", problem.OneLine(s.File), s.Kind)
	if s.Number > 1 {
		from += fmt.Sprintf(", its ride %d", s.Number)
	}
	if d.Source != "" && d.Source != "recorded" {
		from += ", power by " + problem.OneLine(d.Source)
	}
	wrap(&b, "", from)
	if d.Recovered {
		wrap(&b, "", "The recording is not whole: it was cut short or damaged, and read as far as it goes.")
	}
	for _, n := range s.Notes {
		wrap(&b, "", n)
	}
	rideText(&b, d.Measures, d.Against == nil)
	if d.Against != nil {
		againstText(&b, *d.Against)
	}
	if d.Learnt != nil {
		learntText(&b, *d.Learnt)
	}
	if d.Road != nil {
		roadText(&b, *d.Road)
	}
	if x := d.Weighed; x != nil {
		b.WriteString("\nTHE SCALES\n")
		wrap(&b, "  ", x.Sentence)
		if x.Caution != "" {
			wrap(&b, "  ", x.Caution)
		}
	}
	changesText(&b, s)
	unsaidText(&b, d)
	return b.String()
}

// rideText is what the ride came to; its parts are left out where its cues
// follow.
func rideText(b *strings.Builder, m debrief.Measures, parts bool) {
	b.WriteString("\nTHE RIDE\n")
	w := m.Whole
	line := lasted(w.MovingS) + " moving"
	if stood := w.ToS - w.FromS - w.MovingS; stood >= 60 {
		line += ", " + lasted(stood) + " standing"
	}
	if way := w.ToM - w.FromM; way > 0 {
		line += fmt.Sprintf(", %.1f km", way/1000)
	}
	if w.Speed > 0 {
		line += fmt.Sprintf(", %.1f km/h", 3.6*w.Speed)
	}
	if w.AscentM >= 1 {
		line += fmt.Sprintf(", %.0f m up", w.AscentM)
	}
	wrap(b, "  ", line)
	if w.KnownS > 0 {
		wrap(b, "  ", powerLine(m))
		bestsText(b, m)
	}
	if t := m.Domains; t != nil {
		wrap(b, "  ", fmt.Sprintf("moderate %s, heavy %s, severe %s, extreme %s", lasted(t.Moderate.Mean), lasted(t.Heavy.Mean), lasted(t.Severe.Mean), lasted(t.Extreme.Mean)))
	}
	if w := m.Balance; w != nil {
		line := fmt.Sprintf("W′ was lowest at %s: %s (%s to %s) of %s kJ left", lasted(w.LowestAtS), kilo(w.Lowest.Mean), kilo(w.Lowest.Low80), kilo(w.Lowest.High80), kilo(w.WPrime))
		if w.LowestAtM > 0 {
			line += fmt.Sprintf(", %.1f km", w.LowestAtM/1000)
		}
		if w.BelowZero > 0.5 {
			line += ". The capacity known before did not allow this ride"
		}
		wrap(b, "  ", line)
	}
	if w.MeanHeart > 0 {
		wrap(b, "  ", fmt.Sprintf("heart %.0f bpm on average, %.0f at most", w.MeanHeart, w.MaxHeart))
	}
	if t := m.Drift; t != nil && t.Minutes > 0 {
		wrap(b, "  ", fmt.Sprintf("heart %s bpm in the second half at equal power (%d minutes of each compared). %s", signed0(t.AtEqualW), t.Minutes, t.Words))
	}
	if t := m.Cadence; t != nil && t.Mean > 0 {
		wrap(b, "  ", fmt.Sprintf("cadence %.0f rpm, mostly %.0f to %.0f", t.Mean, t.Low80, t.High80))
	}
	stretchesText(b, "climb", m.Climbs)
	switch {
	case len(m.Laps) < 2 || !parts:
	case len(m.Laps) > shownParts:
		wrap(b, "  ", fmt.Sprintf("%d parts were marked: --json lists them", len(m.Laps)))
	default:
		stretchesText(b, "part", m.Laps)
	}
}

func powerLine(m debrief.Measures) string {
	w := m.Whole
	line := fmt.Sprintf("%.0f kJ, %.0f W on average", w.WorkJ/1000, w.MeanW)
	if w.WPerKg > 0 {
		line += fmt.Sprintf(" (%.1f W/kg)", w.WPerKg)
	}
	line += fmt.Sprintf(", equivalent power %.0f W", w.EquivalentW)
	if m.ShareOfThreshold > 0 {
		line += fmt.Sprintf(", %.0f %% of threshold, load %.2f th (%.2f to %.2f)", 100*m.ShareOfThreshold, m.LoadTh.Mean, m.LoadTh.Low80, m.LoadTh.High80)
	}
	return line
}

// What is told of the bests; our judgement.
const (
	toldBests = 3
	apart     = 4.0 // in duration, as a factor
	nearly    = 0.8 // as much of what the best of them is
)

// told are the bests that mattered: where a capacity is known, those nearest
// to it, else those that stand out most of the ride.
func told(m debrief.Measures) (out []debrief.Best) {
	matter := func(x debrief.Best) float64 {
		if x.Share > 0 {
			return x.Share
		}
		return (x.Watts - m.Whole.MeanW) * math.Sqrt(float64(x.Seconds))
	}
	all := slices.Clone(m.Bests)
	slices.SortStableFunc(all, func(x, y debrief.Best) int { return cmp.Compare(matter(y), matter(x)) })
	for _, x := range all {
		near := slices.ContainsFunc(out, func(y debrief.Best) bool {
			return math.Abs(math.Log(float64(x.Seconds)/float64(y.Seconds))) < math.Log(apart)
		})
		if !near && len(out) < toldBests && matter(x) > 0 && matter(x) >= nearly*matter(all[0]) {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(x, y debrief.Best) int { return cmp.Compare(x.Seconds, y.Seconds) })
	return out
}

func bestsText(b *strings.Builder, m debrief.Measures) {
	var parts []string
	for _, x := range told(m) {
		part := fmt.Sprintf("%.0f W over %s from %s on", x.Watts, lasted(float64(x.Seconds)), lasted(x.FromS))
		if x.Share > 0 {
			part += fmt.Sprintf(" (%.0f %% of what was thought possible)", 100*x.Share)
		}
		parts = append(parts, part)
	}
	if len(parts) > 0 {
		wrap(b, "  ", "strongest "+strings.Join(parts, "; "))
	}
}

func stretchesText(b *strings.Builder, what string, list []debrief.Stretch) {
	for i, x := range list {
		name := fmt.Sprintf("%s %d", what, i+1)
		if x.Name != "" {
			name += ", " + problem.OneLine(x.Name)
		}
		line := fmt.Sprintf("%s: %s from %s on", name, lasted(x.MovingS), lasted(x.FromS))
		if x.ToM > x.FromM {
			line += fmt.Sprintf(", %.1f km", (x.ToM-x.FromM)/1000)
		}
		if what == "climb" && x.AscentM >= 1 {
			line += fmt.Sprintf(" with %.0f m up, %.0f m/h", x.AscentM, x.AscentRate)
		}
		if x.KnownS > 0 {
			line += fmt.Sprintf(", %.0f W", x.MeanW)
		}
		if x.AskedW > 0 {
			line += fmt.Sprintf(" (%.0f asked)", x.AskedW)
		}
		if x.MeanHeart > 0 {
			line += fmt.Sprintf(", %.0f bpm", x.MeanHeart)
		}
		wrap(b, "  ", line)
	}
}

// changesText lists what was cleaned and what the file did not give.
func changesText(b *strings.Builder, s service.DebriefSheet) {
	if len(s.Changes) == 0 && len(s.Losses) == 0 {
		return
	}
	b.WriteString("\nTHE RECORDING\n")
	for _, l := range s.Losses {
		wrap(b, "  ", problem.OneLine(l))
	}
	for i, c := range s.Changes {
		if i == shownChanges {
			wrap(b, "  ", fmt.Sprintf("and %d more changes: --json lists all of them", len(s.Changes)-i))
			break
		}
		wrap(b, "  ", changeWords(c))
	}
	if len(s.Changes) > 0 {
		wrap(b, "  ", "The file is as it was; --as-recorded goes by it as it is.")
	}
}

func changeWords(c recording.Change) string {
	at := "at " + lasted(c.From)
	if c.To-c.From >= 1 {
		at = fmt.Sprintf("from %s to %s", lasted(c.From), lasted(c.To))
	}
	of := ""
	if c.Quantity != "" {
		of = ", " + strings.ReplaceAll(string(c.Quantity), "_", " ")
	}
	if c.Source != "" {
		of += " of " + problem.OneLine(c.Source)
	}
	kind := map[recording.ChangeKind]string{recording.DropOut: "drop-out taken out", recording.Spike: "spike taken out", recording.Stuck: "stuck value taken out", recording.Stopped: "stop marked"}[c.Kind]
	line := kind + " " + at + of
	if n := len(c.Was); n > 0 {
		line += ", " + counted(n, "reading")
	}
	return line + ": " + c.Why
}

func unsaidText(b *strings.Builder, d debrief.Debrief) {
	list := slices.Clone(d.Measures.Unsaid)
	if d.Against != nil {
		list = append(list, d.Against.Unsaid...)
	}
	if d.Learnt != nil {
		list = append(list, d.Learnt.Unsaid...)
	}
	if len(list) == 0 {
		return
	}
	b.WriteString("\nCANNOT SAY\n")
	for _, u := range list {
		wrap(b, "  ", u)
	}
}

// lasted is a time as people say it: 45 s, 12:05 min, 1:02:03 h.
func lasted(s float64) string {
	n := int(math.Round(s))
	switch {
	case n < 60:
		return fmt.Sprintf("%d s", n)
	case n < 3600:
		return fmt.Sprintf("%d:%02d min", n/60, n%60)
	}
	return fmt.Sprintf("%d:%02d:%02d h", n/3600, n/60%60, n%60)
}

func kilo(joules float64) string { return fmt.Sprintf("%.1f", joules/1000) }

// signed0 is a whole number with its sign.
func signed0(v float64) string {
	n := math.Round(v)
	switch {
	case n > 0:
		return fmt.Sprintf("+%.0f", n)
	case n < 0:
		return fmt.Sprintf("−%.0f", -n)
	}
	return "±0"
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
