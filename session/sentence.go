package session

import (
	"fmt"
	"math"
)

// One sentence: a verb and its clauses.
//
//	verb    = "ride" | "warm up" | "easy" | "cool down" | "sprint" | "test" | "rest"
//	clause  = ["for" | "over"] length
//	        | "until" number "%" ("is left" | "is back") | "until you cannot go on" | "until you say so"
//	        | "at least" time | "at most" time
//	        | "at" band ("% of threshold" | "% of critical power" | "W" | "rpm") | "at exertion" band
//	        | "from" number "to" number ("% of threshold" | "% of critical power" | "W")
//	        | "with the heart at" band ("% of its maximum" | "beats a minute")
//	        | "so that you speak in whole sentences" and the like | "all out" | "as you like"
//	        | "say" text in quotes
//	band    = number [ ( "to" | "-" ) number ]
//	length  = time | number ("km" | "m" | "miles")
//	time    = number ("h" | "min" | "s") { number ("min" | "s") }

// part is a part of a stage that an error can point at.
type part int

const (
	partVerb part = iota
	partEnd
	partLeast
	partMost
	partTarget
	partCadence
	partSay
	parts
)

var partNames = [parts]string{"verb", "length", "least time", "most time", "effort", "cadence", "text"}

// sentence is a stage while it is read, with where each part stands.
type sentence struct {
	*parser
	stage Stage
	where [parts]*token
}

const clauses = `a length (5 min, 2 km, until 30 % is left), how hard (at 80 % of threshold, at 200 W, with the heart at 70 to 80 % of its maximum, so that you speak in whole sentences), a cadence (at 90 rpm) or say "…"`

func (p *parser) stage() (Stage, *SyntaxError) {
	s := sentence{parser: p}
	first := p.peek()
	if err := s.verb(); err != nil {
		return Stage{}, err
	}
	for {
		for p.takeMark(",") {
		}
		if p.takeMark(".") && p.peek().kind != lineEnd {
			return Stage{}, p.wrong("a new line after the full stop")
		}
		if p.peek().kind == lineEnd {
			break
		}
		if err := s.clause(); err != nil {
			return Stage{}, err
		}
	}
	if s.stage.Kind == Work && s.where[partTarget] == nil {
		return Stage{}, s.wrongEnd()
	}
	s.stage = s.stage.withDefaults()
	if where, problem, expected := s.stage.fault(); problem != "" {
		t := first
		if s.where[where] != nil {
			t = *s.where[where]
		} else if where != partVerb {
			t = p.tokens[len(p.tokens)-1] // it is missing: the end of the line
		}
		return Stage{}, at(t, problem, expected)
	}
	return s.stage, nil
}

// wrongEnd is a ride of which nobody said how hard.
func (s *sentence) wrongEnd() *SyntaxError {
	return at(s.peek(), "nothing says how hard", "at 80 % of threshold, at 200 W, with the heart at 70 to 80 % of its maximum, so that you speak in whole sentences, all out, or as you like")
}

func (s *sentence) verb() *SyntaxError {
	switch {
	case s.take("ride"):
		s.stage.Kind = Work
	case s.take("warm", "up"), s.take("warm-up"), s.take("warmup"):
		s.stage.Kind = Warm
	case s.take("easy"):
		s.stage.Kind = Easy
	case s.take("cool", "down"), s.take("cool-down"), s.take("cooldown"):
		s.stage.Kind = Cool
	case s.take("sprint"):
		s.stage.Kind = Sprint
	case s.take("test"):
		s.stage.Kind = Test
	case s.take("rest"):
		s.stage.Kind = Off
	default:
		s.wanted = append(s.wanted, headers...)
		return s.wrong("ride, warm up, easy, cool down, sprint, test, rest, a number of times with a colon, or end")
	}
	return nil
}

// set notes where a part stands; a part that is there already is wrong.
func (s *sentence) set(p part, t token) *SyntaxError {
	if s.where[p] != nil {
		return at(t, "the "+partNames[p]+" is said a second time", "it once in a line")
	}
	s.where[p] = &t
	return nil
}

