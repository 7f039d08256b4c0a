// Package service is what a person can ask Chainline for, once: commands and
// pages both call it. It reads the files, fills in what is not known with
// sourced priors, and hands pure values to the models.
package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"chainline/brief"
	"chainline/capacity"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/pacing"
	"chainline/physics"
	"chainline/room"
)

// BriefRequest is a brief as a person asks for it. Files are paths; empty
// means not given. What is nil was not given.
type BriefRequest struct {
	Rider, Rig, Road, Course, Event, Plan string
	// Open opens what the names above mean; nil: files on disk. The app opens
	// what its store keeps.
	Open func(name string) (io.ReadCloser, error)

	Sketch  SketchRequest
	Laps    int  // 0: as the event says
	Reverse bool // the course file is ridden the other way

	Date     string    // ISO 8601; empty: the event's, else Today
	Today    time.Time // the clock, read once by whoever calls
	Style    string    // careful, normal, bold; empty is normal
	Reserve  *float64  // J
	Cues     float64   // per hour; 0 for the usual number
	Rules    bool      // effort by gradient as well
	Recovery string    // differential, integral, elite; empty is differential

	CriticalPower, WPrime, PowerLimit *float64 // W, J, W: stated for a check

	// Taught is what rides that are kept taught of the rider; nil: nothing.
	Taught *Taught

	Seed           uint64
	Draws, Workers int
	Progress       func(string)
}

// SketchRequest is what is known of a course without a file.
type SketchRequest struct {
	Distance, Ascent     *float64 // m
	LapLength, LapAscent float64  // m; 0 unknown
	LeadIn               float64  // m
	MainClimb            *input.SketchClimb
	SummitFinish         bool
}

// Limits of what may be asked for.
const (
	mostDraws    = 200000
	defaultLimit = 1000 // W, power limit of a stated capacity
)

// Brief makes the brief. Errors are *problem.Error or ctx's.
func Brief(ctx context.Context, q BriefRequest) (brief.Brief, error) {
	ask, err := q.request()
	if err != nil {
		return brief.Brief{}, err
	}
	b, err := brief.Make(ctx, ask)
	if stall, ok := errors.AsType[*physics.StallError](err); ok {
		if q.Plan != "" {
			return brief.Brief{}, problem.Bad("%s: the plan stalls: %s; expected enough watts to keep moving", q.Plan, stall)
		}
		return brief.Brief{}, &problem.Error{Kind: problem.Failed, Message: "this course cannot be ridden with these limits: " + stall.Error(), Err: err}
	}
	return b, err
}

func (q BriefRequest) request() (brief.Request, error) {
	ask := brief.Request{ReserveJ: -1, CuesPerHour: q.Cues, ByGradient: q.Rules, Draws: q.Draws, Workers: q.Workers, Seed: q.Seed, Progress: q.Progress}
	var err error
	if err = q.options(&ask); err != nil {
		return ask, err
	}
	event, err := q.event()
	if err != nil {
		return ask, err
	}
	day, err := q.day(event)
	if err != nil {
		return ask, err
	}
	if q.Rider == "" || q.Rig == "" {
		return ask, problem.Bad("a brief needs a rider and a rig; expected --rider FILE and --rig FILE").WithHint("demo/ has examples; docs/formats.md states every key.")
	}
	rider, err := read(q, q.Rider, input.ReadRider)
	if err != nil {
		return ask, err
	}
	ask.Rider, ask.Acclimatised, ask.Weighed = riderOf(rider, day), rider.Acclimatised.Or(false), weighed(rider)
	ask.EasyOnly, ask.Health = rider.EasyOnly, rider.Cautions
	q.Taught.teach(&ask, day)
	set, err := read(q, q.Rig, input.ReadRig)
	if err != nil {
		return ask, err
	}
	ask.Rig, ask.Room = set.Rig, set.Room
	for i := range ask.Rider.Evidence {
		if e := &ask.Rider.Evidence[i]; e.Source == "" && e.Kind != capacity.HillTime {
			e.Source = ask.Rig.Source.Name // as docs/formats.md says
		}
	}
	if ask.Way, err = q.way(event); err != nil {
		return ask, err
	}
	road := input.RoadFile{}
	if q.Road != "" {
		if road, err = read(q, q.Road, input.ReadRoad); err != nil {
			return ask, err
		}
	}
	ask.Road = roadOf(road, rider, ask.Way.Profile)
	ask.Occasion = occasion(event, day, q.Today)
	if q.Plan != "" {
		ask.Given, err = q.given(ask.Way)
	}
	return ask, err
}

