package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"chainline/estimate"
	"chainline/internal/form"
	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/internal/store"
)

// RacingRiderPage says which field one rider should enter, and what would
// happen in each.
type RacingRiderPage struct {
	Base
	Back, When, Where string
	Path              string
	Going             *WorkingPage
	Enter             string // large
	Close             bool
	Why               []string
	Unproved, Source  string
	Fields            []RacingField
	Notes             []string
	Brief             string // path of the sheet; empty: there is none
	Stale             string
	Absent            []string

	Form   *Form
	Ask    []Field
	Button string
}

// Template names the page's template.
func (*RacingRiderPage) Template() string { return "racing-rider.html" }

// RacingField is one field for a rider, in words.
type RacingField struct {
	ID, Name, Limits, Standing string
	Advised                    bool
	Shut                       string // why nothing was raced
	Chance, Error, Shelters    string
	Picture                    template.HTML
	Along                      []RacingAlong
	Facts                      [][2]string
	Moments                    []RacingMoment
	Learnt                     string
}

// RacingAlong is the chance at a place.
type RacingAlong struct{ At, Low, Middle, High string }

// RacingMoment is where much is decided.
type RacingMoment struct {
	Number       int
	Where, Words string
}

// racedRider is a rider of an event with what races came to.
type racedRider struct {
	racedEvent
	rider store.Object
	found bool
	last  store.Forecast
	sheet service.RaceSheet
}

func (s *Server) racedRider(r *http.Request) (x racedRider, err error) {
	if x.racedEvent, err = s.racedEvent(r); err != nil {
		return x, err
	}
	x.rider, err = s.store.Object(r.Context(), r.PathValue("rider"))
	if errors.Is(err, store.ErrNotFound) || err == nil && x.rider.Kind != store.Rider {
		return x, notFound("There is no such rider. Perhaps they were deleted.")
	}
	if err != nil {
		return x, err
	}
	if x.last, x.found = x.of(x.rider.ID); x.found {
		err = json.Unmarshal(x.last.Sheet, &x.sheet)
	}
	return x, err
}

func (x racedRider) path() string { return x.racedEvent.path() + "/" + x.rider.ID }

func (s *Server) racingRider(w http.ResponseWriter, r *http.Request) error {
	x, err := s.racedRider(r)
	if err != nil {
		return err
	}
	if x.apart().Says != "" {
		return s.see(w, r, x.racedEvent.path(), "")
	}
	return s.showRacingRider(w, r, http.StatusOK, x, nil, nil)
}

