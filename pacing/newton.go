package pacing

import (
	"math"
	"sync"

	"chainline/physics"
)

// The search for the best power per control is differential dynamic
// programming with bounds on the controls: a backward sweep builds, control by
// control, the quadratic model of the cost still to come as a function of
// speed and spent W′, minimises it within the bounds, and a forward ride
// follows the resulting feedback. It converges like Newton's method at a cost
// that grows with the number of controls only linearly.
//
// Sources: Jacobson and Mayne 1970, Differential Dynamic Programming; Tassa,
// Mansard and Todorov 2014, Control-limited differential dynamic programming,
// ICRA (both from memory).

// course of the search: speeds and spending at the start of every control,
// split power on it, time, and what the motion did, for its derivatives.
type trajectory struct {
	y, spent []float64    // at the start of each control, and at the end of the course
	u        [][2]float64 // s and r on each control, W
	dt       []float64    // s, on each control
	time     float64
	cost     float64 // time plus the augmented Lagrangian

	tape  []physics.Stage
	tapes []int // where each control's stages begin; one more entry than controls
}

func newTrajectory(n int) *trajectory {
	return &trajectory{y: make([]float64, n+1), spent: make([]float64, n+1), u: make([][2]float64, n), dt: make([]float64, n), tapes: make([]int, n+1)}
}

// policy is the improvement that the backward sweep proposes for a control:
// a step, and how to react to a different speed and spending.
type policy struct {
	step  [2]float64
	react [2][2]float64 // by v², by spent
}

type sweep struct {
	rd       *rider
	lo, hi   [2]float64 // bounds of s and r
	policies []policy
	price    []float64 // what a joule spent costs after each control, s/J; see prices
	damping  float64
	expected float64 // fall of the cost that the model promises

	linear []linear           // of the trajectory planned from
	tapes  [2][]physics.Stage // of what linearise tries, one for each of its workers
	spare  *trajectory        // to be written over, if there is one
}

// linear is the motion over a control to first order, as it is ridden, at a
// little more power, and at a little more speed.
type linear struct {
	here, stronger, faster physics.Response
	more                   float64 // m²/s², by which faster starts faster; 0 where it cannot
	weak                   bool    // stronger could not be ridden
}

// follow rides the trajectory with a share of the proposed steps.
func (sw *sweep) follow(old *trajectory, share float64) (*trajectory, bool) {
	n := len(sw.policies)
	t := sw.spare
	if sw.spare = nil; t == nil {
		t = newTrajectory(n)
	}
	t.y[0], t.spent[0], t.time, t.cost, t.tape = sw.rd.start, 0, 0, 0, t.tape[:0]
	sw.rd.steps += len(sw.rd.grid.length)
	cp := sw.rd.balance.CriticalPower
	for c := range n {
		p := &sw.policies[c]
		dy, dd := t.y[c]-old.y[c], t.spent[c]-old.spent[c]
		for i := range 2 {
			u := old.u[c][i] + share*p.step[i] + p.react[i][0]*dy + p.react[i][1]*dd
			t.u[c][i] = math.Min(sw.hi[i], math.Max(sw.lo[i], u))
		}
		end, dt, ok := sw.rd.recorded(c, t.y[c], cp+t.u[c][0]-t.u[c][1], &t.tape)
		if !ok {
			sw.spare = t
			return nil, false
		}
		t.y[c+1], t.dt[c], t.tapes[c+1] = end, dt, len(t.tape)
		t.spent[c+1], _ = sw.rd.flow(t.spent[c], t.u[c][0], t.u[c][1], dt)
		t.time += dt
		over, _, _ := sw.rd.overspent(c, t.spent[c+1])
		t.cost += dt + over
	}
	return t, true
}

// Steps of the differences that curvature is taken from.
const (
	strongerBy = 0.05 // W
	fasterBy   = 1e-4 // of v²
)

// linearise differentiates the motion over every control of a trajectory that
// was followed. Controls do not depend on each other here, so that two
// workers share them; the result is the same as one's.
func (sw *sweep) linearise(t *trajectory) {
	rd, n := sw.rd, len(t.u)
	if sw.linear == nil {
		sw.linear = make([]linear, n)
	}
	half := n / 2
	for half > 0 && rd.first[half] > len(rd.grid.length)/2 {
		half--
	}
	part := func(from, to int, tape *[]physics.Stage) {
		for c := from; c < to; c++ {
			*tape = (*tape)[:0]
			sw.linear[c] = rd.lineariseOne(c, t, tape)
		}
	}
	var group sync.WaitGroup
	group.Go(func() { part(0, half, &sw.tapes[0]) })
	part(half, n, &sw.tapes[1])
	group.Wait()
	rd.steps += 5 * len(rd.grid.length) // two ways forward, three back
}

