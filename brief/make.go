package brief

import (
	"context"
	"fmt"
	"math"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
	"chainline/rig"
	"chainline/room"
	"chainline/session"
)

// Style is how much risk of running empty a plan takes.
type Style int

// The styles, and the highest chance of running empty each accepts; our
// judgement.
const (
	Normal Style = iota
	Careful
	Bold
)

func (s Style) String() string { return [...]string{"normal", "careful", "bold"}[s] }

// ChanceLimit is the highest chance of running empty before the line.
func (s Style) ChanceLimit() float64 { return [...]float64{0.15, 0.05, 0.35}[s] }

// ReserveShare of W′ is kept back unless the rider says otherwise: a corner,
// a gap, a gust. Our judgement.
const ReserveShare = 0.10

// Way is the course as the brief needs it: one profile, or a sketch.
type Way struct {
	Name      string
	Known     string         // "track", "survey" or "sketch"
	Profile   course.Profile // unless a sketch
	Sketch    *course.Sketch // if a sketch
	Laps      int
	RawAscent float64 // m, before smoothing; 0 if nothing was smoothed
	Smoothing string
	Notes     []string // what was mended, for the warnings
}

// RoadKnown is the road after defaults, with the doubt about its numbers.
type RoadKnown struct {
	Name                      string
	Road                      physics.Road
	BikeSD, DragAreaSD, CrrSD float64
	BikeFrom, DragFrom        string // origins
	CrrFrom, AirFrom          string
	Warnings                  []string
}

// Occasion is the event, if there is one.
type Occasion struct {
	Title, When, Kind, Made string
	On                      string  // of When, ISO 8601
	PenS                    float64 // s in the start pen
	HasClock                bool
	StartClock              int // minutes after midnight
	Categories              []Category
}

// Category is an ability class of the event, W/kg over a duration in seconds.
type Category struct {
	Name     string
	Min, Max float64 // W/kg; 0 and +Inf where there is no limit
	Over     float64 // s
}

// Request is everything a brief is made from.
type Request struct {
	Rider        capacity.Rider
	Acclimatised bool                   // used to riding in the heat
	EasyOnly     bool                   // nothing hard for now, by the health screening
	Health       []string               // cautions that follow from the screening
	Weighed      room.SweatMeasurements // before and after rides
	Rig          rig.Rig
	Room         room.Room
	Road         RoadKnown
	Way          Way
	Occasion     Occasion

	Style       Style
	ReserveJ    float64 // J; −1 for the usual share
	CuesPerHour float64 // 0 for the usual number
	Recovery    capacity.Recovery
	Holding     pacing.Holding // of plans, learnt from rides
	ByGradient  bool           // rules as well as cues
	Given       []pacing.Piece // a plan to judge instead of making one
	Stated      *Stated        // capacity stated for a check

	Draws, Workers int
	Seed           uint64
	Progress       func(string)
}

// Stated replaces the inference: the two-parameter model holds exactly.
type Stated struct{ CriticalPower, WPrime, PowerLimit float64 }

// Make assembles the brief. It returns an error wrapping pacing.ErrStall when
// a plan brings the rider to a standstill, and ctx's when cancelled.
func Make(ctx context.Context, q Request) (Brief, error) {
	b, _, err := MakeRide(ctx, q)
	return b, err
}

// Ridden is what a brief was made from that a ride goes on with: what was
// asked of pacing, the orders it gave, and the capacity in this room.
type Ridden struct {
	Ask      pacing.Request
	Result   pacing.Result
	Capacity capacity.Capacity
}

// MakeRide makes the brief, and what a live ride of it needs.
func MakeRide(ctx context.Context, q Request) (Brief, Ridden, error) {
	s, err := plan(ctx, q)
	if err != nil {
		return Brief{}, Ridden{}, err
	}
	ridden := Ridden{s.ask, s.res, s.c} // before the list of what is worth doing tries other plans
	b, err := s.brief(ctx)
	return b, ridden, err
}

