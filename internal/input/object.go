package input

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // time zones must load on machines without a zone database
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// object is a group of keys that has been checked against its fields.
type object struct {
	f      *file
	at     *yaml.Node
	path   string
	fields map[string]field
	keys   map[string]*yaml.Node
	values map[string]*yaml.Node // without what is called unknown
}

// open checks that n is a group of keys, each known and there once, and that
// none is missing. beside are fields of a neighbouring group that people put
// here by mistake; inside is where they belong.
func (f *file) open(n *yaml.Node, path string, fields []field, inside string, beside []field) object {
	o := object{f: f, at: n, path: path, fields: map[string]field{}, keys: map[string]*yaml.Node{}, values: map[string]*yaml.Node{}}
	for _, known := range fields {
		o.fields[known.key] = known
	}
	if f.err != nil {
		return o
	}
	if n.Kind != yaml.MappingNode {
		f.fail(n, path, found(n), "keys with values: "+keysOf(fields), "")
		return o
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		o.take(n.Content[i], n.Content[i+1], fields, inside, beside)
	}
	for _, known := range fields {
		if _, ok := o.keys[known.key]; known.needed && !ok {
			f.fail(n, o.name(known.key), "missing", known.expected(), "")
		}
	}
	return o
}

func (o *object) take(key, value *yaml.Node, fields []field, inside string, beside []field) {
	name := clip(key.Value)
	if key.Kind != yaml.ScalarNode {
		o.f.fail(key, o.path, found(key)+" in place of a key", "one of "+keysOf(fields), "")
		return
	}
	known, ok := o.fields[key.Value]
	if !ok {
		for _, b := range beside {
			if b.key == key.Value {
				o.f.fail(key, o.name(name), "not a key here", "it under "+inside+":", "")
				return
			}
		}
		if near, ok := nearest(key.Value, fields); ok {
			o.f.fail(key, o.name(name), "unknown key", near, "Did you mean "+near+"? docs/formats.md lists every key.")
		} else {
			o.f.fail(key, o.name(name), "unknown key", "one of "+keysOf(fields), "docs/formats.md lists every key.")
		}
		return
	}
	if first, ok := o.keys[key.Value]; ok {
		o.f.fail(key, o.name(name), fmt.Sprintf("written a second time (first in line %d)", first.Line), "each key once", "")
		return
	}
	o.keys[key.Value] = key
	if value.Kind == yaml.ScalarNode && value.Value == "unknown" && value.Style == 0 {
		if known.needed {
			o.f.fail(value, o.name(name), "this one must be known", known.expected(), "")
		}
		return
	}
	if value.Kind == yaml.ScalarNode && value.Tag == "!!null" {
		o.f.fail(value, o.name(name), "nothing stands behind the colon", known.expected(), "")
		return
	}
	o.values[key.Value] = value
}

func (o object) name(key string) string {
	if o.path == "" {
		return key
	}
	return o.path + "." + key
}

// get is the node behind a key, nil when it is not known or reading failed.
// Asking for a key that the fields do not list is a mistake of this package.
func (o object) get(key string) (*yaml.Node, field) {
	known, ok := o.fields[key]
	if !ok {
		panic("input: no field " + key)
	}
	if o.f.err != nil {
		return nil, known
	}
	return o.values[key], known
}

func (o object) has(key string) bool {
	n, _ := o.get(key)
	return n != nil
}

// refuse notes a problem with a key that is there.
func (o object) refuse(key, wrong, expected, hint string) {
	if n, _ := o.get(key); n != nil {
		o.f.fail(n, o.name(key), wrong, expected, hint)
	}
}

// found says what stands there.
func found(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "found a group of keys"
	case n.Kind == yaml.SequenceNode:
		return "found a list"
	case n.Tag == "!!null":
		return "nothing stands here"
	case n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
		return "found the text " + strconv.Quote(clip(n.Value)) + " in quotes"
	default:
		return "found " + strconv.Quote(clip(n.Value))
	}
}

