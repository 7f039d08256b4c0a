package pacing

import (
	"context"
	"math"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/physics"
)

// The rest of a ride, looked at again on the way. The rider is the same set of
// draws as before the start; what the ride has shown so far weighs them. A
// draw is believed less the more it had to overdraw its W′ to ride what was
// ridden, the more was left of it when the legs failed, and the further a heart
// beat from where it puts it.

// How far each kind of evidence can be trusted, as a share of a draw's W′
// (sd). Our judgement: the balance of W′ is known no better than this.
const overdrawnSD = 0.15

// When a heart rate is evidence of critical power. Our judgement: it has
// settled after a while, says little of an easy effort, and nothing at its
// maximum.
const (
	heartSettles    = 120.0 // s into the ride
	heartFromEffort = 0.5   // of critical power
	heartNearMax    = 0.985
	heartCounts     = 60.0 // s of it before it counts
)

// Going is a ride under way. Make one with World.Begin; it is not safe for
// more than one goroutine.
type Going struct {
	world   World
	motion  physics.Motion
	shape   *shape
	cp      []float64 // W, by draw
	wPrime  []float64 // J
	bal     []capacity.Balance
	left    []float64 // J
	over    []float64 // J overdrawn so far
	held    []float64 // watts of the rest over what is reckoned with: nobody holds a plan exactly
	failed  []float64 // log weight from failures
	hearts  []capacity.Heart
	beat    []residual
	elapsed float64 // s heard by Heart
	rough   float64 // W, how far each second is from what is held on average
}

// residual is how far the heart beat from where a draw puts it, as a share of
// the reserve, summed over seconds.
type residual struct{ sum, seconds float64 }

// restStep is the step of the rest in m: it is ridden some hundred times over.
const restStep = 100

// heldStream is where the draws of how the rest is held come from.
const heldStream = 0x9e1d

// Begin draws n riders for a ride of the orders; the same seed draws the same.
// The road is taken as it is: a virtual bicycle's drag is no guess.
func (w World) Begin(o Orders, seed uint64, n int) *Going {
	g := &Going{world: w, motion: w.Road.Motion(w.RiderMass), shape: cut(w.Profile, []float64{w.Profile.Length()}, restStep),
		over: make([]float64, n), failed: make([]float64, n)}
	for i := range n {
		d := w.sample(estimate.Stream(seed, i), o)
		g.cp = append(g.cp, d.balance.CriticalPower)
		g.wPrime = append(g.wPrime, d.balance.WPrime)
		g.bal = append(g.bal, d.balance)
		g.left = append(g.left, d.balance.WPrime)
		g.held = append(g.held, math.Exp(holdSD*estimate.Stream(seed^heldStream, i).NormFloat64()))
	}
	return g
}

// Ridden takes displayed watts held for a time (s).
func (g *Going) Ridden(watts, seconds float64) {
	for i := range g.left {
		g.left[i] = g.bal[i].Step(g.left[i], watts, seconds)
		if g.left[i] < 0 {
			g.over[i] -= g.left[i]
			g.left[i] = 0
		}
	}
}

// Heart takes a heart rate (bpm) heard over a time (s) at displayed watts; 0 bpm
// if none was. maximum is a measured one. What a heart says of critical power
// counts once for the whole ride, with the spread between people: that a heart
// beats higher than people's on average does not average out.
func (g *Going) Heart(bpm, watts, seconds, maximum float64) {
	if g.hearts == nil {
		g.hearts, g.beat = make([]capacity.Heart, len(g.cp)), make([]residual, len(g.cp))
	}
	g.elapsed += seconds
	for i := range g.hearts {
		h := &g.hearts[i]
		h.Max = maximum
		effort := watts / g.cp[i]
		expected := h.Step(effort, seconds)
		if bpm <= 0 || g.elapsed < heartSettles || effort < heartFromEffort || expected > heartNearMax*maximum {
			continue
		}
		g.beat[i].sum += (bpm - expected) / h.Reserve() * seconds
		g.beat[i].seconds += seconds
	}
}

// Rough takes how uneven the pedalling is: the standard deviation (W) of each
// second around what was held. Around critical power unevenness costs W′, for
// what is spent above it comes back slowly.
func (g *Going) Rough(sd float64) { g.rough = sd }

// Failed says that the legs could not hold what was asked: the balance was
// empty, whatever was reckoned. It is said once for each time.
func (g *Going) Failed() {
	for i := range g.left {
		z := g.left[i] / (overdrawnSD * g.wPrime[i])
		g.failed[i] -= 0.5 * z * z
		g.left[i] = 0
	}
}

