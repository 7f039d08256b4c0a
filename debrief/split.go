package debrief

import (
	"fmt"
	"math"
	"math/bits"
	"strings"

	"chainline/course"
	"chainline/physics"
)

// Why the forecast was off: what the difference between ridden and forecast
// time comes to for each thing that was otherwise than planned.

// Split is the difference in parts, which sum to it.
type Split struct {
	OffS  float64 `json:"off_s"` // ridden less forecast
	Parts []Part  `json:"parts"`
}

// Part is what one thing made of it: seconds, positive slower.
type Part struct {
	Name    string  `json:"name"`
	Seconds float64 `json:"s"`
	Merged  bool    `json:"merged,omitempty"` // several things that cannot be told apart
	Why     string  `json:"why"`              // one sentence
	// CouldBeS is how much of a merged part one of its things could alone make,
	// s, one standard deviation; 0 if that is not known.
	CouldBeS float64 `json:"could_be_s,omitempty"`
}

// Names of the parts; merged ones join them.
const (
	PartRider       = "rider"
	PartSource      = "power source"
	PartRiderSource = "rider and power source"
	PartRoad        = "road"
	PartCourse      = "course"
	PartStart       = "start"
	PartDraws       = "forecast's draws"
	PartRest        = "not explained"
)

// game are the rides that might have been: each player as planned or as it was.
type game struct {
	p        Planned
	a        Actual
	t        *track
	outdoors bool
	names    []string
	plan     world // as planned
	ridden   world // as it was
}

// world is one version of everything that a time follows from.
type world struct {
	watts   func(share float64, step float64) float64 // W, around a share of the course, over a step of that length
	gain    float64
	mass    float64 // kg
	road    physics.Road
	profile course.Profile
	speed   float64 // m/s at the start
	late    float64 // s
}

// newGame lists who plays: what could not be told apart is one player, what
// was as planned is none.
//
// On a reckoned road the watts shown move the rider, and a source that shows
// too much is a gift; outdoors the legs do, and who follows such a source does
// less than planned. What the source is off by, if nobody knows it, is indoors
// in what the rider seems to have done, outdoors in what is left over.
func newGame(p Planned, a Actual, t *track, outdoors bool) *game {
	w := p.From.Ask.World
	g := &game{p: p, a: a, t: t, outdoors: outdoors}
	plan, length := p.From.Result.Plan.Plan, w.Profile.Length()
	g.plan = world{gain: 1, mass: w.RiderMass, road: w.Road, profile: w.Profile, speed: w.Road.StartSpeed,
		watts: func(share, _ float64) float64 { return wattsAt(plan, share*length) }}
	g.ridden = g.plan
	if a.Profile != nil {
		g.ridden.profile = *a.Profile
	}
	long := math.Min(t.end(), g.ridden.profile.Length())
	whole := t.mean(0, float64(len(t.work)-1))
	g.ridden.watts = func(share, step float64) float64 {
		watts := t.over((share-step/2)*long, (share+step/2)*long)
		if math.IsNaN(watts) {
			watts = whole // in a gap as on the whole ride
		}
		return math.Max(0, watts)
	}
	g.ridden.speed, g.ridden.late = t.startSpeed(), t.late
	if a.MassKg > 0 {
		g.ridden.mass = a.MassKg
	}
	if a.Road != nil {
		g.ridden.road = *a.Road
	}
	switch {
	case a.Gain > 0 && outdoors:
		g.ridden.gain = 1 / a.Gain
		g.names = []string{PartRider, PartSource}
	case a.Gain > 0:
		g.ridden.gain = a.Gain
		g.names = []string{PartRider, PartSource}
	case outdoors:
		g.names = []string{PartRider}
	default:
		g.names = []string{PartRiderSource}
	}
	if a.Road != nil {
		g.names = append(g.names, PartRoad)
	}
	if a.Profile != nil {
		g.names = append(g.names, PartCourse)
	}
	g.names = append(g.names, PartStart)
	return g
}

// startSpeed is how fast the course was begun (m/s): the speeds of the first
// two seconds drawn back to the start.
func (t *track) startSpeed() float64 {
	if len(t.metres) < 3 {
		return 0
	}
	return math.Max(0, 1.5*t.metres[1]-0.5*(t.metres[2]-t.metres[1]))
}

// worldOf is the world in which the players of a set are as they were.
func (g *game) worldOf(set uint) world {
	w := g.plan
	watts := w.watts
	for i, name := range g.names {
		if set&(1<<i) == 0 {
			continue
		}
		switch name {
		case PartRider:
			watts, w.mass = g.ridden.watts, g.ridden.mass
			if ridden, gain := watts, g.ridden.gain; !g.outdoors { // what the legs did, in the watts the plan was made in
				watts = func(share, step float64) float64 { return ridden(share, step) / gain }
			}
		case PartRiderSource:
			watts, w.mass = g.ridden.watts, g.ridden.mass
		case PartSource:
			w.gain = g.ridden.gain
		case PartRoad:
			w.road = g.ridden.road
		case PartCourse:
			w.profile = g.ridden.profile
		case PartStart:
			w.speed, w.late = g.ridden.speed, g.ridden.late
		}
	}
	w.watts = watts
	return w
}

// gameStep is the longest step in m of the rides that might have been.
const gameStep = 20.0

