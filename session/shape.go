package session

import (
	"math"
	"strings"

	"chainline/capacity"
	"chainline/estimate"
)

// What a warm-up is made of. The lengths, the shares of critical power and
// who gets what are common practice and our judgement, but for two things:
// six minutes in the heavy domain, below critical power, are what raised W′
// in ten cyclists, where six minutes above it did not (Burnley, Davison, Baker
// 2011, MSSE 43:2171, abstract only), and prior sprints did not help twelve
// cyclists over seven minutes where moderate and heavy exercise did (Burnley,
// Doust, Jones 2005, MSSE 37:838, abstract only). Therefore the long effort
// stays below critical power and what lies above it is short and never
// maximal. A long warm-up with hard parts costs peak power (Tomaras, MacIntosh
// 2011, J Appl Physiol 111:228, abstract only): none is longer than 35 min.

// tier says how hard a warm-up becomes.
type tier int

const (
	gentle tier = iota // easy and steady, nothing hard
	firm               // and minutes in the heavy domain, below critical power
	primed             // and short efforts above critical power
)

// Shares of critical power (common practice).
const (
	easyShare, steadyShare, firmShare = 0.45, 0.65, 0.88
	easingShare, penShare             = 0.40, 0.35
	newShare                          = 0.60 // steady, for a new rider
)

// A primer's share of critical power: that of the first minutes, in between.
const primerLeast, primerMost, primerUsual = 1.05, 1.20, 1.10

const z90 = estimate.Z80 // the 90th percentile of a standard normal

// A ride of at most shortRide (s) is ridden hard from the start; one longer
// than longRide warms its riders up itself (our judgement).
const shortRide, longRide = 3600.0, 7200.0

// tier is what the start calls for, held down to what the rider may have.
func (q Request) tier() tier {
	allowed := firm
	switch {
	case q.Level == capacity.New:
		allowed = gentle
	case q.mayGoAbove() == "" && q.most(primerMost) > q.Capacity.CriticalPower:
		allowed = primed
	}
	return min(allowed, q.wanted())
}

// wanted is what the kind of start, its first minutes and its length call for
// (our judgement): the shorter the ride and the harder it begins, the more.
func (q Request) wanted() tier {
	fast := q.beginsHard()
	switch q.Kind {
	case TimeTrial, Handicap:
		switch {
		case fast || q.RideS <= shortRide:
			return primed
		case q.RideS <= longRide:
			return firm
		}
		return gentle
	case MassStart: // the first minutes of mass starts are their hardest
		if fast || q.RideS <= longRide {
			return primed
		}
		return firm
	default:
		switch {
		case fast && q.RideS <= shortRide && q.Kind == Private:
			return primed
		case fast || q.RideS <= 1200:
			return firm
		}
		return gentle
	}
}

// beginsHard says whether the first minutes are at or above critical power.
func (q Request) beginsHard() bool {
	return q.FirstWatts >= q.Capacity.CriticalPower && q.FirstS >= 30
}

// mayGoAbove is empty when this rider may go above critical power in a
// warm-up, else the reason why not. It is a rule of caution, ours: who has no
// health screening, is under age, new or of unknown level is not sent there.
func (q Request) mayGoAbove() string {
	switch {
	case capacity.MaybeMinor(q.Age):
		return "the rider is or may be under 18"
	case !q.Screened:
		return "no health screening is on file"
	case q.Level == capacity.New:
		return "the rider is new to this"
	case q.Level == capacity.LevelUnknown:
		return "the rider's level is not known"
	}
	return ""
}

// primers is how many short efforts a level gets at most (common practice).
func (q Request) primers(t tier) int {
	if t < primed {
		return 0
	}
	return map[capacity.Level]int{capacity.Regular: 1, capacity.Club: 2, capacity.Racer: 3}[q.Level]
}

// primerShare is the share of critical power of a short effort: that of the
// first minutes if they are known, so that the legs have met it.
func (q Request) primerShare() float64 {
	if q.FirstWatts == 0 {
		return primerUsual
	}
	return math.Max(primerLeast, math.Min(primerMost, q.FirstWatts/q.Capacity.CriticalPower))
}

// lengths of easy, steady and firm riding in seconds.
type lengths struct{ easy, steady, firm float64 }

// lengths of a tier for this level (common practice).
func (q Request) lengths(t tier) lengths {
	l := lengths{360, 300, 0}
	switch {
	case t == gentle && (q.Level == capacity.New || q.RideS > longRide):
		l = lengths{300, 240, 0}
	case t == gentle:
	case q.Level == capacity.Racer:
		l = lengths{480, 300, 360}
	case q.Level == capacity.Club:
		l = lengths{420, 300, 360}
	default:
		l = lengths{360, 240, 300}
	}
	if q.RideS > longRide {
		l.firm /= 2
	}
	if q.zeroes() { // meters and brakes drift while they are cold
		l.steady = math.Max(l.steady, warmAfter-l.easy)
	}
	return l
}

// A meter or a brake counts as warm after warmAfter seconds of riding, and
// gapS is what setting it takes (common practice: ten to twelve minutes).
const warmAfter, gapS = 600.0, 120.0

