package render

import (
	"html/template"
	"math"
	"time"

	"chainline/debrief"
)

// DayWords writes a day without its year in few letters, such as '2 Jan', the
// way its reader has it.
type DayWords func(time.Time) string

// dayOf is a day counted from 1970-01-01.
func dayOf(n int) time.Time { return time.Unix(int64(n)*86400, 0).UTC() }

// ResponsePicture draws fitness, fatigue and net response, each with its band
// over the days, one below the other.
func ResponsePicture(c debrief.Calendar, say DayWords) template.HTML {
	if len(c.Days) < 2 {
		return ""
	}
	type part struct {
		name string
		of   func(debrief.CalendarDay) debrief.Interval
	}
	parts := []part{{"fitness, th a day", func(d debrief.CalendarDay) debrief.Interval { return d.Fitness }},
		{"fatigue, th a day", func(d debrief.CalendarDay) debrief.Interval { return d.Fatigue }},
		{"net response, th a day", func(d debrief.CalendarDay) debrief.Interval { return d.Net }}}
	least, most, netLeast, netMost := 0.0, 0.0, 0.0, 0.0
	for _, d := range c.Days {
		most = math.Max(most, math.Max(d.Fitness.High80, d.Fatigue.High80))
		netLeast, netMost = math.Min(netLeast, d.Net.Low80), math.Max(netMost, d.Net.High80)
	}
	return bothWays("response", acrossPage, 400, func(a *axes) {
		first, last := float64(c.Days[0].Day), float64(c.Days[len(c.Days)-1].Day)
		bottom := a.high - 28
		each := bottom / 3
		for i, p := range parts {
			a.top, a.low = float64(i)*each+24, float64(i+1)*each-6
			lo, hi := least, most
			if i == 2 {
				lo, hi = netLeast, netMost
			}
			a.span(first, last, lo, hi)
			a.gridY(2, func(v float64) string { return decimals(v, 1) })
			var x, low, high []float64
			var mean [][2]float64
			for _, d := range c.Days {
				v := p.of(d)
				x, low, high = append(x, float64(d.Day)), append(low, v.Low80), append(high, v.High80)
				mean = append(mean, [2]float64{float64(d.Day), v.Mean})
			}
			a.band("band", x, low, high)
			if i == 2 {
				a.level(0)
			}
			a.line("ridden", mean)
			a.text("begin name", a.left, a.top-8, p.name)
		}
		a.top, a.low = 0, bottom
		a.months(say)
	})
}

// months marks the first day of each month on the foot.
func (a *axes) months(say DayWords) {
	last := math.Inf(-1)
	for n := int(a.x0); n <= int(a.x1); n++ {
		t := dayOf(n)
		if t.Day() != 1 || a.x(float64(n))-last < 60 || a.x(float64(n)) > a.right-24 {
			continue
		}
		last = a.x(float64(n))
		words := t.Format("January")
		if a.phone {
			words = t.Format("Jan")
		}
		a.text("begin", last, a.low+20, words)
		a.f(`<path class="grid" d="M%s %sV%s"/>`, at(last), at(a.low-4), at(a.low+6))
	}
	if math.IsInf(last, -1) {
		a.text("begin", a.left, a.low+20, say(dayOf(int(a.x0))))
		a.text("end", a.right, a.low+20, say(dayOf(int(a.x1))))
	}
}

// Weeks a calendar picture has room for.
const weeksWide, weeksPhone = 26, 10

// CalendarPicture draws the last weeks as chainlines, one a weekday: a bead for
// every day that was ridden, its area the load; under each week its sum.
func CalendarPicture(c debrief.Calendar, say DayWords) template.HTML {
	if len(c.Days) == 0 {
		return ""
	}
	most := 0.0
	for _, d := range c.Days {
		most = math.Max(most, d.Load)
	}
	return bothWays("days", acrossPage, 262, func(a *axes) {
		weeks := weeksWide
		if a.phone {
			weeks = weeksPhone
		}
		last := c.Days[len(c.Days)-1].Day
		monday := last - (int(dayOf(last).Weekday())+6)%7
		first := c.Days[0].Day - (int(dayOf(c.Days[0].Day).Weekday())+6)%7
		weeks = min(weeks, (monday-first)/7+1)
		step, row := (a.right-a.left)/float64(max(weeks, 8)), (a.high-58)/7
		for i, name := range []string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"} {
			y := 12 + (float64(i)+0.5)*row
			a.text("end", a.left-8, y+5, name)
			a.f(`<path class="chain" d="M%s %sH%s"/>`, at(a.left), at(y), at(a.left+float64(weeks)*step))
		}
		sums := make([]float64, weeks)
		for _, d := range c.Days {
			w := weeks - 1 - (monday-(d.Day-(int(dayOf(d.Day).Weekday())+6)%7))/7
			if w < 0 || w >= weeks {
				continue
			}
			sums[w] += d.Load
			if d.Load <= 0 || most <= 0 {
				continue
			}
			day := (int(dayOf(d.Day).Weekday()) + 6) % 7
			r := math.Max(2.2, math.Sqrt(d.Load/most)*math.Min(row, step)*0.48)
			a.f(`<circle class="load" cx="%s" cy="%s" r="%s"/>`, at(a.left+(float64(w)+0.5)*step), at(12+(float64(day)+0.5)*row), at(r))
		}
		var month time.Month
		for w, s := range sums {
			x := a.left + (float64(w)+0.5)*step
			a.text("mid", x, a.high-26, decimals(s, 1))
			begins := dayOf(monday - 7*(weeks-1-w))
			if m := begins.Month(); m != month {
				month = m
				a.text("mid", x, a.high-6, say(begins))
			}
		}
	})
}

// DayValue is a number with its interval on a day since 1970-01-01.
type DayValue struct {
	Day             int
	Low, Mean, High float64
}

// TimelinePicture draws how a number moved from day to day, with its band.
func TimelinePicture(points []DayValue, say DayWords) template.HTML {
	if len(points) < 2 {
		return ""
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		lo, hi = math.Min(lo, p.Low), math.Max(hi, p.High)
	}
	return bothWays("timeline", acrossPage, 210, func(a *axes) {
		a.span(float64(points[0].Day), float64(points[len(points)-1].Day), lo-0.08*(hi-lo), hi+0.08*(hi-lo))
		a.gridY(4, whole)
		var x, low, high []float64
		var mean [][2]float64
		for _, p := range points {
			x, low, high = append(x, float64(p.Day)), append(low, p.Low), append(high, p.High)
			mean = append(mean, [2]float64{float64(p.Day), p.Mean})
		}
		a.band("band", x, low, high)
		a.line("ridden", mean)
		a.months(say)
	})
}
