package service

import (
	"context"
	"fmt"
	"math"
	"strings"

	"chainline/brief"
	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/race"
)

// Races: which category, will I hang on, and what to take to the start.

// RaceRequest asks for the categories of an event. Brief holds the files.
type RaceRequest struct {
	Brief    BriefRequest
	Category string      // only this one; empty: all the rider may enter
	Races    int         // for each of three shelters
	Starters int         // in each category
	Results  string      // a result list of a race on this course: fields are learnt from it; may be empty
	Rows     []ResultRow // the same, read already
}

// Limits of what may be asked for.
const (
	mostRaces    = 2000
	mostStarters = 200
	racePoints   = 200 // of the course that a sheet carries
	sketchStream = 1 << 45
	raceStream   = 1 << 46
)

// RaceSheet is the answer. SI units; sentences are ready to be shown.
type RaceSheet struct {
	Schema   string   `json:"schema"`
	Title    string   `json:"title,omitempty"`
	When     string   `json:"when,omitempty"`
	Rider    string   `json:"rider,omitempty"`
	Course   string   `json:"course"`
	LengthM  float64  `json:"length_m"`
	AscentM  float64  `json:"ascent_m"`
	Enter    string   `json:"enter,omitempty"` // the category advised
	NotSure  bool     `json:"not_sure"`
	Why      []string `json:"why"`
	Unproved string   `json:"unproved,omitempty"`

	// For a list of riders, each in one line: why this category, and how sure
	// it is that the rider is inside its limits, in watts, never in W/kg.
	Reason   string `json:"reason,omitempty"`
	Sure     string `json:"sure,omitempty"`
	Newcomer bool   `json:"newcomer"`         // rides their first races
	Steered  bool   `json:"steered"`          // to a friendlier category than others like them
	Source   string `json:"source,omitempty"` // whose watts count

	Categories []RaceCategory     `json:"categories"`
	Profile    []RacePoint        `json:"profile,omitempty"` // of the course as it was raced, thinned
	Start      *RaceStart         `json:"start,omitempty"`
	Shelter    []RaceShelter      `json:"shelter,omitempty"` // where the wheels save most
	Card       []string           `json:"card,omitempty"`
	Lines      []string           `json:"lines,omitempty"`
	WarmUp     []RaceWarmUp       `json:"warm_up,omitempty"`
	WarmUpWhy  string             `json:"warm_up_why,omitempty"`
	TimeTrial  *RaceAgainstClock  `json:"time_trial,omitempty"`
	Notes      []string           `json:"notes,omitempty"`
	Seed       uint64             `json:"seed"`
	WarmUpFull *brief.WarmUpSheet `json:"-"`
}

// RaceCategory is one category of the event for this rider.
type RaceCategory struct {
	Name       string       `json:"name"`
	Standing   string       `json:"standing"` // a sentence
	Inside     float64      `json:"inside"`   // chance of being inside its limits
	Above      float64      `json:"above"`
	MarginW    float64      `json:"margin_w"`
	MarginWKg  *float64     `json:"margin_w_per_kg,omitempty"` // nobody under 18
	Open       bool         `json:"open"`                      // to this rider
	Forecast   bool         `json:"forecast"`                  // the rest stands for something
	Races      int          `json:"races,omitempty"`
	Chance     float64      `json:"hang_on_chance"`
	ChanceSE   float64      `json:"hang_on_se"`
	LowShelter float64      `json:"hang_on_low_shelter"`
	MidShelter float64      `json:"hang_on_middling_shelter"`
	TopShelter float64      `json:"hang_on_high_shelter"`
	Along      []RacePlace  `json:"along,omitempty"`
	Lost       *RaceRange   `json:"lost_if_dropped_s,omitempty"`
	Finish     *RaceRange   `json:"finish_s,omitempty"`
	Opening    *RaceRange   `json:"opening_w,omitempty"`
	Mean       *RaceRange   `json:"mean_w,omitempty"`
	OverLimit  float64      `json:"over_limit_in_race"` // chance of showing more than the limit
	Learnt     int          `json:"learnt_from_results,omitempty"`
	Moments    []RaceMoment `json:"moments,omitempty"`
}

