package bench

import (
	"math"
	"math/rand/v2"
	"time"

	"chainline/capacity"
)

// Shown is what the rider sees and tries to follow. Watts of 0 while
// pedalling means nothing is asked: the rider turns easily. Cadence of 0
// means their own. Under a brake that holds a target power the rider keeps
// the cadence, and the brake decides the watts.
type Shown struct {
	Watts     float64
	Cadence   float64
	Pedalling bool
	Backwards bool // when not pedalling: the cranks are turned backwards, slowly
}

// What the rider does when nothing is asked, or nothing is left. All of it is
// our judgement.
const (
	easyShare     = 0.4  // of critical power
	freshAgain    = 0.06 // of W′, before an emptied rider gives more than critical power
	stalled       = 32.0 // rpm
	stalledFor    = 3.0  // s of pushing as hard as they can before they stop
	rests         = 15.0 // s before another try
	noiseEvery    = 0.1  // s
	noiseFor      = 1.5  // s
	driftFor      = 180.0
	legsTau       = 0.8 // s to change effort
	feltTau       = 0.4 // s to answer the pedals
	cadenceGain   = 9.0 // N at the tyre per m/s
	shiftAfter    = 1.5 // s between shifts
	shiftBand     = 9.0 // rpm
	powerModeGear = 8.3 // m/s at the preferred cadence
)

type asked struct {
	at   time.Duration
	what Shown
}

// legs are the rider: what they want, what they can, and what it costs.
type legs struct {
	Rider
	balance   capacity.Balance
	left      float64 // J of W′
	emptied   bool
	gaveUp    bool
	shown     Shown
	coming    []asked // seen, but not answered yet
	want      float64 // W, following what is shown
	felt      float64 // N at the tyre
	noise     float64
	wander    float64
	gears     []float64
	gear      int
	home      int // the gear for target power
	sinceGear float64
	straining float64 // s
	resting   float64 // s
	pushing   bool
	cadence   float64 // rpm
	torque    float64 // N m at standstill, the most
}

// backwards is how fast cranks are turned that nothing is pushed with, rpm;
// sensors cannot tell the direction. Our judgement.
const backwards = 60.0

// freeCadence is where a linear torque-cadence relation reaches zero, twice
// the cadence of greatest power. That the relation is close to linear is
// known of sprint cycling (from memory); 120 rpm is our judgement.
const freeCadence = 240.0

func newLegs(r Rider, gears []float64) *legs {
	l := &legs{Rider: r, left: r.WPrime, gears: gears, shown: Shown{Pedalling: true},
		balance: capacity.Balance{CriticalPower: r.CriticalPower, WPrime: r.WPrime, Form: r.Recovery, Speed: r.RecoverySpeed, MeanDeficit: r.CriticalPower / 2}}
	for i, g := range gears {
		if math.Abs(g*r.Cadence/60-powerModeGear) < math.Abs(gears[l.home]*r.Cadence/60-powerModeGear) {
			l.home = i
		}
	}
	l.gear = l.home
	l.torque = 4 * r.MaxPower / (freeCadence * math.Pi / 30)
	return l
}

func (l *legs) see(s Shown, now time.Duration) {
	last := l.shown
	if n := len(l.coming); n > 0 {
		last = l.coming[n-1].what
	}
	if s != last {
		l.coming = append(l.coming, asked{now + l.Reaction, s})
	}
}

// uneven draws the unevenness of the legs, every noiseEvery seconds.
func (l *legs) uneven(r *rand.Rand) {
	fast, slow := keep(noiseEvery, noiseFor), keep(noiseEvery, driftFor)
	l.noise = l.noise*fast + l.Noise*math.Sqrt(1-fast*fast)*r.NormFloat64()
	l.wander = l.wander*slow + l.Drift*math.Sqrt(1-slow*slow)*r.NormFloat64()
}

// can is the most the legs give now, in watts at the crank, at a cadence.
func (l *legs) can(cadence float64) float64 {
	byTorque := l.torque * math.Max(0, 1-cadence/freeCadence) * cadence * math.Pi / 30
	if l.emptied {
		return math.Min(byTorque, 0.98*l.CriticalPower)
	}
	return byTorque
}

// push is the force at the tyre before losses that the legs give for the next
// step of h seconds. resists is what brake and drag took in the last one.
func (l *legs) push(h, v, resists, efficiency float64, holding bool, now time.Duration) float64 {
	for len(l.coming) > 0 && l.coming[0].at <= now {
		l.shown = l.coming[0].what
		l.coming = l.coming[1:]
	}
	l.felt += (resists/efficiency - l.felt) * h / feltTau
	l.pushing = l.shown.Pedalling && !l.rest(h, v)
	if !l.pushing {
		if l.shown.Backwards && !l.gaveUp {
			l.cadence += (backwards*(1+3*l.wander) - l.cadence) * h / 1.0
		} else if l.cadence *= keep(h, 0.25); l.cadence < 1 {
			l.cadence = 0
		}
		l.want = 0
		l.straining = 0
		return 0
	}
	l.shift(h, v, holding)
	l.cadence = v * 60 / l.gears[l.gear]
	ask := l.shown.Watts * (1 + l.Bias + l.wander)
	if l.shown.Watts <= 0 {
		ask = easyShare * l.CriticalPower
	}
	l.want += (ask - l.want) * h / legsTau
	force := l.want * (1 + l.noise) / math.Max(v, 0.5)
	if holding {
		even := l.aim() * l.gears[l.gear] / 60
		force = (l.felt + cadenceGain*(even-v)) * (1 + l.noise)
	}
	return l.bounded(h, force, v)
}

func (l *legs) aim() float64 {
	if l.shown.Cadence > 0 {
		return l.shown.Cadence
	}
	return l.Rider.Cadence
}

// bounded keeps a wish within what the legs can.
func (l *legs) bounded(h, force, v float64) float64 {
	most := l.torque * math.Max(0, 1-l.cadence/freeCadence) * 2 * math.Pi / l.gears[l.gear]
	if l.emptied && v > 0 {
		most = math.Min(most, l.can(l.cadence)/v)
	}
	if force > most && l.cadence < stalled {
		l.straining += h
		if l.straining > stalledFor {
			l.gaveUp, l.resting = true, 0
		}
	} else {
		l.straining = 0
	}
	return math.Max(0, math.Min(force, most))
}

// rest reports whether a rider who could not turn the cranks any more is
// still resting.
func (l *legs) rest(h, v float64) bool {
	if !l.gaveUp {
		return false
	}
	l.resting += h
	if l.resting >= rests && v < 1 && l.left > 0.15*l.WPrime {
		l.gaveUp = false
	}
	return l.gaveUp
}

// shift keeps the cadence by the gears; under target power the rider stays in
// one gear of middling wheel speed.
func (l *legs) shift(h, v float64, holding bool) {
	l.sinceGear += h
	if l.sinceGear < shiftAfter {
		return
	}
	best := l.home
	if !holding {
		if math.Abs(v*60/l.gears[l.gear]-l.aim()) <= shiftBand {
			return
		}
		best = 0
		for i, g := range l.gears {
			if math.Abs(v*60/g-l.aim()) < math.Abs(v*60/l.gears[best]-l.aim()) {
				best = i
			}
		}
	}
	if best != l.gear {
		l.gear, l.sinceGear = best, 0
	}
}

// spend books watts at the crank for h seconds.
func (l *legs) spend(h, watts float64) {
	l.left = l.balance.Step(l.left, watts, h)
	switch {
	case l.left <= 0:
		l.left, l.emptied = 0, true
	case l.left > freshAgain*l.WPrime:
		l.emptied = false
	}
}
