package render

import (
	"cmp"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"chainline/brief"
)

// before is what has to be known and done before the start, in words.
type before struct {
	WarmHead string
	WarmFrom string  // a time of day in WarmHead; empty: there is none
	WarmUp   []doing // steps and moments, by time; the gun last
	WarmNote []string
	CoolDown string

	HasRoom   bool
	RoomIntro string // what the lines have not said; may be empty
	RoomFacts []fact
	RoomLines []string

	Worth    []worthGroup
	Test     string // the next test
	TestNote string
}

// doing is one line of the way to the gun: a step of the warm-up, or a moment
// with a letter.
type doing struct {
	When, Mark, What  string
	Lead, Unit, Lasts string // of a step
	Exertion          string // where the lead is watts
	Gun               bool
	clocked           bool    // When is a time of day
	at                float64 // s, negative
	step              bool
}

// fact is a number with what it is.
type fact struct{ Label, Value, Unit string }

// worthGroup is what is worth doing, told in one way.
type worthGroup struct {
	Head string
	Rows []worthRow
}

type worthRow struct{ What, Value, Range, Why string }

func newBefore(b brief.Brief) before {
	var s before
	s.warmUp(b)
	s.room(b.Room)
	s.worth(b.Worth)
	if t := b.NextTest; t.Sentence != "" {
		s.Test = sentence(t.Sentence)
		if t.SDNow > 0 && t.SDThen > 0 && !strings.Contains(t.Sentence, "±") {
			s.TestNote = "Doubt about your threshold: ± " + whole(t.SDNow) + nb + "W now, about ± " + whole(t.SDThen) + nb + "W after (sd)."
		}
	}
	return s
}

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// soundSteps are the steps that can be drawn and told.
func soundSteps(steps []brief.WarmUpStep) []brief.WarmUpStep {
	var out []brief.WarmUpStep
	for _, s := range steps {
		if finite(s.StartS, s.DurationS, s.Watts) && s.DurationS > 0 {
			out = append(out, s)
		}
	}
	return out
}

