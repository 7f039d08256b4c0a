package form

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"chainline/internal/input"
)

// read is a typed value as the file has it. wrong is a plain sentence if it
// cannot be taken; note says how it was read where that may be doubted.
type read struct{ raw, note, wrong string }

var dontKnow = regexp.MustCompile(`(?i)^(|\?+|-+|–|unknown|not known|(i )?(don'?t|do not) know( it)?|no idea|not sure|i'?m not sure|n/?a|never measured)[.!]?$`)

// unknown tells whether a person says that they do not know.
func unknown(typed string) bool {
	return dontKnow.MatchString(strings.ReplaceAll(strings.TrimSpace(typed), "’", "'"))
}

func readValue(k input.Key, typed string, u Units) read {
	switch k.Form {
	case "number", "whole":
		return readNumber(k, typed, u)
	case "word":
		return readWord(k.Words, typed)
	case "yesNo":
		r := readWord([]string{"yes", "no"}, typed)
		r.raw = map[string]string{"yes": "true", "no": "false"}[r.raw]
		return r
	case "date":
		iso, note, wrong := day(typed)
		return read{iso, note, wrong}
	case "moment":
		iso, note, wrong := moment(typed)
		return read{iso, note, wrong}
	case "zone":
		return read{raw: strings.ReplaceAll(strings.TrimSpace(typed), " ", "_")}
	case "list":
		return readList(k, typed, u)
	case "group":
		return read{wrong: "This is made of several values; fill those in."}
	}
	return readText(typed)
}

const longestText = 200 // characters, as internal/input

func readText(typed string) read {
	s := strings.TrimSpace(typed)
	switch {
	case utf8.RuneCountInString(s) > longestText:
		return read{wrong: fmt.Sprintf("At most %d characters fit here.", longestText)}
	case !utf8.ValidString(s) || strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) >= 0:
		return read{wrong: "Only one line of ordinary characters fits here."}
	}
	return read{raw: s}
}

// alike are other words that people use, only for the words beside them.
var alike = map[string][]string{
	"yes": {"y", "true", "on", "1"}, "no": {"n", "false", "off", "0"}, "on": {"yes", "true"}, "off": {"no", "false"},
	"female": {"f", "woman"}, "male": {"m", "man"}, "new": {"beginner", "newcomer"},
	"trainer": {"the trainer"}, "none": {"nothing"}, "closed": {"nothing", "shut"}, "little": {"a little", "a bit"}, "much": {"a lot"},
}

func readWord(words []string, typed string) read {
	plainly := func(s string) string { return strings.NewReplacer("_", " ", "-", " ").Replace(s) }
	s := plainly(tidy(typed))
	for _, w := range words {
		if plainly(w) == s {
			return read{raw: w}
		}
	}
	for _, w := range words {
		if slices.Contains(alike[w], s) {
			return read{raw: w}
		}
	}
	said := make([]string, len(words))
	for i, w := range words {
		said[i] = plainly(w)
	}
	return read{wrong: "Choose one of these: " + strings.Join(said, ", ") + "."}
}

func readNumber(k input.Key, typed string, u Units) read {
	if k.Unit == "s" {
		v, note, wrong := seconds(typed, k.Low, k.High)
		if wrong != "" {
			return read{wrong: wrong}
		}
		return read{raw: short(v), note: note}
	}
	m := measureOf(k)
	s := tidy(typed)
	if k.Unit == "m3" {
		if v, ok := product(s, m, u); ok {
			s = short(v) + "m3"
		}
	}
	parts, ok := split(s, m.names())
	switch {
	case between.MatchString(s):
		return read{wrong: "One number, please: the likeliest."}
	case !ok:
		return read{wrong: notANumber(k, typed, m.unit(u))}
	case len(parts) > 1:
		return compound(k, typed, m, parts, u)
	}
	return single(k, typed, m, parts[0], u)
}

var between = regexp.MustCompile(`^\d[\d.,]*\s*(-|–|to|or|/)\s*\d`)