// weights are what the draws count, summing to one.
func (g *Going) weights() []float64 {
	w, most := make([]float64, len(g.left)), math.Inf(-1)
	for i := range w {
		z := g.over[i] / (overdrawnSD * g.wPrime[i])
		w[i] = g.failed[i] - 0.5*z*z
		if g.beat != nil && g.beat[i].seconds > heartCounts {
			x := g.beat[i].sum / g.beat[i].seconds / capacity.HeartDoubt
			w[i] -= 0.5 * x * x
		}
		most = math.Max(most, w[i])
	}
	sum := 0.0
	for i := range w {
		w[i] = math.Exp(w[i] - most)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// Expected is what the weighed draws say of critical power (W), of what is
// left of W′ (J), and how many draws still count.
func (g *Going) Expected() (criticalPower, left, effective float64) {
	squares := 0.0
	for i, w := range g.weights() {
		criticalPower, left, squares = criticalPower+w*g.cp[i], left+w*g.left[i], squares+w*w
	}
	return criticalPower, left, 1 / squares
}

// Outlook is what the rest holds, in s from here.
type Outlook struct {
	Median, Low80, High80 float64
	ChanceEmpty           float64
}

// Rest rides the rest of a plan from a place (m) and speed (m/s), with the
// watts executed times what was planned.
func (g *Going) Rest(plan []Piece, from, speed, executed float64) Outlook {
	watts := g.shape.watts(plan)
	w := g.weights()
	times := make([]timed, len(w))
	var o Outlook
	for i := range w {
		seconds, empty := g.one(i, watts, from, speed, executed)
		times[i] = timed{seconds, w[i]}
		if empty {
			o.ChanceEmpty += w[i]
		}
	}
	o.Low80, o.Median, o.High80 = weighted(times, 0.1), weighted(times, 0.5), weighted(times, 0.9)
	return o
}

// one rides the rest as one draw.
func (g *Going) one(k int, watts []float64, from, speed, executed float64) (seconds float64, empty bool) {
	y, at := math.Max(0.25, speed*speed), 0.0
	left, cp := g.left[k], g.cp[k]
	weight := g.motion.Mass * physics.Gravity
	out := left < back*g.wPrime[k] // who is empty now cannot run empty before something is back
	for i, h := range g.shape.length {
		if at+h <= from {
			at += h
			continue
		}
		if at < from {
			h, at = at+h-from, from
		}
		p := watts[i] * executed * g.held[k]
		if out {
			p = math.Min(p, cp)
		}
		force := weight*g.shape.cos[i]*(g.shape.gradient[i]+g.motion.Crr) + g.motion.Bearing0
		next, dt, ok := g.motion.Advance(y, h, force, p, nil)
		if !ok {
			next, dt = draw{motion: g.motion}.creep(y, h, force, p, cp)
		}
		left = g.bal[k].Step(left, p+g.rough, dt/2)
		left = g.bal[k].Step(left, math.Max(0, p-g.rough), dt/2)
		y, at, seconds = next, at+h, seconds+dt
		switch {
		case left <= 0 && !out && at < g.shape.total-1:
			out, empty = true, true
		case left >= back*g.wPrime[k]:
			out = false
		}
		left = math.Max(0, left)
	}
	return seconds, empty
}

// timed is a time with what it counts.
type timed struct{ seconds, weight float64 }

// weighted is a quantile of weighed times.
func weighted(all []timed, q float64) float64 {
	sorted := append([]timed(nil), all...)
	for i := 1; i < len(sorted); i++ { // a hundred or two, nearly in order from call to call
		for j := i; j > 0 && sorted[j].seconds < sorted[j-1].seconds; j-- {
			sorted[j], sorted[j-1] = sorted[j-1], sorted[j]
		}
	}
	sum := 0.0
	for _, t := range sorted {
		if sum += t.weight; sum >= q {
			return t.seconds
		}
	}
	return sorted[len(sorted)-1].seconds
}

// Limits of how far the rest may be moved, how finely, and by how much a new
// plan has to be better than the standing one. Our judgement.
const (
	mostDown, mostUp = 0.10, 0.15
	moveStep         = 0.01
	worthAChange     = 2.0   // s, of the time and the toll together
	tollShare        = 0.275 // of the ride's time, for a chance of one in ten
)

// Toll is what running empty is taken to cost beside the time it loses, in s
// of a ride that takes so long, for a style that allows a chance of it. What
// is dearest is not the time: it is a last climb on legs that are gone. Found
// on bench riders (docs/evidence.md).
func Toll(rideSeconds, chanceLimit float64) float64 {
	return tollShare * rideSeconds * 0.1 / math.Max(0.01, chanceLimit)
}

// Replan scales what the plan as first made asks of the rest, to where the mean
// time and toll times the chance of running empty are least together. The
// shape stays, because it is the best for the course; how hard it is follows
// from what the ride has shown. Watts below six tenths of critical power are
// left as they are: they are for rolling and recovering. share is the scaling
// found last, less one, and comes back as it is unless another is worth it.
func (g *Going) Replan(ctx context.Context, plan []Piece, from, speed, executed, floor, ceiling, toll, share float64) (float64, []Piece, Outlook, error) {
	cp, _, _ := g.Expected()
	soft := 0.6 * cp
	moved := func(share float64) []Piece {
		var out []Piece
		for _, p := range plan {
			if p.To <= from {
				continue
			}
			p.From = math.Max(p.From, from)
			if p.Watts > soft && share != 0 {
				p.Watts = math.Max(floor, math.Min(ceiling, WattStep*math.Round(p.Watts*(1+share)/WattStep)))
			}
			out = append(out, p)
		}
		return out
	}
	costs := map[int]float64{}
	cost := func(step int) float64 {
		if c, ok := costs[step]; ok {
			return c
		}
		chance, seconds := g.mean(moved(float64(step)*moveStep), from, speed, executed)
		costs[step] = seconds + toll*chance
		return costs[step]
	}
	last := int(math.Round(share / moveStep))
	best := last
	for _, way := range []int{1, -1} { // downhill from where it stands, over small bumps
		for step, worse := last+way, 0; worse < 2 && float64(step)*moveStep <= mostUp+1e-9 && float64(step)*moveStep >= -mostDown-1e-9; step += way {
			if err := ctx.Err(); err != nil {
				return 0, nil, Outlook{}, err
			}
			if cost(step) < cost(best)-1e-9 {
				best, worse = step, 0
			} else {
				worse++
			}
		}
	}
	if cost(last)-cost(best) < worthAChange {
		best = last
	}
	share = float64(best) * moveStep
	out := moved(share)
	return share, out, g.Rest(out, from, speed, executed), nil
}

// mean is the chance of running empty and the mean time of the rest, s. All
// whose W′ lasts ride alike but for how they hold the plan: the way is ridden
// once, and once a little harder, for how time follows; only who runs empty
// rides it alone.
func (g *Going) mean(plan []Piece, from, speed, executed float64) (chance, seconds float64) {
	watts := g.shape.watts(plan)
	way, harder := g.way(watts, from, speed, executed), g.way(watts, from, speed, executed*(1+heldProbe))
	for i, w := range g.weights() {
		if w < 1e-4 {
			continue
		}
		t := way.seconds + (harder.seconds-way.seconds)*(g.held[i]-1)/heldProbe
		if g.left[i] < back*g.wPrime[i] || !g.lasts(i, way) {
			var empty bool
			if t, empty = g.one(i, watts, from, speed, executed); empty {
				chance += w
			}
		}
		seconds += w * t
	}
	return chance, seconds
}

// heldProbe is how much harder the way is ridden to see how time follows.
const heldProbe = 0.02

// ridge is a way ridden by somebody who does not tire: watts and s by step.
type ridge struct {
	watts, step []float64
	seconds     float64
}

func (g *Going) way(watts []float64, from, speed, executed float64) ridge {
	y, at := math.Max(0.25, speed*speed), 0.0
	weight := g.motion.Mass * physics.Gravity
	var r ridge
	for i, h := range g.shape.length {
		if at+h <= from {
			at += h
			continue
		}
		if at < from {
			h, at = at+h-from, from
		}
		p := watts[i] * executed
		force := weight*g.shape.cos[i]*(g.shape.gradient[i]+g.motion.Crr) + g.motion.Bearing0
		next, dt, ok := g.motion.Advance(y, h, force, p, nil)
		if !ok {
			next, dt = draw{motion: g.motion}.creep(y, h, force, p, p)
		}
		y, at = next, at+h
		r.watts, r.step, r.seconds = append(r.watts, p), append(r.step, dt), r.seconds+dt
	}
	return r
}

// lasts says whether a draw's W′ lasts the way, but for its last metre.
func (g *Going) lasts(k int, r ridge) bool {
	b, left := g.bal[k], g.left[k]
	for i, p := range r.watts {
		p *= g.held[k]
		left = b.Step(left, p+g.rough, r.step[i]/2)
		left = b.Step(left, math.Max(0, p-g.rough), r.step[i]/2)
		if left <= 0 && i < len(r.watts)-1 {
			return false
		}
	}
	return true
}
