package service

import (
	"cmp"
	"context"
	"math"
	"time"

	"chainline/brief"
	"chainline/capacity"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/rig"
	"chainline/session"
)

// RideRequest is a ride as a person asks for it: a course with its brief, a
// session, or neither for free riding.
type RideRequest struct {
	Brief   BriefRequest // rider and rig; a course or event for a course ride
	Session string       // in the notation of docs/sessions.md; empty for none
	ID      string
	Begun   time.Time
	Title   string // empty: the session's or course's name

	Way        ride.Way     // empty: as the rig can
	Advance    ride.Advance // empty: by position; listening without watts: by time
	Fixed      bool         // the plan stays as it is
	Gradient   bool         // the brake follows the gradient, not the cue's watts
	WaitForKey bool
	StartAt    time.Time
	Bench      bool

	Of ride.Of // IDs of what it is of, for the library

	// What is remembered of this rig's devices.
	Order       []ride.SourceKey
	Trainer     string
	Trusted     ride.SourceKey
	Corrections map[ride.SourceKey]ride.Correction
	DeadTime    float64 // s
	Lag         float64 // s
}

// Riding is everything a ride is begun with.
type Riding struct {
	Setup    ride.Setup
	Replan   ride.Replanner // nil where the plan stays as it is
	Brief    *brief.Brief   // of a course
	Warnings []string       // to be said before the ride
}

// Ride prepares a ride. Errors are *problem.Error or ctx's.
func Ride(ctx context.Context, q RideRequest) (Riding, error) {
	onCourse := q.Brief.Course != "" || q.Brief.Event != "" || q.Brief.Sketch.Distance != nil
	if onCourse && q.Session != "" {
		return Riding{}, problem.Bad("a ride follows a session or a course; expected one of them")
	}
	var r Riding
	var err error
	if onCourse {
		r, err = courseRide(ctx, q)
	} else {
		r, err = sessionRide(q)
	}
	if err != nil {
		return Riding{}, err
	}
	if q.Title != "" {
		r.Setup.Title = q.Title
	}
	if err := r.Setup.Check(); err != nil {
		return Riding{}, &problem.Error{Kind: problem.Misuse, Message: err.Error(), Err: err}
	}
	return r, nil
}

// courseRide is a course with its brief and its plan.
func courseRide(ctx context.Context, q RideRequest) (Riding, error) {
	ask, err := q.Brief.request()
	if err != nil {
		return Riding{}, err
	}
	if ask.Way.Sketch != nil {
		return Riding{}, problem.Bad("a sketch cannot be ridden: where its climbs stand is not known; expected a course file").WithHint("Ride freely, with the sketch's brief beside you.")
	}
	b, ridden, err := brief.MakeRide(ctx, ask)
	if err != nil {
		return Riding{}, err
	}
	s, err := q.setup(ask, ridden.Capacity.SustainableCP(b.Plan.Time), ridden.Capacity)
	if err != nil {
		return Riding{}, err
	}
	s.Title = b.Title
	s.Course = &ride.Course{Name: b.Course.Name, Profile: ask.Way.Profile, Motion: ask.Road.Road.Motion(ask.Rider.Mass),
		StartSpeed: ask.Road.Road.StartSpeed, PlannedS: b.Plan.Time, Low80: b.Forecast.Low80, High80: b.Forecast.High80, Advance: q.Advance}
	if s.Course.Advance == "" {
		s.Course.Advance = ride.ByPosition
	}
	for _, c := range b.Plan.Cues {
		s.Course.Cues = append(s.Course.Cues, ride.Cue{FromM: c.FromM, ToM: c.ToM, StartS: c.StartS, Watts: c.Watts, Name: c.Name, Exertion: c.Exertion,
			Feel: c.Feel, HeartLow: c.HeartLow, HeartHigh: c.HeartHigh, Gear: c.Gear, WheelKmh: c.WheelKmh})
	}
	s.Room = ride.Room{SweatLPerH: b.Room.SweatLPerH.Mean, PlannedWatts: b.Plan.MeanWatts}
	if hours := b.Plan.Time / 3600; b.Room.Known && s.Room.SweatLPerH > 0 && hours > 0 {
		s.Room.DrinkShare = math.Min(1, (b.Room.FluidLow+b.Room.FluidHigh)/2/hours/s.Room.SweatLPerH)
		s.Room.FanWatts = b.Room.WattsThatWould
	}
	out := Riding{Setup: s, Brief: &b, Warnings: append(append([]string(nil), b.Warnings...), b.Cautions...)}
	if a := s.Course.Advance; !q.Fixed && !ridden.Ask.World.ByFeel && (a == ride.ByPosition || a == ride.ByDistance) {
		s.Course.Basis = ride.NewBasis(ridden.Ask.World, ridden.Result, ridden.Ask.Floor, ridden.Ask.Ceiling, ask.Style.ChanceLimit(), measuredMax(ask.Rider), 1)
		out.Replan = s.Course.Solver()
	}
	return out, nil
}