// plan is a sheet with its plan made.
func plan(ctx context.Context, q Request) (*sheet, error) {
	learnt, account := q.learn()
	s := &sheet{Request: q, learnt: learnt, account: account, cool: learnt.Displayed}
	if q.byFeel() && q.Stated == nil {
		s.cool = learnt.True // nothing shows watts: effort is a share of one's own
	}
	s.c = s.cool
	// What the room costs depends on the effort; a glance at the course knows
	// that well enough.
	var err error
	if s.heat, err = s.heatOf(ctx); err != nil {
		return nil, err
	}
	if s.heat.costs() {
		s.c = s.cool.InHeat(s.heat.share)
	}
	return s, s.make(ctx)
}

// make plans and forecasts for the capacity c of the sheet.
func (s *sheet) make(ctx context.Context) error {
	q := s.Request
	s.world = q.world(s.c)
	s.ask = pacing.Request{World: s.world, ReserveShare: ReserveShare, ReserveJ: q.ReserveJ, Given: q.Given,
		ByGradient: q.ByGradient, CuesPerHour: q.CuesPerHour, Draws: q.Draws, Seed: q.Seed, Workers: q.Workers, Progress: q.Progress,
		ChanceLimit: q.Style.ChanceLimit()}
	if q.Stated != nil {
		s.ask.ChanceLimit, s.ask.Ceiling = 0, q.Stated.PowerLimit
		if q.ReserveJ < 0 {
			s.ask.ReserveJ = 0
		}
	} else {
		floor, ceiling := q.Rig.Limits()
		s.ask.Floor, s.ask.Ceiling = floor, math.Min(ceiling, s.c.MaxPower)
		if q.EasyOnly {
			s.ask.Ceiling = math.Max(floor+pacing.WattStep, math.Min(s.ask.Ceiling, EasyShare*s.c.CriticalPower))
		}
		if q.minor() {
			s.ask.Ceiling = math.Max(floor+pacing.WattStep, math.Min(s.ask.Ceiling, s.c.Power(minorFor)))
		}
	}
	var err error
	s.res, err = pacing.Make(ctx, s.ask)
	return err
}

// learn is what the evidence says. A stated capacity learns nothing.
func (q Request) learn() (capacity.Learnt, capacity.Account) {
	if s := q.Stated; s != nil {
		c := capacity.Fixed(s.CriticalPower, s.WPrime, s.PowerLimit)
		return capacity.Learnt{True: c, Displayed: c, Mode: c, Scale: estimate.Exact(1, "stated")},
			capacity.Account{Model: "Stated: the two-parameter model holds exactly, without fade."}
	}
	sd, _ := q.Rig.SourceSD()
	return capacity.Infer(q.Rider, capacity.Source{Name: q.Rig.Source.Name, SD: sd}, estimate.Stream(q.Seed, inferStream))
}

// inferStream is the stream of the inference, far from those of the draws.
const inferStream = 1 << 40

// minorFor is the duration in seconds whose best power no cue asks of a rider
// under 18 to top: nothing all-out. Our judgement.
const minorFor = 480.0

// EasyShare of critical power is the most that a rider whom the screening lets
// ride only easily is asked for: below where talking stops being comfortable.
// Our judgement.
const EasyShare = 0.6

func (q Request) minor() bool { return capacity.MaybeMinor(q.Rider.Age) }

// Doubts about typed numbers, our judgement: bathroom scales and a day's
// water, and a bicycle weighed once.
const riderMassSD = 0.5 // kg

// world is everything uncertain about the ride, for a rider of the capacity c.
func (q Request) world(c capacity.Capacity) pacing.World {
	w := pacing.World{Capacity: c, Form: q.Recovery, Road: q.Road.Road, RiderMass: q.Rider.Mass, RiderSD: riderMassSD,
		BikeSD: q.Road.BikeSD, DragAreaSD: q.Road.DragAreaSD, CrrSD: q.Road.CrrSD, Profile: q.Way.Profile}
	if q.Way.Sketch != nil {
		w.Sketch = q.Way.Sketch.Draw
	}
	if q.Stated != nil {
		return w
	}
	w.RecoveryMedian, w.RecoverySD = capacity.RecoverySpread(q.Recovery)
	w.Holding = q.Holding
	if w.ByFeel = q.byFeel(); w.ByFeel {
		w.SourceSD, _ = q.Rig.SourceSD()
	}
	return w
}

