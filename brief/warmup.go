package brief

import (
	"chainline/capacity"
	"chainline/rig"
	"chainline/session"
)

// The warm-up and the timeline to the gun.

// warmUp asks package session; where a rig cannot be ridden gently enough, the
// section stays empty and its reason is a warning.
func (s *sheet) warmUp(b Brief) WarmUpSheet {
	plan, err := session.PlanWarmUp(s.sessionRequest(b))
	if err != nil {
		s.notes = append(s.notes, "No warm-up can be laid out: "+err.Error()+".")
		return WarmUpSheet{}
	}
	s.before = plan
	out := WarmUpSheet{BalanceAtGun: plan.BalanceAtGun, LastHardS: plan.LastHardS, Why: plan.Why}
	for _, step := range plan.Steps {
		out.Steps = append(out.Steps, WarmUpStep{step.StartS, step.DurationS, step.Watts, step.Name, step.Exertion})
	}
	for _, step := range plan.CoolDown {
		out.CoolDown = append(out.CoolDown, WarmUpStep{step.StartS, step.DurationS, step.Watts, step.Name, step.Exertion})
	}
	for _, m := range plan.Timeline {
		out.Timeline = append(out.Timeline, Moment{m.AtS, m.Clock, m.What})
	}
	return out
}

// firstMinutes is how long the beginning of a ride is looked at, s.
const firstMinutes = 180.0

func (s *sheet) sessionRequest(b Brief) session.Request {
	kind, _ := session.ParseKind(s.Occasion.Kind)
	median, sd := capacity.RecoverySpread(s.Recovery)
	floor, ceiling := s.ask.Floor, s.ask.Ceiling
	r := s.Rig
	q := session.Request{Kind: kind, PenS: s.Occasion.PenS, Level: s.Rider.Level, Age: s.Rider.Age, Screened: s.Rider.Screened,
		Capacity: s.c, Recovery: session.Recovery{Form: s.Recovery, SpeedMedian: median, SpeedLogSD: sd},
		Rig: session.Rig{PowerMeter: r.Source.Kind == rig.SourceCrank || r.Source.Kind == rig.SourcePedal || r.Source.Kind == rig.SourceHub,
			Controllable: r.Trainer.Kind == rig.Controllable || r.Trainer.Kind == rig.Bike, Rollers: r.Trainer.Kind == rig.Rollers,
			Fan: len(s.Room.Fans) > 0, HeartStrap: r.HeartRate && !s.Rider.HeartRateOff, FloorW: floor, CeilingW: ceiling},
		RideS: b.Forecast.Median, HasClock: s.Occasion.HasClock, StartClock: s.Occasion.StartClock}
	work := 0.0
	for _, c := range b.Plan.Cues {
		if c.StartS >= firstMinutes {
			break
		}
		lasts := min(c.LastS, firstMinutes-c.StartS)
		q.FirstS += lasts
		work += lasts * c.Watts
	}
	if q.FirstS > 0 {
		q.FirstWatts = work / q.FirstS
	}
	return q
}