func (s *sentence) clause() *SyntaxError {
	t := s.peek()
	switch {
	case s.take("say"):
		if err := s.set(partSay, t); err != nil {
			return err
		}
		if s.peek().kind != quoted {
			return s.wrong(`the text in quotes: say "…"`)
		}
		s.stage.Say = s.next().text
		if s.stage.Say == "" {
			return at(t, "there is nothing to say", "text between the quotes")
		}
		return nil
	case s.take("until"):
		return s.until(t)
	case s.take("at"):
		return s.afterAt(t)
	case s.take("from"):
		return s.ramp(t)
	case s.take("with"):
		return s.heart(t)
	case s.take("all", "out"):
		return s.target(t, Target{Of: OfAllOut})
	case s.take("as", "you", "like"):
		return s.target(t, Target{Of: OfNothing})
	}
	if feel, ok := s.feel(); ok {
		return s.target(t, Target{Of: OfFeel, From: feel, To: feel})
	}
	if !s.take("for") {
		s.take("over")
	}
	return s.length(t)
}

func (s *sentence) target(t token, target Target) *SyntaxError {
	s.stage.Target = target
	return s.set(partTarget, t)
}

// otherFeelings are more words for the same exertions.
var otherFeelings = []struct {
	exertion float64
	words    []string
}{
	{16, []string{"breathing", "hard", "but", "able", "to", "speak", "a", "few", "words"}},
	{14, []string{"breathing", "firmly", "but", "able", "to", "speak", "short", "sentences"}},
	{12, []string{"breathing", "steadily", "and", "able", "to", "speak", "whole", "sentences"}},
}

// feel reads one of the phrases for an exertion.
func (s *sentence) feel() (exertion float64, ok bool) {
	back := s.at
	for _, f := range feelings {
		if s.take(fields(f.words)...) {
			return float64(f.exertion), true
		}
	}
	s.take("as", "you", "would")
	for _, f := range otherFeelings {
		if s.take(f.words...) {
			return f.exertion, true
		}
	}
	s.at = back
	return 0, false
}

func (s *sentence) length(t token) *SyntaxError {
	begin := s.peek()
	v, ok := s.number()
	if !ok {
		if t.text == "so" || t.text == "as" {
			return s.wrong("one of: " + feelingWords() + ", as you like")
		}
		return s.wrong(clauses)
	}
	if err := s.set(partEnd, begin); err != nil {
		return err
	}
	if unit, ok := distanceUnits[s.peek().text]; ok {
		s.next()
		s.stage.End = End{Kind: AfterDistance, Metres: math.Round(v * unit), LeastS: s.stage.End.LeastS, MostS: s.stage.End.MostS}
		return nil
	}
	seconds, err := s.time(v)
	s.stage.End.Kind, s.stage.End.Seconds = AfterTime, seconds
	return err
}

// time reads the unit after a number, and smaller units with their numbers.
func (s *sentence) time(v float64) (float64, *SyntaxError) {
	seconds, least := 0.0, math.Inf(1)
	for {
		unit, ok := timeUnits[s.peek().text]
		switch {
		case !ok || s.peek().kind != word:
			return 0, s.unitWrong()
		case unit >= least:
			return 0, s.wrong("a smaller unit after a larger one, such as 1 h 30 min")
		}
		s.next()
		seconds, least = seconds+v*unit, unit
		back := s.at
		s.take("and")
		if v, ok = s.number(); !ok {
			s.at = back
			return math.Round(seconds), nil
		}
		if _, ok := timeUnits[s.peek().text]; !ok {
			s.at = back // the number begins another clause
			return math.Round(seconds), nil
		}
	}
}

func (s *sentence) unitWrong() *SyntaxError {
	t := s.peek()
	e := s.wrong("a unit: s, min, h, m, km or miles")
	if t.kind == mark && t.text == ":" {
		e.Expected = "minutes and seconds with their units, such as 5 min 30 s"
	}
	if t.kind == word {
		e.Meant = nearest(t.text, []string{"seconds", "minutes", "hours", "kilometres", "metres", "miles", "min", "km"})
	}
	return e
}

// someTime reads a whole time.
func (s *sentence) someTime() (float64, *SyntaxError) {
	v, ok := s.number()
	if !ok {
		return 0, s.wrong("a time such as 2 min")
	}
	return s.time(v)
}

func (s *sentence) until(t token) *SyntaxError {
	if err := s.set(partEnd, t); err != nil {
		return err
	}
	end := &s.stage.End
	switch {
	case s.take("you", "cannot", "go", "on"):
		end.Kind = WhenSpent
		return nil
	case s.take("you", "say", "so"):
		end.Kind = AtWord
		return nil
	}
	v, ok := s.number()
	if !ok {
		return s.wrong("30 % is left, 80 % is back, you cannot go on, or you say so")
	}
	if !s.percent() {
		return s.wrong("% after the number: until 30 % is left")
	}
	if s.take("of") && !s.take("w′") && !s.take("w'") && !s.take("w’") {
		return s.wrong("W′")
	}
	end.Kind, end.Left = AtBalance, share(v)
	switch {
	case s.take("is", "left"):
	case s.take("is", "back"):
		end.Back = true
	default:
		return s.wrong("is left, or is back")
	}
	return nil
}

