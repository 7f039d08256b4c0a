package web

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"chainline/estimate"
	"chainline/internal/form"
	"chainline/internal/render"
	"chainline/internal/service"
)

// RaceSheetPage is what a rider takes to a mass start: one sheet of paper.
type RaceSheetPage struct {
	Base
	Back, Card     string
	Name           string
	When, Clock    string // of the gun, and by whose clock
	Where          string
	Heroes         []RaceHero
	Picture        template.HTML
	Moments        []RacingMoment
	Start          []string
	Shelter        []string
	Spend          []string
	Gap, Dropped   []string
	WarmUp         []RaceWarmUpLine
	WarmUpWhy      string
	Unproved       string
	Form           *Form // whose clock
	Zone           Field
	Zones          []string
	Stale, Advised string
}

// Template names the page's template.
func (*RaceSheetPage) Template() string { return "race-sheet.html" }

// RaceHero is a number with what it is.
type RaceHero struct{ Name, Value, Note string }

// RaceWarmUpLine is one step, timed back from the gun.
type RaceWarmUpLine struct{ At, Lasts, Watts, Name string }

// raceZone is the zone of the rider's clock: the one asked for, else this
// machine's. A machine that knows no zone but UTC is taken to stand anywhere,
// so the event's own clock is the better guess then.
func (s *Server) raceZone(asked, event string) (loc *time.Location, wrong string) {
	here := s.now().Location()
	if asked != "" {
		l, err := time.LoadLocation(zoneNamed(asked))
		if err == nil && zoneNamed(asked) != "Local" {
			return l, ""
		}
		wrong = "“" + asked + "” is no time zone; write one like Europe/Dublin."
	}
	if name, _ := s.now().Zone(); (name == "UTC" || name == "") && event != "" {
		if l, err := time.LoadLocation(event); err == nil {
			return l, wrong
		}
	}
	return here, wrong
}

