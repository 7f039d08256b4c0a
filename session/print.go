package session

import (
	"math"
	"strconv"
	"strings"
)

// Print is the session in the notation, in one canonical way: what Parse reads
// from it is the same session. It is meant for sessions that pass Check.
func Print(s Session) string {
	var b strings.Builder
	header := func(key, text string) {
		if text != "" {
			b.WriteString(key + ": " + text + "\n")
		}
	}
	header("session", s.Name)
	header("purpose", s.Purpose)
	header("for", s.For)
	for _, c := range s.Cautions {
		header("caution", c)
	}
	header("source", s.Source)
	if b.Len() > 0 {
		b.WriteByte('\n')
	}
	printBlocks(&b, s.Blocks, "")
	return b.String()
}

func printBlocks(b *strings.Builder, blocks []Block, indent string) {
	for _, block := range blocks {
		if block.Times == 0 {
			b.WriteString(indent + block.Stage.Sentence() + "\n")
			continue
		}
		b.WriteString(indent + spell(block.Times) + ":\n")
		printBlocks(b, block.Blocks, indent+"  ")
		b.WriteString(indent + "end\n")
	}
}

var verbs = [...]string{Work: "ride", Warm: "warm up", Easy: "easy", Cool: "cool down", Sprint: "sprint", Test: "test", Off: "rest"}

// Sentence is the stage in the notation.
func (s Stage) Sentence() string {
	parts := verbs[s.Kind] + " " + s.End.words()
	if how := s.Target.words(s.Kind); how != "" {
		if s.End.MostS > 0 {
			parts += ","
		}
		parts += " " + how
	}
	switch {
	case s.CadenceLow > 0 && s.CadenceLow == s.CadenceHigh:
		parts += " at " + figure(s.CadenceLow) + " rpm"
	case s.CadenceLow > 0:
		parts += " at " + figure(s.CadenceLow) + " to " + figure(s.CadenceHigh) + " rpm"
	}
	if s.Say != "" {
		parts += `, say "` + s.Say + `"`
	}
	return parts
}

func (e End) words() string {
	switch e.Kind {
	case AfterDistance:
		return distance(e.Metres)
	case AtBalance:
		is := " is left"
		if e.Back {
			is = " is back"
		}
		return "until " + percent(e.Left) + is + ", at least " + clock(e.LeastS) + ", at most " + clock(e.MostS)
	case WhenSpent:
		return "until you cannot go on, at most " + clock(e.MostS)
	case AtWord:
		return "until you say so, at most " + clock(e.MostS)
	default:
		return clock(e.Seconds)
	}
}

// feelings are the exertions that have words in the notation.
var feelings = []struct {
	exertion int
	words    string
}{
	{8, "so that you could sing"},
	{10, "so that you could chat for hours"},
	{12, "so that you speak in whole sentences"},
	{14, "so that only short sentences come"},
	{16, "so that only a few words come"},
	{18, "so that you do not wish to speak"},
}

func (t Target) words(kind StageKind) string {
	from, to := t.From, t.To
	unit := ""
	if !t.Ramp && from == 1 && to == 1 {
		switch t.Of {
		case OfThreshold:
			return "at threshold"
		case OfCritical:
			return "at critical power"
		}
	}
	switch t.Of {
	case OfNothing:
		if kind == Work {
			return "as you like"
		}
		return ""
	case OfAllOut:
		if kind == Sprint {
			return "" // a sprint is that unless it says otherwise
		}
		return "all out"
	case OfThreshold:
		from, to, unit = 100*from, 100*to, " % of threshold"
	case OfCritical:
		from, to, unit = 100*from, 100*to, " % of critical power"
	case OfWatts:
		unit = " W"
	case OfHeartMax:
		return "with the heart at " + between(100*from, 100*to) + " % of its maximum"
	case OfHeart:
		return "with the heart at " + between(from, to) + " beats a minute"
	case OfFeel:
		for _, f := range feelings {
			if from == to && from == float64(f.exertion) {
				return f.words
			}
		}
		return "at exertion " + between(from, to)
	}
	if t.Ramp {
		return "from " + figure(from) + " to " + figure(to) + unit
	}
	return "at " + between(from, to) + unit
}

func between(from, to float64) string {
	if from == to {
		return figure(from)
	}
	return figure(from) + " to " + figure(to)
}

// figure is a number with at most two decimals and no more than it needs.
func figure(x float64) string { return strconv.FormatFloat(math.Round(100*x)/100, 'f', -1, 64) }

func percent(share float64) string { return figure(100*share) + " %" }

// clock is a time in whole seconds: "45 s", "90 s", "5 min", "1 h 20 min".
func clock(seconds float64) string {
	s := int(math.Round(seconds))
	if s < 120 && s%60 != 0 {
		return strconv.Itoa(s) + " s"
	}
	var parts []string
	for _, u := range []struct {
		n    int
		unit string
	}{{s / 3600, " h"}, {s / 60 % 60, " min"}, {s % 60, " s"}} {
		if u.n > 0 {
			parts = append(parts, strconv.Itoa(u.n)+u.unit)
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

// distance is in metres below 1 km and in kilometres to the metre above.
func distance(metres float64) string {
	m := math.Round(metres)
	if m < 1000 {
		return figure(m) + " m"
	}
	return strconv.FormatFloat(m/1000, 'f', -1, 64) + " km"
}
