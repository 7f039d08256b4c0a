package session

import "math"

// Numbers in the notation, in digits or in words.

var small = map[string]float64{
	"zero": 0, "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	"eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}

var tens = map[string]float64{"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90}

// underHundred reads one to ninety-nine in words.
func (p *parser) underHundred() (float64, bool) {
	t := p.peek()
	if t.kind != word {
		return 0, false
	}
	if v, ok := small[t.text]; ok {
		p.next()
		return v, true
	}
	for ten, v := range tens {
		if t.text == ten {
			p.next()
			if one, ok := small[p.peek().text]; ok && one >= 1 && one <= 9 && len(p.peek().text) > 2 {
				p.next()
				v += one
			}
			return v, true
		}
		if n := len(ten); len(t.text) > n+1 && t.text[:n+1] == ten+"-" {
			if one, ok := small[t.text[n+1:]]; ok && one >= 1 && one <= 9 {
				p.next()
				return v + one, true
			}
		}
	}
	return 0, false
}

// number reads a number in digits or words; false, and nothing read, if there
// is none.
func (p *parser) number() (float64, bool) {
	if t := p.peek(); t.kind == number {
		p.next()
		return t.value, true
	}
	if p.take("half") {
		if !p.take("an") {
			p.take("a")
		}
		return 0.5, true
	}
	v, ok := p.underHundred()
	if ok && p.take("hundred") {
		v *= 100
		back := p.at
		p.take("and")
		if rest, more := p.underHundred(); more {
			v += rest
		} else {
			p.at = back
		}
	}
	return v, ok
}

// unit words: times in s, distances in m.
var timeUnits = map[string]float64{
	"s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "min": 60, "mins": 60, "minute": 60, "minutes": 60,
	"h": 3600, "hr": 3600, "hrs": 3600, "hour": 3600, "hours": 3600,
}

var distanceUnits = map[string]float64{
	"m": 1, "metre": 1, "metres": 1, "meter": 1, "meters": 1, "km": 1000, "kilometre": 1000, "kilometres": 1000, "kilometer": 1000, "kilometers": 1000,
	"mi": 1609.344, "mile": 1609.344, "miles": 1609.344,
}

// spell is a small count as a coach says it.
func spell(n int) string {
	names := [...]string{"", "once", "twice", "three times", "four times", "five times", "six times", "seven times", "eight times", "nine times", "ten times", "eleven times", "twelve times"}
	if n < len(names) {
		return names[n]
	}
	return figure(float64(n)) + " times"
}

// share is percent as a fraction, to a hundredth of a percent, so that it
// prints as it was read.
func share(percent float64) float64 { return math.Round(100*percent) / 1e4 }
