package form

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

var (
	colons     = regexp.MustCompile(`^(\d{1,4}):(\d{1,2})(?::(\d{1,2}))?(?:[.,](\d{1,3}))?$`)
	timeUnits  = []string{"h", "hr", "hrs", "hour", "hours", "m", "min", "mins", "minute", "minutes", "'", "s", "sec", "secs", "second", "seconds", "\""}
	timeSaid   = strings.NewReplacer("half an hour", "30 min", "an hour", "1 h", "one hour", "1 h", "a minute", "1 min", "one minute", "1 min")
	timeExpect = "write a time like 1:02:30, 62 min or 90 s"
)

// bareMinutes is up to where a bare number may be meant in minutes: our
// judgement, nobody types two hours as 120 nor less than two minutes as 121.
const bareMinutes = 120

// seconds reads a duration between two limits, in seconds: 1:02:30, 62 min,
// 1h 2m, 3720. Two numbers with a colon are minutes and seconds, unless only
// hours and minutes are possible. note says how it was read where that may be
// doubted; wrong is a sentence if it cannot be taken.
func seconds(typed string, low, high float64) (v float64, note, wrong string) {
	s := timeSaid.Replace(tidy(typed))
	inside := func(v float64) bool { return v >= low && v <= high }
	if clock := strings.TrimSuffix(strings.TrimSuffix(s, " min"), " h"); colons.MatchString(clock) {
		v, note, wrong = colonTime(clock, s[len(clock):], inside)
	} else {
		v, note, wrong = spokenTime(s, typed, inside)
	}
	v = math.Round(v*1000) / 1000
	switch {
	case wrong != "":
		return 0, "", wrong
	case v < low:
		return 0, "", fmt.Sprintf("%s is less than the least possible here, %s.", Duration(v), Duration(low))
	case v > high:
		return 0, "", fmt.Sprintf("%s is more than the most possible here, %s.", Duration(v), Duration(high))
	}
	return v, note, ""
}

func colonTime(clock, unit string, inside func(float64) bool) (v float64, note, wrong string) {
	m := colons.FindStringSubmatch(clock)
	a, _ := strconv.ParseFloat(m[1], 64)
	b, _ := strconv.ParseFloat(m[2], 64)
	c, _ := strconv.ParseFloat("0"+m[3], 64)
	part := 0.0
	if m[4] != "" {
		part, _ = strconv.ParseFloat("0."+m[4], 64)
	}
	if b >= 60 || c >= 60 {
		return 0, "", "Behind a colon stand at most 59 minutes or seconds; " + timeExpect + "."
	}
	if m[3] != "" {
		return 3600*a + 60*b + c + part, "", ""
	}
	short, long := 60*a+b+part, 3600*a+60*b
	if unit == " h" || unit == "" && !inside(short) && inside(long) && part == 0 {
		return long, "read as " + Duration(long), ""
	}
	if unit == "" && inside(long) {
		note = "read as " + spoken(short)
	}
	return short, note, ""
}

func spokenTime(s, typed string, inside func(float64) bool) (v float64, note, wrong string) {
	parts, ok := split(s, timeUnits)
	if !ok {
		return 0, "", notA(typed, "time") + timeExpect + "."
	}
	if len(parts) == 1 && parts[0].unit == "" {
		return bareTime(parts[0].number, typed, inside)
	}
	last := math.Inf(1)
	for i, p := range parts {
		worth := 0.0
		switch {
		case p.unit == "" && i > 0:
			worth = last / 60 // 1 h 20, 3 min 20
		case strings.HasPrefix(p.unit, "h"):
			worth = 3600
		case strings.HasPrefix(p.unit, "m"), p.unit == "'":
			worth = 60
		case strings.HasPrefix(p.unit, "s"), p.unit == "\"":
			worth = 1
		}
		if !known(p.unit, timeUnits) && p.unit != "" || worth == 0 || worth >= last || worth < 1 {
			return 0, "", notA(typed, "time") + timeExpect + "."
		}
		numbers, sure := readings(p.number)
		if len(numbers) == 0 || numbers[0] < 0 {
			return 0, "", notA(typed, "time") + timeExpect + "."
		}
		n := numbers[0]
		if len(numbers) == 2 && !sure && !inside(n*worth) {
			n = numbers[1]
		} else if len(numbers) == 2 && !sure && inside(numbers[1]*worth) {
			return 0, "", whichOf(typed, short(n)+" "+p.unit, short(numbers[1])+" "+p.unit)
		}
		v += n * worth
		last = worth
	}
	return v, "", ""
}

// bareTime is a number without a unit: seconds, if minutes can be ruled out.
func bareTime(number, typed string, inside func(float64) bool) (v float64, note, wrong string) {
	numbers, sure := readings(number)
	if len(numbers) == 0 {
		return 0, "", notA(typed, "time") + timeExpect + "."
	}
	n := numbers[0]
	if len(numbers) == 2 && !sure && !inside(n) && !inside(60*n) {
		n = numbers[1]
	}
	switch {
	case n == 0:
		return 0, "", ""
	case n > 0 && n <= bareMinutes && inside(60*n) && inside(n):
		return 0, "", fmt.Sprintf("Are these %s seconds or %s minutes? Write %s s or %s min.", short(n), short(n), short(n), short(n))
	case n > 0 && n <= bareMinutes && inside(60*n):
		return 60 * n, "read as " + Duration(60*n), ""
	}
	return n, "read as " + Duration(n), ""
}

func known(s string, all []string) bool {
	for _, a := range all {
		if a == s {
			return true
		}
	}
	return false
}

// Duration is a time as people say it: 45 s, 20 min, 9:40, 1:02:30.
func Duration(seconds float64) string {
	whole := math.Trunc(seconds)
	n := int64(whole)
	switch {
	case math.IsNaN(seconds) || math.IsInf(seconds, 0):
		return "–"
	case math.Abs(seconds) > 1e9:
		return "a lifetime"
	case seconds < 60 || whole != seconds:
		return rounded(seconds, 3) + " s"
	case n < 3600 && n%60 == 0:
		return fmt.Sprintf("%d min", n/60)
	case n < 3600:
		return fmt.Sprintf("%d:%02d", n/60, n%60)
	}
	return fmt.Sprintf("%d:%02d:%02d", n/3600, n/60%60, n%60)
}

// spoken is a time under a day without colons.
func spoken(seconds float64) string {
	n := int64(math.Round(seconds))
	if n%60 == 0 {
		return fmt.Sprintf("%d min", n/60)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}
