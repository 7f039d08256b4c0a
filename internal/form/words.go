package form

import (
	"regexp"
	"strconv"
	"strings"
)

// quantity is a quantity in a sentence of the program: a number, or two with a
// word or dash between them, and a unit. Gap may hold marks of a page, too
// (see Words).
var quantity = regexp.MustCompile(`(-?\d[\d,]*(?:\.\d+)?)(?:( to | and |-|–)(-?\d[\d,]*(?:\.\d+)?))?([ \x{a0}\x{202f}]?\x00{0,2}[ \x{a0}\x{202f}]?\x00{0,2})(km/h|km|kg|°C|m/s|m³|cm|m)`)

// kilometre is a place on a course: km 7.2.
var kilometre = regexp.MustCompile(`\bkm([ \x{a0}])(\d[\d,]*(?:\.\d+)?)( to |-|–)?(\d[\d,]*(?:\.\d+)?)?`)

var aPlace = regexp.MustCompile(`^[ \x{a0}]\d`)

// restated is a unit as Imperial says it: v of the metric one are factor times
// v plus offset, with so many decimals more than the metric number had.
type restated struct {
	unit           string
	factor, offset float64
	more           int
}

var inImperial = map[string]restated{
	"km": {"mi", 1000 / mile, 0, 0}, "km/h": {"mph", 1000 / mile, 0, 0}, "kg": {"lb", 1 / pound, 0, 0}, "°C": {"°F", 1.8, 32, 0},
	"m/s": {"mph", 3600 / mile, 0, 0}, "m³": {"ft³", 1 / (foot * foot * foot), 0, -2}, "cm": {"in", 0.01 / inch, 0, 0}, "m": {"ft", 1 / foot, 0, 0},
}

// Words is a sentence that the program made, in metric units, in these units.
// Drag areas (m²), inertias (kg m²), densities (kg/m³) and W/kg stay: riders
// everywhere say them so. A NUL stands for whatever mark may stand between a
// number and its unit; all of them stay where they are.
func (u Units) Words(text string) string {
	if u == Metric {
		return text
	}
	return kilometre.ReplaceAllStringFunc(u.quantities(text), func(place string) string {
		m := kilometre.FindStringSubmatch(place)
		out := "mile" + m[1] + restate(m[2], inImperial["km"])
		if m[4] != "" {
			return out + m[3] + restate(m[4], inImperial["km"])
		}
		return out + m[3]
	})
}

func (u Units) quantities(text string) string {
	var out strings.Builder
	done := 0
	for _, at := range quantity.FindAllStringSubmatchIndex(text, -1) {
		part := func(i int) string {
			if at[2*i] < 0 {
				return ""
			}
			return text[at[2*i]:at[2*i+1]]
		}
		if before := text[:at[0]]; strings.HasSuffix(before, ".") || strings.HasSuffix(before, "/") || !unitEnds(text[at[1]:], part(5)) {
			continue
		}
		unit := inImperial[part(5)]
		out.WriteString(text[done:at[0]] + restate(part(1), unit))
		if part(3) != "" {
			out.WriteString(part(2) + restate(part(3), unit))
		}
		out.WriteString(part(4) + unit.unit)
		done = at[1]
	}
	return out.String() + text[done:]
}

// unitEnds is whether a unit ends where a text goes on: it is not the beginning of
// a longer word or of another unit.
func unitEnds(rest, unit string) bool {
	if rest == "" {
		return true
	}
	for _, more := range []string{"²", "³", "/", "^"} {
		if strings.HasPrefix(rest, more) {
			return false
		}
	}
	if unit == "km" && aPlace.MatchString(rest) {
		return false // Climb 1, km 2.7
	}
	if unit == "kg" && (strings.HasPrefix(rest, " m²") || strings.HasPrefix(rest, "\u00a0m²")) {
		return false
	}
	c := rest[0]
	return c < '0' || c > '9' && c < 'A' || c > 'Z' && c < 'a' || c > 'z' && c < 0x80 || strings.HasPrefix(rest, "–") || strings.HasPrefix(rest, "\u00a0") || strings.HasPrefix(rest, "’") || strings.HasPrefix(rest, "…")
}

// restate is a number as another unit says it, as exact as it was.
func restate(number string, r restated) string {
	v, err := strconv.ParseFloat(strings.ReplaceAll(number, ",", ""), 64)
	if err != nil {
		return number
	}
	decimals := 0
	if _, after, ok := strings.Cut(number, "."); ok {
		decimals = len(after)
	}
	to := r.factor*v + r.offset
	if decimals == 0 && r.offset == 0 && v != 0 && to < 10 && to > -10 {
		decimals = 1 // 1 kg is 2.2 lb
	}
	return strconv.FormatFloat(to, 'f', max(0, decimals+r.more), 64)
}
