package race

import (
	"math"
	"math/rand/v2"
	"slices"

	"chainline/capacity"
	"chainline/physics"
)

// The bunch, step by step. All riders move at once from what they see at the
// start of a step, front to back, so that a wheel is followed without delay.

const (
	usualStep  = 0.5  // s
	hook       = 25.0 // m; a larger gap parts two groups
	closing    = 0.5  // 1/s, how fast a gap to the wheel is taken up
	mostClose  = 1.5  // m/s faster than the wheel ahead while closing
	mostSurge  = 0.8  // m/s², acceleration to follow a wheel
	slowest    = 1.2  // m/s, below which nobody stays upright: they creep
	checkEvery = 5.0  // s between looks at who is in the front group
	frontS     = 5.0  // s behind the fifth that still is the front group
	fifth      = 5
	opening    = 300.0   // s: the first five minutes
	letGo      = 4.0     // m behind where a rider who cannot hold the wheel ought to be
	nearHome   = 12000.0 // m, within which the time to the line matters: no farther than five minutes at any speed
	farAway    = 1e9     // s
	sluggish   = 7.0     // m/s, below which a rider follows as hard as W′ allows, as off the line
	comingPast = 1.0     // m/s faster than the bunch on the way to its front
	bridgeS    = 15.0    // s in which a gap would be closed if it could be
	// Sprints are a lottery of moments and wheels: sd of the logarithm of when
	// riders start theirs and of the drag the wheels they find leave. Our judgement.
	sprintEarly = 0.25
	sprintLuck  = 0.12
	kept        = 0.15 // share of W′ below which nobody closes a gap for others
	rested      = 0.30 // share of W′ with which a rider who was dropped works again
)

// Race is a start list on a way.
type Race struct {
	Way     *Way
	Riders  []Rider
	Shelter Shelter
	Tactics Tactics
	StepS   float64 // s, at most 0.5; 0 is 0.5
	LastsS  float64 // s, about how long it takes, for the fade; 0: taken from the way
	Speed   float64 // m/s at the start line
	Watch   int     // rider whose race is traced; −1 for none
}

// mover is the state of one rider. Its coefficients stand here once more so
// that a step reads one stretch of memory.
type mover struct {
	x, v, w                     float64 // m, m/s, J
	cp, wPrime, back            float64 // W, J, 1/J: recovery per joule of deficit and second
	open, least, top            float64 // (Pmax−CP)/W′, J of W′ at which the wheel is let go, W
	drag, weight, crr, b0, b1   float64
	eta, perEta, inertial, perM float64
	start, finish               float64 // s
	pullEnds, effort            float64 // s, share
	onFlat, onClimb             float64 // how fast a leader this rider makes
	crank, over, early, earlyS  float64 // J, J, J, s
	air, rolled, climbed, borne float64 // J
	wheel, braked               float64 // J
	lowest                      float64 // J
	lastFront                   float64 // m
	spent                       bool    // let go and not rested
	leads, ghost                bool
	sprintFrom, luck            float64 // s before the line, share of drag
	form                        capacity.Balance
	plan                        *Rider
	chased                      *mover // last wheel of the group ahead, while its gap is being closed
	piece                       int
}

// field is a race being run.
type field struct {
	*Race
	riders []mover
	order  []int32
	out    int     // riders at the end of order that are done
	dt     float64 // s
	// What a step needs ready: shelter by position (from 1), that of a leader
	// who has somebody behind, and inverses.
	position                  [17]float64
	leader, perReach, perStep float64
	length                    float64
	random                    *rand.Rand
	trace                     *Trace
	firsts                    []float64 // finish times of those home, ascending
}

// Run is one race. The same stream of random numbers gives the same race.
func (r *Race) Run(random *rand.Rand) Result {
	f := &field{Race: r, dt: r.StepS, length: r.Way.length, random: random}
	if f.dt == 0 {
		f.dt = usualStep
	}
	lasts := r.LastsS
	if lasts == 0 {
		lasts = r.Way.length / 9.5
	}
	f.prepare()
	f.riders = make([]mover, len(r.Riders))
	for i := range r.Riders {
		f.riders[i].set(&r.Riders[i], lasts, r.Speed)
		if !r.Riders[i].Ghost {
			f.order = append(f.order, int32(i))
		}
	}
	own := rand.New(rand.NewPCG(random.Uint64(), 1)) // of its own, so that a ghost at the end changes nothing
	for i := range f.riders {
		f.riders[i].sprintFrom = r.Tactics.SprintFrom * math.Exp(sprintEarly*own.NormFloat64())
		f.riders[i].luck = math.Exp(sprintLuck * own.NormFloat64())
	}
	random.Shuffle(len(f.order), func(i, j int) { f.order[i], f.order[j] = f.order[j], f.order[i] })
	for i := range r.Riders {
		if r.Riders[i].Ghost { // anywhere on the line, like the others
			f.order = slices.Insert(f.order, own.IntN(len(f.order)+1), int32(i))
		}
	}
	if r.Watch >= 0 && r.Watch < len(r.Riders) {
		f.trace = newTrace(r.Way, f.dt)
	}
	checks := int(checkEvery / f.dt)
	limit := 6*lasts + 7200
	for k, t := 0, 0.0; f.out < len(f.order) && t < limit; k++ {
		t = float64(k) * f.dt
		f.sort()
		f.step(t)
		if k%checks == 0 {
			f.front()
		}
	}
	return f.result()
}

