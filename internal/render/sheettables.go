package render

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"chainline/brief"
)

// tables fills the cues and rules, in the language of the rig.
func (s *sheet) tables(b brief.Brief) {
	s.Lead, s.FeelHead = "watts", "effort"
	switch b.Rig.Speaks {
	case "wheel speed":
		s.Lead, s.FeelHead = "wheel km/h", "effort"
	case "feel":
		s.Lead, s.FeelHead = "effort", "feels"
	}
	for _, c := range b.Plan.Cues {
		s.Cues = append(s.Cues, s.cueRow(b, c))
	}
	for _, r := range joined(b.Plan.Rules) {
		s.Rules = append(s.Rules, s.ruleRow(b, r))
	}
	for _, r := range append(append([]row{}, s.Cues...), s.Rules...) {
		s.HasHeart = s.HasHeart || r.Heart != ""
	}
	s.second(b)
	s.CueNote = s.cueNote(b)
	if cp := b.Rider.CriticalPower.Mean; len(b.Plan.Rules) > 0 && cp > 0 {
		s.RulesCaption = "Line: the effort. Dots: your critical power, " + whole(cp) + nb + "W."
	}
	if p := b.Plan; len(p.Cues) > 0 && len(p.Rules) > 0 && p.RulesTime > 0 {
		s.RulesNote = "Easier to remember, and " + lapse(p.RulesTime-p.Time) + " slower than the cues."
		if p.RulesTime < p.Time+0.5 {
			s.RulesNote = "Easier to remember, and no slower than the cues."
		}
	}
}

func (s *sheet) cueNote(b brief.Brief) string {
	out := ""
	if len(b.Plan.Cues) > 0 {
		out = "‘Left’ is what remains of the work you can do above critical power when the cue ends; it comes back while you ride below it."
	}
	if b.Rig.Speaks == "wheel speed" {
		out = join([]string{out, "Speeds are of the wheel on this trainer, not of the road; four times out of five the watts meant lie within ±."}, " ")
	}
	out = join([]string{out, feelWords(b)}, " ")
	return join([]string{out, "Effort is on the scale from 6, rest, to 20, all you have."}, " ")
}

func (s *sheet) cueRow(b brief.Brief, c brief.Cue) row {
	r := row{Number: strconv.Itoa(c.Number), Km: km(c.FromM), Name: c.Name, Gear: cut(c.Gear, gearLength), Lead: leadOf(b.Rig.Speaks, c),
		Exertion: exertion(c.Exertion), Feel: feelShort(c.Feel), Heart: heart(c.HeartLow, c.HeartHigh), At: clock(c.StartS)}
	if b.Rig.Speaks == "wheel speed" {
		r.PlusMinus = plusMinus(c.WheelKmh, c.WheelLowKmh, c.WheelHighKmh)
	}
	if courseLength(b) < 2000 {
		r.Km = decimals(c.FromM/1000, 2)
	}
	full := b.Plan.ForWPrime
	if !(full > 0) {
		full = b.Rider.WPrime.Mean
	}
	if full > 0 {
		r.Left = percent(c.BalanceEnd/full, 0)
		if c.BalanceEnd > 0 { // false for what is not a number
			r.LeftShare = math.Min(1, c.BalanceEnd/full)
		}
	}
	r.Mark = s.mark(c.Flag)
	return r
}

func (s *sheet) ruleRow(b brief.Brief, u brief.Rule) row {
	r := row{Km: slope(u.FromGradient, u.ToGradient), Name: u.Name, Gear: cut(u.Gear, gearLength), Exertion: exertion(u.Exertion), Feel: feelShort(u.Feel),
		Heart: heart(u.HeartLow, u.HeartHigh), Share: percent(u.ShareOfTime, 0)}
	as := brief.Cue{Watts: u.Watts, WheelKmh: u.WheelKmh, WheelLowKmh: u.WheelLowKmh, WheelHighKmh: u.WheelHighKmh, Exertion: u.Exertion}
	r.Lead = leadOf(b.Rig.Speaks, as)
	if b.Rig.Speaks == "wheel speed" {
		r.PlusMinus = plusMinus(u.WheelKmh, u.WheelLowKmh, u.WheelHighKmh)
	}
	r.Mark = s.mark(u.Flag)
	return r
}