func (s *Server) showRacingRider(w http.ResponseWriter, r *http.Request, status int, x racedRider, values, errs map[string]string) error {
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := &RacingRiderPage{Base: racesBase("Which field? " + x.rider.Name), When: x.when(datesOf(r)), Path: x.path(), Back: x.racedEvent.path()}
	if x.found {
		if why := s.withheld(x); why != "" {
			p.Absent = append(p.Absent, why)
		} else {
			p.Fill(x.sheet, s.limitsFor(x), u)
			if p.Stale, err = s.staleRace(r, x); err != nil {
				return err
			}
		}
	}
	if going := s.works.on(x.about()); going != nil {
		p.Going = &WorkingPage{ID: going.id, Doing: going.progress()}
	}
	if faults, ok := s.raceFaults.Load(x.ID); ok {
		for _, f := range faults.([]string) {
			if strings.HasPrefix(f, x.rider.Name+": ") {
				p.Absent = append(p.Absent, f)
			}
		}
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	if values == nil {
		if values, err = s.whoRides(r.Context(), x.racedEvent, []Option{{Value: x.rider.ID}}); err != nil {
			return err
		}
		values["rig"] = values["rig."+x.rider.ID]
	}
	p.Asks(choices, values, errs)
	return s.show(w, r, status, p)
}

// withheld is why the kept forecast may not be shown any more; empty if it may.
func (s *Server) withheld(x racedRider) string {
	return service.Withheld(x.sheet, x.rider.Text, s.raceDay(x.racedEvent))
}

// limitsFor are the limits as this rider is shown them: nobody under 18 is
// shown W/kg, and how far they are inside stands in watts.
func (s *Server) limitsFor(x racedRider) map[string]string {
	if service.Minor(x.rider.Text, s.raceDay(x.racedEvent)) {
		return nil
	}
	return x.limits()
}

// staleRace says that a kept forecast rests on what has changed since.
func (s *Server) staleRace(r *http.Request, x racedRider) (string, error) {
	a := briefAsk{Rider: x.last.RiderID, Rig: x.last.RigID, Course: x.last.CourseID, Road: x.last.RoadID, Event: x.ID}
	parts, rows, err := s.raceParts(r.Context(), x.racedEvent, a)
	if err != nil || s.raceKey(x.racedEvent, parts, rows) == x.last.Key {
		return "", err
	}
	return "Something this rests on has changed since. Simulate again to see what it is now.", nil
}

// Asks asks on what and where.
func (p *RacingRiderPage) Asks(choices map[store.Kind][]Option, values, errs map[string]string) {
	p.Form = NewForm(p.Path, values, errs)
	p.Ask = []Field{p.Form.Field(Field{Name: "rig", Label: "On what?", Kind: "select", Options: choices[store.Rig]}),
		p.Form.Field(Field{Name: "course", Label: "Where?", Kind: "select", Options: choices[store.Course]}),
		p.Form.Field(Field{Name: "road", Label: "Ridden on", Kind: "select", Options: append([]Option{{Label: "An ordinary open road"}}, choices[store.Road]...)})}
	p.Button = "Simulate the races"
}

// Fill puts a sheet on the page.
func (p *RacingRiderPage) Fill(sheet service.RaceSheet, limits map[string]string, u form.Units) {
	p.Where = fmt.Sprintf("%s, %s, %s up", sheet.Course, u.Distance(sheet.LengthM), u.Elevation(sheet.AscentM))
	p.Enter, p.Close, p.Why, p.Unproved, p.Notes, p.Source = sheet.Enter, sheet.NotSure, sheet.Why, sheet.Unproved, sheet.Notes, sheet.Source
	if sheet.Start != nil {
		p.Brief = p.Path + "/sheet"
	}
	for i, c := range sheet.Categories {
		field := newRacingField(i, sheet, c, u)
		field.Limits = limits[c.Name]
		p.Fields = append(p.Fields, field)
	}
	for i := range p.Fields { // the one advised first
		if p.Fields[i].Advised && i > 0 {
			one := p.Fields[i]
			copy(p.Fields[1:i+1], p.Fields[:i])
			p.Fields[0] = one
		}
	}
}

func newRacingField(i int, sheet service.RaceSheet, c service.RaceCategory, u form.Units) RacingField {
	f := RacingField{ID: fmt.Sprintf("c%d", i), Name: c.Name, Standing: c.Standing, Advised: c.Name == sheet.Enter}
	if !c.Forecast {
		f.Shut = "Not raced: it is not open to this rider, or certainly below them."
		return f
	}
	f.Chance, f.Error = estimate.Chance(c.Chance), fmt.Sprintf("± %.0f", 100*c.ChanceSE)
	f.Shelters = fmt.Sprintf("%s with low shelter, %s with high", estimate.Chance(c.LowShelter), estimate.Chance(c.TopShelter))
	f.Picture = racePicture(sheet, c, u)
	for k, a := range c.Along {
		if k%2 == 0 {
			f.Along = append(f.Along, RacingAlong{u.Distance(a.M), estimate.Chance(a.Low), estimate.Chance(a.Middle), estimate.Chance(a.High)})
		}
	}
	fact := func(name string, of *service.RaceRange, show func(float64) string) {
		if of != nil {
			f.Facts = append(f.Facts, [2]string{name, fmt.Sprintf("%s, four times out of five %s to %s", show(of.Mean), show(of.Low80), show(of.High80))})
		}
	}
	watts := func(w float64) string { return fmt.Sprintf("%.0f W", w) }
	fact("If dropped, behind the front group", c.Lost, lastsWords)
	fact("First five minutes", c.Opening, watts)
	fact("Whole race", c.Mean, watts)
	fact("Finish", c.Finish, lastsWords)
	if c.OverLimit >= 0.005 {
		f.Facts = append(f.Facts, [2]string{"Shows more than its limit in the race itself", estimate.Chance(c.OverLimit) + " of the races"})
	} else {
		f.Facts = append(f.Facts, [2]string{"Shows more than its limit in the race itself", "hardly ever"})
	}
	for k, m := range c.Moments {
		f.Moments = append(f.Moments, RacingMoment{k + 1, u.Distance(m.FromM) + " to " + u.Distance(m.ToM),
			fmt.Sprintf("%.0f W for %s on %s held the wheel; %s of those dropped are dropped here", m.Watts, lastsWords(m.Seconds), slopeWords(m.Gradient), estimate.Chance(m.Share))})
	}
	if c.Learnt > 0 {
		f.Learnt = fmt.Sprintf("Its field is learnt from %d results.", c.Learnt)
	}
	return f
}

// slopeWords is a gradient.
func slopeWords(gradient float64) string {
	switch p := 100 * gradient; {
	case p < -0.25:
		return fmt.Sprintf("−%.1f %%", -p)
	case p < 0.25:
		return "the level"
	default:
		return fmt.Sprintf("%.1f %%", p)
	}
}

// categoryLimits are what the event says of a field.
func categoryLimits(c input.CategoryFile) string {
	var parts []string
	switch {
	case c.Min.Known && c.Max.Known:
		parts = append(parts, fmt.Sprintf("%g to %g W/kg", c.Min.Value, c.Max.Value))
	case c.Min.Known:
		parts = append(parts, fmt.Sprintf("from %g W/kg", c.Min.Value))
	case c.Max.Known:
		parts = append(parts, fmt.Sprintf("up to %g W/kg", c.Max.Value))
	default:
		parts = append(parts, "no W/kg limits")
	}
	if c.Over.Known && (c.Min.Known || c.Max.Known) {
		parts[0] += " over " + form.Duration(c.Over.Value)
	}
	if c.Floor.Known {
		parts = append(parts, fmt.Sprintf("or %.0f W", c.Floor.Value))
	}
	if c.Women.Or(false) {
		parts = append(parts, "for women")
	}
	if c.MinAge.Known {
		parts = append(parts, fmt.Sprintf("from %.0f years", c.MinAge.Value))
	}
	if c.MaxAge.Known {
		parts = append(parts, fmt.Sprintf("up to %.0f years", c.MaxAge.Value))
	}
	return strings.Join(parts, ", ")
}

// makeForecast races one rider.
func (s *Server) makeForecast(w http.ResponseWriter, r *http.Request) error {
	x, err := s.racedRider(r)
	if err != nil {
		return err
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	a := briefAsk{Rider: x.rider.ID, Rig: typed["rig"], Course: typed["course"], Road: typed["road"], Event: x.ID}
	errs, err := s.briefWrong(r, a)
	if err != nil {
		return err
	}
	if len(errs) > 0 {
		return s.showRacingRider(w, r, http.StatusUnprocessableEntity, x, typed, errs)
	}
	return s.race(w, r, x.racedEvent, []briefAsk{a}, []string{x.rider.Name}, x.path())
}