// known is what a request says of rider and rig, and what that comes to.
func (q RideRequest) known() (brief.Request, capacity.Capacity, error) {
	known := q.Brief
	known.Sketch.Distance, known.Sketch.Ascent = new(float64), new(float64) // any course will do
	*known.Sketch.Distance = 10000
	if known.Draws == 0 {
		known.Draws = 1
	}
	ask, err := known.request()
	if err != nil {
		return ask, capacity.Capacity{}, err
	}
	c, _, _ := brief.Learn(ask)
	return ask, c, nil
}

// Scaling is what sessions are scaled by for a rider on a rig, and what may be
// asked of them.
type Scaling struct {
	View     session.View
	Screened capacity.Screened
	Way      ride.Way // that the rig allows
}

// ScalingOf is the scaling for the request's rider and rig.
func ScalingOf(q RideRequest) (Scaling, error) {
	ask, c, err := q.known()
	if err != nil {
		return Scaling{}, err
	}
	return Scaling{View: q.view(ask, c), Screened: capacity.Screened{EasyOnly: ask.EasyOnly, Passed: ask.Rider.Screened}, Way: usualWay(ask.Rig)}, nil
}

// usualWay is how the program is there unless somebody says otherwise.
func usualWay(r rig.Rig) ride.Way {
	if r.Trainer.Kind == rig.Controllable || r.Trainer.Kind == rig.Bike {
		return ride.Controlling
	}
	return ride.Showing
}

// sessionRide is a session scaled to the rider, or free riding.
func sessionRide(q RideRequest) (Riding, error) {
	ask, c, err := q.known()
	if err != nil {
		return Riding{}, err
	}
	s, err := q.setup(ask, c.CriticalPower, c)
	if err != nil {
		return Riding{}, err
	}
	s.Title = "Free riding"
	s.Flat = ask.Road.Road.Motion(ask.Rider.Mass)
	r := Riding{Warnings: append([]string(nil), ask.Health...)}
	if q.Session != "" {
		plan, err := session.Parse(q.Session)
		if err != nil {
			return Riding{}, &problem.Error{Kind: problem.Misuse, Message: "the session: " + err.Error(), Err: err}
		}
		view := q.view(ask, c)
		scaled, warnings, err := session.Scale(plan, view)
		if err != nil {
			return Riding{}, &problem.Error{Kind: problem.Misuse, Message: "the session: " + err.Error(), Err: err}
		}
		if ok, why := session.Allowed(scaled.Demand(view), capacity.Screened{EasyOnly: ask.EasyOnly, Passed: ask.Rider.Screened}); !ok {
			if ask.EasyOnly {
				return Riding{}, problem.Bad("this session is not for now: %s", why)
			}
			if scaled.Demand(view) == session.Maximal && !ask.Rider.Screened {
				return Riding{}, problem.Bad("this session is all-out: %s", why).WithHint("Answer the health questions first; nobody is asked to go to the limit without.")
			}
			r.Warnings = append(r.Warnings, why)
		}
		s.Session, s.Title = &scaled, plan.Name
		if s.Title == "" {
			s.Title = "Session"
		}
		for _, w := range warnings {
			r.Warnings = append(r.Warnings, w.Text)
		}
		r.Warnings = append(r.Warnings, plan.Cautions...)
	}
	r.Setup = s
	return r, nil
}