// RaceRange is a mean with the 10th and 90th percentile.
type RaceRange struct {
	Mean   float64 `json:"mean"`
	Low80  float64 `json:"low80"`
	High80 float64 `json:"high80"`
}

// RacePlace is the chance of still being with the front group.
type RacePlace struct {
	M      float64 `json:"m"`
	Low    float64 `json:"low_shelter"`
	Middle float64 `json:"middling_shelter"`
	High   float64 `json:"high_shelter"`
}

// RaceMoment is where much is decided.
type RaceMoment struct {
	FromM    float64 `json:"from_m"`
	ToM      float64 `json:"to_m"`
	Gradient float64 `json:"gradient"`
	Share    float64 `json:"share_of_drops"`
	Watts    float64 `json:"watts"`
	Seconds  float64 `json:"seconds"`
}

// RacePoint is a place of the course.
type RacePoint struct {
	M         float64 `json:"m"`
	Elevation float64 `json:"elevation_m"`
}

// RaceShelter is a stretch in which sitting in saves most.
type RaceShelter struct {
	FromM  float64 `json:"from_m"`
	ToM    float64 `json:"to_m"`
	SavedW float64 `json:"saved_w"`
}

// RaceStart is what the start asks and allows.
type RaceStart struct {
	Category string   `json:"category"`
	OpeningW float64  `json:"opening_w"`
	AffordS  *float64 `json:"afford_s,omitempty"` // until half of W′ is gone; left out: for good
	TwoMinW  float64  `json:"two_minutes_w"`
	GapJ     *float64 `json:"gap_of_five_seconds_j,omitempty"` // left out: more than the rider can close
	LaunchM  float64  `json:"launch_m"`
	LaunchW  float64  `json:"launch_w,omitempty"`
	LaunchS  float64  `json:"launch_s,omitempty"`
	DroppedW float64  `json:"dropped_w"`
}

// RaceWarmUp is one step of the warm-up, timed back from the gun.
type RaceWarmUp struct {
	StartS    float64 `json:"start_s"` // negative
	DurationS float64 `json:"duration_s"`
	Watts     float64 `json:"watts"`
	Name      string  `json:"name"`
}

// RaceAgainstClock is a time trial: the plan alone.
type RaceAgainstClock struct {
	MedianS float64 `json:"median_s"`
	Low80   float64 `json:"low80_s"`
	High80  float64 `json:"high80_s"`
	Cues    int     `json:"cues"`
}

// Race says which category to enter and what will happen in it. Errors are
// *problem.Error or ctx's.
func Race(ctx context.Context, q RaceRequest) (RaceSheet, error) {
	if q.Races < 1 || q.Races > mostRaces {
		return RaceSheet{}, problem.Bad("--races: found %d; expected 1 to %d", q.Races, mostRaces)
	}
	if q.Starters < 6 || q.Starters > mostStarters {
		return RaceSheet{}, problem.Bad("--starters: found %d; expected 6 to %d", q.Starters, mostStarters)
	}
	ask, err := q.Brief.request()
	if err != nil {
		return RaceSheet{}, err
	}
	event, err := q.Brief.event()
	if err != nil {
		return RaceSheet{}, err
	}
	sheet := RaceSheet{Schema: "chainline/race/1", Title: ask.Occasion.Title, When: ask.Occasion.When, Rider: ask.Rider.Name, Course: ask.Way.Name, Seed: ask.Seed, Categories: []RaceCategory{}}
	if event.Kind == "time-trial" {
		return againstTheClock(ctx, ask, sheet)
	}
	if ask.EasyOnly {
		return sheet, problem.Bad("racing is hard exercise, and the health questions of %s say to ask a doctor first; expected a rider who may ride hard", orThis(ask.Rider.Name))
	}
	if ask.Rider.Mass <= 0 {
		return sheet, problem.Bad("%s: mass_kg is not known; expected a mass, for speed and for W/kg", q.Brief.Rider)
	}
	base, err := raceAsk(ask, q, &sheet)
	if err != nil {
		return sheet, err
	}
	classes, err := q.classes(event)
	if err != nil {
		return sheet, err
	}
	fields, err := q.fields(&sheet, base, classes)
	if err != nil {
		return sheet, err
	}
	return sheet, q.fill(ctx, &sheet, ask, base, fields)
}