func (q BriefRequest) event() (input.EventFile, error) {
	if q.Event == "" {
		return input.EventFile{}, nil
	}
	return read(q, q.Event, input.ReadEvent)
}

// options checks what came as words and numbers.
func (q BriefRequest) options(ask *brief.Request) error {
	switch q.Style {
	case "", "normal":
	case "careful":
		ask.Style = brief.Careful
	case "bold":
		ask.Style = brief.Bold
	default:
		return problem.Bad("--style: found %q; expected careful, normal or bold", q.Style)
	}
	switch q.Recovery {
	case "", "differential":
	case "integral":
		ask.Recovery = capacity.Integral
	case "elite":
		ask.Recovery = capacity.Elite
	default:
		return problem.Bad("--recovery: found %q; expected differential, integral or elite", q.Recovery)
	}
	if q.Draws < 1 || q.Draws > mostDraws {
		return problem.Bad("--draws: found %d; expected 1 to %d", q.Draws, mostDraws)
	}
	if q.Cues != 0 && !(q.Cues >= 1 && q.Cues <= pacing.MostCuesPerHour) {
		return problem.Bad("--cues: found %g; expected 1 to %g cues per hour", q.Cues, pacing.MostCuesPerHour)
	}
	if q.Reserve != nil {
		if !(*q.Reserve >= 0 && *q.Reserve <= 100000) {
			return problem.Bad("--reserve: found %g; expected 0 to 100000 joules of W′ to keep back", *q.Reserve)
		}
		ask.ReserveJ = *q.Reserve
	}
	return q.stated(ask)
}

func (q BriefRequest) stated(ask *brief.Request) error {
	if q.CriticalPower == nil && q.WPrime == nil && q.PowerLimit == nil {
		return nil
	}
	if q.CriticalPower == nil || q.WPrime == nil {
		return problem.Bad("a stated capacity needs both numbers; expected --critical-power W and --w-prime J together")
	}
	limit := float64(defaultLimit)
	if q.PowerLimit != nil {
		limit = *q.PowerLimit
	}
	cp, w := *q.CriticalPower, *q.WPrime
	switch {
	case !(cp >= 20 && cp <= 1000):
		return problem.Bad("--critical-power: found %g; expected 20 to 1000 watts", cp)
	case !(w >= 500 && w <= 100000):
		return problem.Bad("--w-prime: found %g; expected 500 to 100000 joules", w).WithHint("20 kJ is 20000.")
	case !(limit > cp && limit <= 3000):
		return problem.Bad("--power-limit: found %g; expected more than the critical power, at most 3000 watts", limit)
	case ask.Recovery != capacity.Differential:
		return problem.Bad("--recovery %s: a stated capacity recovers by the differential form; expected no --recovery beside --critical-power", q.Recovery)
	case ask.ReserveJ >= w:
		return problem.Bad("--reserve: found %g; expected less than the W′ of %g J", ask.ReserveJ, w)
	}
	ask.Stated = &brief.Stated{CriticalPower: cp, WPrime: w, PowerLimit: limit}
	return nil
}

// day is the date of the ride: as asked, else the event's, else today.
func (q BriefRequest) day(event input.EventFile) (time.Time, error) {
	if q.Date != "" {
		t, err := time.Parse(time.DateOnly, q.Date)
		if err != nil || t.Year() < 1990 || t.Year() > 2099 {
			return t, problem.Bad("--date: found %q; expected a date like 2026-12-03", q.Date)
		}
		return t, nil
	}
	if event.Start.Known {
		return event.Start.Value, nil
	}
	return q.Today, nil
}

