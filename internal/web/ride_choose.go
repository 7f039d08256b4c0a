package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"strings"

	"chainline/capacity"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/session"
)

// RideCard is a session as it would be for a rider.
type RideCard struct {
	ID, Name, Purpose, For string
	Cautions               []string
	Path                   string        // chooses it
	Corridor               template.HTML // the session between two lines
	Says                   string        // "48 min, load 0.62 th, 420 kJ"
	Not                    string        // why not for this rider, now
	Warnings               []string
	Chosen                 bool
}

// RidePreview is what the answers so far come to.
type RidePreview struct {
	For     string // "Ilse on Cool room"
	Card    *RideCard
	Steps   []string // of the card, in words
	Wrong   string   // why there is none
	Way     string   // how the program will be there, in a sentence
	Course  string
	Brief   string // path of the course's latest brief for the rider
	BriefOf string // its day
	New     string // path of a new one
}

// rideWays say how the program can be there, one plain sentence each.
var rideWays = map[ride.Way]string{
	ride.Controlling: "The program sets the brake to what is asked, and you pedal.",
	ride.Showing:     "The program says what is asked, and you hold it by gear, cadence and wheel speed.",
	ride.Listening:   "Sensors are read, and nothing is ever written to a trainer, since another program may hold it.",
}

// NewRideCard is a session scaled to a rider; without a view it is only what
// it says of itself.
func NewRideCard(x session.Session, view *session.View, screened capacity.Screened) (RideCard, session.Scaled) {
	c := RideCard{Name: x.Name, Purpose: x.Purpose, For: x.For, Cautions: x.Cautions}
	if c.Name == "" {
		c.Name = "Your own session"
	}
	if view == nil {
		return c, session.Scaled{}
	}
	scaled, warnings, err := session.Scale(x, *view)
	if err != nil {
		c.Not = capital(err.Error()) + "."
		return c, scaled
	}
	c.Corridor = corridorSVG(scaled, view.CriticalPowerW)
	c.Says = fmt.Sprintf("%s, %.0f kJ", about(scaled), scaled.WorkJ/1000)
	if scaled.LoadTh > 0 {
		c.Says += fmt.Sprintf(", load %.2f th", scaled.LoadTh)
	}
	if ok, why := session.Allowed(scaled.Demand(*view), screened); !ok {
		c.Not = capital(why) + "."
	}
	for _, w := range warnings {
		c.Warnings = append(c.Warnings, w.Text)
	}
	return c, scaled
}

// about is how long a session takes, with its interval where that is open.
func about(s session.Scaled) string {
	minutes := func(seconds float64) float64 { return math.Round(seconds / 60) }
	if minutes(s.PlanHighS)-minutes(s.PlanLowS) > 1 {
		return fmt.Sprintf("%.0f to %.0f min", minutes(s.PlanLowS), minutes(s.PlanHighS))
	}
	return fmt.Sprintf("%.0f min", minutes(s.PlanS))
}

// corridorSVG is a session between two lines, with critical power dotted. It is
// hidden from readers of the screen: words beside it say the same.
func corridorSVG(s session.Scaled, critical float64) template.HTML {
	const wide, high = 600.0, 100.0
	most := critical * 1.1
	for _, l := range s.Legs {
		most = math.Max(most, math.Max(l.HighW, l.HighW+l.ToW-l.AimW))
	}
	most = math.Min(most, 2.2*critical)
	x := func(t float64) float64 { return wide * t / math.Max(1, s.PlanS) }
	y := func(w float64) float64 { return high - 2 - (high-4)*math.Max(0, math.Min(w, most))/most }
	var over, back, under strings.Builder
	for i, l := range s.Legs {
		to, rise := l.StartS+l.PlanS, l.ToW-l.AimW
		op := "L"
		if i == 0 {
			op = "M"
		}
		fmt.Fprintf(&over, "%s%.1f %.1fL%.1f %.1f", op, x(l.StartS), y(l.HighW), x(to), y(l.HighW+rise))
		fmt.Fprintf(&under, "%s%.1f %.1fL%.1f %.1f", op, x(l.StartS), y(l.LowW), x(to), y(l.LowW+rise))
	}
	for i := len(s.Legs) - 1; i >= 0; i-- {
		l := s.Legs[i]
		fmt.Fprintf(&back, "L%.1f %.1fL%.1f %.1f", x(l.StartS+l.PlanS), y(l.LowW+l.ToW-l.AimW), x(l.StartS), y(l.LowW))
	}
	return template.HTML(fmt.Sprintf(`<svg class="corridor" viewBox="0 0 %g %g" preserveAspectRatio="none" aria-hidden="true">`+
		`<path class="between" d="%s%sZ"/><path class="critical" d="M0 %.1fH%g"/><path class="edge" d="%s"/><path class="edge" d="%s"/></svg>`,
		wide, high, over.String(), back.String(), y(critical), wide, over.String(), under.String()))
}

// scalingKey tells apart what leads to another scaling.
func (s *Server) scalingKey(parts briefParts) string {
	n := parts.names
	return s.learntKey(parts.files[n[store.Rider]], parts.files[n[store.Rig]]) + parts.taught.Sum()
}