// vagueCurve is the doubt (sd of the logarithm) about a trainer's watts from
// which on they are no guide and feel leads. Our judgement.
const vagueCurve = 0.15

// byFeel tells whether the rider goes by feel because nothing shows watts that
// mean much.
func (q Request) byFeel() bool {
	sd, _ := q.Rig.SourceSD()
	return q.Rig.Speaks() == rig.Feel || (q.Rig.Speaks() == rig.WheelSpeed && sd > vagueCurve)
}

// sheet is a brief in the making.
type sheet struct {
	Request
	learnt  capacity.Learnt
	account capacity.Account
	cool    capacity.Capacity // in a cool room
	c       capacity.Capacity // in this one; what the plan is made for
	heat    heat
	look    room.Outlook
	before  session.WarmUp
	next    capacity.Suggestion
	notes   []string // warnings found on the way

	evenMedian float64 // s, of the best even effort in the same draws
	world      pacing.World
	ask        pacing.Request
	res        pacing.Result
}

func (s *sheet) brief(ctx context.Context) (Brief, error) {
	o := s.Occasion
	b := Brief{Title: o.Title, When: o.When, On: o.On, Kind: o.Kind, Made: o.Made,
		Rider: s.rider(), Rig: s.rig(), Road: s.road(), Course: s.course()}
	if b.Title == "" {
		b.Title = s.Way.Name
	}
	b.Plan = s.plan(b.Course.Climbs)
	b.Forecast = s.forecast()
	if s.Stated == nil {
		s.look = room.Look(s.Room, s.body(), s.effort())
		b.Room = s.room()
		b.WarmUp = s.warmUp(b)
		b.NextTest = s.nextTest()
		b.Rider.Next = b.NextTest.Sentence
		var err error
		if b.Worth, err = s.worth(ctx, b); err != nil {
			return Brief{}, err
		}
		b.Forecast.EvenMedian = s.evenMedian
	}
	b.Warnings = s.warnings(b)
	b.Cautions = s.cautions(b)
	return b, nil
}

func (s *sheet) rider() RiderSheet {
	c := s.cool
	r := RiderSheet{Name: s.Rider.Name, Mass: s.Rider.Mass, Exact: c.Exact, Model: s.account.Model}
	if c.Exact {
		r.CriticalPower, r.WPrime, r.MaxPower = estimate.Exact(c.CriticalPower, "stated"), estimate.Exact(c.WPrime, "stated"), estimate.Exact(c.MaxPower, "stated limit")
		r.Fade = estimate.Exact(0, "stated")
	} else {
		r.CriticalPower, r.WPrime, r.MaxPower, r.Fade = c.Estimates(s.account.Model)
	}
	r.Threshold = c.ThresholdEstimate("the power-duration curve at one hour")
	if bpm, _, from, ok := s.Rider.MaxHeart(); ok && s.Rig.HeartRate {
		r.HeartRateMax, r.HeartMaxFrom = bpm, from
	}
	for _, l := range s.account.Lines {
		r.Evidence = append(r.Evidence, EvidenceLine{What: l.What, When: l.When, Used: l.Used})
	}
	return r
}

func (s *sheet) rig() RigSheet {
	sd, _ := s.Rig.SourceSD()
	r := RigSheet{Trainer: trainerWords(s.Rig.Trainer.Kind), Source: s.Rig.Source.Name, Accuracy: sd, Speaks: s.speaks()}
	r.FloorW, r.CeilingW = s.Rig.Limits()
	if math.IsInf(r.CeilingW, 1) {
		r.CeilingW = 0
	}
	if s.Rig.Speaks() == rig.WheelSpeed {
		curve := s.Rig.Trainer.Curve
		if !curve.Known() {
			curve = rig.UnknownCurve()
		}
		r.CurveFrom, r.CurveSD = curve.From, curve.SD
	}
	room := s.Room
	words := ""
	if room.TemperatureKnown {
		words += fmt.Sprintf(", %.0f °C", room.Temperature)
	}
	if room.HumidityKnown {
		words += fmt.Sprintf(", %.0f %% humidity", 100*room.Humidity)
	}
	if room.AirflowKnown {
		words += fmt.Sprintf(", air moving at %.1f m/s", room.Airflow)
	}
	if words != "" {
		r.Room = "Room as typed" + words
	}
	return r
}

