package ride

import (
	"math"
	"time"

	"chainline/internal/sensor"
	"chainline/rig"
)

// Which watts count. The rider's own order of sources comes first; a source
// that falls silent keeps its last value for three seconds, then the next
// source takes over, or the rider coasts; never back within a step.

// carry is how long a silent source's last value stands. Our judgement: at
// one message a second it bridges two lost ones.
const carry = 3 * time.Second

// A reading beyond these is no rider's: kept in the recording, marked, and
// not ridden by. Our judgement.
const (
	mostWatts   = 2500.0
	mostOverMax = 1.5 // times the rider's own maximal power
	stuckAfter  = 20 * time.Second
)

// PowerState says what the watts that count are.
type PowerState string

// What the watts that count are.
const (
	Measured PowerState = "measured"
	Carried  PowerState = "carried" // the last value of a source silent for less than three seconds
	Coasting PowerState = "coasting"
	NoPower  PowerState = "none" // no source was ever heard
)

// source is one stream of watts.
type source struct {
	key    SourceKey
	device string
	by     sensor.Service
	watts  float64 // as displayed
	at     time.Time
	since  time.Time // since when the value has not changed
	stuck  bool
	mean   float64 // running mean of about 10 s, for steering and comparing
}

func (s *source) silent(now time.Time) bool { return now.Sub(s.at) > carry }

// wheel turns wheel speed into watts by a plain trainer's curve.
type wheel struct {
	curve rig.PowerCurve
	mass  float64 // kg in effect at the tyre
	speed float64
	at    time.Time
	known bool
}

// usualRollingMass is what the wheel and flywheel of a wheel-on trainer weigh
// in effect at the tyre, kg. Our judgement: a 1.5 kg flywheel on a 30 mm
// roller, and a wheel.
const usualRollingMass = 6.0

// watts are those that drove the wheel from its last speed to this one. A
// wheel that slows down about as fast as its brake alone would slow it has
// nobody pedalling: then it is exactly zero. still is a cadence sensor's word
// for it.
func (w *wheel) watts(speed float64, at time.Time, still bool) (watts float64, ok bool) {
	before, since, had := w.speed, at.Sub(w.at).Seconds(), w.known
	w.speed, w.at, w.known = speed, at, true
	if !had || since <= 0 || since > 5 {
		return 0, false
	}
	mean := (before + speed) / 2
	brake := w.curve.Watts(mean)
	inertia := w.mass * mean * (speed - before) / since
	if still || inertia < -0.6*brake {
		return 0, true
	}
	return math.Max(0, brake+inertia), true
}

// supply is every source of watts of a rig and which one counts.
type supply struct {
	order    []SourceKey
	all      map[SourceKey]*source
	list     []*source // in order of appearance
	used     SourceKey
	fallen   map[SourceKey]bool // fell silent within this step: not taken back before the next
	corrects map[SourceKey]Correction
}

func newSupply(r Rig) *supply {
	return &supply{order: r.Order, all: map[SourceKey]*source{}, fallen: map[SourceKey]bool{}, corrects: r.Corrections}
}

// heard takes a reading of watts; it says whether it can be a rider's, and
// whether the source is new.
func (p *supply) heard(key SourceKey, device string, by sensor.Service, watts float64, at time.Time, most float64) (fits, fresh bool) {
	s := p.all[key]
	if s == nil {
		s = &source{key: key, device: device, by: by, since: at, mean: watts}
		p.all[key] = s
		p.list = append(p.list, s)
		fresh = true
	}
	if watts > most || watts < -50 || math.IsNaN(watts) {
		s.at = at // it speaks, if nonsense
		return false, fresh
	}
	dt := at.Sub(s.at).Seconds()
	if watts != s.watts || watts == 0 {
		s.since, s.stuck = at, false
	}
	if s.at.IsZero() || dt > 10 {
		s.mean = watts
	} else if dt > 0 {
		s.mean += (watts - s.mean) * -math.Expm1(-dt/10)
	}
	s.watts, s.at = math.Max(0, watts), at
	return true, fresh
}

// corrected are a source's watts with what the rig check found.
func (p *supply) corrected(s *source) float64 {
	if c, ok := p.corrects[s.key]; ok && s.watts > 0 {
		return math.Max(0, c.Gain*s.watts+c.Offset)
	}
	return s.watts
}

// rank of a source: the rider's order, then meters, then trainers, then the
// curve.
func (p *supply) rank(s *source) int {
	for i, k := range p.order {
		if k == s.key {
			return i
		}
	}
	switch s.by {
	case sensor.CyclingPower:
		return len(p.order)
	case sensor.FitnessMachine:
		return len(p.order) + 1
	default:
		return len(p.order) + 2
	}
}

// choose settles which source counts now. switched is the source taken over
// from when it changed.
func (p *supply) choose(now time.Time) (s *source, switched bool) {
	used := p.all[p.used]
	if used != nil && used.silent(now) {
		p.fallen[p.used] = true
	}
	if used != nil && !used.silent(now) && !p.fallen[p.used] {
		return used, false
	}
	var best *source
	for _, s := range p.list {
		if s.silent(now) || p.fallen[s.key] && s.key != p.used {
			continue
		}
		if best == nil || p.rank(s) < p.rank(best) {
			best = s
		}
	}
	// A source that fell silent and came back is taken again only where there
	// is no other.
	if used != nil && !used.silent(now) && (best == nil || best == used) {
		return used, false
	}
	if best == nil {
		return used, false
	}
	had := p.used
	p.used = best.key
	return best, had != "" && had != best.key
}

// newStep lets the rider's order decide again.
func (p *supply) newStep(now time.Time) (s *source, switched bool) {
	clear(p.fallen)
	had := p.used
	var best *source
	for _, s := range p.list {
		if !s.silent(now) && (best == nil || p.rank(s) < p.rank(best)) {
			best = s
		}
	}
	if best == nil {
		return p.all[had], false
	}
	p.used = best.key
	return best, had != "" && had != best.key
}

// now is what counts at an instant.
func (p *supply) now(at time.Time) (watts float64, state PowerState) {
	s := p.all[p.used]
	switch {
	case s == nil && len(p.list) == 0:
		return 0, NoPower
	case s == nil || s.silent(at):
		return 0, Coasting
	case at.Sub(s.at) > 1500*time.Millisecond:
		return p.corrected(s), Carried
	default:
		return p.corrected(s), Measured
	}
}