// scaling is what sessions are scaled by for a rider on a rig, if both are
// there and can be read.
func (s *Server) scaling(ctx context.Context, rider, rig string) (service.Scaling, briefParts, error) {
	parts, err := s.parts(ctx, briefAsk{Rider: rider, Rig: rig})
	if err != nil {
		return service.Scaling{}, parts, err
	}
	n := parts.names
	scaling, err := s.scalings.of(s.scalingKey(parts), func() (service.Scaling, error) {
		return service.ScalingOf(service.RideRequest{Brief: service.BriefRequest{Rider: n[store.Rider], Rig: n[store.Rig], Today: s.now(), Seed: 1,
			Workers: s.workers, Taught: parts.taught, Open: service.Texts(parts.files)}})
	})
	return scaling, parts, err
}

// preview fills in what the answers so far come to, and what the sessions of
// the library would be for this rider.
func (s *Server) preview(ctx context.Context, p *RideChoosePage, values map[string]string, d dates) error {
	if len(p.Missing) > 0 {
		return nil
	}
	rider, rig := values["rider"], values["rig"]
	for i, id := range []*string{&rider, &rig} { // what a select shows without an answer
		if *id == "" && len(p.Who[i].Options) > 0 {
			*id = p.Who[i].Options[0].Value
		}
	}
	scaling, parts, err := s.scaling(ctx, rider, rig)
	var view *session.View
	if err == nil {
		view = &scaling.View
	}
	var cards []RideCard
	if view == nil {
		cards = sessionCards(nil, scaling.Screened)
	} else {
		cards, _ = s.cards.of(s.scalingKey(parts), func() ([]RideCard, error) { return sessionCards(view, scaling.Screened), nil })
	}
	p.list(cards, values, url.Values{"rider": {rider}, "rig": {rig}, "devices": {values["devices"]}, "way": {values["way"]}})
	v := &RidePreview{}
	p.Preview = v
	if err != nil {
		v.Wrong = capital(err.Error()) + "."
		return nil
	}
	v.For = parts.nameOf(store.Rider) + " on " + parts.nameOf(store.Rig)
	way := ride.Way(values["way"])
	if way == "" {
		way = scaling.Way
	}
	v.Way = rideWays[way]
	view.HoldsPower = view.HoldsPower && way == ride.Controlling
	return s.previewWhat(ctx, p, values, rider, rig, view, scaling.Screened, d)
}

func (s *Server) previewWhat(ctx context.Context, p *RideChoosePage, values map[string]string, rider, rig string, view *session.View, screened capacity.Screened, d dates) error {
	v := p.Preview
	var text string
	switch values["what"] {
	case "session":
		x, _ := session.Find(values["session"])
		text = x.Text
	case "own":
		text = values["own"]
	case "course":
		return s.previewCourse(ctx, v, values["course"], rider, rig, d)
	}
	if strings.TrimSpace(text) == "" {
		return nil
	}
	x, err := session.Parse(text)
	if err != nil {
		v.Wrong = capital(err.Error()) + "."
		return nil
	}
	card, scaled := NewRideCard(x, view, screened)
	v.Card = &card
	for _, l := range scaled.Legs {
		v.Steps = append(v.Steps, rideTime(l.StartS)+"  "+l.Words)
	}
	return nil
}

func (s *Server) previewCourse(ctx context.Context, v *RidePreview, course, rider, rig string, d dates) error {
	o, err := s.store.Object(ctx, course)
	if err != nil || o.Kind != store.Course {
		return nil // the form says so
	}
	v.Course = o.Name
	v.New = briefAsk{Rider: rider, Rig: rig, Course: course}.again()
	briefs, err := s.store.Briefs(ctx, rider)
	if err != nil {
		return err
	}
	for _, b := range briefs { // the latest first
		if b.CourseID == course {
			v.Brief, v.BriefOf = briefPath(b.ID), d.day(b.Made)
			break
		}
	}
	return nil
}

// nameOf is the name of the part of a kind.
func (p briefParts) nameOf(kind store.Kind) string {
	for _, o := range p.since {
		if o.Kind == kind {
			return o.Name
		}
	}
	return ""
}

// Library fills in the sessions there are, scaled if there is somebody to
// scale them to.
func (p *RideChoosePage) Library(values map[string]string, view *session.View, screened capacity.Screened, more url.Values) {
	p.list(sessionCards(view, screened), values, more)
}

// sessionCards are the sessions there are, for a rider.
func sessionCards(view *session.View, screened capacity.Screened) (all []RideCard) {
	for _, x := range session.Library() {
		c, _ := NewRideCard(x.Session(), view, screened)
		c.ID, c.Warnings = x.ID, nil // they are said of the one that is chosen
		all = append(all, c)
	}
	return all
}

func (p *RideChoosePage) list(cards []RideCard, values map[string]string, more url.Values) {
	for _, c := range cards {
		c.Path = "/ride?what=session&session=" + c.ID + "&" + more.Encode()
		c.Chosen = values["what"] == "session" && values["session"] == c.ID
		p.Sessions = append(p.Sessions, c)
	}
}