func (f *field) prepare() {
	for i := range f.position {
		f.position[i] = f.Shelter.Factor(i, 0)
	}
	f.leader, f.perStep = 1, 1/f.dt
	if len(f.Riders) > 1 {
		f.leader = f.position[1]
	}
	if f.Shelter.Reach > f.Shelter.Full {
		f.perReach = 1 / (f.Shelter.Reach - f.Shelter.Full)
	}
}

func (m *mover) set(r *Rider, lasts, speed float64) {
	c, p := r.Capacity, r.Motion
	factor := r.Recovery
	if factor == 0 {
		factor = 1
	}
	m.cp, m.wPrime, m.w, m.lowest = c.SustainableCP(lasts), c.WPrime, c.WPrime, c.WPrime
	m.back = 1 / (c.WPrime * factor)
	m.top = math.Max(c.MaxPower, 1.2*m.cp)
	m.open = (m.top - m.cp) / c.WPrime
	m.least = r.Grit * c.WPrime
	m.form = capacity.Balance{CriticalPower: m.cp, WPrime: c.WPrime, Form: r.Form, Speed: factor}
	m.drag, m.weight, m.crr, m.b0, m.b1 = p.Drag, p.Mass*physics.Gravity, p.Crr, p.Bearing0, p.Bearing1
	m.eta, m.perEta, m.inertial, m.perM = p.Efficiency, 1/p.Efficiency, p.Inertial, 1/p.Inertial
	m.start, m.finish, m.pullEnds = r.StartS, math.NaN(), -1
	m.v = speed
	m.effort = 1
	m.onFlat, m.onClimb = m.cp/p.Drag, m.cp/p.Mass
	m.leads, m.ghost, m.plan = r.Leads, r.Ghost, r
}

// sort puts the order right again, front first; it hardly changes in a step.
func (f *field) sort() {
	o := f.order[:len(f.order)-f.out]
	for i := 1; i < len(o); i++ {
		id := o[i]
		x := f.riders[id].x
		j := i
		for ; j > 0 && f.riders[o[j-1]].x < x; j-- {
			o[j] = o[j-1]
		}
		o[j] = id
	}
}

// step moves everybody by one step that begins at t.
func (f *field) step(t float64) {
	live := f.order[:len(f.order)-f.out]
	var ref *mover // the wheel to follow
	var refX float64
	from, count, pulled := 0, 0, false
	home := 0
	for k, id := range live {
		m := &f.riders[id]
		if t < m.start {
			continue
		}
		x := m.x
		gap := math.Inf(1)
		if ref != nil {
			gap = refX - x
		}
		if gap > hook && !m.ghost { // a group of its own begins
			if ref != nil && !pulled {
				f.choose(live[from:k], t)
			}
			from, count, pulled, ref = k, 0, false, nil
		}
		grade := f.Way.at(x + 0.5*m.v*f.dt)
		if m.pullEnds > t {
			pulled = true
		}
		holds := f.ride(m, ref, gap, count+1, grade, t)
		if m.ghost {
			if m.x >= f.length {
				home++
			}
			continue
		}
		if ref == nil || holds {
			ref, refX = m, x
			count++
		}
		if m.x >= f.length {
			home++
		}
	}
	if ref != nil && !pulled {
		f.choose(live[from:], t)
	}
	if home > 0 {
		f.retire(home)
	}
}