// fields are the categories' fields, learnt from results where there are any.
func (q RaceRequest) fields(sheet *RaceSheet, base race.Ask, classes []race.Category) ([]race.Field, error) {
	rows := q.Rows
	if q.Results != "" {
		var err error
		if rows, err = read(q.Brief, q.Results, ReadResults); err != nil {
			return nil, err
		}
		if len(categoriesOf(rows)) == 0 && len(classes) > 1 {
			return nil, problem.Bad("%s: has no column for the category; expected one, or --category NAME", q.Results)
		}
	}
	if len(categoriesOf(rows)) == 0 && len(classes) > 1 {
		rows = nil // whose they are is not known
	}
	var out []race.Field
	for _, c := range classes {
		f := race.Field{Category: c, Starters: q.Starters}
		if rows != nil {
			shown := Shown(rows, c.Name)
			if len(categoriesOf(rows)) == 0 {
				shown = Shown(rows, "")
			}
			f = f.Learn(shown, base.Way, base.Road, base.Tactics, base.Seed)
			if f.Learnt > 0 {
				sheet.Notes = append(sheet.Notes, fmt.Sprintf("The field of '%s' was learnt from %d results: %+.0f %% of power, spread × %.2f.", c.Name, f.Learnt, 100*(math.Exp(f.Shift)-1), f.Spread))
			}
		}
		out = append(out, f)
	}
	return out, nil
}

func orThis(name string) string {
	if name == "" {
		return "this rider"
	}
	return name
}

// raceAsk is what every category's forecast shares.
func raceAsk(ask brief.Request, q RaceRequest, sheet *RaceSheet) (race.Ask, error) {
	profile := profileOf(ask.Way, ask.Seed)
	if ask.Way.Sketch != nil {
		sheet.Notes = append(sheet.Notes, "Only length and ascent of the course are known: one plausible shape was raced. A track would tell where it is decided.")
	}
	sheet.LengthM, sheet.AscentM = profile.Length(), profile.Ascent()
	thin := course.Thin(profile, racePoints)
	for i, m := range thin.Distance {
		sheet.Profile = append(sheet.Profile, RacePoint{math.Round(m), math.Round(10*thin.Elevation[i]) / 10})
	}
	sheet.Notes = append(sheet.Notes, ask.Road.Warnings...)
	me := meOf(ask)
	if sd, _ := ask.Rig.SourceSD(); sd > 0.05 {
		sheet.Notes = append(sheet.Notes, "What this rig shows of your watts is not well known; the chances carry that.")
	}
	return race.Ask{Way: race.NewWay(profile), Me: me, Road: ask.Road.Road, BikeSD: ask.Road.BikeSD, DragSD: ask.Road.DragAreaSD, CrrSD: ask.Road.CrrSD,
		Form: ask.Recovery, Tactics: race.Usual, Races: q.Races, Seed: ask.Seed, Workers: ask.Workers}, nil
}