func occasion(e input.EventFile, day, today time.Time) brief.Occasion {
	o := brief.Occasion{Title: e.Name, Made: today.Format(time.DateOnly)}
	o.Kind = map[string]string{"time-trial": brief.TimeTrial, "mass": brief.MassStart, "handicap": brief.HandicapStart, "group": brief.GroupRide}[e.Kind]
	if e.Start.Known {
		o.When, o.On = e.Start.Value.Format("Monday 2 January 2006"), e.Start.Value.Format(time.DateOnly)
		if e.HasClock {
			o.On += e.Start.Value.Format("T15:04")
			o.When += e.Start.Value.Format(", 15:04")
			if e.TimeZone != "" {
				o.When += " (" + e.TimeZone + ")"
			}
		}
	} else {
		o.When, o.On = day.Format("Monday 2 January 2006"), day.Format(time.DateOnly)
	}
	o.PenS = e.Pen.Or(0)
	if e.HasClock {
		o.HasClock, o.StartClock = true, 60*e.Start.Value.Hour()+e.Start.Value.Minute()
	}
	for _, c := range e.Categories {
		o.Categories = append(o.Categories, brief.Category{Name: c.Name, Min: c.Min.Or(0), Max: c.Max.Or(math.Inf(1)), Over: c.Over.Or(0)})
	}
	return o
}

func riderOf(f input.RiderFile, day time.Time) capacity.Rider {
	r := capacity.Rider{Name: f.Name, Mass: f.Mass, Height: f.Height.Or(0), MaxHeartRate: f.MaxHeartRate.Or(0), HeartRateOff: f.HeartRateOff,
		Screened: f.Screened != ""}
	// The reader lets no other words through.
	r.Sex, _ = capacity.ParseSex(f.Sex)
	r.Level, _ = capacity.ParseLevel(f.Level)
	if f.BirthYear.Known {
		r.Age = math.Max(1, float64(day.Year()-f.BirthYear.Value))
	}
	r.Evidence = evidenceOf(f, day, false) // what is left out is kept in the file, but the rider does not want it used
	return r
}

// evidenceOf is the evidence of a file that is used, or that is left out.
func evidenceOf(f input.RiderFile, day time.Time, leftOut bool) []capacity.Evidence {
	var out []capacity.Evidence
	for _, e := range f.Evidence {
		if e.LeftOut != leftOut {
			continue
		}
		harder, _ := capacity.ParseHarder(e.Harder)
		out = append(out, capacity.Evidence{Kind: evidenceKinds[e.Kind], Duration: e.Duration, Watts: e.Watts, HeartRate: e.HeartRate,
			Length: e.Length, Ascent: e.Ascent, BikeMass: e.BikeMass.Or(0), RiderMass: e.Mass.Or(0), DragArea: e.CdA.Or(0), Harder: harder,
			From: e.From, Date: e.Date, Age: daysBefore(day, e.Date), Source: e.Source, Where: e.Where, AccuracyPercent: e.AccuracyPercent.Or(0)})
	}
	return out
}

var evidenceKinds = map[string]capacity.Kind{"test": capacity.MaximalTest, "best": capacity.BestEffort, "ride": capacity.RideEffort, "threshold": capacity.StatedThreshold,
	"hill": capacity.HillTime, "heart_rate": capacity.EasyHeartRate, "talk": capacity.TalkTest}

// daysBefore is how many days before day a date is, negative after it; 0 if
// it is not known.
func daysBefore(day time.Time, date string) float64 {
	then, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return 0
	}
	return time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC).Sub(then).Hours() / 24
}

func weighed(f input.RiderFile) (out room.SweatMeasurements) {
	for _, w := range f.Weighed {
		out = append(out, room.SweatMeasurement{BeforeKg: w.Before, AfterKg: w.After, DrinkL: w.Drunk, UrineL: w.Urine.Or(0), Seconds: w.Duration})
	}
	return out
}

