package ride

import (
	"math"
	"time"

	"chainline/internal/sensor"
)

// The safety gate. Every command to a trainer passes Gate.Pass and nothing
// else in the program may hand one to sensor.Hub.Command (internal/house holds
// that). What the gate promises on each kind of brake stands in
// docs/safety.md.

// Limits are what a trainer may be told. They are our judgement, on the
// careful side of what trainers' manuals allow; a rig may only lower them.
type Limits struct {
	MostWatts    float64 // W
	MostGradient float64 // fraction, up
	LeastGrade   float64 // fraction, down (negative)
	MostLevel    float64 // fraction of the brake's range
	RiseWatts    float64 // W per second
	RiseGradient float64 // per second
	RiseLevel    float64 // per second
	EasyWatts    float64 // W: the first command on a link, and the last
	EasyLevel    float64
}

// DefaultLimits are the caps without knowledge of rider or brake.
func DefaultLimits() Limits {
	return Limits{MostWatts: 800, MostGradient: 0.15, LeastGrade: -0.10, MostLevel: 0.8,
		RiseWatts: 100, RiseGradient: 0.02, RiseLevel: 0.1, EasyWatts: 60, EasyLevel: 0}
}

// ForRider lowers the watts to what this rider can be asked for: maximal
// power, with a margin for a rider better than known.
func (l Limits) ForRider(maxPower, ceiling float64) Limits {
	if maxPower > 0 {
		l.MostWatts = math.Min(l.MostWatts, 1.1*maxPower)
	}
	if ceiling > 0 {
		l.MostWatts = math.Min(l.MostWatts, ceiling)
	}
	l.EasyWatts = math.Min(l.EasyWatts, l.MostWatts)
	return l
}

// How long a fall takes, and the longest time between two calls that counts
// as time the trainer had to follow.
const (
	fallSeconds  = 1.0 // and the next call at most a quarter second later: below two seconds
	mostBetween  = 1.0 // s
	sendAgain    = 10 * time.Second
	leastWatts   = 1.0   // W: smaller changes are not sent
	leastSlope   = 0.001 // fraction
	leastLevel   = 0.005
	callsBetween = 200 * time.Millisecond
)

// Gate is what has been told to the trainer on this link. The zero value has
// told nothing yet: the first command that passes is easy. Make a new one
// after every lost link, restart or change of trainer.
type Gate struct {
	Limits    Limits
	Listening bool // nothing passes, ever

	told   bool
	kind   sensor.CommandKind
	value  float64 // last told
	at     time.Time
	moved  time.Time // when value was last allowed to move
	begun  float64   // value at which the present fall began
	falls  bool
	sentAt time.Time
}

// Pass gives what may be sent now towards want, and whether to send it. stale
// is whether the readings the wish rests on are too old: then only easing
// passes. A wish that is not a number is taken as easy.
func (g *Gate) Pass(want sensor.Command, now time.Time, stale bool) (sensor.Command, bool) {
	if g.Listening {
		return sensor.Command{}, false
	}
	target, low, high, rise, easy := g.bounds(want)
	if math.IsNaN(target) {
		target = easy
	}
	target = math.Max(low, math.Min(high, target))
	if !g.told || want.Kind != g.kind {
		if stale && g.told && g.kind != want.Kind {
			return sensor.Command{}, false // another kind of command is no easing
		}
		return g.tell(want.Kind, math.Min(target, easy), now), true
	}
	if now.Before(g.at.Add(callsBetween)) {
		return sensor.Command{}, false
	}
	dt := math.Max(0, math.Min(mostBetween, now.Sub(g.moved).Seconds()))
	next := g.value
	switch {
	case target < g.value:
		next = g.fall(target, dt)
	case target > g.value && !stale:
		g.falls = false
		next = math.Min(target, g.value+rise*dt)
	default:
		g.falls = false
	}
	g.moved = now
	if math.Abs(next-g.value) < leastStep(want.Kind) && next != target || next == g.value {
		if now.Sub(g.sentAt) < sendAgain {
			return sensor.Command{}, false
		}
		next = math.Min(next, g.value)
	}
	return g.tell(want.Kind, next, now), true
}

// fall lets the value sink so that from where it began the whole of it takes
// fallSeconds.
func (g *Gate) fall(target, dt float64) float64 {
	if !g.falls {
		g.falls, g.begun = true, g.value
	}
	return math.Max(target, g.value-math.Max((g.begun-target)*dt/fallSeconds, leastStep(g.kind)))
}

func (g *Gate) tell(kind sensor.CommandKind, value float64, now time.Time) sensor.Command {
	if !g.told || kind != g.kind {
		g.falls = false
	}
	g.told, g.kind, g.value, g.at, g.moved, g.sentAt = true, kind, value, now, now, now
	switch kind {
	case sensor.TargetPower:
		return sensor.Command{Kind: kind, Watts: value}
	case sensor.TargetGradient:
		return sensor.Command{Kind: kind, Gradient: value}
	default:
		return sensor.Command{Kind: kind, Level: value}
	}
}

// Forget is a link lost: what the brake does now is its own affair, and the
// next command is easy.
func (g *Gate) Forget() { *g = Gate{Limits: g.Limits, Listening: g.Listening} }

// Told is the last command on this link.
func (g *Gate) Told() (kind sensor.CommandKind, value float64, ok bool) {
	return g.kind, g.value, g.told
}

func (g *Gate) bounds(c sensor.Command) (target, low, high, rise, easy float64) {
	l := g.Limits
	switch c.Kind {
	case sensor.TargetPower:
		return c.Watts, 0, l.MostWatts, l.RiseWatts, l.EasyWatts
	case sensor.TargetGradient:
		return c.Gradient, l.LeastGrade, l.MostGradient, l.RiseGradient, 0
	default:
		return c.Level, 0, l.MostLevel, l.RiseLevel, l.EasyLevel
	}
}

func leastStep(k sensor.CommandKind) float64 {
	switch k {
	case sensor.TargetPower:
		return leastWatts
	case sensor.TargetGradient:
		return leastSlope
	default:
		return leastLevel
	}
}

// Easy is the command that asks least of the same kind.
func (l Limits) Easy(k sensor.CommandKind) sensor.Command {
	switch k {
	case sensor.TargetPower:
		return sensor.Command{Kind: k, Watts: l.EasyWatts}
	case sensor.TargetGradient:
		return sensor.Command{Kind: k}
	default:
		return sensor.Command{Kind: k, Level: l.EasyLevel}
	}
}
