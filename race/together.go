package race

import (
	"fmt"
	"math"
	"slices"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

// A mixed group that wants to come home together.

// TogetherAsk is a group and a way.
type TogetherAsk struct {
	Way     *Way
	Road    physics.Road // drag area for 75 kg
	Members []Me
	Shelter Strength // 0: middling
	Ease    float64  // most of their critical power that anybody rides at on average; 0: the usual
}

// What suits a group ride; our judgement.
const (
	usualEase    = 0.75 // of critical power over the whole: an endurance ride
	keepBack     = 0.25 // of W′, never to be used
	climbShare   = 0.40 // of W′ that one climb may take
	sure         = 0.84 // standard deviations below the mean: four in five of those like each member can do it
	upFrom       = 0.015
	downFrom     = -0.015
	walking      = 1.7   // m/s, 6 km/h: slower nobody rides a climb
	regroupFrom  = 15.0  // s between first and last over a climb ridden at their own pace
	leadersShare = 3     // every third member takes turns at the front
	paceBody     = 75.0  // kg of the rider whose watts stand for the pace
	overNamed    = 1.02  // of critical power, and …
	overLeast    = 20.0  // … s above it that are worth naming
	newcomersS   = 5400. // s a newcomer is sent for at most
)

// GroupRide is what a group rides together.
type GroupRide struct {
	Seconds, SpeedMS float64
	Members          []Member
	Regroup          []Regroup
	Limit            string // who sets the pace: the first who could not go faster
	Suits            bool
	Why              string // why it does not suit, or what it asks of whom
}

// Member is what the ride is for one rider.
type Member struct {
	Name    string
	Leads   bool    // takes turns at the front; the others shelter
	HoldsMS float64 // m/s, the common speed this rider could hold in the bunch
	Share   float64 // of critical power over the ride, mean
	Lowest  float64 // share of W′ left at the least
	Over    []Stretch
	// Targets, W: on level road in the wheels and at the front, on climbs, and
	// what not to exceed.
	LevelW, FrontW, ClimbW, NeverW float64
}

// Regroup is where to wait.
type Regroup struct {
	AtM   float64
	WaitS float64 // s from the first to the last over the top, each at their own pace
	Last  string
}

// member is a rider while a pace is tried.
type member struct {
	Me
	c       capacity.Capacity // four in five can do this
	motion  physics.Motion
	in      physics.Motion // in the wheels
	balance capacity.Balance
	leads   bool
	turns   float64 // share of the time at the front
}

// Together finds the fastest pace that suits everybody: nobody above the
// agreed share of their critical power on average, nobody's W′ below a
// quarter, climbs at the speed of whoever climbs slowest. Speeds are steady
// ones on stretches of even gradient. Who is strongest takes turns in front.
func Together(q TogetherAsk) GroupRide {
	lasts := q.Way.length / 7.5
	var out GroupRide
	for range 3 { // the fade depends on how long it takes
		g := q.assemble(lasts)
		group := g.group
		holds := make([]float64, len(group))
		for i := range group {
			pace := g.fastest([]int{i})
			holds[i] = q.Way.length / g.seconds(pace)
		}
		q.lead(group, holds)
		everyone := make([]int, len(group))
		for i := range everyone {
			everyone[i] = i
		}
		pace := g.fastest(everyone)
		lasts = g.seconds(pace)
		out = g.describe(holds, pace, lasts)
	}
	return out
}

func (q TogetherAsk) ease() float64 {
	if q.Ease > 0 {
		return q.Ease
	}
	return usualEase
}

func (q TogetherAsk) members(lasts float64) []member {
	strength := q.Shelter
	if strength == 0 {
		strength = Middle
	}
	factor := Bunch(strength).Factor(min(len(q.Members), 6), 0)
	median, _ := capacity.RecoverySpread(capacity.Differential)
	out := make([]member, len(q.Members))
	for i, m := range q.Members {
		c := m.Capacity.AtRisk(sure, lasts)
		c.CriticalPower = c.SustainableCP(lasts)
		motion := motionOf(q.Road, m.Mass)
		out[i] = member{Me: m, c: c, motion: motion, in: motion.Sheltered(factor),
			balance: capacity.Balance{CriticalPower: c.CriticalPower, WPrime: c.WPrime, Speed: median}}
	}
	return out
}

// lead gives the turns to the strongest.
func (q TogetherAsk) lead(group []member, holds []float64) {
	by := make([]int, len(group))
	for i := range by {
		by[i] = i
	}
	slices.SortStableFunc(by, func(a, b int) int {
		if holds[a] > holds[b] {
			return -1
		}
		return 1
	})
	n := (len(group) + leadersShare - 1) / leadersShare
	for _, i := range by[:n] {
		group[i].leads, group[i].turns = true, 1/float64(n)
	}
}

// assembled is a group before a course: its stretches of even gradient, and how
// fast the slowest climber takes each.
type assembled struct {
	TogetherAsk
	group    []member
	parts    []course.Section
	climbing []float64 // m/s; +Inf where it does not climb
	body     physics.Motion
}

func (q TogetherAsk) assemble(lasts float64) assembled {
	g := assembled{TogetherAsk: q, group: q.members(lasts), parts: course.Sections(q.Way.Profile), body: motionOf(q.Road, paceBody)}
	for _, p := range g.parts {
		v := math.Inf(1)
		for i := range g.group {
			if p.Gradient >= upFrom {
				v = math.Min(v, math.Max(walking, g.group[i].climbing(p.Gradient, p.To-p.From)))
			}
		}
		g.climbing = append(g.climbing, v)
	}
	return g
}

// speeds are those of the group on every part at a pace (W of a rider of 75 kg
// on level road): climbs at the speed of the slowest climber.
func (g assembled) speeds(pace float64) []float64 {
	out := make([]float64, len(g.parts))
	for k, p := range g.parts {
		out[k] = math.Min(g.climbing[k], g.free(pace, p.Gradient))
	}
	return out
}

// free is the speed of the pace where nobody climbs slower.
func (g assembled) free(pace, gradient float64) float64 {
	return math.Max(walking, g.body.SpeedAt(pace*Homeward.lead(1e9, gradient, 1e9), gradient, 0))
}

// climbing is a member's own steady speed on a climb of that length: critical
// power and a part of W′.
func (m *member) climbing(gradient, length float64) float64 {
	v := m.motion.SpeedAt(m.c.CriticalPower, gradient, 0)
	for range 4 {
		v = m.motion.SpeedAt(m.c.CriticalPower+math.Min(climbShare*m.c.WPrime*v/length, 0.25*m.c.CriticalPower), gradient, 0)
	}
	return v
}

// watts is what a member gives at the group's speed: in the wheels, or on
// average over turns in front.
func (m *member) watts(v, gradient float64) float64 {
	in := math.Max(0, m.in.PowerAt(v, gradient, 0))
	return in + m.turns*(math.Max(0, m.motion.PowerAt(v, gradient, 0))-in)
}

func (g assembled) seconds(pace float64) float64 {
	sum := 0.0
	for k, v := range g.speeds(pace) {
		sum += (g.parts[k].To - g.parts[k].From) / v
	}
	return sum
}

// load is a member's mean share of critical power and least share of W′.
func (g assembled) load(speeds []float64, i int) (share, lowest float64) {
	m := &g.group[i]
	w, work, total := m.c.WPrime, 0.0, 0.0
	least := w
	for k, p := range g.parts {
		v := speeds[k]
		watts, dt := m.watts(v, p.Gradient), (p.To-p.From)/v
		w = m.balance.Step(w, watts, dt)
		least = math.Min(least, w)
		work, total = work+watts*dt, total+dt
	}
	return work / total / m.c.CriticalPower, least / m.c.WPrime
}

// fastest is the highest pace that suits these members.
func (g assembled) fastest(who []int) float64 {
	low, high := 20.0, 500.0
	for range 20 {
		pace := 0.5 * (low + high)
		ok, speeds := true, g.speeds(pace)
		for _, i := range who {
			share, lowest := g.load(speeds, i)
			ok = ok && share <= g.ease() && lowest >= keepBack
		}
		if ok {
			low = pace
		} else {
			high = pace
		}
	}
	return low
}

func (g assembled) describe(holds []float64, pace, seconds float64) GroupRide {
	group, speeds, level := g.group, g.speeds(pace), g.free(pace, 0)
	out := GroupRide{Seconds: seconds, SpeedMS: g.Way.length / seconds, Suits: true}
	slowest, newcomer := 0, ""
	for i := range group {
		m := &group[i]
		mine := Member{Name: m.Name, Leads: m.leads, HoldsMS: holds[i]}
		mine.Share, mine.Lowest = g.load(speeds, i)
		mine.LevelW, mine.FrontW = round5(m.in.PowerAt(level, 0, 0)), round5(m.motion.PowerAt(level, 0, 0))
		mine.ClimbW, mine.Over = g.climbsOf(speeds, i)
		mine.NeverW = round5(m.c.CriticalPower + climbShare*m.c.WPrime/180)
		if holds[i] < holds[slowest] {
			slowest = i
		}
		if mine.Share > g.ease()+0.01 || mine.Lowest < keepBack-0.01 {
			out.Suits = false
			out.Why = fmt.Sprintf("%s would be above what suits an easy ride even at walking pace on the climbs.", m.Name)
		}
		if m.New && newcomer == "" {
			newcomer = m.Name
		}
		out.Members = append(out.Members, mine)
	}
	out.Limit = group[slowest].Name
	if out.Suits && newcomer != "" && seconds > newcomersS {
		out.Suits = false
		out.Why = fmt.Sprintf("%s is new: %s is longer than an hour and a half.", newcomer, clock(seconds))
	}
	if out.Suits {
		out.Why = fmt.Sprintf("%s sets the pace; everybody stays at or below %.0f %% of critical power on average.", out.Limit, 100*g.ease())
	}
	out.Regroup = g.regroup()
	return out
}

// climbsOf are a member's watts on climbs, and where they go over critical
// power.
func (g assembled) climbsOf(speeds []float64, i int) (climb float64, over []Stretch) {
	m := &g.group[i]
	work, total := 0.0, 0.0
	for k, p := range g.parts {
		v := speeds[k]
		watts, dt := m.watts(v, p.Gradient), (p.To-p.From)/v
		if p.Gradient >= upFrom {
			work, total = work+watts*dt, total+dt
		}
		if watts > overNamed*m.c.CriticalPower && dt >= overLeast {
			over = append(over, Stretch{p.From, p.To, watts - m.c.CriticalPower})
		}
	}
	if total > 0 {
		climb = round5(work / total)
	}
	return climb, over
}

// regroup is the top of every climb on which those who ride their own pace
// come apart.
func (g assembled) regroup() []Regroup {
	var out []Regroup
	for _, c := range course.Climbs(g.Way.Profile) {
		most, least, last := 0.0, math.Inf(1), ""
		for i := range g.group {
			t := c.Length / math.Max(walking, g.group[i].climbing(c.Mean, c.Length))
			if t > most {
				most, last = t, g.group[i].Name
			}
			least = math.Min(least, t)
		}
		if most-least >= regroupFrom {
			out = append(out, Regroup{AtM: c.Start + c.Length, WaitS: most - least, Last: last})
		}
	}
	return out
}

// Longest is the longest of several ways that suits everybody within so many
// seconds (0: no limit); −1 if none does.
func (q TogetherAsk) Longest(ways []*Way, within float64) (index int, rides []GroupRide) {
	index = -1
	for i, w := range ways {
		one := q
		one.Way = w
		ride := Together(one)
		if within > 0 && ride.Seconds > within {
			ride.Suits = false
			ride.Why = fmt.Sprintf("it takes %s together, longer than there is time.", clock(ride.Seconds))
		}
		rides = append(rides, ride)
		if ride.Suits && (index < 0 || w.length > ways[index].length) {
			index = i
		}
	}
	return index, rides
}
