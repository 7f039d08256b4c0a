package session

import (
	"fmt"
	"math"
	"slices"

	"chainline/capacity"
)

// Scaling: what a session asks of one rider on one rig.

// MaxPlanS is the longest session that is scaled, s.
const MaxPlanS = 24 * 3600.0

// What verbs without an effort ask for, as shares of critical power at the
// beginning and the end. Our judgement, in keeping with common practice.
var usual = map[StageKind][2]float64{
	Work: {0.65, 0.65}, // as you like: only reckoned with
	Warm: {0.45, 0.65},
	Easy: {0.50, 0.50},
	Cool: {0.50, 0.40},
	Off:  {0, 0},
}

// onTarget is how far from one figure still counts as on target: a share of
// it, and watts. Our judgement.
const onTarget, onTargetW = 0.03, 4.0

// hardFrom is the share of critical power from which riding counts as hard
// time, by whose length critical power fades. Our judgement.
const hardFrom = 0.80

// Scale is the session for this rider and rig, with what to say before the
// ride. The error is about a session that does not pass Check, a view out of
// range, or a plan longer than MaxPlanS.
func Scale(s Session, v View) (Scaled, []Warning, error) {
	if err := s.Check(); err != nil {
		return Scaled{}, nil, err
	}
	if err := v.check(); err != nil {
		return Scaled{}, nil, err
	}
	out := Scaled{Session: s}
	unroll(s.Blocks, 0, nil, func(leg Leg) { out.Legs = append(out.Legs, leg) })
	m := v.model()
	m.plan(out.Legs) // once without the fade of long hard riding, to know how much of that there is
	m = m.faded(out.Legs)
	m.plan(out.Legs)
	m.intervals(out.Legs)
	if err := out.total(m); err != nil {
		return Scaled{}, nil, err
	}
	for i := range out.Legs {
		out.Legs[i].describe(v)
	}
	return out, out.warnings(v), nil
}

// unroll is every stage as often as it is ridden, in order; at counts the
// stages as written, and the count after the blocks is returned.
func unroll(blocks []Block, at int, turns []Count, add func(Leg)) int {
	for _, b := range blocks {
		if b.Times == 0 {
			add(Leg{Stage: b.Stage, At: at, Kind: b.Stage.Kind, Say: b.Stage.Say, Turns: turns,
				CadenceLow: b.Stage.CadenceLow, CadenceHigh: b.Stage.CadenceHigh, End: b.Stage.End})
			at++
			continue
		}
		after := at
		for n := 1; n <= b.Times; n++ {
			after = unroll(b.Blocks, at, append(slices.Clip(turns), Count{n, b.Times}), add)
		}
		at = after
	}
	return at
}

// check is the first thing wrong with a view.
func (v View) check() error {
	for _, f := range []struct {
		name      string
		value     float64
		low, high float64
		unit      string
	}{
		{"threshold", v.ThresholdW, 20, 1000, "W"},
		{"critical power", v.CriticalPowerW, 20, 1000, "W"},
		{"W′", v.WPrimeJ, 500, 100e3, "J"},
		{"spread of W′", v.WPrimeSDJ, 0, 100e3, "J"},
		{"maximal power", v.MaxPowerW, v.CriticalPowerW, 5000, "W"},
		{"speed of recovery", v.Recovery.SpeedMedian, 0, 100, ""},
		{"spread of the speed of recovery", v.Recovery.SpeedLogSD, 0, 5, ""},
		{"maximal heart rate", v.HeartMax, 0, 250, "beats a minute"},
		{"mass", v.MassKg, 0, 400, "kg"},
		{"least power of the brake", v.FloorW, 0, 5000, "W"},
		{"most power of the brake", v.CeilingW, 0, 10000, "W"},
	} {
		if !(f.value >= f.low && f.value <= f.high) {
			return fmt.Errorf("session: %s is %g, expected %g to %g %s", f.name, f.value, f.low, f.high, f.unit)
		}
	}
	if v.CeilingW > 0 && v.CeilingW < v.FloorW {
		return fmt.Errorf("session: the brake holds at most %.0f W, less than its least, %.0f W", v.CeilingW, v.FloorW)
	}
	return nil
}

// ask fills in what a leg asks for, from what the rider has when it begins.
func (m model) ask(l *Leg, balance float64) {
	v, t := m.View, l.Stage.Target
	from, to := t.From, t.To
	l.Lead, l.HeartLow, l.HeartHigh = ByWatts, 0, 0
	switch t.Of {
	case OfNothing:
		share := usual[l.Kind]
		from, to = share[0]*v.CriticalPowerW, share[1]*v.CriticalPowerW
		if l.Kind == Work {
			l.Lead = ByFeel
		}
	case OfThreshold:
		from, to = from*v.ThresholdW, to*v.ThresholdW
	case OfCritical:
		from, to = from*v.CriticalPowerW, to*v.CriticalPowerW
	case OfHeartMax, OfHeart:
		from, to = m.askHeart(l)
	case OfFeel:
		l.Lead = ByFeel
		share := feelShare((from+to)/2, m.roughS(l.End))
		from, to = share*v.CriticalPowerW, share*v.CriticalPowerW
	case OfAllOut:
		l.Lead = ByFeel
		from = math.Floor(m.allOut(m.roughS(l.End), balance) + 1e-6) // a watt too many would not be held to the end
		to = from
	}
	l.setWatts(from, to, t.Ramp || t.Of == OfNothing, v)
	if v.NoWatts && l.Lead == ByWatts {
		l.Lead = ByFeel
	}
	l.hold(v)
}

