package render

import (
	"math"
	"strconv"

	"chainline/brief"
)

// tables fills the cues and rules, in the language of the rig.
func (s *sheet) tables(b brief.Brief) {
	s.Lead, s.LeadUnit = "watts", "W"
	switch b.Rig.Speaks {
	case "wheel speed":
		s.Lead, s.LeadUnit = "wheel km/h", "km/h"
	case "feel":
		s.Lead, s.LeadUnit = "effort, 6 to 20", ""
	}
	for _, c := range b.Plan.Cues {
		s.Cues = append(s.Cues, s.cueRow(b, c))
	}
	for _, r := range b.Plan.Rules {
		s.Rules = append(s.Rules, s.ruleRow(b, r))
	}
	for _, r := range append(append([]row{}, s.Cues...), s.Rules...) {
		s.HasHeart = s.HasHeart || r.Heart != ""
	}
	s.HasWPerKg = b.Rig.Speaks == "watts" && !s.HasHeart && b.Rider.Mass > 0
	s.CueNote = s.cueNote(b)
	if cp := b.Rider.CriticalPower.Mean; len(b.Plan.Rules) > 0 && cp > 0 {
		s.RulesCaption = "Height: the effort. Dots: your critical power, " + whole(cp) + nb + "W."
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
	return join([]string{out, "Effort is on the scale from 6, rest, to 20, all you have."}, " ")
}

func (s *sheet) cueRow(b brief.Brief, c brief.Cue) row {
	r := row{Number: strconv.Itoa(c.Number), Km: km(c.FromM), Name: c.Name, Gear: c.Gear, Lead: leadOf(b.Rig.Speaks, c),
		Exertion: exertion(c.Exertion), Feel: c.Feel, Heart: heart(c.HeartLow, c.HeartHigh), At: clock(c.StartS)}
	if b.Rig.Speaks == "wheel speed" {
		r.PlusMinus = plusMinus(c.WheelKmh, c.WheelLowKmh, c.WheelHighKmh)
	}
	if c.WPerKg > 0 {
		r.WKg = decimals(c.WPerKg, 1)
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
	r := row{Km: slope(u.FromGradient, u.ToGradient), Name: u.Name, Gear: u.Gear, Exertion: exertion(u.Exertion), Feel: u.Feel,
		Heart: heart(u.HeartLow, u.HeartHigh), Share: percent(u.ShareOfTime, 0)}
	as := brief.Cue{Watts: u.Watts, WheelKmh: u.WheelKmh, WheelLowKmh: u.WheelLowKmh, WheelHighKmh: u.WheelHighKmh, Exertion: u.Exertion}
	r.Lead = leadOf(b.Rig.Speaks, as)
	if b.Rig.Speaks == "wheel speed" {
		r.PlusMinus = plusMinus(u.WheelKmh, u.WheelLowKmh, u.WheelHighKmh)
	}
	if u.WPerKg > 0 {
		r.WKg = decimals(u.WPerKg, 1)
	}
	r.Mark = s.mark(u.Flag)
	return r
}

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