// walking is how fast a rider goes whose watts would not keep a bicycle
// upright (m/s): as in forecasts.
const walking = 1.2

// time is how long a ride of the world takes, s.
func (w world) time() float64 {
	m := w.road.Motion(w.mass)
	y, seconds, at := w.speed*w.speed, w.late, 0.0
	total := w.profile.Length()
	for i := 0; i+1 < len(w.profile.Distance); i++ {
		long := w.profile.Distance[i+1] - w.profile.Distance[i]
		n := math.Ceil(long / gameStep)
		h, force := long/n, m.ConstantForce(w.profile.Gradient(i))
		for range int(n) {
			watts := w.gain * w.watts((at+h/2)/total, h/total)
			next, dt, ok := m.Advance(y, h, force, watts, nil)
			if !ok {
				next, dt = walking*walking, h/walking
			}
			y, seconds, at = next, seconds+dt, at+h
		}
	}
	return seconds
}

// split shares the difference out. Each thing gets what it changes on average
// over all orders in which the things may be set from planned to actual
// (Shapley 1953, A value for n-person games); what the reckoned ride leaves
// open goes to what was not measured.
func (g *game) split(ridden, forecast float64) *Split {
	values := make([]float64, 1<<len(g.names))
	for set := range values {
		values[set] = g.worldOf(uint(set)).time()
	}
	shares := shapley(len(g.names), values)
	out := &Split{OffS: ridden - forecast}
	out.Parts = append(out.Parts, Part{Name: PartDraws, Seconds: values[0] - forecast,
		Why: fmt.Sprintf("The forecast is the middle of many rides, the plan on its own road takes %.0f s.", values[0])})
	for i, name := range g.names {
		out.Parts = append(out.Parts, g.part(name, shares[i]))
	}
	rest := ridden - values[len(values)-1]
	out.Parts = append(out.Parts, g.rest(rest))
	return out
}

// shapley is each player's share of the last value less the first, from the
// values of all sets of n players.
func shapley(n int, values []float64) []float64 {
	weight := make([]float64, n) // of a set of so many others
	for k := range n {
		weight[k] = 1 / (float64(n) * binomial(n-1, k))
	}
	out := make([]float64, n)
	for i := range n {
		for set := range uint(len(values)) {
			if set&(1<<i) == 0 {
				out[i] += weight[bits.OnesCount(set)] * (values[set|1<<i] - values[set])
			}
		}
	}
	return out
}

func binomial(n, k int) float64 {
	b := 1.0
	for i := range k {
		b *= float64(n-i) / float64(i+1)
	}
	return b
}

func (g *game) part(name string, seconds float64) Part {
	p := Part{Name: name, Seconds: seconds}
	switch name {
	case PartRider:
		p.Why = "Watts of the legs against those planned, where on the course, and the mass."
		if g.outdoors {
			p.Why = "Watts shown against those planned, where on the course, and the mass."
		}
	case PartSource:
		p.Why = fmt.Sprintf("The source shows %.1f %% more than the plan's watts (%s).", 100*(g.a.Gain-1), g.a.GainFrom)
	case PartRiderSource:
		p.Merged = true
		p.Why = "Watts shown against those planned; legs and source cannot be told apart, for nothing else measured this ride's watts."
		p.CouldBeS = g.sourceCouldBe()
	case PartRoad:
		p.Why = "Drag, rolling and air as fitted against those planned."
	case PartCourse:
		p.Why = "The course as it was ridden against the one planned for."
	case PartStart:
		p.Why = fmt.Sprintf("Begun at %.1f m/s, planned %.1f m/s.", g.ridden.speed, g.plan.speed)
		if g.ridden.late > 0 {
			p.Why += fmt.Sprintf(" %.0f s passed before the first metre.", g.ridden.late)
		}
	}
	return p
}

// sourceCouldBe is how many seconds a source that is off by its accuracy makes.
func (g *game) sourceCouldBe() float64 {
	all := g.worldOf(1<<len(g.names) - 1)
	now := all.time()
	all.gain *= 1 + g.p.Brief.Rig.Accuracy
	return now - all.time()
}

// rest is what ridden watts on this road and course do not explain: it is of
// whatever nobody measured.
func (g *game) rest(seconds float64) Part {
	if !g.outdoors {
		return Part{Name: PartRest, Seconds: seconds, Why: "What the ridden watts on this road do not explain: samples of a second, and how the road is reckoned."}
	}
	var of []string
	p := Part{Seconds: seconds}
	if g.a.Gain == 0 {
		of = append(of, PartSource)
		p.CouldBeS = g.sourceCouldBe()
	}
	if g.a.Road == nil {
		of = append(of, PartRoad)
	}
	if g.a.Profile == nil {
		of = append(of, PartCourse)
	}
	switch n := len(of); n {
	case 0:
		p.Name, p.Why = PartRest, "What the ridden watts on this road and course do not explain: wind, shelter and bends."
	case 1:
		p.Name, p.Why = of[0], "What the ridden watts do not explain: this was not measured; wind, shelter and bends are in it."
	default:
		p.Name, p.Merged = strings.Join(of[:n-1], ", ")+" and "+of[n-1], true
		p.Why = "What the ridden watts do not explain: the ride shows only what these come to together; wind, shelter and bends are in it."
	}
	return p
}