func single(k input.Key, typed string, m measure, p part, u Units) read {
	name := strings.TrimRight(p.unit, ". ")
	if doubt, ok := m.doubtful[name]; ok {
		return read{wrong: doubt}
	}
	spoken := m.unit(u)
	if name != "" {
		var ok bool
		if spoken, ok = m.find(name); !ok {
			return read{wrong: foreignUnit(name, m)}
		}
	}
	numbers, sure := readings(p.number)
	if len(numbers) == 0 {
		return read{wrong: notANumber(k, typed, m.unit(u))}
	}
	var fit []float64
	for _, n := range numbers {
		if possible(k, spoken.file(n)) {
			fit = append(fit, n)
		}
	}
	switch {
	case len(fit) > 1 && !sure && english[spoken.shown]:
		return read{raw: short(spoken.file(fit[1])), note: "read as " + spoken.with(short(fit[1]))}
	case len(fit) > 1 && !sure:
		return read{wrong: whichOf(typed, short(fit[0]), short(fit[1]))}
	case len(fit) > 0 && sure && fit[0] != numbers[0]:
		return read{wrong: fmt.Sprintf("%s reads as %s; did you mean %s? Then write it without the mark.", quote(typed), spoken.with(short(numbers[0])), spoken.with(short(fit[0])))}
	case len(fit) > 0:
		r := read{raw: short(spoken.file(fit[0]))}
		if len(numbers) > 1 && !sure {
			r.note = "read as " + spoken.with(short(fit[0]))
		}
		if k.Form == "whole" && spoken.file(fit[0]) != math.Trunc(fit[0]) {
			return read{wrong: "A whole number, please."}
		}
		return r
	}
	return read{wrong: outOfRange(k, m, spoken, numbers[0], name == "", u)}
}

// english units come with commas that part thousands.
var english = map[string]bool{"ft": true, "mi": true, "lb": true, "yd": true, "mph": true, "in": true, "ft³": true}

func possible(k input.Key, v float64) bool { return v >= k.Low && v <= k.High }

// compound is a quantity in two units, the smaller one last: 10 st 10 lb,
// 5 ft 7, 1 m 68.
func compound(k input.Key, typed string, m measure, parts []part, u Units) read {
	unreadable := read{wrong: notANumber(k, typed, m.unit(u))}
	if len(parts) != 2 || parts[0].unit == "" {
		return unreadable
	}
	first, ok := m.find(parts[0].unit)
	if !ok {
		return read{wrong: foreignUnit(parts[0].unit, m)}
	}
	below := map[string]string{"st": "lb", "ft": "in", "m": "cm", "kg": "g", "km": "m", "lb": ""}[first.shown]
	name := parts[1].unit
	if name == "" {
		name = below
	}
	second, ok := m.find(name)
	a, _ := readings(parts[0].number)
	b, _ := readings(parts[1].number)
	if below == "" || !ok || second.shown != below || len(a) != 1 || len(b) != 1 || a[0] < 0 || b[0] < 0 || b[0]*second.factor >= first.factor {
		return unreadable
	}
	v := math.Round((a[0]*first.factor+b[0]*second.factor)*1e6) / 1e6
	if !possible(k, v) {
		return read{wrong: outOfRange(k, m, m.unit(u), (v-m.unit(u).offset)/m.unit(u).factor, false, u)}
	}
	return read{raw: short(v)}
}

var times = regexp.MustCompile(`^(\d[\d.,]*) ?(m|ft)? ?(?:x|×|by|\*) ?(\d[\d.,]*) ?(m|ft)? ?(?:x|×|by|\*) ?(\d[\d.,]*) ?(m|ft|metres|feet)?$`)

// product is a volume from length by width by height.
func product(s string, m measure, u Units) (v float64, ok bool) {
	t := times.FindStringSubmatch(s)
	if t == nil {
		return 0, false
	}
	v = 1
	for _, i := range []int{1, 3, 5} {
		n, sure := readings(t[i])
		if len(n) == 0 || !sure {
			return 0, false
		}
		v *= n[0]
	}
	feet := t[6] == "ft" || t[6] == "feet" || t[6] == "" && u == Imperial
	if feet {
		v *= m.units[1].factor
	}
	return math.Round(v*1e3) / 1e3, true
}

var (
	listParts = regexp.MustCompile(`[,;\s]+|\s*[-/–]\s*`)
	fromTo    = regexp.MustCompile(`^\d+\s*[-–]\s*\d+$`)
)

// readList is a list of single values in one line.
func readList(k input.Key, typed string, u Units) read {
	s := tidy(typed)
	if s == "none" || s == "nothing" || s == "no fan" || s == "no fans" || s == "no" {
		return read{raw: "none"}
	}
	if k.Entry == nil || len(k.Keys) > 0 {
		return read{wrong: "Fill in the entries of this list."}
	}
	if k.Name == "cogs" && fromTo.MatchString(s) {
		return read{wrong: "Those between are missing: write every cog, such as 11, 13, 15."}
	}
	var out []string
	separators := listParts
	if k.Entry.Form == "word" {
		separators = listCommas
	}
	for _, part := range separators.Split(strings.Trim(s, " ,;"), -1) {
		r := readValue(*k.Entry, part, u)
		if r.wrong != "" {
			return r
		}
		out = append(out, r.raw)
	}
	if len(out) > k.Most {
		return read{wrong: fmt.Sprintf("At most %d fit here.", k.Most)}
	}
	return read{raw: strings.Join(out, ", ")}
}

var listCommas = regexp.MustCompile(`\s*[,;]\s*`)