func (s *Server) raceSheetPage(w http.ResponseWriter, r *http.Request) error {
	x, err := s.racedRider(r)
	if err != nil {
		return err
	}
	if x.apart().Says != "" || x.sheet.Start == nil || s.withheld(x) != "" {
		return s.see(w, r, x.path(), "Simulate the races first; the sheet is made from them.")
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	typed := strings.TrimSpace(r.URL.Query().Get("zone"))
	loc, wrong := s.raceZone(typed, x.file.TimeZone)
	status, errs := http.StatusOK, map[string]string(nil)
	if wrong != "" {
		status, errs = http.StatusUnprocessableEntity, map[string]string{"zone": wrong}
	}
	p := &RaceSheetPage{Base: racesBase(x.Name + ": " + x.rider.Name), Name: x.Name, Back: x.path(), Card: x.path() + "/card"}
	p.Fill(x.sheet, u)
	if p.Stale, err = s.staleRace(r, x); err != nil {
		return err
	}
	var gun time.Time
	if x.file.Start.Known && x.file.HasClock {
		gun = x.file.Start.Value.In(loc)
	}
	p.Time(gun, x.sheet.WarmUp, datesOf(r))
	if gun.IsZero() {
		p.When = x.when(datesOf(r))
	}
	if typed == "" && loc != s.now().Location() {
		typed = loc.String()
	}
	p.AskZone(p.Back+"/sheet", typed, errs)
	return s.show(w, r, status, p)
}

// AskZone asks by whose clock the sheet is.
func (p *RaceSheetPage) AskZone(action, zone string, errs map[string]string) {
	p.Form = NewForm(action, map[string]string{"zone": zone}, errs)
	p.Zone = p.Form.Field(Field{Name: "zone", Label: "By the clock of", Hint: "A city is enough. Empty: this machine's."})
	p.Zones = eventZones
}

// Time sets the warm-up back from the gun, by the rider's clock; without a
// clock, in minutes before the gun.
func (p *RaceSheetPage) Time(gun time.Time, steps []service.RaceWarmUp, d dates) {
	p.WarmUp = nil
	for _, x := range steps {
		l := RaceWarmUpLine{Lasts: lastsWords(x.DurationS), Watts: fmt.Sprintf("%.0f W", x.Watts), Name: x.Name}
		if x.Watts == 0 {
			l.Watts = "rest"
		}
		if gun.IsZero() {
			l.At = "−" + clockOf(-x.StartS)
		} else {
			l.At = raceClock(gun.Add(time.Duration(x.StartS*float64(time.Second))), d)
		}
		p.WarmUp = append(p.WarmUp, l)
	}
	if gun.IsZero() {
		p.Clock = "Minutes before the gun: the event has no time of day yet."
		return
	}
	p.When = d.weekday(gun) + ", " + d.clock(gun)
	whose := "the clock of " + gun.Location().String()
	if gun.Location() == time.Local {
		whose = "this machine's clock"
	}
	p.Clock = fmt.Sprintf("By %s. The gun is at %s.", whose, raceClock(gun, d))
}

// TimeUsual is Time with clocks as most of the world writes them.
func (p *RaceSheetPage) TimeUsual(gun time.Time, steps []service.RaceWarmUp) {
	p.Time(gun, steps, dates{})
}

// raceClock has seconds where they matter.
func raceClock(t time.Time, d dates) string {
	t = t.Round(time.Second)
	switch {
	case t.Second() == 0:
		return d.clock(t)
	case d.halfDays:
		return t.Format("3:04:05 pm")
	}
	return t.Format("15:04:05")
}

// clockOf is minutes and seconds.
func clockOf(s float64) string {
	n := int(s + 0.5)
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

// Fill puts a sheet on the page.
func (p *RaceSheetPage) Fill(sheet service.RaceSheet, u form.Units) {
	p.Where = fmt.Sprintf("%s, %s, %s up", sheet.Course, u.Distance(sheet.LengthM), u.Elevation(sheet.AscentM))
	p.Advised, p.Unproved, p.WarmUpWhy = sheet.Enter, sheet.Unproved, sheet.WarmUpWhy
	var c service.RaceCategory
	for _, k := range sheet.Categories {
		if k.Name == sheet.Enter {
			c = k
		}
	}
	p.Picture = racePicture(sheet, c, u)
	x := sheet.Start
	p.Heroes = []RaceHero{{"Field", sheet.Enter, sheet.Sure}, {"With the front group", estimate.Chance(c.Chance), "of the races; " + shelterSpan(c)},
		{"First five minutes", fmt.Sprintf("%.0f W", x.OpeningW), "what the front group takes"}, {"You can hold that", "for good", "the start is not above your critical power"}}
	if x.AffordS != nil {
		p.Heroes[3].Name, p.Heroes[3].Value, p.Heroes[3].Note = "Above critical power", lastsWords(*x.AffordS), fmt.Sprintf("at that, until half of what you have above it is gone; %.0f W for two minutes is the most", x.TwoMinW)
	}
	p.Start = []string{startWords(*x)}
	for _, h := range sheet.Shelter {
		p.Shelter = append(p.Shelter, fmt.Sprintf("%s to %s: in the wheels it takes %.0f W less.", u.Distance(h.FromM), u.Distance(h.ToM), h.SavedW))
	}
	if p.Shelter == nil {
		p.Shelter = []string{"Nowhere do the wheels save much for long; stay in them all the same."}
	}
	p.Moments = newRacingField(0, sheet, c, u).Moments
	if x.LaunchM > 0 && x.LaunchW > 0 {
		p.Spend = append(p.Spend, fmt.Sprintf("There at the end? Go %s before the line: %.0f W for %s.", u.Elevation(x.LaunchM), x.LaunchW, lastsWords(x.LaunchS)))
	}
	p.Gap = []string{"A gap of five seconds on the level is more than you can close alone: never let one open."}
	switch {
	case x.GapJ != nil && *x.GapJ < 50: // shown as 0.0 kJ
		p.Gap = []string{"A gap of five seconds on the level can be closed without going above critical power."}
	case x.GapJ != nil:
		p.Gap = []string{fmt.Sprintf("Closing a gap of five seconds on the level costs %.1f kJ of what you have above critical power.", *x.GapJ/1000)}
	}
	p.Dropped = []string{fmt.Sprintf("%.0f W, and take the next wheels that come.", x.DroppedW)}
	if c.Lost != nil {
		p.Dropped = append(p.Dropped, fmt.Sprintf("Whoever was dropped came home %s behind, four times out of five %s to %s. It still is a good ride.", lastsWords(c.Lost.Mean), lastsWords(c.Lost.Low80), lastsWords(c.Lost.High80)))
	}
}

// shelterSpan is from the least to the greatest chance of the three shelters:
// by the luck of so many races the middling one may lie outside the others.
func shelterSpan(c service.RaceCategory) string {
	low := estimate.Chance(min(c.LowShelter, c.MidShelter, c.TopShelter))
	if high := estimate.Chance(max(c.LowShelter, c.MidShelter, c.TopShelter)); high != low {
		return low + " to " + high + " by shelter"
	}
	return "the same with any shelter"
}

func startWords(x service.RaceStart) string {
	if x.AffordS == nil {
		return fmt.Sprintf("The front group takes about %.0f W over the first five minutes; you can hold that.", x.OpeningW)
	}
	return fmt.Sprintf("The front group takes about %.0f W over the first five minutes, above your critical power: you can give that for %s, then settle in the wheels.", x.OpeningW, lastsWords(*x.AffordS))
}

// RaceCardLines are the lines for the handlebar, in the order of the course.
func RaceCardLines(sheet service.RaceSheet, u form.Units) []render.CardLine {
	x := sheet.Start
	if x == nil {
		return nil
	}
	first := render.CardLine{Place: "start", Hold: fmt.Sprint(5 * int(x.OpeningW/5+0.5)), Unit: "W", Words: "you can hold that"}
	if x.AffordS != nil {
		first.Words = "at most " + lastsWords(*x.AffordS) + ", then sit in"
	}
	type placed struct {
		at   float64
		line render.CardLine
	}
	var way []placed
	span := func(from, to float64) string {
		low, _, _ := strings.Cut(u.Distance(from), " ")
		return low + "–" + u.Distance(to)
	}
	for i, h := range sheet.Shelter {
		if i < 2 {
			way = append(way, placed{h.FromM, render.CardLine{Place: span(h.FromM, h.ToM), Hold: "sit in", Words: fmt.Sprintf("saves %.0f W", h.SavedW)}})
		}
	}
	for _, c := range sheet.Categories {
		if c.Name != sheet.Enter {
			continue
		}
		for i, m := range c.Moments {
			if i < 2 {
				way = append(way, placed{m.FromM, render.CardLine{Place: span(m.FromM, m.ToM), Hold: fmt.Sprint(5 * int(m.Watts/5+0.5)), Unit: "W", Words: "hold the wheel, " + lastsWords(m.Seconds)}})
			}
		}
	}
	slices.SortStableFunc(way, func(a, b placed) int {
		if a.at < b.at {
			return -1
		}
		return map[bool]int{true: 1}[a.at > b.at]
	})
	lines := []render.CardLine{first}
	for _, w := range way {
		lines = append(lines, w.line)
	}
	if x.LaunchM > 0 && x.LaunchW > 0 {
		lines = append(lines, render.CardLine{Place: "last " + u.Elevation(x.LaunchM), Hold: fmt.Sprint(5 * int(x.LaunchW/5+0.5)), Unit: "W", Words: "go, for " + lastsWords(x.LaunchS)})
	}
	return append(lines, render.CardLine{Place: "dropped", Hold: fmt.Sprintf("%.0f", x.DroppedW), Unit: "W", Words: "wait for wheels"})
}

func (s *Server) raceCard(w http.ResponseWriter, r *http.Request) error {
	x, err := s.racedRider(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	lines := RaceCardLines(x.sheet, u)
	if lines == nil || x.apart().Says != "" || s.withheld(x) != "" {
		return s.see(w, r, x.path(), "Simulate the races first; the card is made from them.")
	}
	var card bytes.Buffer
	if err := render.LinesCard(&card, x.Name+", "+x.sheet.Enter, lines); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", sheetPolicy)
	h.Set("Cache-Control", "no-store")
	_, err = w.Write(card.Bytes())
	return err
}