func (rd *rider) lineariseOne(c int, t *trajectory, tape *[]physics.Stage) (l linear) {
	y, watts := t.y[c], rd.balance.CriticalPower+t.u[c][0]-t.u[c][1]
	l.here = rd.motion.Retreat(t.tape[t.tapes[c]:t.tapes[c+1]], watts)
	_, _, ok := rd.recorded(c, y, watts+strongerBy, tape)
	if l.weak = !ok; ok {
		l.stronger = rd.motion.Retreat(*tape, watts+strongerBy)
	}
	if more := fasterBy * y; more > 0 {
		*tape = (*tape)[:0]
		if _, _, ok := rd.recorded(c, y+more, watts, tape); ok {
			l.faster, l.more = rd.motion.Retreat(*tape, watts), more
		}
	}
	return l
}

// model is the quadratic model of the cost to come: gradient and curvature by
// v² and by spent.
type model struct {
	g [2]float64
	h [2][2]float64
}

// plan is the backward sweep.
func (sw *sweep) plan(t *trajectory) {
	sw.linearise(t)
	n := len(sw.policies)
	var v model
	sw.expected = 0
	for c := n - 1; c >= 0; c-- {
		_, slope, curve := sw.rd.overspent(c, t.spent[c+1])
		v.g[1] += slope
		v.h[1][1] += curve
		g, h := sw.expand(c, t, v)
		v = sw.choose(c, t, g, h)
	}
}

// prices writes what a joule spent costs after each control if nothing else
// is changed: the plain adjoint, without the model's curvature.
func (sw *sweep) prices(t *trajectory) {
	byY, byD := 0.0, 0.0
	sw.rd.steps += len(sw.rd.grid.length)
	for c := len(sw.price) - 1; c >= 0; c-- {
		_, slope, _ := sw.rd.overspent(c, t.spent[c+1])
		byD += slope
		sw.price[c] = byD
		watts := sw.rd.balance.CriticalPower + t.u[c][0] - t.u[c][1]
		r := sw.rd.motion.Retreat(t.tape[t.tapes[c]:t.tapes[c+1]], watts)
		_, f := sw.rd.flow(t.spent[c], t.u[c][0], t.u[c][1], t.dt[c])
		byY = byY*r.SpeedBySpeed + (1+byD*f[3])*r.TimeBySpeed
		byD *= f[0]
	}
}

// expand is the gradient and curvature of the cost from control c on, by
// (v², spent, s, r) at its start, given the model after it.
func (sw *sweep) expand(c int, t *trajectory, v model) (g [4]float64, h [4][4]float64) {
	rd, l := sw.rd, &sw.linear[c]
	d0, s, r, dt := t.spent[c], t.u[c][0], t.u[c][1], t.dt[c]
	endY, endP, timeY, timeP := l.here.SpeedBySpeed, l.here.SpeedByWatts, l.here.TimeBySpeed, l.here.TimeByWatts
	_, f := rd.flow(d0, s, r, dt)
	worth := 1 + v.g[1]*f[3] // what a second costs
	atP := v.g[0]*endP + worth*timeP
	g = [4]float64{v.g[0]*endY + worth*timeY, v.g[1] * f[0], atP + v.g[1]*f[1], -atP + v.g[1]*f[2]}

	// Curvature of the motion, by differences of its exact derivatives.
	bend := l.bend(v.g[0], worth, g[0], atP)
	h[0][0] = bend[0][0]
	h[0][2], h[0][3] = bend[0][1], -bend[0][1]
	h[2][2], h[2][3], h[3][3] = bend[1][1], -bend[1][1], bend[1][1]

	// Curvature of the balance, through time: rows spent, s, r, dt.
	q := rd.flowBend(d0, s, r, dt)
	jac := [4][4]float64{{0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}, {timeY, 0, timeP, -timeP}}
	// Response of the end state to (v², spent, s, r).
	end := [2][4]float64{{endY, 0, endP, -endP}, {f[3] * timeY, f[0], f[1] + f[3]*timeP, f[2] - f[3]*timeP}}
	for i := range 4 {
		for j := i; j < 4; j++ {
			sum := h[i][j]
			for a := range 4 {
				for b := range 4 {
					sum += v.g[1] * q[a][b] * jac[a][i] * jac[b][j]
				}
			}
			for a := range 2 {
				for b := range 2 {
					sum += v.h[a][b] * end[a][i] * end[b][j]
				}
			}
			h[i][j], h[j][i] = sum, sum
		}
	}
	return g, h
}

