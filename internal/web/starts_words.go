package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"chainline/estimate"
	"chainline/internal/form"
	"chainline/internal/service"
)

// StartPage is the start list of a handicap.
type StartPage struct {
	Base
	Path, Made   string
	After, Event string // paths; empty: none
	Where        string
	Says         string
	Bunches      []StartBunch
	Picture      template.HTML
	Fair         string
	Changes      []StartChange
	Notes        []string
	Unproved     string
	Clock        string // by whose clock the starts are

	Form     *Form // arrivals
	Arrivals []Field
	Taken    int // arrivals that kept rides told
}

// Template names the page's template.
func (*StartPage) Template() string { return "start.html" }

// StartBunch leaves together.
type StartBunch struct {
	Number          int
	Name, Gap, Time string
	Riders          []StartLine
}

// StartLine is one rider of the list.
type StartLine struct{ Name, Chance, Arrives string }

// StartChange is what an arrival changed.
type StartChange struct{ Name, Change, Why string }

// Fill puts a sheet on the page.
func (p *StartPage) Fill(sheet service.HandicapSheet, u form.Units) {
	p.Where = sheet.Course + ", " + u.Distance(sheet.LengthM)
	p.Notes, p.Unproved = sheet.Notes, sheet.Unproved
	riders := 0
	for i, b := range sheet.Bunches {
		bunch := StartBunch{Number: i + 1, Gap: clockOf(b.GapS), Name: "leaves " + lastsWords(b.GapS) + " later"}
		switch {
		case i == 0:
			bunch.Name = "limit, leaves first"
		case i == len(sheet.Bunches)-1:
			bunch.Name = "scratch, leaves last"
		}
		for _, x := range b.Riders {
			riders++
			bunch.Riders = append(bunch.Riders, StartLine{x.Name, fmt.Sprintf("%s ± %.0f", estimate.Chance(x.Chance), 100*x.SE), clockOf(x.Arrives.Low80) + " to " + clockOf(x.Arrives.High80)})
		}
		p.Bunches = append(p.Bunches, bunch)
	}
	p.Says = fmt.Sprintf("%s in %s. Arrivals are expected within about %s of each other (one standard deviation).", riderCount(riders), bunchCount(len(sheet.Bunches)), lastsWords(sheet.SpreadS))
	p.Fair = fmt.Sprintf("All equal would be %.0f %% each; by chance alone so many simulated races tell that to ± %.0f.", 100*sheet.Fair, math.Max(1, 100*sheet.FairSE))
	for _, c := range sheet.Changes {
		change := fmt.Sprintf("%+.1f %% of their power", 100*c.Share)
		if math.Abs(c.Share) < 0.0005 {
			change = "unchanged"
		}
		p.Changes = append(p.Changes, StartChange{c.Name, strings.Replace(change, "-", "−", 1), c.Why})
	}
	p.Picture = startPicture(sheet)
}

// Clocks sets the time of day of each start.
func (p *StartPage) Clocks(gun time.Time, zone string, d dates) {
	for i := range p.Bunches {
		var m, s int
		if _, err := fmt.Sscanf(p.Bunches[i].Gap, "%d:%d", &m, &s); err == nil {
			p.Bunches[i].Time = raceClock(gun.Add(time.Duration(60*m+s)*time.Second), d)
		}
	}
	p.Clock = "by the event's clock"
	if zone != "" {
		p.Clock = "by the clock of " + zone
	}
}

// AskArrivals asks who came when.
func (p *StartPage) AskArrivals(names []string, values, errs map[string]string) {
	p.Form = NewForm(p.Path+"/arrivals", values, errs)
	for i, name := range names {
		p.Arrivals = append(p.Arrivals, p.Form.Field(Field{Name: fmt.Sprintf("arrive.%d", i), Label: name}))
	}
}

// startPicture is one line for each rider: the start as a bead, the ride as a
// line, and the arrivals of four races in five as a bar. The table says the
// same.
func startPicture(sheet service.HandicapSheet) template.HTML {
	first, last := math.Inf(1), 0.0
	n := 0
	for _, b := range sheet.Bunches {
		for _, x := range b.Riders {
			n++
			first, last = math.Min(first, x.Arrives.Low80), math.Max(last, x.Arrives.High80)
		}
	}
	if n == 0 || last <= 0 {
		return ""
	}
	draw := func(class string, width, left, row float64) string {
		height := row*float64(n) + 34
		right := width - 14
		x := func(s float64) float64 { return left + (right-left)*s/(1.01*last) }
		var s strings.Builder
		fmt.Fprintf(&s, `<svg class="way starts %s" viewBox="0 0 %s %s" aria-hidden="true">`, class, coordText(width), coordText(height))
		step := startStep(last, class == "phone")
		for t := 0.0; t <= 1.01*last; t += step {
			fmt.Fprintf(&s, `<path class="rule" d="M%s 4V%s"/><text class="tick" x="%s" y="%s" text-anchor="middle">%s</text>`, coordText(x(t)), coordText(height-28), coordText(x(t)), coordText(height-8), clockOf(t))
		}
		y := row / 2
		for i, b := range sheet.Bunches {
			for _, r := range b.Riders {
				fmt.Fprintf(&s, `<text x="0" y="%s">%s</text>`, coordText(y+5), template.HTMLEscapeString(clipRunes(r.Name, int(left/8))))
				fmt.Fprintf(&s, `<path class="line" d="M%s %sH%s"/>`, coordText(x(b.GapS)), coordText(y), coordText(x(r.Arrives.Mean)))
				fmt.Fprintf(&s, `<path class="stretch" d="M%s %sH%s"/>`, coordText(x(r.Arrives.Low80)), coordText(y), coordText(x(r.Arrives.High80)))
				fmt.Fprintf(&s, `<circle class="bead" cx="%s" cy="%s" r="9"/><text class="number" x="%s" y="%s" text-anchor="middle">%d</text>`, coordText(x(b.GapS)), coordText(y), coordText(x(b.GapS)), coordText(y+4.6), i+1)
				y += row
			}
		}
		s.WriteString(`</svg>`)
		return s.String()
	}
	return template.HTML(draw("wide", 1076, 190, 27) + draw("phone", 360, 112, 27))
}

// startStep is how far the ticks of a start list are apart, s.
func startStep(last float64, phone bool) float64 {
	most := map[bool]float64{true: 4, false: 10}[phone]
	for _, s := range []float64{30, 60, 120, 300, 600, 900, 1800, 3600} {
		if last/s <= most {
			return s
		}
	}
	return 7200
}

// clipRunes is a text of at most so many letters.
func clipRunes(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// ClocksUsual is Clocks with clocks as most of the world writes them.
func (p *StartPage) ClocksUsual(gun time.Time, zone string) { p.Clocks(gun, zone, dates{}) }
