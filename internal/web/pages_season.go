package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"time"

	"chainline/debrief"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

// The season of a rider: what can be done, and how that changed.

// SeasonPage is what a rider's rides come to.
type SeasonPage struct {
	Base
	RiderID   string
	Name      string
	Span      string
	Empty     *Empty
	Numbers   []MovedLine
	Timeline  template.HTML
	TimeSays  []string
	Bests     template.HTML
	BestSays  []BestSpan
	Response  template.HTML
	Says      []string // fitness, fatigue, net response now
	Basis     string
	Caution   string
	Days      template.HTML
	Weeks     []string
	Next      []NextDay
	Record    string
	Foretold  []ForetoldLine
	Strays    []string
	Places    string
	LeftOut   []string
	MoreOut   int
	Unsaid    []string
	NewBrief  string
	JSON      string
	Condensed bool
}

// BestSpan is a stretch of durations of which the best is from one ride.
type BestSpan struct{ Words, Path string }

// NextDay is what would fit a day.
type NextDay struct{ Day, Kind, Load, Reason string }

// ForetoldLine is a forecast and what came of it.
type ForetoldLine struct{ When, Name, Forecast, Ridden, Where string }

// Template names the page's template.
func (*SeasonPage) Template() string { return "season.html" }

func (s *Server) season(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	id := r.PathValue("rider")
	o, err := s.store.Object(r.Context(), id)
	if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != store.Rider {
		return notFound("There is no such rider. Perhaps it was deleted.")
	} else if err != nil {
		return err
	}
	season, err := s.library.Season(r.Context(), id, time.Time{})
	if err != nil {
		return err
	}
	if r.URL.Query().Get("as") == "json" {
		b, err := json.Marshal(season)
		if err != nil {
			return err
		}
		return sendFile(w, "application/json", "season-"+id+".json", append(b, '\n'))
	}
	return s.show(w, r, http.StatusOK, newSeasonPage(id, o.Name, season, datesOf(r)))
}

// NewSeasonPage is the page of a season.
func NewSeasonPage(id, name string, s service.DebriefSeason) *SeasonPage {
	return newSeasonPage(id, name, s, dates{})
}

func newSeasonPage(id, name string, s service.DebriefSeason, d dates) *SeasonPage {
	p := &SeasonPage{Base: ridesBase("Season of " + name), RiderID: id, Name: name, NewBrief: "/briefs/new?rider=" + id, JSON: "/season/" + id + "?as=json"}
	if s.Rides == 0 {
		p.Empty = &Empty{Says: "No ride of " + name + " is kept yet.", Why: "Bring in what was recorded: a season says what the rider can do and how that changed.", Path: "/import?rider=" + id, Link: "Bring in rides"}
		return p
	}
	p.Span = fmt.Sprintf("%d rides", s.Rides)
	if s.From != "" {
		p.Span += ", " + d.iso(s.From) + " to " + d.iso(s.To)
	}
	for _, n := range s.Numbers {
		p.Numbers = append(p.Numbers, movedLine(n))
	}
	p.timeline(s, d)
	p.bests(s, d)
	if c := s.Response; c != nil {
		p.response(*c, d)
	}
	p.record(s, d)
	p.Places, p.Unsaid = s.Places, s.Unsaid
	for i, l := range s.LeftOut {
		if i == 30 {
			p.MoreOut = len(s.LeftOut) - i
			break
		}
		p.LeftOut = append(p.LeftOut, problem.OneLine(l.Why))
	}
	return p
}

func (p *SeasonPage) timeline(s service.DebriefSeason, d dates) {
	var points []render.DayValue
	for _, t := range s.Timeline {
		at, err := time.Parse(time.DateOnly, t.Date)
		if err != nil {
			continue
		}
		points = append(points, render.DayValue{Day: int(at.Unix() / 86400), Low: t.Threshold.Low80, Mean: t.Threshold.Mean, High: t.Threshold.High80})
	}
	if len(points) < 2 {
		return
	}
	p.Timeline = render.TimelinePicture(points, d.short)
	step := max(1, len(s.Timeline)/6)
	for i, t := range s.Timeline {
		if i%step == 0 || i == len(s.Timeline)-1 {
			p.TimeSays = append(p.TimeSays, fmt.Sprintf("%s: %.0f W (%.0f to %.0f)", d.iso(t.Date), t.Threshold.Mean, t.Threshold.Low80, t.Threshold.High80))
		}
	}
}