func (s *sentence) percent() bool {
	return s.takeMark("%") || s.take("percent") || s.take("per", "cent")
}

// afterAt reads what "at" can begin.
func (s *sentence) afterAt(t token) (err *SyntaxError) {
	switch {
	case s.take("least"):
		s.stage.End.LeastS, err = s.someTime()
		return cmpError(err, s.set(partLeast, t))
	case s.take("most"):
		s.stage.End.MostS, err = s.someTime()
		return cmpError(err, s.set(partMost, t))
	case s.take("threshold"):
		return s.target(t, Target{Of: OfThreshold, From: 1, To: 1})
	case s.take("critical", "power"):
		return s.target(t, Target{Of: OfCritical, From: 1, To: 1})
	case s.take("exertion"):
		from, to, err := s.band(false)
		if err != nil {
			return err
		}
		return s.target(t, Target{Of: OfFeel, From: from, To: to})
	}
	from, to, err := s.band(true)
	switch {
	case err != nil:
		return err
	case s.take("rpm"), s.take("revolutions", "a", "minute"):
		s.stage.CadenceLow, s.stage.CadenceHigh = math.Round(from), math.Round(to)
		return s.set(partCadence, t)
	}
	target, err := s.power(from, to, "% of threshold, % of critical power, W or rpm")
	return cmpError(err, s.target(t, target))
}

// cmpError is the first error there is.
func cmpError(errs ...*SyntaxError) *SyntaxError {
	for _, e := range errs {
		if e != nil {
			return e
		}
	}
	return nil
}

// band reads "80", "70 to 80" or, with units, "70 % to 80 %" up to the last
// number; what the numbers count is read by the caller.
func (s *sentence) band(units bool) (from, to float64, err *SyntaxError) {
	from, ok := s.number()
	if !ok {
		return 0, 0, s.wrong("a number, threshold, critical power, exertion, least or most")
	}
	back := s.at
	if units && !s.percent() {
		s.watts()
	}
	if !s.take("to") && !s.takeMark("-") {
		s.at = back
		return from, from, nil
	}
	if to, ok = s.number(); !ok {
		return 0, 0, s.wrong("a second number after to")
	}
	return from, to, nil
}

func (s *sentence) watts() bool { return s.take("w") || s.take("watts") || s.take("watt") }

// power reads what a power is a share of.
func (s *sentence) power(from, to float64, expected string) (Target, *SyntaxError) {
	if s.watts() {
		return Target{Of: OfWatts, From: math.Round(from), To: math.Round(to)}, nil
	}
	if !s.percent() {
		return Target{}, s.wrong(expected)
	}
	s.take("of")
	target := Target{From: share(from), To: share(to)}
	switch {
	case s.take("threshold"), s.take("ftp"):
		target.Of = OfThreshold
	case s.take("critical", "power"), s.take("cp"):
		target.Of = OfCritical
	default:
		return Target{}, s.wrong("threshold or critical power")
	}
	return target, nil
}

func (s *sentence) ramp(t token) *SyntaxError {
	from, to, err := s.band(true)
	if err != nil {
		return err
	}
	target, err := s.power(from, to, "% of threshold, % of critical power or W")
	target.Ramp = true
	return cmpError(err, s.target(t, target))
}

func (s *sentence) heart(t token) *SyntaxError {
	if s.take("all", "you", "have") {
		return s.target(t, Target{Of: OfAllOut})
	}
	if !s.take("the", "heart", "at") {
		return s.wrong(`"the heart at 70 to 80 % of its maximum"`)
	}
	from, to, err := s.band(true)
	switch {
	case err != nil:
		return err
	case s.take("bpm"), s.take("beats"):
		s.take("a", "minute")
		return s.target(t, Target{Of: OfHeart, From: math.Round(from), To: math.Round(to)})
	case !s.percent():
		return s.wrong("% of its maximum, or beats a minute")
	case !s.take("of", "its", "maximum"):
		return s.wrong("of its maximum")
	}
	return s.target(t, Target{Of: OfHeartMax, From: share(from), To: share(to)})
}

func feelingWords() string {
	list := ""
	for i, f := range feelings {
		if i > 0 {
			list += ", "
		}
		list += fmt.Sprint(f.words)
	}
	return list
}