// setWatts rounds to whole watts, so that what is said is what is asked for.
func (l *Leg) setWatts(from, to float64, ramp bool, v View) {
	most := math.Floor(v.MaxPowerW)
	round := func(w float64) float64 { return math.Round(math.Min(most, w)) }
	l.LowW, l.HighW = 0, 0
	switch {
	case l.Kind == Off:
		l.AimW, l.ToW = 0, 0
		return
	case ramp:
		l.AimW, l.ToW = math.Max(1, round(from)), math.Max(1, round(to))
	default:
		l.AimW = math.Max(1, round((from+to)/2))
		l.ToW = l.AimW
	}
	half := math.Max(onTargetW, onTarget*l.AimW)
	l.LowW, l.HighW = math.Max(0, math.Round(l.AimW-half)), math.Round(l.AimW+half)
	if !ramp && from < to {
		l.LowW, l.HighW = round(from), round(to)
	}
}

// askHeart is the watts to reckon with for a heart-rate band. Without a
// maximum that was measured or typed the rider goes by feel.
func (m model) askHeart(l *Leg) (from, to float64) {
	t, v := l.Stage.Target, m.View
	usable := !v.HeartRateOff && (v.HeartMax > 0 || t.Of == OfHeart)
	l.Lead = ByFeel
	low, high := t.From, t.To
	if t.Of == OfHeart && v.HeartMax > 0 {
		low, high = low/v.HeartMax, high/v.HeartMax
	}
	if usable {
		l.Lead, l.HeartLow, l.HeartHigh = ByHeart, t.From, t.To
		if t.Of == OfHeartMax {
			l.HeartLow, l.HeartHigh = math.Round(low*v.HeartMax), math.Round(high*v.HeartMax)
		}
	}
	if t.Of == OfHeart && v.HeartMax == 0 {
		w := usual[Work][0] * v.CriticalPowerW // beats say nothing about watts without a maximum
		return w, w
	}
	w := m.heartWatts(math.Min(1, (low+high)/2))
	return w, w
}

// usualMass stands in where a mass is not known; only a ratio depends on it.
const usualMass = 75.0

// heartWatts are the watts at whose end of a long leg the middle of
// capacity.HeartBand is at a share of the maximum.
func (m model) heartWatts(share float64) float64 {
	mass := m.MassKg
	if mass == 0 {
		mass = usualMass
	}
	const maximum, long = 100.0, 3600.0
	c := capacity.Fixed(m.CriticalPowerW, m.WPrimeJ, m.MaxPowerW)
	low, high, _ := capacity.HeartBand(c, mass, maximum, 0, 1, long)
	half := (high - low) / 2
	from, to := 1.0, c.Power(300)
	for range 40 {
		mid := (from + to) / 2
		if low, _, _ := capacity.HeartBand(c, mass, maximum, 0, mid, long); low+half < share*maximum {
			from = mid
		} else {
			to = mid
		}
	}
	return from
}

// feelShare is the share of critical power that feels like an exertion at the
// end of a time: the middle of those that capacity.Feel gives that number.
func feelShare(exertion, seconds float64) float64 {
	reach := func(borg float64) float64 {
		from, to := 0.0, 1.5
		for range 30 {
			mid := (from + to) / 2
			if b, _ := capacity.Feel(mid, seconds); float64(b) < borg {
				from = mid
			} else {
				to = mid
			}
		}
		return to
	}
	e := math.Round(exertion)
	return (reach(e) + reach(e+1)) / 2
}

// hold is what the brake will be set to, and what it cannot do.
func (l *Leg) hold(v View) {
	l.Brake, l.HeldW, l.HeldToW = "", 0, 0
	switch {
	case !v.HoldsPower || l.Kind == Off || l.Lead == ByFeel && l.Stage.Target.Of != OfAllOut:
		return
	case l.Stage.Target.Of == OfAllOut:
		l.Brake = "all you have cannot be held as watts: the brake is not set to any here, your gear and your legs make them"
		return
	}
	within := func(w float64) float64 {
		w = math.Max(w, math.Ceil(v.FloorW))
		if v.CeilingW > 0 {
			w = math.Min(w, math.Floor(v.CeilingW))
		}
		return w
	}
	l.HeldW, l.HeldToW = within(l.AimW), within(l.ToW)
	low, high := min(l.AimW, l.ToW), max(l.AimW, l.ToW)
	switch {
	case v.CeilingW > 0 && high > v.CeilingW:
		l.Brake = fmt.Sprintf("it asks for %.0f W and the brake holds at most %.0f W: that is what it is set to there", high, v.CeilingW)
	case low < v.FloorW:
		l.Brake = fmt.Sprintf("it asks for %.0f W and the brake cannot go below %.0f W: that is what it is set to there", low, v.FloorW)
	}
}