// meOf is the rider as races know them, by displayed watts.
func meOf(ask brief.Request) race.Me {
	sd, _ := ask.Rig.SourceSD()
	source := capacity.Source{Name: ask.Rig.Source.Name, SD: sd}
	var c capacity.Capacity
	if s := ask.Stated; s != nil {
		c = capacity.Fixed(s.CriticalPower, s.WPrime, s.PowerLimit)
	} else {
		learnt, _ := capacity.Infer(ask.Rider, source, estimate.Stream(ask.Seed, raceStream))
		c = learnt.Displayed
	}
	return race.Me{Name: ask.Rider.Name, Capacity: c, Source: source.Name, Mass: ask.Rider.Mass, MassSD: 0.5, Age: ask.Rider.Age,
		Sex: ask.Rider.Sex, New: ask.Rider.Level == capacity.New || ask.Rider.Level == capacity.LevelUnknown, EasyOnly: ask.EasyOnly}
}

// classes are the categories of an event; an event without any is open to all.
func (q RaceRequest) classes(event input.EventFile) ([]race.Category, error) {
	var out []race.Category
	var names []string
	for _, c := range event.Categories {
		names = append(names, c.Name)
		if q.Category != "" && !strings.EqualFold(q.Category, c.Name) {
			continue
		}
		out = append(out, race.Category{Name: c.Name, Min: c.Min.Or(0), Max: c.Max.Or(math.Inf(1)), OverS: c.Over.Or(0), FloorW: c.Floor.Or(0),
			MinAge: c.MinAge.Or(0), MaxAge: c.MaxAge.Or(0), Women: c.Women.Or(false)})
	}
	if q.Category != "" && len(out) == 0 {
		return nil, problem.Bad("--category: found %q; expected one of %s", q.Category, strings.Join(names, ", "))
	}
	if len(out) == 0 {
		out = []race.Category{{Name: "open"}}
	}
	return out, nil
}

// fill forecasts the categories, advises, and makes the sheet of the one
// advised.
func (q RaceRequest) fill(ctx context.Context, sheet *RaceSheet, ask brief.Request, base race.Ask, fields []race.Field) error {
	var outlooks []race.Outlook
	asks := make([]race.Ask, len(fields))
	for i, f := range fields {
		c := f.Category
		asks[i] = base
		asks[i].Field = f
		standing := c.Stand(base.Me, base.Seed)
		outlook := race.Outlook{Category: c, Standing: standing}
		if standing.May() {
			if ask.Progress != nil {
				ask.Progress("racing " + c.Name)
			}
			var err error
			if outlook, err = race.Forecast(ctx, asks[i]); err != nil {
				return err
			}
		}
		outlooks = append(outlooks, outlook)
		row := categoryOf(outlook, base.Me)
		row.Learnt = f.Learnt
		sheet.Categories = append(sheet.Categories, row)
	}
	advice := race.Advise(base.Me, outlooks)
	sheet.Enter, sheet.NotSure, sheet.Why, sheet.Unproved = advice.Enter, advice.NotSure, advice.Why, advice.Unproved
	sheet.inOneLine(base.Me, advice, outlooks)
	if advice.Index < 0 {
		return nil
	}
	if n := fields[advice.Index].Learnt; n > 0 {
		sheet.Unproved = fmt.Sprintf("The field is learnt from %d results; whether chances come true was never checked against a real race.", n)
	}
	s := race.NewSheet(asks[advice.Index], outlooks[advice.Index])
	sheet.Start = raceStart(s)
	sheet.Card, sheet.Lines = s.Card, s.Lines
	for _, x := range s.Shelter {
		sheet.Shelter = append(sheet.Shelter, RaceShelter{x.FromM, x.ToM, x.SavedW})
	}
	return warmUpFor(ctx, ask, sheet)
}

// warmUpFor is the brief's warm-up, timed back from the gun.
func warmUpFor(ctx context.Context, ask brief.Request, sheet *RaceSheet) error {
	ask.Draws, ask.Progress = 100, nil
	b, err := brief.Make(ctx, ask)
	if err != nil {
		if ctx.Err() != nil {
			return err
		}
		sheet.Notes = append(sheet.Notes, "No warm-up could be laid out for this course.")
		return nil
	}
	for _, s := range b.WarmUp.Steps {
		sheet.WarmUp = append(sheet.WarmUp, RaceWarmUp{s.StartS, s.DurationS, s.Watts, s.Name})
	}
	sheet.WarmUpWhy, sheet.WarmUpFull = b.WarmUp.Why, &b.WarmUp
	return nil
}

