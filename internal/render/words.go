package render

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// whole rounds to a whole number; a minus is a real minus sign.
func whole(x float64) string { return decimals(x, 0) }

// decimals rounds to n places. What is not a number reads as a dash.
func decimals(x float64, n int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	s := strconv.FormatFloat(math.Abs(x), 'f', n, 64)
	if x < 0 && strings.Trim(s, "0.") != "" {
		return "−" + s
	}
	return s
}

// clock is a time of the ride: 0:14, 21:52, 1:02:11.
func clock(s float64) string {
	if math.IsNaN(s) || math.IsInf(s, 0) || s < 0 {
		return "–"
	}
	n := int64(math.Round(s))
	if n < 3600 {
		return fmt.Sprintf("%d:%02d", n/60, n%60)
	}
	return fmt.Sprintf("%d:%02d:%02d", n/3600, n/60%60, n%60)
}

// forecastClock writes times that are only likely, all alike: to the second
// where the latest is under an hour, beyond to ten seconds, and to the minute
// where first and last are more than ten minutes apart.
func forecastClock(low, median, high float64) (l, m, h string) {
	say := clock
	switch {
	case !(high >= 3600) || math.IsInf(high, 0):
	case high-low > 600:
		say = func(s float64) string {
			n := int64(math.Round(s / 60))
			if n < 60 {
				return fmt.Sprintf("%d"+nb+"min", n)
			}
			return fmt.Sprintf("%d"+nb+"h"+nb+"%02d"+nb+"min", n/60, n%60)
		}
	default:
		say = func(s float64) string { return clock(math.Round(s/10) * 10) }
	}
	return say(low), say(median), say(high)
}

// ForecastClock writes a forecast's times as a brief does, for pages that show
// some beside it.
func ForecastClock(low, median, high float64) (l, m, h string) {
	return forecastClock(low, median, high)
}

// lapse is a difference in time without its sign: '49 s', '1 min 20 s', '12 min'.
func lapse(s float64) string {
	s = math.Abs(s)
	n := int64(math.Round(s))
	switch {
	case math.IsNaN(s) || math.IsInf(s, 0):
		return "–"
	case n == 0 && s > 0.05:
		return "under 1 s"
	case n < 100:
		return fmt.Sprintf("%d"+nb+"s", n)
	case n < 600 && n%60 != 0:
		return fmt.Sprintf("%d"+nb+"min"+nb+"%02d"+nb+"s", n/60, n%60)
	case n < 3600:
		return fmt.Sprintf("%d"+nb+"min", (n+30)/60)
	}
	return fmt.Sprintf("%d"+nb+"h"+nb+"%02d"+nb+"min", (n+30)/3600, (n+30)%3600/60)
}

// distance is a length: metres under a kilometre, else km with one decimal.
func distance(m float64) string {
	if m < 999.5 {
		return whole(m) + nb + "m"
	}
	return km(m) + nb + "km"
}

func km(m float64) string { return decimals(m/1000, 1) }

// odds is a chance as one would say it.
func odds(p float64) string {
	switch {
	case math.IsNaN(p):
		return "–"
	case p < 0.005:
		return "hardly ever"
	case p > 0.975:
		return "almost surely"
	case p > 0.95:
		return "19 in 20"
	case p <= 0.025:
		return "1 in " + whole(math.Round(1/p/10)*10)
	case p <= 0.4:
		return "1 in " + whole(1/p)
	}
	best, n, k := math.Inf(1), 0, 0
	for d := 2; d <= 10; d++ {
		for i := 1; i < d; i++ {
			if e := math.Abs(float64(i)/float64(d) - p); e < best-0.005 {
				best, n, k = e, d, i
			}
		}
	}
	return fmt.Sprintf("%d in %d", k, n)
}

// between is an interval, with n decimals.
func between(low, high float64, n int) string { return decimals(low, n) + "–" + decimals(high, n) }

var numerals = []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// count is a number in words up to twelve.
func count(n int) string {
	if n >= 0 && n < len(numerals) {
		return numerals[n]
	}
	return strconv.Itoa(n)
}

// plural is 'one cue', 'nine cues'.
func plural(n int, noun string) string {
	if n == 1 {
		return count(n) + " " + noun
	}
	return count(n) + " " + noun + "s"
}

// dateWords turns an ISO date into '2 December 2026'; anything else is kept.
func dateWords(iso string) string {
	t, err := time.Parse(time.DateOnly, iso)
	if err != nil {
		return iso
	}
	return t.Format("2 January 2006")
}

// nb is a space a line is not broken at: between a number and its unit.
const nb = "\u00a0"

// percent is a gradient or a share, without false precision.
func percent(f float64, n int) string { return decimals(100*f, n) + nb + "%" }

// slope is the range of gradients a rule holds for.
func slope(from, to float64) string {
	n := 0
	for _, g := range []float64{from, to} {
		if !math.IsInf(g, 0) && math.Abs(100*g-math.Round(100*g)) > 0.05 {
			n = 1
		}
	}
	switch {
	case math.IsInf(from, -1) && math.IsInf(to, 1):
		return "everywhere"
	case math.IsInf(to, 1):
		return "over " + percent(from, n)
	case math.IsInf(from, -1):
		return "under " + percent(to, n)
	}
	return decimals(100*from, n) + " to " + percent(to, n)
}

// upper starts a sentence.
func upper(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

// sentence ends in a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "!") || strings.HasSuffix(s, "?") {
		return upper(s)
	}
	return upper(s) + "."
}

// join strings the parts that are not empty.
func join(parts []string, with string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, with)
}
