package session

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// What makes a session one that can be ridden. Parse points at these faults;
// Check names them for sessions from elsewhere.

// Check is the first thing wrong with a session that was not read by Parse.
// Print and Parse give a session that passes back as it was.
func (s Session) Check() error {
	for _, f := range []struct{ name, text string }{{"name", s.Name}, {"purpose", s.Purpose}, {"for whom", s.For}, {"source", s.Source}, {"cautions", strings.Join(s.Cautions, "")}} {
		if badText(f.text) || strings.TrimSpace(f.text) != f.text {
			return fmt.Errorf("session: the %s has characters that do not print, or spaces at its ends", f.name)
		}
	}
	if len(s.Cautions) > 20 {
		return fmt.Errorf("session: %d cautions, expected at most 20", len(s.Cautions))
	}
	for i, c := range s.Cautions {
		if c == "" || strings.TrimSpace(c) != c {
			return fmt.Errorf("session: caution %d is empty or has spaces at its ends", i+1)
		}
	}
	if len(s.Blocks) == 0 {
		return fmt.Errorf("session: there is nothing to ride")
	}
	legs, err := checkBlocks(s.Blocks, 0)
	if err == nil && legs > MaxLegs {
		err = fmt.Errorf("session: over %d stages when every group is ridden out, expected at most %d", MaxLegs, MaxLegs)
	}
	if err == nil && len(Print(s)) > MaxText {
		err = fmt.Errorf("session: too long to write down, expected at most %d bytes", MaxText)
	}
	return err
}

// checkBlocks counts the legs, up to one more than are allowed.
func checkBlocks(blocks []Block, depth int) (legs int, err error) {
	for i, b := range blocks {
		n := 1
		switch {
		case b.Times == 0:
			if len(b.Blocks) > 0 {
				return 0, fmt.Errorf("session: block %d is a stage and has blocks in it", i+1)
			}
			if _, problem, expected := b.Stage.fault(); problem != "" {
				return 0, fmt.Errorf("session: stage %d (%s): %s; expected %s", i+1, verbs[min(max(b.Stage.Kind, Work), Off)], problem, expected)
			}
		case b.Times < 0 || b.Times > MaxTimes:
			return 0, fmt.Errorf("session: a group is ridden %d times, expected 1 to %d", b.Times, MaxTimes)
		case depth >= MaxDepth || len(b.Blocks) == 0 || b.Stage != (Stage{}):
			return 0, fmt.Errorf("session: a group is empty, is a stage too, or stands deeper than %d", MaxDepth)
		default:
			if n, err = checkBlocks(b.Blocks, depth+1); err != nil {
				return 0, err
			}
			n *= b.Times
		}
		legs = min(legs+n, MaxLegs+1)
	}
	return legs, nil
}

// withDefaults is the stage with what its verb says by itself.
func (s Stage) withDefaults() Stage {
	if s.Kind == Sprint && s.Target.Of == OfNothing {
		s.Target.Of = OfAllOut
	}
	return s
}

// fault is what is wrong with a stage; problem is empty if nothing is.
func (s Stage) fault() (where part, problem, expected string) {
	if s.Kind < Work || s.Kind > Off {
		return partVerb, "a stage of no known kind", "ride, warm up, easy, cool down, sprint, test or rest"
	}
	if where, problem, expected = s.End.fault(); problem != "" {
		return where, problem, expected
	}
	if problem, expected = s.Target.fault(); problem != "" {
		return partTarget, problem, expected
	}
	switch c, d := s.CadenceLow, s.CadenceHigh; {
	case s.Kind == Off && (s.Target != Target{} || c != 0 || d != 0):
		return partTarget, "rest has an effort or a cadence", `no effort: in a rest nobody pedals ("easy" is to pedal lightly)`
	case s.Kind == Off && s.End.Kind != AfterTime && s.End.Kind != AtWord && !(s.End.Kind == AtBalance && s.End.Back):
		return partEnd, "a rest that ends on distance or effort", "a time, until you say so, or until W′ is back"
	case s.Kind == Test && s.Target.Of == OfNothing:
		return partTarget, "nothing says how hard the test is", "all out, or how hard"
	case s.Kind == Sprint && s.Target.Of == OfNothing:
		return partTarget, "nothing says how hard the sprint is", "all out, or how hard"
	case s.End.Kind == AtBalance && s.Target.Of == OfAllOut && s.End.Back:
		return partTarget, "W′ does not come back all out", "an effort below critical power"
	case !(c == 0 && d == 0) && !(c >= 20 && c <= d && d <= 220 && whole(c) && whole(d)):
		return partCadence, fmt.Sprintf("a cadence from %s to %s", figure(c), figure(d)), "20 to 220 rpm, the lower number first"
	case badText(s.Say) || strings.Contains(s.Say, `"`):
		return partSay, "characters that cannot be said", "plain text without quotes"
	}
	return partVerb, "", ""
}

