package form

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"chainline/internal/input"
	"chainline/internal/problem"
)

// quote is what was typed, short enough for a sentence.
func quote(typed string) string {
	s := problem.OneLine(strings.TrimSpace(strings.ToValidUTF8(typed, "")))
	if utf8.RuneCountInString(s) > 30 {
		s = string([]rune(s)[:29]) + "…"
	}
	return "“" + s + "”"
}

func notA(typed, what string) string { return quote(typed) + " is not a " + what + "; " }

func whichOf(typed, a, b string) string {
	return fmt.Sprintf("Is %s %s or %s? Write it without the mark.", quote(typed), strings.TrimSpace(a), strings.TrimSpace(b))
}

func notANumber(k input.Key, typed string, u unit) string {
	s := notA(typed, "number") + "write one from " + span(k, u)
	if !k.Needed {
		s += ", or leave it empty"
	}
	return s + "."
}

// span is the range of a number in a unit, rounded inwards.
func span(k input.Key, u unit) string {
	low, high := limits(k, u)
	return low + " to " + u.with(high)
}

func limits(k input.Key, u unit) (low, high string) {
	if u.factor == 1 && u.offset == 0 {
		return short(k.Low), short(k.High)
	}
	a, b := (k.Low-u.offset)/u.factor, (k.High-u.offset)/u.factor
	decimals := 0
	if b < 10 {
		decimals = 2
	}
	p := math.Pow10(decimals)
	return rounded(math.Ceil(a*p-1e-9)/p, decimals), rounded(math.Floor(b*p+1e-9)/p, decimals)
}

func foreignUnit(name string, m measure) string {
	var units []string
	for _, u := range m.units {
		if u.shown != "" {
			units = append(units, u.shown)
		}
	}
	if len(units) == 0 {
		return "Write the number alone here, without " + quote(name) + "."
	}
	return fmt.Sprintf("The unit %s does not fit here; write the number with %s.", quote(name), strings.Join(units, ", "))
}

// outOfRange says so, and asks whether another unit was meant where that
// would be possible.
func outOfRange(k input.Key, m measure, spoken unit, n float64, bare bool, u Units) string {
	low, high := limits(k, spoken)
	said := "This"
	if math.Abs(n) < 1e9 {
		said = spoken.with(rounded(n, 3))
	}
	var s string
	if spoken.file(n) < k.Low {
		s = fmt.Sprintf("%s is less than the least possible here, %s", said, spoken.with(low))
	} else {
		s = fmt.Sprintf("%s is more than the most possible here, %s", said, spoken.with(high))
	}
	if k.Name == "birth_year" {
		return "Write the year of birth with four digits, from 1900 to 2020."
	}
	if bare {
		for _, other := range m.units {
			if other.shown != spoken.shown && other.shown != "" && possible(k, other.file(n)) {
				return s + "; did you mean " + other.with(rounded(n, 3)) + "? Then write the unit too."
			}
		}
	}
	return s + "."
}

func isNeeded(k input.Key, u Units) string {
	switch k.Form {
	case "number", "whole":
		if k.Unit == "s" {
			return "This has to be known: a time from " + Duration(k.Low) + " to " + Duration(k.High) + "."
		}
		return "This has to be known: a number from " + span(k, measureOf(k).unit(u)) + "."
	case "word":
		return "This has to be known: " + strings.ReplaceAll(strings.Join(k.Words, ", "), "_", " ") + "."
	case "date":
		return "This has to be known: a date like 2 December 2026."
	}
	return "This has to be known."
}