// bend is the curvature of byEnd·v² + byTime·time over a control by initial
// v² and watts, from one-sided differences of the exact derivatives, of which
// those here are given.
func (l *linear) bend(byEnd, byTime, atY, atP float64) (h [2][2]float64) {
	if !l.weak {
		nextY := byEnd*l.stronger.SpeedBySpeed + byTime*l.stronger.TimeBySpeed
		nextP := byEnd*l.stronger.SpeedByWatts + byTime*l.stronger.TimeByWatts
		h[0][1], h[1][1] = (nextY-atY)/strongerBy, (nextP-atP)/strongerBy
	}
	if l.more > 0 {
		nextY := byEnd*l.faster.SpeedBySpeed + byTime*l.faster.TimeBySpeed
		nextP := byEnd*l.faster.SpeedByWatts + byTime*l.faster.TimeByWatts
		h[0][0] = (nextY - atY) / l.more
		h[0][1] = 0.5 * (h[0][1] + (nextP-atP)/l.more)
	}
	h[1][0] = h[0][1]
	return h
}

// flowBend is the curvature of flow by (spent, s, r, dt).
func (rd *rider) flowBend(d0, s, r, dt float64) (q [4][4]float64) {
	const dr = 0.01
	_, f := rd.flow(d0, s, r, dt)
	_, fr := rd.flow(d0, s, r+dr, dt)
	dtt := 1e-4 * dt
	_, ft := rd.flow(d0, s, r, dt+dtt)
	for i := range 4 {
		q[i][2] = (fr[i] - f[i]) / dr
		q[i][3] = (ft[i] - f[i]) / dtt
	}
	q[2][0], q[2][1], q[3][0], q[3][1] = q[0][2], q[1][2], q[0][3], q[1][3]
	q[2][3] = 0.5 * (q[2][3] + q[3][2])
	q[3][2] = q[2][3]
	return q
}

// choose minimises the quadratic model over s and r within their bounds, keeps
// the policy, and returns the model of the cost at the control's start.
func (sw *sweep) choose(c int, t *trajectory, g [4]float64, h [4][4]float64) model {
	seconds := math.Max(0.5, (sw.rd.grid.ends[c]-sw.rd.begin(c))/math.Sqrt(math.Max(1, t.y[c])))
	cp := sw.rd.balance.CriticalPower
	least := seconds / (cp * cp) * 1e-3
	q := [2][2]float64{{h[2][2], h[2][3]}, {h[3][2], h[3][3]}}
	q = floorCurvature(q, least, seconds/(cp*cp)*sw.damping)
	lo := [2]float64{sw.lo[0] - t.u[c][0], sw.lo[1] - t.u[c][1]}
	hi := [2]float64{sw.hi[0] - t.u[c][0], sw.hi[1] - t.u[c][1]}
	step, free := boxQuadratic(q, [2]float64{g[2], g[3]}, lo, hi)
	p := policy{step: step}
	ux := [2][2]float64{{h[2][0], h[2][1]}, {h[3][0], h[3][1]}}
	switch {
	case free[0] && free[1]:
		det := q[0][0]*q[1][1] - q[0][1]*q[1][0]
		for j := range 2 {
			p.react[0][j] = -(q[1][1]*ux[0][j] - q[0][1]*ux[1][j]) / det
			p.react[1][j] = -(q[0][0]*ux[1][j] - q[1][0]*ux[0][j]) / det
		}
	case free[0]:
		p.react[0] = [2]float64{-ux[0][0] / q[0][0], -ux[0][1] / q[0][0]}
	case free[1]:
		p.react[1] = [2]float64{-ux[1][0] / q[1][1], -ux[1][1] / q[1][1]}
	}
	sw.policies[c] = p
	return sw.reduce(p, g, h)
}