// zeroes says whether something on this rig is set once it is warm.
func (q Request) zeroes() bool { return q.Rig.PowerMeter || q.spinsDown() }

// spinsDown says whether the rig has a spin-down.
func (q Request) spinsDown() bool { return q.Rig.Controllable && !q.Rig.Rollers }

// built is a warm-up as a list of steps and what is in it.
type built struct {
	steps     []Step
	tier      tier
	primers   int
	gapAt     float64 // s, StartS of the gap; 0 if there is none
	lastHardS float64 // s before the gun; 0 without a hard effort
	firmS     float64 // s in the heavy domain
	rideS     float64 // s ridden before the wait in the pen
}

// build lays the steps out from the first to the gun.
func (q Request) build(t tier, primers int, primerS, last float64) built {
	b := built{tier: t, primers: primers}
	l := q.lengths(t)
	steady := steadyShare
	if q.Level == capacity.New {
		steady = newShare
	}
	b.add(q.step("easy", easyShare, l.easy), q.step("steady", steady, l.steady))
	gap := -1
	if q.zeroes() {
		gap = len(b.steps)
		b.add(q.step("soft pedal", penShare, gapS))
	}
	if l.firm > 0 {
		b.firmS = l.firm
		b.add(q.step("firm", firmShare, l.firm))
	}
	for i := range primers {
		between := 60.0
		if i == 0 {
			between = 120
		}
		b.add(q.step("easy", easyShare, between), q.step("short and hard", q.primerShare(), primerS))
	}
	q.tail(&b, last)
	// Begin on a full minute of the clock.
	pad := 60*math.Ceil(b.sum()/60-1e-9) - b.sum()
	b.steps[0].DurationS += pad
	b.rideS += pad
	b.place()
	if gap >= 0 {
		b.gapAt = b.steps[gap].StartS
	}
	if l.firm > 0 || primers > 0 {
		b.lastHardS = last
	}
	q.label(&b)
	return b
}

// tail adds the easing before the pen and the wait in it, or the easing alone
// when the pen lets the rider go on as planned.
func (q Request) tail(b *built, last float64) {
	if b.tier == gentle {
		last = 120
		if q.Pen != PenFree && q.PenS > 0 {
			last = math.Max(last, q.PenS+60)
		}
	}
	if q.PenS == 0 || q.Pen == PenFree && q.PenS >= last {
		b.add(q.step("easing", easingShare, last))
		b.rideS = b.sum()
		return
	}
	if last > q.PenS {
		b.add(q.step("easing", easingShare, last-q.PenS))
	}
	b.rideS = b.sum()
	wait := q.step("in the pen", penShare, q.PenS)
	if q.Pen == PenStill {
		wait = q.step("in the pen, still", 0, q.PenS)
	}
	b.add(wait)
}

// label says of steps that lie wholly in the pen that they do.
func (q Request) label(b *built) {
	for i, s := range b.steps {
		if q.PenS > 0 && s.StartS >= -q.PenS && !strings.HasPrefix(s.Name, "in the pen") {
			b.steps[i].Name += ", in the pen"
		}
	}
}

// step is an even effort at a share of critical power, within the rig.
func (q Request) step(name string, share, seconds float64) Step {
	s := Step{DurationS: seconds, Name: name}
	if share > 0 {
		s.Watts = q.most(share)
	}
	s.Exertion, _ = capacity.Feel(s.Watts/q.Capacity.CriticalPower, seconds)
	return s
}

// most is a share of critical power in steps of 5 W, within what the rig can
// hold; an effort meant to lie below critical power stays below the one this
// rider has with 90 % probability.
func (q Request) most(share float64) float64 {
	watts := 5 * math.Round(share*q.Capacity.CriticalPower/5)
	if share < 1 {
		watts = math.Min(watts, q.cap())
	}
	low, high := q.range5()
	return math.Max(low, math.Min(high, watts))
}

// cap is the most watts of an effort below critical power, in steps of 5 W:
// the 10th percentile of critical power, yet at least three quarters of it.
func (q Request) cap() float64 {
	c := q.Capacity
	sure := math.Max(0.75*c.CriticalPower, c.CriticalPower-z90*c.SD()[0])
	return 5 * math.Floor(sure/5)
}

// range5 is what the rig can hold in steps of 5 W.
func (q Request) range5() (low, high float64) {
	low, high = 5*math.Ceil(q.Rig.FloorW/5), math.Inf(1)
	if q.Rig.CeilingW > 0 {
		high = 5 * math.Floor(q.Rig.CeilingW/5)
	}
	return low, high
}

func (b *built) add(steps ...Step) { b.steps = append(b.steps, steps...) }

func (b *built) sum() (seconds float64) {
	for _, s := range b.steps {
		seconds += s.DurationS
	}
	return seconds
}

// place sets the starts so that the last step ends at the gun.
func (b *built) place() {
	at := 0.0
	for i := len(b.steps) - 1; i >= 0; i-- {
		at -= b.steps[i].DurationS
		b.steps[i].StartS = at
	}
}