func soundMoments(moments []brief.Moment) []brief.Moment {
	var out []brief.Moment
	for _, m := range moments {
		if finite(m.AtS) {
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(a, b brief.Moment) int { return cmp.Compare(a.AtS, b.AtS) })
	return out
}

var hoursMinutes = regexp.MustCompile(`\b([01]?\d|2[0-3]):([0-5]\d)\b`)

// gunClock is the time of day of the start, in seconds: by a moment that has
// a clock, else as the start is written. ok is false if neither tells.
func gunClock(b brief.Brief) (seconds float64, ok bool) {
	read := func(s string) (float64, bool) {
		m := hoursMinutes.FindStringSubmatch(s)
		if m == nil {
			return 0, false
		}
		h, _ := strconv.Atoi(m[1])
		n, _ := strconv.Atoi(m[2])
		return float64(3600*h + 60*n), true
	}
	for _, m := range soundMoments(b.WarmUp.Timeline) {
		if t, ok := read(m.Clock); ok {
			return t - m.AtS, true
		}
	}
	return read(b.When)
}

// timeOfDay says when something before the gun is: by the clock, with seconds
// only where they count, or in minutes before the gun.
func timeOfDay(at, gun float64, clocked bool) string {
	if !clocked {
		n := int64(math.Round(-at))
		sign := "−"
		if n <= 0 {
			sign, n = "", -n
		}
		return sign + strconv.FormatInt(n/60, 10) + ":" + two(n%60)
	}
	n := int64(math.Round(gun+at)) % 86400
	if n < 0 {
		n += 86400
	}
	s := strconv.FormatInt(n/3600, 10) + ":" + two(n/60%60)
	if n%60 != 0 {
		s += ":" + two(n%60)
	}
	return s
}

func two(n int64) string {
	if n < 10 {
		return "0" + strconv.FormatInt(n, 10)
	}
	return strconv.FormatInt(n, 10)
}

// stepLead is what a step asks for in the language of the rig: its watts, or
// the effort where the rig shows none.
func stepLead(speaks string, s brief.WarmUpStep) (lead, unit string) {
	switch {
	case s.Watts < 1:
		return "rest", ""
	case speaks != "watts" && s.Exertion > 0:
		return exertion(s.Exertion), "effort"
	}
	return whole(s.Watts), "W"
}

func (s *before) warmUp(b brief.Brief) {
	steps := soundSteps(b.WarmUp.Steps)
	if len(steps) == 0 {
		return
	}
	gun, clocked := gunClock(b)
	from := timeOfDay(steps[0].StartS, gun, clocked)
	s.WarmHead, s.WarmFrom = "Warm up from "+from, from
	if !clocked {
		s.WarmFrom = ""
		s.WarmHead = "Warm up, " + lapse(-steps[0].StartS) + " before the gun"
	}
	for i, m := range soundMoments(b.WarmUp.Timeline) {
		when, said := m.Clock, hoursMinutes.MatchString(m.Clock)
		if !said {
			when = timeOfDay(m.AtS, gun, clocked)
		}
		s.WarmUp = append(s.WarmUp, doing{When: cut(clean(when), 9), Mark: letter(i), What: upper(m.What), clocked: said || clocked, at: m.AtS})
	}
	for _, u := range steps {
		d := doing{When: timeOfDay(u.StartS, gun, clocked), What: u.Name, Lasts: clock(u.DurationS), clocked: clocked, at: u.StartS, step: true}
		d.Lead, d.Unit = stepLead(b.Rig.Speaks, u)
		if d.Unit == "W" {
			d.Exertion = exertion(u.Exertion)
		}
		s.WarmUp = append(s.WarmUp, d)
	}
	slices.SortStableFunc(s.WarmUp, func(a, b doing) int { return cmp.Compare(a.at, b.at) })
	s.WarmUp = append(s.WarmUp, doing{When: timeOfDay(0, gun, clocked), What: "The gun", Gun: true, clocked: clocked})
	if f := b.WarmUp.BalanceAtGun; f > 0 && finite(f) {
		note := percent(f, 0) + " of what you can spend is there at the gun"
		if h := b.WarmUp.LastHardS; h > 0 && finite(h) {
			note += "; the last hard effort ends " + lapse(h) + " before it"
		}
		s.WarmNote = append(s.WarmNote, note+".")
	}
	if b.WarmUp.Why != "" {
		s.WarmNote = append(s.WarmNote, sentence(b.WarmUp.Why))
	}
	var cool []string
	for _, u := range soundSteps(b.WarmUp.CoolDown) {
		lead, unit := stepLead(b.Rig.Speaks, u)
		if unit == "effort" {
			lead, unit = unit, lead
		}
		cool = append(cool, join([]string{lapse(u.DurationS), u.Name, join([]string{"at", lead, unit}, nb)}, " "))
	}
	if len(cool) > 0 {
		s.CoolDown = sentence("Afterwards " + strings.Join(cool, ", then "))
	}
}

// letter names the i-th moment: a, b, … z, then numbers.
func letter(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return strconv.Itoa(i + 1)
}

func (s *before) room(r brief.RoomSheet) {
	if s.HasRoom = r.Known; !r.Known {
		return
	}
	add := func(label, value, unit string) { s.RoomFacts = append(s.RoomFacts, fact{label, value, unit}) }
	if r.MetabolicHeatW > 0 {
		add("Heat to lose", whole(10*math.Round(r.MetabolicHeatW/10)), "W")
	}
	if r.EndTemperature.Mean != 0 {
		add("Room at the end", whole(r.EndTemperature.Mean), "°C, "+percent(r.EndHumidity.Mean, 0))
	}
	if r.SweatLPerH.Mean > 0 {
		add("Sweat", spread(r.SweatLPerH.Low80, r.SweatLPerH.High80), "l/h")
	}
	if r.FluidHigh > 0 {
		add("To drink", spread(r.FluidLow, r.FluidHigh), "l")
	}
	for _, l := range append(append([]string{}, r.Lines...), r.Drink, r.Food, r.Standard) {
		// What the lines have said already is not said again.
		if said := strings.Join(s.RoomLines, "\n"); l != "" && !strings.Contains(said, strings.TrimSuffix(upper(l), ".")) {
			s.RoomLines = append(s.RoomLines, sentence(l))
		}
	}
	s.RoomIntro = roomIntro(r, clean(strings.Join(s.RoomLines, "\n")))
}

// roomIntro is the room as it was taken, as far as it has not been said.
func roomIntro(r brief.RoomSheet, said string) string {
	var out []string
	if warm := whole(r.Temperature) + " °C and " + whole(100*r.Humidity) + " %"; !strings.Contains(said, warm) {
		out = append(out, strings.ReplaceAll(warm, " ", nb)+" humidity at the start")
	}
	if r.AirflowFrom == "" || !strings.Contains(said, clean(r.AirflowFrom)) {
		out = append(out, join([]string{"air moving at " + decimals(r.Airflow, 1) + nb + "m/s", bracket(r.AirflowFrom)}, " "))
	}
	first := strings.Replace(sentence(strings.Join(out, ", ")), nb+"and"+nb, " and ", 1)
	if r.Assumed != "" {
		first = join([]string{first, sentence("Taken as usual: " + r.Assumed)}, " ")
	}
	return first
}

// spread is an interval in litres, without an empty one.
func spread(low, high float64) string {
	l, h := litres(math.Max(low, 0)), litres(high)
	switch l {
	case h:
		return h
	case litres(0):
		return "up to " + h
	}
	return l + "–" + h
}

// litres to a twentieth, as the room's sentences say them.
func litres(x float64) string {
	return strings.TrimSuffix(decimals(math.Round(20*x)/20, 2), "0")
}

func bracket(s string) string {
	if s == "" {
		return ""
	}
	return "(" + s + ")"
}

// worth tells what is worth doing in one unit, seconds: what makes faster,
// what only narrows the forecast, and what is done already.
func (s *before) worth(list []brief.Worth) {
	faster := worthGroup{Head: "seconds faster, and the range four times out of five"}
	narrower := worthGroup{Head: "seconds surer of the finish, and how wide it is"}
	kept := worthGroup{Head: "you do it already; seconds lost without"}
	for _, w := range list {
		row := worthRow{What: upper(w.What), Value: seconds(w.Seconds), Why: sentence(w.Why)}
		if w.High80 > w.Low80 {
			row.Range = seconds(w.Low80) + " to " + seconds(w.High80)
		}
		narrows := w.NarrowsFromS > 0 && w.NarrowsFromS > w.NarrowsToS
		switch {
		case w.AlreadyDone:
			kept.Rows = append(kept.Rows, row)
		case w.Seconds == 0 && narrows:
			row.Value = seconds(w.NarrowsFromS - w.NarrowsToS)
			row.Range = "from " + whole(w.NarrowsFromS) + " to " + whole(w.NarrowsToS)
			narrower.Rows = append(narrower.Rows, row)
		default:
			if narrows {
				row.Why = join([]string{row.Why, "It also narrows the finish from " + whole(w.NarrowsFromS) + " to " + whole(w.NarrowsToS) + nb + "s."}, " ")
			}
			faster.Rows = append(faster.Rows, row)
		}
	}
	for _, g := range []worthGroup{faster, narrower, kept} {
		if len(g.Rows) > 0 {
			s.Worth = append(s.Worth, g)
		}
	}
}

// seconds is a gain in whole seconds, to a tenth under one.
func seconds(x float64) string {
	if math.Abs(x) < 1 {
		return decimals(x, 1)
	}
	return whole(x)
}