// againstTheClock is the plan of a time trial: there is no bunch.
func againstTheClock(ctx context.Context, ask brief.Request, sheet RaceSheet) (RaceSheet, error) {
	b, err := brief.Make(ctx, ask)
	if err != nil {
		return sheet, err
	}
	sheet.LengthM, sheet.AscentM = b.Course.Distance, b.Course.Ascent
	sheet.TimeTrial = &RaceAgainstClock{b.Forecast.Median, b.Forecast.Low80, b.Forecast.High80, len(b.Plan.Cues)}
	sheet.Why = []string{"A time trial is ridden alone: the plan of the brief is all there is to it. 'chainline brief' prints it."}
	for _, s := range b.WarmUp.Steps {
		sheet.WarmUp = append(sheet.WarmUp, RaceWarmUp{s.StartS, s.DurationS, s.Watts, s.Name})
	}
	sheet.WarmUpWhy = b.WarmUp.Why
	for i, c := range b.Plan.Cues {
		if i < 7 {
			sheet.Card = append(sheet.Card, fmt.Sprintf("km %.1f: %.0f W  %s", c.FromM/1000, c.Watts, c.Name))
		}
	}
	return sheet, nil
}

func categoryOf(o race.Outlook, me race.Me) RaceCategory {
	s := o.Standing
	c := RaceCategory{Name: o.Category.Name, Standing: s.Sentence, Inside: s.Inside, Above: s.Above, Open: s.Barred == "", Forecast: o.Races > 0, Races: o.Races}
	if !math.IsInf(s.MarginW, 0) {
		c.MarginW = s.MarginW
		if !me.Minor() {
			v := s.MarginWPerKg
			c.MarginWKg = &v
		}
	}
	if o.Races == 0 {
		return c
	}
	c.Chance, c.ChanceSE, c.OverLimit = o.Chance, o.ChanceSE, o.OverLimit
	c.LowShelter, c.MidShelter, c.TopShelter = o.ByShelter[0], o.ByShelter[1], o.ByShelter[2]
	c.Lost, c.Finish, c.Opening, c.Mean = rangeOf(o.LostS), rangeOf(o.FinishS), rangeOf(o.OpeningW), rangeOf(o.MeanW)
	for _, p := range o.Along {
		c.Along = append(c.Along, RacePlace{p.M, p.Low, p.Middle, p.High})
	}
	for _, m := range o.Moments {
		c.Moments = append(c.Moments, RaceMoment{m.FromM, m.ToM, m.Gradient, m.Share, m.Watts, m.Seconds})
	}
	return c
}

func rangeOf(e estimate.Estimate) *RaceRange {
	if e == (estimate.Estimate{}) {
		return nil
	}
	return &RaceRange{e.Mean, e.Low80, e.High80}
}

func raceStart(s race.Sheet) *RaceStart {
	out := &RaceStart{Category: s.Category, OpeningW: s.OpeningW, TwoMinW: s.HalfGoneW, LaunchM: s.Launch.FromM, LaunchW: s.Launch.Watts, LaunchS: s.Launch.Seconds, DroppedW: s.DroppedW}
	if !math.IsInf(s.AffordS, 1) {
		out.AffordS = &s.AffordS
	}
	if !math.IsInf(s.Gap.CostJ, 1) {
		out.GapJ = &s.Gap.CostJ
	}
	return out
}

// profileOf is a way's profile, one plausible shape of a sketch.
func profileOf(w brief.Way, seed uint64) course.Profile {
	if w.Sketch != nil {
		return w.Sketch.Draw(estimate.Stream(seed, sketchStream))
	}
	return w.Profile
}
