package intake

import (
	"math"
	"strconv"
	"strings"
)

// clockReader reads the times of a table's rows, whichever form they have.
// Absolute ones (a date and time, or seconds since 1970) win over those that
// count from the start.
type clockReader struct {
	date     string  // of this row, where it has a column of its own
	ofDay    float64 // s, of this row; NaN: none
	absolute float64
	elapsed  float64
	zone     int
	zoned    bool
	seen     struct{ absolute, elapsed, ofDay int }
	rows     []instant
}

type instant struct{ absolute, elapsed, ofDay float64 }

func (c *clockReader) begin() {
	c.date, c.ofDay, c.absolute, c.elapsed = "", math.NaN(), math.NaN(), math.NaN()
}

// take reads one cell of a time.
func (c *clockReader) take(f field, cell string, comma bool) bool {
	if f.date && len(cell) <= 10 && strings.Count(cell, "-")+strings.Count(cell, "/")+strings.Count(cell, ".") == 2 && !strings.Contains(cell, ":") {
		c.date = cell
		return true
	}
	if m, ok := stamp(cell); ok {
		c.set(m)
		return true
	}
	if s, ok := clockTime(cell); ok {
		if math.IsNaN(c.ofDay) {
			c.ofDay = s
		}
		return true
	}
	v, ok := decimal(cell, comma)
	if !ok {
		return false
	}
	switch f.unit {
	case "ms":
		v /= 1000
	case "min":
		v *= 60
	case "h":
		v *= 3600
	}
	switch {
	case v > 1e11 && v < 4e12:
		c.set(moment{unix: v / 1000, zoned: true})
	case v > 1e8 && v < 4e9:
		c.set(moment{unix: v, zoned: true})
	case v >= 0 && v < 1e8:
		if math.IsNaN(c.elapsed) {
			c.elapsed = v
		}
	default:
		return false
	}
	return true
}

func (c *clockReader) set(m moment) {
	if !math.IsNaN(c.absolute) {
		return
	}
	c.absolute = m.unix
	if c.seen.absolute == 0 {
		c.zone, c.zoned = m.zone, m.zoned
	}
}

// clockTime reads h:mm:ss or m:ss, with a fraction if there is one.
func clockTime(cell string) (float64, bool) {
	parts := strings.Split(cell, ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	total := 0.0
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.Replace(p, ",", ".", 1), 64)
		if err != nil || !(v >= 0 && v < 1e5) || i > 0 && v >= 60 {
			return 0, false
		}
		total = total*60 + v
	}
	return total, true
}

// end gives back the row's time as far as it is known yet: NaN, settle knows.
func (c *clockReader) end() float64 {
	if c.date != "" && !math.IsNaN(c.ofDay) && math.IsNaN(c.absolute) {
		whole, fraction := math.Modf(c.ofDay)
		text := clockText(int(whole))
		if m, ok := stamp(c.date + " " + text); ok {
			m.unix += fraction
			c.set(m)
		}
	}
	r := instant{c.absolute, c.elapsed, c.ofDay}
	if !math.IsNaN(r.absolute) {
		c.seen.absolute++
	}
	if !math.IsNaN(r.elapsed) {
		c.seen.elapsed++
	}
	if !math.IsNaN(r.ofDay) {
		c.seen.ofDay++
	}
	c.rows = append(c.rows, r)
	switch {
	case !math.IsNaN(r.absolute):
		return r.absolute
	case !math.IsNaN(r.elapsed):
		return r.elapsed
	}
	return r.ofDay
}

func clockText(s int) string {
	two := func(n int) string {
		if n < 10 {
			return "0" + strconv.Itoa(n)
		}
		return strconv.Itoa(n)
	}
	return two(s/3600) + ":" + two(s/60%60) + ":" + two(s%60)
}

// settle gives all rows the form of time that most of them have.
func (c *clockReader) settle(say func(string, ...any)) []float64 {
	n := len(c.rows)
	pick := func(of func(instant) float64) []float64 {
		out := make([]float64, n)
		for i, r := range c.rows {
			out[i] = of(r)
		}
		return out
	}
	switch {
	case 2*c.seen.absolute > n:
		if !c.zoned {
			say("the times do not say their zone: taken as UTC")
		}
		return pick(func(r instant) float64 { return r.absolute })
	case 2*c.seen.elapsed > n:
		say("the date is not in the file: times count from its start")
		return pick(func(r instant) float64 { return r.elapsed })
	case 2*c.seen.ofDay > n:
		say("the date is not in the file: times count from its start")
		out := pick(func(r instant) float64 { return r.ofDay })
		day, last := 0.0, math.NaN()
		for i, t := range out {
			if t-last < -43200 { // past midnight
				day += 86400
			}
			if !math.IsNaN(t) {
				last = t
			}
			out[i] = t + day
		}
		return out
	}
	say("no column of times: rows are taken as a second apart")
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i)
	}
	return out
}