// Doubts about the road, standard deviations. What is typed is taken to be
// meant for this road; what is left out is a guess about a bicycle and a
// posture. All are our judgement; Lim et al. 2011 (MSSE 43:853, abstract) found
// drag areas of 0.29 m² on the hoods and 0.26 m² on the drops at sea-level
// density, ± 0.04, and rolling resistances of 0.005 to 0.007.
const (
	bikeMass, bikeMassSD   = 9.0, 1.2 // kg, left out
	bikeMassTypedSD        = 0.2      // kg
	dragArea, dragAreaSD   = 0.32, 0.04
	dragAreaTypedShare     = 0.03 // of the drag area typed
	rolling, rollingSD     = 0.0045, 0.001
	rollingTypedShare      = 0.07
	averageSurface         = 1.87 // m², body surface of 75 kg and 1.75 m
	wheelRadius            = 0.334
	wheelInertia           = 0.14
	wheelDrag              = 0.0044
	drivetrainEfficiency   = 0.976
	standardAirExplanation = "15 °C, dry, standard pressure at %.0f m"
)

// roadOf fills a road file's gaps.
func roadOf(f input.RoadFile, rider input.RiderFile, p profile) brief.RoadKnown {
	k := brief.RoadKnown{Name: f.Name, BikeFrom: "typed", DragFrom: "typed", CrrFrom: "typed"}
	if k.Name == "" {
		k.Name = "open road"
	}
	k.Road = physics.Road{Efficiency: f.Efficiency.Or(drivetrainEfficiency), WheelRadius: f.WheelRadius.Or(wheelRadius),
		WheelInertia: f.WheelInertia.Or(wheelInertia), WheelDragArea: f.WheelDragArea.Or(wheelDrag), Bearings: f.Bearings.Or(true),
		StartSpeed: f.StartSpeed.Or(0), DescentCap: f.DescentCap.Or(0), BikeMass: f.BikeMass.Or(bikeMass)}
	k.BikeSD = bikeMassTypedSD
	if !f.BikeMass.Known {
		k.BikeSD, k.BikeFrom = bikeMassSD, "not known: a usual road bicycle"
	}
	if f.CdA.Known {
		k.Road.CdA, k.DragAreaSD = f.CdA.Value, f.CdASD.Or(dragAreaTypedShare*f.CdA.Value)
	} else {
		k.Road.CdA, k.DragAreaSD, k.DragFrom = dragArea*bodySize(rider), dragAreaSD, "not known: hands on the hoods, scaled by body surface"
	}
	if f.Crr.Known {
		k.Road.Crr, k.CrrSD = f.Crr.Value, f.CrrSD.Or(rollingTypedShare*f.Crr.Value)
	} else {
		k.Road.Crr, k.CrrSD, k.CrrFrom = rolling, rollingSD, "not known: road tyres on asphalt"
	}
	k.Road.AirDensity, k.AirFrom = air(f, p, &k)
	return k
}

// bodySize is the rider's body surface over that of an average adult, by
// DuBois and DuBois 1916 (0.202·M^0.425·H^0.725, read in code of ISO 7933); 1
// if the height is not known.
func bodySize(r input.RiderFile) float64 {
	if !r.Height.Known {
		return 1
	}
	return 0.202 * math.Pow(r.Mass, 0.425) * math.Pow(r.Height.Value, 0.725) / averageSurface
}

func air(f input.RoadFile, p profile, k *brief.RoadKnown) (density float64, from string) {
	if f.AirDensity.Known {
		return f.AirDensity.Value, "density as typed"
	}
	altitude := f.Altitude.Or(meanElevation(p))
	a := physics.DefaultAir(altitude)
	from = fmt.Sprintf(standardAirExplanation, altitude)
	if f.Temperature.Known || f.Pressure.Known || f.Humidity.Known {
		a = physics.Air{Temperature: f.Temperature.Or(a.Temperature), Pressure: f.Pressure.Or(a.Pressure), Humidity: f.Humidity.Or(0)}
		from = fmt.Sprintf("%.0f °C, %.0f hPa, %.0f %% humidity", a.Temperature, a.Pressure/100, 100*a.Humidity)
	}
	if err := a.Valid(); err != nil && (a.Temperature < 0 || a.Temperature > 40 || a.Pressure < 60000) {
		k.Warnings = append(k.Warnings, err.Error()+".")
	}
	return a.Density(), from
}