func (e End) fault() (where part, problem, expected string) {
	bounds := e.Kind == AtBalance
	switch {
	case e.Kind < AfterTime || e.Kind > AtWord:
		return partEnd, "a length of no known kind", "a time, a distance, or until"
	case e.Kind == AfterTime && e.Seconds == 0:
		return partEnd, "the stage has no length", "5 min, 2 km, until 30 % is left, until you cannot go on, or until you say so"
	case e.Kind == AfterTime && !(e.Seconds >= 1 && e.Seconds <= MaxStageS && whole(e.Seconds)):
		return partEnd, fmt.Sprintf("a length of %s s", figure(e.Seconds)), "1 s to 12 h"
	case e.Kind == AfterDistance && !(e.Metres >= 100 && e.Metres <= MaxStageM && whole(e.Metres)):
		return partEnd, fmt.Sprintf("a length of %s metres", figure(e.Metres)), "100 m to 500 km (minutes are written min)"
	case e.Kind != AfterTime && e.Seconds != 0 || e.Kind != AfterDistance && e.Metres != 0 || !bounds && (e.Left != 0 || e.Back):
		return partEnd, "more than one length", "one"
	case !bounds && e.LeastS != 0:
		return partLeast, "a least time here", "it only after until … % is left, or is back"
	case e.Kind <= AfterDistance && e.MostS != 0:
		return partMost, "a most time here", "it only after until …"
	case bounds && !(e.Left >= 0 && e.Left <= 1 && e.Left == share(100*e.Left)) || e.Back && e.Left == 0:
		return partEnd, fmt.Sprintf("%s of W′", percent(e.Left)), "0 to 100 %, and more than 0 to be back"
	case e.Kind > AfterDistance && e.MostS == 0:
		return partMost, "nothing says how long at most", "at most 8 min, so that the stage ends whatever happens"
	case bounds && e.LeastS == 0:
		return partLeast, "nothing says how long at least", "at least 2 min"
	case e.Kind > AfterDistance && !(e.MostS >= 1 && e.MostS <= MaxStageS && whole(e.MostS)):
		return partMost, "at most " + figure(e.MostS) + " s", "1 s to 12 h"
	case bounds && !(e.LeastS >= 1 && e.LeastS <= e.MostS && whole(e.LeastS)):
		return partLeast, "at least " + clock(e.LeastS) + " and at most " + clock(e.MostS), "at least 1 s, and no more than at most"
	}
	return partEnd, "", ""
}

// ranges of targets, in the units of Target, and in words.
var ranges = map[Reference]struct {
	low, high float64
	words     string
}{
	OfThreshold: {0.05, 3, "5 to 300 % of threshold"},
	OfCritical:  {0.05, 3, "5 to 300 % of critical power"},
	OfWatts:     {1, 3000, "1 to 3000 W"},
	OfHeartMax:  {0.3, 1, "30 to 100 % of the maximum"},
	OfHeart:     {40, 230, "40 to 230 beats a minute"},
	OfFeel:      {6, 20, "an exertion from 6 to 20"},
}

func (t Target) fault() (problem, expected string) {
	r, counted := ranges[t.Of]
	switch isShare := t.Of == OfThreshold || t.Of == OfCritical || t.Of == OfHeartMax; {
	case t.Of < OfNothing || t.Of > OfAllOut:
		return "an effort of no known kind", "watts, shares, heart, feel, all out"
	case !counted && t != Target{Of: t.Of}:
		return "an effort with a number that means nothing", "none"
	case !counted:
		return "", ""
	case !(t.From >= r.low && t.From <= r.high && t.To >= r.low && t.To <= r.high):
		return "an effort out of range", r.words
	case !isShare && !(whole(t.From) && whole(t.To)), isShare && (t.From != share(100*t.From) || t.To != share(100*t.To)):
		return "an effort with too many decimals", r.words + ", to the watt, beat, grade or hundredth of a percent"
	case t.Ramp && t.Of > OfWatts:
		return "a heart or a feeling that rises by plan", "from … to … with power only"
	case !t.Ramp && t.From > t.To:
		return "the higher number comes first", "the lower first, or from … to … for an effort that falls"
	}
	return "", ""
}

func whole(x float64) bool { return x == float64(int(x)) }

// badText is text that cannot stand in a line.
func badText(s string) bool {
	if len(s) > 1000 || !utf8.ValidString(s) {
		return true
	}
	return strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) })
}

func fields(s string) []string { return strings.Fields(s) }