// bests draws the best of every duration with the days of the rides they are
// from.
func (p *SeasonPage) bests(s service.DebriefSeason, d dates) {
	if len(s.Bests) < 2 {
		return
	}
	line := render.BestLine{Class: "ridden"}
	var notes []render.BestNote
	for i := 0; i < len(s.Bests); {
		j := i
		for j+1 < len(s.Bests) && s.Bests[j+1].File == s.Bests[i].File && s.Bests[j+1].Date == s.Bests[i].Date {
			j++
		}
		a, z := s.Bests[i], s.Bests[j]
		when := d.iso(a.Date)
		if a.Date == "" {
			when = problem.OneLine(a.File)
		}
		span := BestSpan{Words: fmt.Sprintf("%s: %.0f W, %s", secondsWords(a.Seconds), a.Watts, when)}
		if z.Seconds > a.Seconds {
			span.Words = fmt.Sprintf("%s to %s: %.0f to %.0f W, %s", secondsWords(a.Seconds), secondsWords(z.Seconds), a.Watts, z.Watts, when)
		}
		if a.RideID != "" {
			span.Path = "/rides/" + a.RideID
		}
		p.BestSays = append(p.BestSays, span)
		if t, err := time.Parse(time.DateOnly, a.Date); err == nil {
			notes = append(notes, render.BestNote{Seconds: float64(a.Seconds), Watts: a.Watts, Words: d.short(t)})
		}
		i = j + 1
	}
	for _, b := range s.Bests {
		line.Points = append(line.Points, [2]float64{float64(b.Seconds), b.Watts})
	}
	critical := 0.0
	for _, n := range s.Numbers {
		if n.Name == "critical power" {
			critical = n.After.Mean
		}
	}
	p.Bests = render.BestsPicture([]render.BestLine{line}, critical, notes)
}

func (p *SeasonPage) response(c debrief.Calendar, d dates) {
	p.Response, p.Days, p.Basis, p.Caution = render.ResponsePicture(c, d.short), render.CalendarPicture(c, d.short), c.Basis, c.Caution
	if n := len(c.Days); n > 0 {
		now, was := c.Days[n-1], c.Days[max(0, n-29)]
		say := func(name string, now, was debrief.Interval) {
			p.Says = append(p.Says, fmt.Sprintf("%s %s th a day (%s to %s); four weeks before %s.", name, th(now.Mean), th(now.Low80), th(now.High80), th(was.Mean)))
		}
		say("Fitness", now.Fitness, was.Fitness)
		say("Fatigue", now.Fatigue, was.Fatigue)
		say("Net response", now.Net, was.Net)
	}
	day := func(n int) time.Time { return time.Unix(int64(n)*86400, 0).UTC() }
	for _, w := range slices.Backward(c.Weeks) {
		if len(p.Weeks) == 12 {
			break
		}
		p.Weeks = append(p.Weeks, fmt.Sprintf("Seven days from %s: %.1f th", d.day(day(w.FirstDay)), w.Load))
	}
	for _, n := range c.Next {
		x := NextDay{Day: d.near(day(n.Day)), Kind: n.Kind, Reason: n.Reason}
		if n.Load > 0 {
			x.Load = fmt.Sprintf("about %.1f th", n.Load)
		}
		p.Next = append(p.Next, x)
	}
}

// th is a load a day with its sign where it is negative.
func th(v float64) string {
	if v < 0 && math.Round(100*v) != 0 {
		return fmt.Sprintf("−%.2f", -v)
	}
	return fmt.Sprintf("%.2f", math.Abs(v))
}

func (p *SeasonPage) record(s service.DebriefSeason, d dates) {
	if s.Record != nil {
		p.Record = s.Record.Sentence
	}
	for _, f := range slices.Backward(s.Foretold) {
		l := ForetoldLine{When: d.iso(f.Date), Name: problem.OneLine(f.Name), Ridden: rideTime(f.Actual),
			Forecast: rideTime(f.Predicted.Mean) + " (" + rideTime(f.Predicted.Low80) + " to " + rideTime(f.Predicted.High80) + ")", Where: "inside"}
		switch {
		case f.Actual < f.Predicted.Low80:
			l.Where = "faster"
		case f.Actual > f.Predicted.High80:
			l.Where = "slower"
		}
		if p.Foretold = append(p.Foretold, l); len(p.Foretold) == 20 {
			break
		}
	}
	if x := s.Strays; x != nil {
		for _, place := range x.Places {
			if place.Rides > 0 && place.Words != "" {
				p.Strays = append(p.Strays, place.Words)
			}
		}
	}
}