// view is what scaling must know of rider and rig.
func (q RideRequest) view(ask brief.Request, c capacity.Capacity) session.View {
	v := session.View{ThresholdW: c.Threshold(), CriticalPowerW: c.CriticalPower, WPrimeJ: c.WPrime, MaxPowerW: c.MaxPower, MassKg: ask.Rider.Mass,
		HoldsPower: ask.Rig.Trainer.Kind == rig.Controllable && q.Way != ride.Listening && q.Way != ride.Showing}
	median, sd := capacity.RecoverySpread(ask.Recovery)
	v.Recovery = session.Recovery{Form: ask.Recovery, SpeedMedian: median, SpeedLogSD: sd}
	v.HeartMax, v.HeartRateOff = measuredMax(ask.Rider), !ask.Rig.HeartRate
	floor, ceiling := ask.Rig.Limits()
	v.FloorW = floor
	if !math.IsInf(ceiling, 1) {
		v.CeilingW = ceiling
	}
	motion := ask.Road.Road.Motion(ask.Rider.Mass)
	v.Speed = func(watts float64) float64 { return motion.SpeedAt(watts, 0, 0) }
	return v
}

// measuredMax is a maximal heart rate that may warn: measured or typed, never
// predicted from age.
func measuredMax(r capacity.Rider) float64 {
	bpm, _, from, ok := r.MaxHeart()
	if !ok || from != "measured" {
		return 0
	}
	return bpm
}

// nameless is what others see of a rider without a name.
const nameless = "A rider"

// setup is what every ride needs of rider and rig.
func (q RideRequest) setup(ask brief.Request, cp float64, c capacity.Capacity) (ride.Setup, error) {
	median, _ := capacity.RecoverySpread(ask.Recovery)
	floor, ceiling := ask.Rig.Limits()
	if math.IsInf(ceiling, 1) {
		ceiling = 0
	}
	s := ride.Setup{Of: q.Of, ID: q.ID, Begun: q.Begun, Way: q.Way, Bench: q.Bench, StartAt: q.StartAt, WaitForKey: q.WaitForKey,
		Rider: ride.Rider{Name: cmp.Or(ask.Rider.Name, nameless), Mass: ask.Rider.Mass, MaxPower: c.MaxPower, Threshold: c.Threshold(), HeartMax: measuredMax(ask.Rider),
			Balance: capacity.Balance{CriticalPower: cp, WPrime: c.WPrime, Form: ask.Recovery, Speed: median}},
		Rig: ride.Rig{Name: ask.Rig.Source.Name, Order: q.Order, Trainer: q.Trainer, Trusted: q.Trusted, Corrections: q.Corrections,
			Circumference: ask.Rig.WheelCircumference, DeadTime: q.DeadTime, Lag: q.Lag, FloorW: floor, CeilingW: ceiling, Gradient: q.Gradient}}
	if curve := ask.Rig.Trainer.Curve; curve.Known() {
		s.Rig.CurvePoints, s.Rig.CurveSD = curve.Points(), curve.SD
	}
	if s.Way == "" {
		s.Way = usualWay(ask.Rig)
	}
	s.Limits = ride.DefaultLimits().ForRider(c.MaxPower, ceiling)
	if ask.EasyOnly {
		s.Limits.MostWatts = math.Min(s.Limits.MostWatts, brief.EasyShare*c.CriticalPower)
		s.Limits.EasyWatts = math.Min(s.Limits.EasyWatts, s.Limits.MostWatts)
	}
	return s, nil
}