// ride moves one rider behind ref (nil: nobody) and says whether they hold
// their place, so that others may follow them.
func (f *field) ride(m, ref *mover, gap float64, position, at int, t float64) bool {
	toGo := farAway
	if left := f.length - m.x; left < nearHome {
		toGo = left / max(m.v, 3)
	}
	shelter := 1.0
	if ref != nil {
		shelter = f.factor(position, gap)
	} else if !m.ghost {
		shelter = f.leader
	}
	limit := m.limit(toGo)
	switch {
	case toGo < m.sprintFrom && !m.spent && m.plan.Plan == nil:
		f.push(m, limit, shelter*m.luck, at, t)
		return true
	case m.plan.Plan != nil && ref == nil:
		f.push(m, f.alone(m, at, t, toGo), shelter, at, t)
		return true
	case m.pullEnds > t && ref != nil && gap <= hook:
		return f.moveUp(m, ref, limit, shelter, at, t)
	case m.pullEnds > t && m.chased != nil:
		f.bridge(m, limit, shelter, at, t, toGo)
		return true
	case m.pullEnds > t:
		f.push(m, min(limit, f.pull(m, at, t, toGo)), shelter, at, t)
		return true
	case ref == nil || gap > hook:
		f.push(m, min(limit, f.alone(m, at, t, toGo)), shelter, at, t)
		return true
	}
	if m.spent && m.w > max(rested, 2*m.plan.Grit)*m.wPrime {
		m.spent = false
	}
	// Take up the gap without running into the wheel.
	ask := ref.v + max(-mostClose, min(mostClose, closing*(gap-f.Tactics.Spacing)))
	if m.v > sluggish {
		ask = min(ask, m.v+mostSurge*f.dt)
	}
	if !f.follow(m, ask, limit, shelter, at, t) && gap > letGo {
		m.spent = m.spent || m.w < 0.15*m.wPrime
		return false
	}
	return true
}

// moveUp brings a rider whose turn it is past the others to the front. Who
// cannot gives the turn back.
func (f *field) moveUp(m, ref *mover, limit, shelter float64, at int, t float64) bool {
	ask := ref.v + comingPast
	if m.v > sluggish {
		ask = min(ask, m.v+mostSurge*f.dt)
	}
	if !f.follow(m, ask, limit, shelter, at, t) && m.w < 0.5*m.wPrime {
		m.pullEnds = t
	}
	return true
}

// bridge closes the gap to the group ahead, and ends when W′ runs low or
// there is nothing left to close.
func (f *field) bridge(m *mover, limit, shelter float64, at int, t, toGo float64) {
	gap := m.chased.x - m.x
	if gap < hook || gap > f.Tactics.ChaseWithinS*max(m.v, 3) || m.w < kept*m.wPrime {
		m.chased = nil
		if m.w < kept*m.wPrime {
			m.pullEnds = t
		}
		f.push(m, min(limit, f.pull(m, at, t, toGo)), shelter, at, t)
		return
	}
	ask := m.chased.v + min(mostClose, gap/bridgeS)
	if m.v > sluggish {
		ask = min(ask, m.v+mostSurge*f.dt)
	}
	f.follow(m, ask, min(limit, (1+4*f.Tactics.Chase)*m.cp), shelter, at, t)
}

// factor is Shelter.Factor, from a table at hand.
func (f *field) factor(position int, gap float64) float64 {
	s := f.position[min(position, len(f.position)-1)]
	if gap <= f.Shelter.Full || position <= 1 {
		return s
	}
	return s + (1-s)*min(1, (gap-f.Shelter.Full)*f.perReach)
}

// limit is the most a rider can or will give now: what W′ still allows, in
// the straight line that Morton's three-parameter model draws, and on the way
// to the line no more than lasts.
func (m *mover) limit(toGo float64) float64 {
	left := m.w - m.least
	if toGo < 60 {
		left = m.w
	}
	if left <= 0 {
		return m.cp
	}
	most := m.cp + left*m.open
	if toGo < 40 {
		most = min(most, m.cp+left/max(toGo, 4))
	}
	return min(m.top, most)
}

// pull is what a rider gives at the front.
func (f *field) pull(m *mover, at int, t, toGo float64) float64 {
	gradient := f.Way.sin[at]
	return m.cp * m.effort * f.Tactics.lead(t-m.start, gradient, toGo)
}

// alone is what a rider gives with no wheel to follow and no turn to ride:
// by plan, or steadily; the front of a bunch eases until somebody comes past.
func (f *field) alone(m *mover, at int, t, toGo float64) float64 {
	if plan := m.plan.Plan; plan != nil {
		for m.piece < len(plan)-1 && plan[m.piece].To <= m.x {
			m.piece++
		}
		return plan[m.piece].Watts
	}
	share := 0.95
	switch {
	case m.w < rested*m.wPrime && toGo > 60:
		share = 0.90
	case toGo < 300:
		share = 1.02
	}
	if g := f.Way.sin[at]; g > 0 {
		share += 0.06 * min(1, g/0.06)
	} else {
		share -= 0.3 * min(1, -g/0.06)
	}
	return m.cp * share
}