func trainerWords(k rig.Kind) string {
	return [...]string{"controllable trainer", "plain trainer", "rollers", "indoor bike"}[k]
}

// speaks is what leads a cue. A wheel speed that may be off by a third is
// shown, but it does not lead.
func (s *sheet) speaks() string {
	switch {
	case s.Stated != nil, s.Rig.Speaks() == rig.Watts:
		return "watts"
	case s.Rig.Speaks() == rig.WheelSpeed && !s.byFeel():
		return "wheel speed"
	default:
		return "feel"
	}
}

func (s *sheet) road() RoadSheet {
	k := s.Road
	return RoadSheet{Name: k.Name, BikeMass: k.Road.BikeMass,
		CdA: estimate.Normal(k.Road.CdA, k.DragAreaSD, k.DragFrom), Crr: estimate.Normal(k.Road.Crr, k.CrrSD, k.CrrFrom),
		Efficiency: k.Road.Efficiency, AirDensity: k.Road.AirDensity, AirFrom: k.AirFrom, DescentCap: k.Road.DescentCap,
		StartSpeed: k.Road.StartSpeed, Bearings: k.Road.Bearings, WheelDragArea: k.Road.WheelDragArea,
		WheelInertia: k.Road.WheelInertia, WheelRadius: k.Road.WheelRadius}
}

// Points kept for drawing.
const (
	profilePoints   = 400
	plausiblePoints = 120
	tracePoints     = 400
)

func (s *sheet) course() CourseSheet {
	w := s.Way
	out := CourseSheet{Name: w.Name, Known: w.Known, RawAscent: w.RawAscent, Smoothing: w.Smoothing, Laps: max(1, w.Laps), Sections: s.res.Long}
	if w.Sketch != nil {
		out.Distance, out.Ascent = w.Sketch.Totals()
		for _, p := range s.res.Plausible[:min(5, len(s.res.Plausible))] {
			out.Plausible = append(out.Plausible, course.Thin(p, plausiblePoints))
		}
		out.Profile = out.Plausible[0]
		return out
	}
	out.Distance, out.Ascent = w.Profile.Length(), w.Profile.Ascent()
	out.Climbs = course.Climbs(w.Profile)
	out.Profile = course.Thin(w.Profile, profilePoints)
	return out
}

func (s *sheet) forecast() ForecastSheet {
	f := s.res.Forecast
	out := ForecastSheet{Draws: s.Draws, Seed: s.Seed, Median: f.Median, Low80: f.Low80, High80: f.High80,
		ChanceEmpty: f.ChanceEmpty, EmptyAt: f.EmptyAt, EmptyCue: f.EmptyCue,
		Alone:     s.Occasion.Kind == MassStart || s.Occasion.Kind == GroupRide || s.Occasion.Kind == HandicapStart,
		FiveWatts: s.res.FiveWatts, DragArea: s.res.DragArea, OneKg: s.res.OneKg}
	scale := "the power source's scale, "
	if s.sameSource() {
		scale = "" // ride and evidence share it: it cancels
	}
	out.Rest = "capacity, " + scale + "masses, drag area, rolling, how fast W′ comes back, and how a plan is held on the day"
	if s.c.Exact {
		out.Rest = "masses, drag area, rolling, and how a plan is held on the day; the capacity was stated"
	}
	if s.Way.Sketch != nil {
		out.Rest += ", and the shape of the course"
	}
	return out
}

// Kinds of event, in words.
const (
	TimeTrial     = "time trial"
	MassStart     = "mass start"
	HandicapStart = "handicap start"
	GroupRide     = "group ride"
)
