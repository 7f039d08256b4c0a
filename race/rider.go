package race

import (
	"math"
	"math/rand/v2"

	"chainline/capacity"
	"chainline/pacing"
	"chainline/physics"
)

// Rider is one starter of a race, without doubt: what they can do today, in
// the watts that drive them on the course.
type Rider struct {
	Name     string
	Capacity capacity.Capacity
	Motion   physics.Motion
	Form     capacity.Recovery
	Recovery float64 // factor on the time constants of W′ recovery; 0 is read as 1
	StartS   float64 // s after the first start
	Grit     float64 // share of W′ left at which the wheel is let go, 0 to 0.5
	// Plan is ridden whenever nobody gives shelter; nil: as races are ridden.
	Plan []pacing.Piece
	// Leads: takes turns at the front. A rider who does not sits in.
	Leads bool
	// Ghost rides along without changing anybody else's race: nobody follows
	// or counts them. Forecasts put their rider into fields as a ghost, so that
	// two forecasts with one seed meet the same races.
	Ghost bool
}

// wPerKg is power over a duration per kilogram of body mass.
func wPerKg(c capacity.Capacity, seconds, mass float64) float64 { return c.Power(seconds) / mass }

// gritOf is how far riders dig before they let a wheel go: the share of W′
// left. Our judgement.
func gritOf(r *rand.Rand) float64 { return 0.02 + 0.10*r.Float64() }

// Tactics is how a race is ridden. All of it is common practice put into
// numbers by our judgement; none was fitted to races.
type Tactics struct {
	Tempo        float64 // share of their critical power that a leader holds on level road
	Start        float64 // added to it at the gun, …
	StartFades   float64 // s, … falling by e in this time
	Climb        float64 // added on gradients of 6 % and more, in proportion below
	Descent      float64 // taken off on falls of 6 % and more
	FinishFrom   float64 // s before the line from which the race gets faster …
	Finish       float64 // … by this share
	SprintFrom   float64 // s before the line from which all ride all out
	PullLeast    float64 // s, the shortest and …
	PullMost     float64 // … the longest turn at the front
	Restless     float64 // sd of the logarithm of how hard a turn is ridden
	Chase        float64 // added while a gap is being closed
	Behind       float64 // taken off in a group that has given up the race
	Spacing      float64 // m of road per rider in a bunch
	ChaseWithinS float64 // s, the largest gap that is chased
}

// Usual is a race as races go. Hard starts: Granier et al. 2018 (IJSPP
// 13:1243) and Hays et al. 2018 (Front Physiol 9:1062), abstracts, of off-road
// races; no peer-reviewed number for virtual races was found.
var Usual = Tactics{
	Tempo: 0.98, Start: 0.45, StartFades: 110, Climb: 0.22, Descent: 0.45,
	FinishFrom: 180, Finish: 0.12, SprintFrom: 22, PullLeast: 20, PullMost: 60, Restless: 0.07,
	Chase: 0.15, Behind: 0.06, Spacing: 0.6, ChaseWithinS: 12,
}

// Homeward is how a handicap or a club ride home is ridden: turns are shared,
// without a surge at the start or on climbs beyond what the road asks.
var Homeward = Tactics{
	Tempo: 1.0, Start: 0.08, StartFades: 60, Climb: 0.10, Descent: 0.35,
	FinishFrom: 120, Finish: 0.08, SprintFrom: 20, PullLeast: 20, PullMost: 45, Restless: 0.04,
	Chase: 0.05, Behind: 0, Spacing: 0.6, ChaseWithinS: 25,
}

// lead is the share of critical power that a leader holds.
func (t *Tactics) lead(seconds, gradient, toGo float64) float64 {
	share := t.Tempo
	if seconds < 8*t.StartFades {
		share += t.Start * math.Exp(-seconds/t.StartFades)
	}
	if gradient > 0 {
		share += t.Climb * math.Min(1, gradient/0.06)
	} else {
		share -= t.Descent * math.Min(1, -gradient/0.06)
	}
	if toGo < t.FinishFrom {
		share += t.Finish
	}
	return share
}