// joined are the rules with neighbours that ask for the same made one: they
// must meet, and everything a rider is told must be equal. Heart bands differ
// with how long a stretch lasts; the joined one holds both.
func joined(rules []brief.Rule) []brief.Rule {
	var out []brief.Rule
	for _, r := range rules {
		if n := len(out); n > 0 && sameAsked(out[n-1], r) && (out[n-1].ToGradient == r.FromGradient || out[n-1].FromGradient == r.ToGradient) {
			o := &out[n-1]
			o.FromGradient, o.ToGradient = math.Min(o.FromGradient, r.FromGradient), math.Max(o.ToGradient, r.ToGradient)
			o.ShareOfTime += r.ShareOfTime
			o.HeartLow, o.HeartHigh = lowestBand(o.HeartLow, r.HeartLow), math.Max(o.HeartHigh, r.HeartHigh)
			if r.Name != "" && !strings.Contains(o.Name, r.Name) {
				o.Name = join([]string{o.Name, r.Name}, " or ")
			}
			continue
		}
		out = append(out, r)
	}
	return out
}

func sameAsked(a, b brief.Rule) bool {
	return math.Round(a.Watts) == math.Round(b.Watts) && a.Exertion == b.Exertion && a.Feel == b.Feel && a.Gear == b.Gear && a.Flag == b.Flag &&
		a.WheelKmh == b.WheelKmh
}

// lowestBand is the lower of two ends of heart bands, where 0 is none.
func lowestBand(a, b float64) float64 {
	if a == 0 || b == 0 {
		return math.Max(a, b)
	}
	return math.Min(a, b)
}

// gearLength is more than any gear takes ('50×15'); it is never broken over lines.
const (
	gearLength = 16
	feelLength = 24 // a little more than any word for an effort
)

// mark is the letter under which a flag is told below the table; the same
// words get the same letter.
func (s *sheet) mark(flag string) string {
	if flag == "" {
		return ""
	}
	flag = sentence(flag)
	for _, n := range s.Notes {
		if n.Text == flag {
			return n.Mark
		}
	}
	n := len(s.Notes)
	mark := string(rune('a' + n%26))
	if n >= 26 {
		mark = string(rune('a'+n/26-1)) + mark
	}
	s.Notes = append(s.Notes, note{mark, flag})
	return mark
}

// second fills a quantity beside the lead: watts per kilogram where there is
// room for them, or a first guess at wheel speed for a rig led by feel. A rig
// led by feel has its exertion in the lead already.
func (s *sheet) second(b brief.Brief) {
	perKg := b.Rig.Speaks == "watts" && !s.HasHeart && b.Rider.Mass > 0
	fill := func(r *row, watts, v, low, high float64) {
		switch {
		case b.Rig.Speaks == "feel":
			r.Exertion = ""
			if v > 0 {
				r.Second, s.SecondHead = join([]string{wheel(v, low, high), plusMinus(v, low, high)}, " "), "wheel km/h"
			}
		case perKg && watts > 0:
			r.Second, s.SecondHead = decimals(watts, 1), "W/kg"
		}
	}
	for i, c := range b.Plan.Cues {
		fill(&s.Cues[i], c.WPerKg, c.WheelKmh, c.WheelLowKmh, c.WheelHighKmh)
	}
	for i, r := range joined(b.Plan.Rules) {
		fill(&s.Rules[i], r.WPerKg, r.WheelKmh, r.WheelLowKmh, r.WheelHighKmh)
	}
}

// feelShort is the first words of a feel; the rest is told once, by feelWords.
func feelShort(feel string) string {
	short, _, _ := strings.Cut(feel, ",")
	return cut(short, feelLength)
}

// feelWords tells what was cut from the feels that occur, hardest last.
func feelWords(b brief.Brief) string {
	type step struct{ low, high int }
	seen := map[string]step{}
	var order []string
	add := func(n int, feel string) {
		if !strings.Contains(feel, ",") {
			return
		}
		k, ok := seen[feel]
		if !ok {
			order, k = append(order, feel), step{n, n}
		}
		seen[feel] = step{min(k.low, n), max(k.high, n)}
	}
	for _, c := range b.Plan.Cues {
		add(c.Exertion, c.Feel)
	}
	for _, r := range b.Plan.Rules {
		add(r.Exertion, r.Feel)
	}
	slices.SortFunc(order, func(a, b string) int { return cmp.Or(cmp.Compare(seen[a].low, seen[b].low), strings.Compare(a, b)) })
	for i, f := range order {
		n := exertion(seen[f].low)
		if seen[f].high > seen[f].low {
			n += "–" + exertion(seen[f].high)
		}
		order[i] = n + " " + f
	}
	return sentence(strings.Join(order, "; "))
}

func exertion(n int) string {
	if n <= 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func heart(low, high float64) string {
	if !(high > 0) {
		return ""
	}
	return between(low, high, 0)
}
