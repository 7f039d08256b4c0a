package form

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// How people write a number. A comma is a decimal comma or parts thousands; a
// point is a decimal point, and parts thousands only where there is more than
// one or a comma follows. Spaces and apostrophes part thousands.
var (
	pointNumber    = regexp.MustCompile(`^(\d+\.?\d*|\.\d+)(e[-+]?\d{1,2})?$`)
	commaNumber    = regexp.MustCompile(`^\d*,\d+$`)
	commaThousands = regexp.MustCompile(`^\d{1,3}(,\d{3})+(\.\d+)?$`)
	pointThousands = regexp.MustCompile(`^\d{1,3}(\.\d{3})+(,\d+)?$`)
	spaceThousands = regexp.MustCompile(`^\d{1,3}([ '’]\d{3})+([.,]\d+)?$`)
)

// readings are the numbers that a text can mean, the likelier one first; none
// if it is no number. sure tells that the first one is meant whenever it is
// possible at all.
func readings(s string) (out []float64, sure bool) {
	sign := 1.0
	if rest, ok := cutAny(s, "-", "−"); ok {
		sign, s = -1, strings.TrimSpace(rest)
	} else if rest, ok := strings.CutPrefix(s, "+"); ok {
		s = strings.TrimSpace(rest)
	}
	add := func(text string) {
		if v, err := strconv.ParseFloat(text, 64); err == nil && !slices.Contains(out, sign*v+0) {
			out = append(out, sign*v+0)
		}
	}
	sure = true
	without := func(marks string) string {
		return strings.Map(func(r rune) rune {
			if strings.ContainsRune(marks, r) {
				return -1
			}
			return r
		}, s)
	}
	if pointNumber.MatchString(s) {
		add(s)
	}
	if commaNumber.MatchString(s) {
		add(strings.Replace(s, ",", ".", 1))
		sure = !commaThousands.MatchString(s) || strings.HasPrefix(s, "0")
	}
	if commaThousands.MatchString(s) && !strings.HasPrefix(s, "0") {
		add(without(","))
	}
	if pointThousands.MatchString(s) && !strings.HasPrefix(s, "0") {
		add(strings.Replace(without("."), ",", ".", 1))
	}
	if spaceThousands.MatchString(s) {
		add(strings.Replace(without(" '’"), ",", ".", 1))
	}
	return out, sure
}

func cutAny(s string, prefixes ...string) (string, bool) {
	for _, p := range prefixes {
		if rest, ok := strings.CutPrefix(s, p); ok {
			return rest, true
		}
	}
	return s, false
}

// part is a number and the unit behind it, "" if there is none.
type part struct{ number, unit string }

var (
	leadingNumber = regexp.MustCompile(`^[-+−]?\s*(\d[\d.,]*(?:[ '’]\d{3}(?:[.,]\d+)?\b)*(?:e[-+]?\d{1,2}\b)?|[.,]\d+)`)
	approximately = regexp.MustCompile(`^(?:(?:about|around|roughly|approximately|approx|circa|ca)\b\.?|~|≈)\s*`)
	spaces        = regexp.MustCompile(`\s+`)
)

// tidy makes a typed text easy to read: lower case, single plain spaces, and
// without words that only say that it is not exact.
func tidy(s string) string {
	s = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "′", "'", "’", "'", "″", "\"", "”", "\"", "“", "\"", "''", "\"").Replace(s)
	s = strings.ToLower(spaces.ReplaceAllString(strings.TrimSpace(s), " "))
	return approximately.ReplaceAllString(s, "")
}

// split takes a tidied text apart into numbers with units: "10 st 10 lb", "5'7".
// Units are looked for among those known; false if the text is of another form.
func split(s string, known []string) ([]part, bool) {
	var out []part
	for s != "" && len(out) < 8 {
		number := leadingNumber.FindString(s)
		if number == "" {
			return nil, false
		}
		number = strings.TrimRight(number, ".,")
		s = strings.TrimLeft(s[len(number):], " ")
		unit := ""
		for _, u := range known {
			if len(u) > len(unit) && strings.HasPrefix(s, u) && ends(s[len(u):], u) {
				unit = u
			}
		}
		if unit == "" && s != "" {
			unit = strings.TrimSpace(leadingWord.FindString(s))
			if unit == "" {
				return nil, false
			}
		}
		s = strings.TrimLeft(strings.TrimPrefix(s, unit), " .,")
		s = strings.TrimPrefix(s, "and ")
		out = append(out, part{number, unit})
	}
	return out, s == "" && len(out) > 0
}

var leadingWord = regexp.MustCompile(`^[^\d]+`)

// ends tells whether a unit may end before this rest of the text.
func ends(rest, unit string) bool {
	if rest == "" || strings.HasSuffix(unit, "'") || strings.HasSuffix(unit, "\"") || strings.HasSuffix(unit, "%") {
		return true
	}
	r := []rune(rest)[0]
	return !unicode.IsLetter(r) && !strings.ContainsRune("/²³·", r)
}