// reduce puts the policy into the quadratic model.
func (sw *sweep) reduce(p policy, g [4]float64, h [4][4]float64) (v model) {
	quu := [2][2]float64{{h[2][2], h[2][3]}, {h[3][2], h[3][3]}}
	for i := range 2 {
		sw.expected += g[2+i]*p.step[i] + 0.5*p.step[i]*(quu[i][0]*p.step[0]+quu[i][1]*p.step[1])
		v.g[i] = g[i]
		for a := range 2 {
			v.g[i] += h[i][2+a]*p.step[a] + p.react[a][i]*(g[2+a]+quu[a][0]*p.step[0]+quu[a][1]*p.step[1])
		}
		for j := range 2 {
			v.h[i][j] = h[i][j]
			for a := range 2 {
				v.h[i][j] += p.react[a][i]*h[2+a][j] + h[i][2+a]*p.react[a][j]
				for b := range 2 {
					v.h[i][j] += p.react[a][i] * quu[a][b] * p.react[b][j]
				}
			}
		}
	}
	return v
}

// floorCurvature lifts the eigenvalues of a symmetric matrix to at least
// least in size and adds damping.
func floorCurvature(q [2][2]float64, least, damping float64) [2][2]float64 {
	a, b, d := q[0][0], q[0][1], q[1][1]
	mean, half := 0.5*(a+d), 0.5*(a-d)
	root := math.Hypot(half, b)
	e1, e2 := math.Max(least, math.Abs(mean+root))+damping, math.Max(least, math.Abs(mean-root))+damping
	if root < 1e-300 {
		return [2][2]float64{{e1, 0}, {0, e1}}
	}
	cos2, sin2 := half/root, b/root // of twice the angle of the first axis
	m, s := 0.5*(e1+e2), 0.5*(e1-e2)
	return [2][2]float64{{m + s*cos2, s * sin2}, {s * sin2, m - s*cos2}}
}

// boxQuadratic minimises ½uᵀqu + gᵀu for positive definite q within bounds
// that contain 0, by trying the interior, the edges and the corners.
func boxQuadratic(q [2][2]float64, g, lo, hi [2]float64) (u [2]float64, free [2]bool) {
	det := q[0][0]*q[1][1] - q[0][1]*q[1][0]
	u = [2]float64{-(q[1][1]*g[0] - q[0][1]*g[1]) / det, -(q[0][0]*g[1] - q[1][0]*g[0]) / det}
	if u[0] > lo[0] && u[0] < hi[0] && u[1] > lo[1] && u[1] < hi[1] {
		return u, [2]bool{true, true}
	}
	best := math.Inf(1)
	try := func(v [2]float64, f [2]bool) {
		value := g[0]*v[0] + g[1]*v[1] + 0.5*(q[0][0]*v[0]*v[0]+2*q[0][1]*v[0]*v[1]+q[1][1]*v[1]*v[1])
		if value < best {
			best, u, free = value, v, f
		}
	}
	for i := range 2 {
		j := 1 - i
		for _, edge := range []float64{lo[i], hi[i]} {
			var v [2]float64
			v[i] = edge
			v[j] = -(g[j] + q[j][i]*edge) / q[j][j]
			var f [2]bool
			if v[j] > lo[j] && v[j] < hi[j] {
				f[j] = true
			}
			v[j] = math.Min(hi[j], math.Max(lo[j], v[j]))
			try(v, f)
		}
	}
	return u, free
}

// begin is where control c starts, m.
func (rd *rider) begin(c int) float64 {
	if c == 0 {
		return 0
	}
	return rd.grid.ends[c-1]
}

// descend improves the trajectory until the promised gain falls below small
// seconds or the caller gives up, and returns the best one.
func (sw *sweep) descend(t *trajectory, most int, small float64) *trajectory {
	sw.damping = 0
	for range most {
		if sw.rd.halted() {
			return t
		}
		sw.plan(t)
		if -sw.expected < small {
			return t
		}
		moved := false
		for share := 1.0; share > 0.02; share *= 0.4 {
			next, ok := sw.follow(t, share)
			if ok && next.cost < t.cost+1e-4*share*sw.expected {
				t, sw.spare, moved = next, t, true
				break
			}
			if ok {
				sw.spare = next
			}
		}
		if moved {
			sw.damping *= 0.2
			if sw.damping < 1e-4 {
				sw.damping = 0
			}
		} else {
			sw.damping = math.Max(0.01, sw.damping*8)
			if sw.damping > 1e4 {
				return t
			}
		}
	}
	return t
}