var (
	numeral       = regexp.MustCompile(`^[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?$`)
	wholeNumeral  = regexp.MustCompile(`^[-+]?\d+$`)
	commaNumeral  = regexp.MustCompile(`^[-+]?\d+,\d+$`)
	withUnit      = regexp.MustCompile(`^[-+]?\d+([.,]\d+)?\s*[A-Za-z%°]`)
	otherBase     = regexp.MustCompile(`^[-+]?0[xobXOB]`)
	isNoNumber    = regexp.MustCompile(`(?i)^[-+]?\.?(nan|inf|infinity)$`)
	dateForm      = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)
	momentForm    = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?$`)
	earliest      = time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC)
	latest        = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
	datesExpected = "a date from 1990 to 2099"
)

// parseNumber reads a number within the field's range from a node.
func (f *file) parseNumber(n *yaml.Node, name string, want field) (float64, bool) {
	if n.Kind != yaml.ScalarNode || n.Style != 0 || !numeral.MatchString(n.Value) {
		f.fail(n, name, found(n), want.expected(), numberHint(n))
		return 0, false
	}
	v, err := strconv.ParseFloat(n.Value, 64)
	switch {
	case err != nil || math.IsInf(v, 0):
		f.fail(n, name, clip(n.Value)+" is too large a number", want.expected(), "")
	case v < want.low || v > want.high:
		hint := want.hint
		if v < 0 {
			hint = "" // they speak of mistaken units
		}
		f.fail(n, name, clip(n.Value)+" is out of range", want.expected(), hint)
	case want.form == whole && !wholeNumeral.MatchString(n.Value):
		f.fail(n, name, clip(n.Value)+" is not whole", want.expected(), "")
	default:
		return v + 0, true // + 0 turns -0 into 0
	}
	return 0, false
}

func numberHint(n *yaml.Node) string {
	switch {
	case n.Kind != yaml.ScalarNode:
		return ""
	case n.Style != 0 && numeral.MatchString(n.Value):
		return "Write the number without quotes."
	case commaNumeral.MatchString(n.Value):
		return "Write a point, not a comma: " + strings.Replace(clip(n.Value), ",", ".", 1) + "."
	case isNoNumber.MatchString(n.Value):
		return "If you do not know it, write unknown or leave the line out."
	case otherBase.MatchString(n.Value):
		return "Write it in decimal digits."
	case withUnit.MatchString(n.Value):
		return "Write the number alone: the unit is part of the key."
	default:
		return ""
	}
}

func (o object) number(key string) Optional[float64] {
	n, want := o.get(key)
	if n == nil {
		return Optional[float64]{}
	}
	v, ok := o.f.parseNumber(n, o.name(key), want)
	return Optional[float64]{v, ok}
}

// scaled is a number times a factor, for units that the program does not use.
func (o object) scaled(key string, factor float64) Optional[float64] {
	v := o.number(key)
	v.Value *= factor
	return v
}

func (o object) whole(key string) Optional[int] {
	v := o.number(key)
	return Optional[int]{int(v.Value), v.Known}
}

// scalar is the text behind a key as written; false when not known.
func (o object) scalar(key string) (string, *yaml.Node, bool) {
	n, want := o.get(key)
	if n == nil {
		return "", nil, false
	}
	if n.Kind != yaml.ScalarNode {
		o.f.fail(n, o.name(key), found(n), want.expected(), "")
		return "", nil, false
	}
	return n.Value, n, true
}

// text is a line of text, "" when not known.
func (o object) text(key string) string {
	s, n, ok := o.scalar(key)
	if !ok {
		return ""
	}
	trimmed := strings.TrimSpace(s)
	printable := strings.IndexFunc(trimmed, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
	if trimmed == "" || !printable || utf8.RuneCountInString(trimmed) > maxText {
		o.f.fail(n, o.name(key), found(n), o.fields[key].expected(), "")
		return ""
	}
	return trimmed
}

// word is one of the field's words, "" when not known.
func (o object) word(key string) string {
	s, n, ok := o.scalar(key)
	if !ok {
		return ""
	}
	want := o.fields[key]
	for _, w := range want.words {
		if s == w {
			return s
		}
	}
	hint := ""
	for _, w := range want.words {
		if strings.EqualFold(s, w) || distance(strings.ToLower(s), w) <= 2 && len(w) > 4 {
			hint = "Did you mean " + w + "?"
			break
		}
	}
	o.f.fail(n, o.name(key), found(n), want.expected(), hint)
	return ""
}

func (o object) yesNo(key string) Optional[bool] {
	s, n, ok := o.scalar(key)
	switch {
	case !ok:
	case s == "true" && n.Style == 0:
		return Some(true)
	case s == "false" && n.Style == 0:
		return Some(false)
	default:
		o.f.fail(n, o.name(key), found(n), o.fields[key].expected(), "")
	}
	return Optional[bool]{}
}

// date is a day as written, checked against the calendar.
func (o object) date(key string) string {
	s, n, ok := o.scalar(key)
	if !ok {
		return ""
	}
	o.day(n, key, s, dateForm.MatchString(s))
	return s
}

var dayHints = map[form]string{
	date:   "Year, month and day in this order, with two digits each for month and day.",
	moment: "Date, the letter T and the time of day, nothing more: the zone goes into time_zone.",
}

func (o object) day(n *yaml.Node, key, s string, formed bool) (time.Time, bool) {
	if !formed {
		o.f.fail(n, o.name(key), found(n), o.fields[key].expected(), dayHints[o.fields[key].form])
		return time.Time{}, false
	}
	t, err := time.Parse("2006-01-02", s[:10])
	if err != nil {
		o.f.fail(n, o.name(key), clip(s)+" is not in the calendar", o.fields[key].expected(), "")
		return time.Time{}, false
	}
	if t.Before(earliest) || !t.Before(latest) {
		o.f.fail(n, o.name(key), clip(s)+" is out of range", datesExpected, "")
		return time.Time{}, false
	}
	return t, true
}

// child is the group behind a key.
func (o object) child(key string, fields []field) (object, bool) {
	n, _ := o.get(key)
	if n == nil {
		return object{}, false
	}
	c := o.f.open(n, o.name(key), fields, "", nil)
	return c, o.f.err == nil
}

// items are the entries of the list behind a key.
func (o object) items(key, of string, least, most int) []*yaml.Node {
	n, want := o.get(key)
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		s := "a list of " + of
		if !want.needed {
			s += ", or unknown"
		}
		o.f.fail(n, o.name(key), found(n), s, "")
		return nil
	}
	if len(n.Content) < least || len(n.Content) > most {
		o.f.fail(n, o.name(key), fmt.Sprintf("a list of %d", len(n.Content)), fmt.Sprintf("%d to %d %s", least, most, of), "")
		return nil
	}
	return n.Content
}

// entry names the i-th entry of a list (from 0); people count from 1.
func (o object) entry(key string, i int) string { return fmt.Sprintf("%s[%d]", o.name(key), i+1) }