// plainer are sentences for what internal/input refuses because values do not
// fit together. Groups of the pattern can be used in the sentence.
var plainer = []struct {
	says     *regexp.Regexp
	sentence string
}{
	{regexp.MustCompile(`^not below max_heart_rate_bpm`), "The resting heart rate must be below the highest."},
	{regexp.MustCompile(`^not a key of kind (\w+)`), "This does not belong to evidence of the kind “$1”; leave it empty."},
	{regexp.MustCompile(`^(?:missing|this one must be known); expected (.*?), a (?:whole )?number in .*$`), "This has to be known: $1."},
	{regexp.MustCompile(`^missing; expected the (length|ascent) of the whole course.*$`), "The $1 of the whole course, or of a lap, has to be known."},
	{regexp.MustCompile(`^(.* m up in .* m of road is .* %); expected a hill of at most (.*)$`), "$1, more than the $2 of the steepest streets; the ascent is what the road rises."},
	{regexp.MustCompile(`^(.* m in )(\S+) s is (.* km/h); expected a time that makes (.*) km/h$`), "$1$2 seconds would be $3; between $4 km/h is possible."},
	{regexp.MustCompile(`^a known hill is climbed on the road`), "A hill is climbed on the road; for watts indoors add a best effort."},
	{regexp.MustCompile(`^heart_rate is off`), "Heart rate is switched off for this rider; leave this entry out, or switch it on."},
	{regexp.MustCompile(`^\S+ is not below max_heart_rate_bpm, (\S+);`), "An easy load's heart rate must be below the highest, $1 bpm."},
	{regexp.MustCompile(`^\S+ is not above resting_heart_rate_bpm, (\S+);`), "An easy load's heart rate must be above that at rest, $1 bpm."},
	{regexp.MustCompile(`^(\S+) kg is far from mass_kg, (\S+);`), "$1 kg is far from the body mass of $2 kg; is the unit right?"},
	{regexp.MustCompile(`^(\S+) kg more than before and drink explain`), "That is $1 kg more than the mass before and the drink explain."},
	{regexp.MustCompile(`^a loss of (\S+) l/h; expected a loss of at most (\S+) l/h`), "That would be a loss of $1 litres an hour; at most $2 are possible."},
	{regexp.MustCompile(`^only a plain trainer or rollers have a power curve`), "Only a plain trainer or rollers have a table of watts; leave it empty."},
	{regexp.MustCompile(`^only a controllable trainer has this limit`), "Only a trainer that gets harder by itself has this limit; leave it empty."},
	{regexp.MustCompile(`^below the floor at (.*); expected`), "At $1 the most watts are below the least."},
	{regexp.MustCompile(`^power_curve is not known`), "There is no table of watts that could be doubted; leave this empty."},
	{regexp.MustCompile(`expected rows of rising wheel speed and rising watts$`), "Wheel speed and watts must both rise from row to row."},
	{regexp.MustCompile(`expected rows of rising wheel speed`), "Wheel speed must rise from row to row."},
	{regexp.MustCompile(`^a list of \d+; expected 2 to \d+ rows`), "At least two rows are needed."},
	{regexp.MustCompile(`^a list of \d+; expected \d+ to (\d+)`), "At most $1 entries fit here."},
	{regexp.MustCompile(`^only the watts of a plain trainer`), "Only the watts of a plain trainer or rollers can be read off a table."},
	{regexp.MustCompile(`^there is no source to be accurate`), "Where nothing shows watts there is no accuracy; leave it empty."},
	{regexp.MustCompile(`^low (\S+), preferred (\S+), high (\S+) are not in order`), "Slowest, preferred and fastest cadence must rise; they are $1, $2 and $3 rpm."},
	{regexp.MustCompile(`^outside_(temperature|humidity)\S* is not known`), "The $1 outside is needed with it."},
	{regexp.MustCompile(`do not know the word "(.*?)"; expected`), "The word “$1” is not known here; write it like “one pedestal fan, a metre away, high”, or “no fan”."},
	{regexp.MustCompile(`^found (?:the text )?".*?"(?: in quotes)?: (.*); expected (?:.*)$`), "$1; write it like “one pedestal fan, a metre away, high”, or “no fan”."},
	{regexp.MustCompile(`^found "(.*)", which is no time zone`), "“$1” is no time zone; write one like Europe/Dublin."},
	{regexp.MustCompile(`^found the text "(.*)" in quotes, which is no time zone`), "“$1” is no time zone; write one like Europe/Dublin."},
	{regexp.MustCompile(`^(\S+) does not exist in (\S+), where the clocks go forward`), "That time does not exist: the clocks in $2 go forward then."},
	{regexp.MustCompile(`^air_density_kg_m3 already says`), "The density of the air already says this; give the one or the other."},
	{regexp.MustCompile(`^(?:cda_m2|crr) is not known`), "There is no value that could be doubted; leave this empty."},
	{regexp.MustCompile(`^(\S+) is not above min_w_per_kg, (\S+);`), "The most must be above the least, $2 W/kg."},
	{regexp.MustCompile(`^ascent_m already says how steep it is`), "The climb's ascent already says how steep it is; give the one or the other."},
	{regexp.MustCompile(`^a climb of (\S+ %); expected a mean gradient of at most (.*)$`), "That is a climb of $1; at most $2 is possible."},
	{regexp.MustCompile(`^(\S+ km/h uphill); expected the seconds`), "That would be $1; is the time right?"},
	{regexp.MustCompile(`^the sketch does not work out: (.*)$`), "This does not work out: $1."},
	{regexp.MustCompile(`^unknown key`), "There is no such value here."},
}

var place = regexp.MustCompile(`^[^:]*:\d+:\d+: `)

// plainly is what internal/input says, as a sentence beside a field.
func plainly(e *problem.Error) string {
	says := place.ReplaceAllString(e.Message, "")
	if e.Path != "" {
		says = strings.TrimPrefix(says, e.Path+": ")
	}
	for _, p := range plainer {
		if at := p.says.FindStringSubmatchIndex(says); at != nil {
			return sentence(string(p.says.ExpandString(nil, p.sentence, says, at)))
		}
	}
	return sentence(says)
}

// sentence begins with a capital and ends with one mark.
func sentence(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if s != "" && !strings.ContainsAny(s[len(s)-1:], ".?!") {
		s += "."
	}
	return s
}
