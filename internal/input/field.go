package input

import (
	"fmt"
	"strings"
)

// Optional is a value that a file may leave out or call unknown.
type Optional[T any] struct {
	Value T
	Known bool
}

// Some is a known value.
func Some[T any](v T) Optional[T] { return Optional[T]{Value: v, Known: true} }

// Or is the value, or the given one when it is not known.
func (o Optional[T]) Or(otherwise T) T {
	if o.Known {
		return o.Value
	}
	return otherwise
}

// form is what may stand behind a key.
type form int

const (
	number form = iota
	whole
	text
	word
	yesNo
	date
	moment
	zone
	group
	list
)

// field is one key of a file: what may stand there. The tables of fields are
// the one place that knows keys, units and ranges; docs/formats.md is tested
// against them.
type field struct {
	key       string
	form      form
	unit      string  // of numbers
	low, high float64 // of numbers, both allowed
	words     []string
	needed    bool
	hint      string  // for a number out of range
	keys      []field // of a group, or of each entry of a list
	entry     *field  // of a list whose entries may be single values
	most      int     // entries of a list
}

// expected says what may stand behind the key.
func (f field) expected() string {
	s := f.what()
	if !f.needed {
		s += ", or unknown"
	}
	return s
}

func (f field) what() string {
	switch f.form {
	case number, whole:
		s := "a number"
		if f.form == whole {
			s = "a whole number"
		}
		if f.unit != "" {
			s += " in " + f.unit
		}
		return s + " from " + f.span()
	case text:
		return fmt.Sprintf("text of 1 to %d characters on one line", maxText)
	case word:
		return "one of " + strings.Join(f.words, ", ")
	case yesNo:
		return "true or false"
	case date:
		return "a date like 2026-10-31"
	case moment:
		return "a local time like 2026-12-03T19:30, or a date like 2026-12-03"
	case zone:
		return "a time zone like Europe/Dublin"
	case group:
		return "a group of keys"
	default:
		return "a list"
	}
}

// span is the range of a number in words, as in docs/formats.md.
func (f field) span() string { return fmt.Sprintf("%g to %g", f.low, f.high) }

// nearest is the known key that a wrong one was most likely meant to be.
func nearest(wrong string, fields []field) (string, bool) {
	wrong = strings.ToLower(wrong)
	best, far := "", 1<<30
	for _, f := range fields {
		d := distance(wrong, f.key)
		if strings.HasPrefix(f.key, wrong+"_") {
			d = 1 // only the unit is missing
		}
		if d < far {
			best, far = f.key, d
		}
	}
	return best, far <= max(2, len(best)/3)
}

// distance is that of Levenshtein 1966: insertions, deletions, substitutions.
func distance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}

func keysOf(fields []field) string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return strings.Join(keys, ", ")
}
