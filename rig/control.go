package rig

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"chainline/estimate"
)

// ControlModel is how a brake follows what it is told: after a dead time, by a
// first-order lag, to watts that differ from those asked by a steady error.
type ControlModel struct {
	Source    string            // whose watts were looked at
	Steps     int               // commands the model rests on
	DeadTime  estimate.Estimate // s
	Lag       estimate.Estimate // s, time constant
	Overshoot estimate.Estimate // fraction of the step
	Error     estimate.Estimate // fraction: watts held over watts asked, less one
	Judged    int               // commands that could be judged at all
	Ignored   int               // of them
	quantile  float64           // of Student's t, for 95 %
	orders    []order
}

// order is one command and what came of it.
type order struct {
	at, until     float64 // s
	asked         float64 // W
	before, after float64 // W shown at the end of the last order and of this one
	judged        bool    // ridden, long enough, and a change large enough to be seen
	followed      bool
	ignored       bool
	limit         int // 1: beyond a ceiling of the brake, -1: below its floor
}

// What an order must be to be judged, our judgement.
const (
	leastHold   = 15.0 // s
	leastChange = 0.10 // of the watts held, and at least
	leastWatts  = 12.0 // W
	leastOrders = 6    // followed, for a model
	longestFit  = 40.0 // s after an order
	// legsLag is how long the legs take to answer the pedals and a power
	// sensor to average, s: it is not the brake's, and is kept out of its lag.
	legsLag = 0.1
	// modelSD is the doubt (s) about both times that a model of one lag brings,
	// our judgement: legs and sensors have some tenths of a second of their own.
	modelSD = 0.05
)

// ControlOf is the control model of a recording with commanded watts. The
// error says what is missing.
func ControlOf(in CheckInput) (ControlModel, error) {
	if in.Recording == nil {
		return ControlModel{}, fmt.Errorf("nothing was recorded")
	}
	l := newLook(in, &Report{})
	l.power = l.raw
	return l.control()
}

func (l *look) control() (ControlModel, error) {
	if l.commanded == nil {
		return ControlModel{}, fmt.Errorf("no watts were commanded")
	}
	c := l.ownWatts()
	if c == nil {
		return ControlModel{}, fmt.Errorf("nothing shows what the brake held")
	}
	m := ControlModel{Source: c.source, orders: l.ordersGiven(c)}
	judge(m.orders)
	var good []order
	for _, o := range m.orders {
		if o.judged {
			m.Judged++
		}
		if o.ignored {
			m.Ignored++
		}
		if o.judged && o.followed {
			good = append(good, o)
		}
	}
	if m.Steps = len(good); m.Steps < leastOrders {
		return m, fmt.Errorf("only %d commands changed the watts by enough and were followed; %d are needed", m.Steps, leastOrders)
	}
	speed := l.machine
	if speed == nil {
		speed = l.wheel
	}
	ridden := make([]window, len(good))
	for i, o := range good {
		ridden[i] = window{o.at, o.until}
	}
	fitSteps(withoutFlywheel(c, speed, ridden), good, &m)
	return m, nil
}

// ownWatts are those of the trainer, or else of whatever there is.
func (l *look) ownWatts() *track {
	for _, c := range l.power {
		if l.in.Side[c.source] == SourceTrainer {
			return c
		}
	}
	for _, c := range l.power {
		if l.machine != nil && c.source == l.machine.source {
			return c
		}
	}
	if len(l.power) > 0 {
		return l.power[0]
	}
	return nil
}

// trainersOwn tells whether the watts looked at are the trainer's.
func (l *look) trainersOwn(source string) bool {
	return l.in.Side[source] == SourceTrainer || l.machine != nil && l.machine.source == source
}

func (l *look) ordersGiven(c *track) []order {
	var out []order
	end := l.in.Recording.End()
	last := math.NaN()
	rests := l.stops()
	for i, asked := range l.commanded.v {
		if i > 0 && asked == l.commanded.v[i-1] {
			continue
		}
		o := order{at: l.commanded.t[i], until: end, asked: asked, before: last}
		for j := i + 1; j < len(l.commanded.v); j++ {
			if l.commanded.v[j] != asked {
				o.until = l.commanded.t[j]
				break
			}
		}
		hold := o.until - o.at
		from := max(o.at+hold/2, min(o.at+15, o.until-8))
		cad, turns := l.cadence.mean(o.at, min(o.until, o.at+longestFit))
		low, _ := l.cadence.mean(o.at-4, o.at)
		after, n := c.mean(from, min(o.until, o.at+60))
		ridden := (l.cadence == nil || turns > 0 && cad > 40) && !within(rests, o.at+1)
		start, _ := c.mean(o.at-4, o.at)
		if n >= 3 && ridden && hold >= leastHold {
			o.after = after
			o.judged = asked >= 30 && after > 10 && math.Abs(asked-last) >= max(leastWatts, leastChange*last)
			if after > 10 {
				last = after
			}
		}
		o.followed = ridden && start > 20 && (l.cadence == nil || low > 40) // no step from a standstill
		out = append(out, o)
	}
	return out
}

// judge tells the orders followed from those ignored. Most of those followed
// agree on what the brake makes of an order; it need not be what was asked.
func judge(orders []order) {
	usual := usualRatio(orders)
	// Where most orders lie beyond a limit, what is usual is theirs.
	if atLimits(orders, usual) || atLimits(orders, 1) {
		usual = usualRatio(orders)
	}
	for i := range orders {
		o := &orders[i]
		if !o.judged || o.limit != 0 {
			o.followed = false
			continue
		}
		want := o.asked * usual
		reached := math.Abs(o.after-want) < max(8, 0.06*want)
		o.ignored = !reached && math.Abs(o.after-o.before) < 0.35*math.Abs(want-o.before)
		o.followed = o.followed && reached
	}
}

// usualRatio is what the brake makes of an order within its limits.
func usualRatio(orders []order) float64 {
	var ratios []float64
	for _, o := range orders {
		if o.judged && o.limit == 0 {
			ratios = append(ratios, o.after/o.asked)
		}
	}
	return halfSampleMode(ratios)
}

// halfSampleMode is where values crowd most: the shortest half, and again.
// Source: Robertson and Cryer 1974, J Am Stat Assoc 69:1012; from memory.
func halfSampleMode(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	for len(s) > 3 {
		h := (len(s) + 1) / 2
		best := 0
		for i := 0; i+h <= len(s); i++ {
			if s[i+h-1]-s[i] < s[best+h-1]-s[best] {
				best = i
			}
		}
		s = s[best : best+h]
	}
	return median(s)
}

// thinned is the means of neighbours, so that readings come no more often than
// asked for, s.
func (c *track) thinned(least float64) *track {
	n := int(math.Round(1 / c.every))
	if c.every >= least || n < 2 {
		return c
	}
	out := &track{source: c.source, every: c.every * float64(n)}
	for i := 0; i+n <= len(c.t); i += n {
		if c.t[i+n-1]-c.t[i] > float64(n)*c.every {
			continue // one is missing among them
		}
		sum := 0.0
		for _, v := range c.v[i : i+n] {
			sum += v / float64(n)
		}
		out.t, out.v = append(out.t, c.t[i+n-1]), append(out.v, sum)
	}
	return out
}

// step is the readings after one order, as the fit sees them.
type step struct {
	s, y []float64 // s since the order; W
	w    float64   // weight
}

func stepsOf(c *track, orders []order) []step {
	var out []step
	for _, o := range orders {
		i, j := c.slice(o.at-6, min(o.until, o.at+longestFit)-0.2)
		st := step{w: 1 / (o.after * o.after)}
		for k := i; k < j; k++ {
			st.s, st.y = append(st.s, c.t[k]-o.at), append(st.y, c.v[k])
		}
		if len(st.s) >= 8 {
			out = append(out, st)
		}
	}
	return out
}

// rise is the step response of dead time and lag, with the legs' and the
// sensor's own lag, averaged over the time between two readings.
func rise(s, every, dead, lag float64) float64 {
	const parts = 3
	if math.Abs(lag-legsLag) < 1e-3 {
		lag = legsLag + 1e-3
	}
	sum := 0.0
	for k := range parts {
		x := s - dead - every*(float64(k)+0.5)/parts
		switch {
		case x <= 0:
		case x > 12*lag && x > 12*legsLag:
			sum++
		case x > 12*legsLag:
			sum += 1 - lag*math.Exp(-x/lag)/(lag-legsLag)
		default:
			sum += 1 - (lag*math.Exp(-x/lag)-legsLag*math.Exp(-x/legsLag))/(lag-legsLag)
		}
	}
	return sum / parts
}

// residuals of one step with its two levels fitted; end is the level reached.
func (st step) residuals(every, dead, lag float64, out []float64) (res []float64, end float64) {
	var n, sh, shh, sy, shy float64
	out = out[:0]
	for i, s := range st.s {
		h := rise(s, every, dead, lag)
		out = append(out, h)
		n++
		sh += h
		shh += h * h
		sy += st.y[i]
		shy += h * st.y[i]
	}
	det := n*shh - sh*sh
	if det < 1e-9 {
		for i := range out {
			out[i] = st.y[i] - sy/n
		}
		return out, sy / n
	}
	b := (n*shy - sh*sy) / det
	a := (sy - b*sh) / n
	for i, h := range out {
		out[i] = st.y[i] - a - b*h
	}
	return out, a + b
}

func misfit(steps []step, every, dead, lag float64) float64 {
	sum := 0.0
	var buf []float64
	for _, st := range steps {
		buf, _ = st.residuals(every, dead, lag, buf)
		for _, e := range buf {
			sum += st.w * e * e
		}
	}
	return sum
}

// fitSteps finds dead time and lag by least squares over all steps and their
// intervals by how much the steps differ among themselves, so that legs which
// are uneven for seconds do not make them too narrow.
func fitSteps(c *track, orders []order, m *ControlModel) {
	c = c.thinned(0.9)
	steps := stepsOf(c, orders)
	dead, lag, best := 0.5, 1.0, math.Inf(1)
	for _, d := range []float64{0.1, 0.5, 1, 2, 3.5} {
		for _, t := range []float64{0.3, 0.8, 1.5, 3, 5, 8, 13} {
			if f := misfit(steps, c.every, d, t); f < best {
				dead, lag, best = d, t, f
			}
		}
	}
	for size := 0.4; size > 0.01; {
		better := false
		for _, move := range [][2]float64{{size, 0}, {-size, 0}, {0, size}, {0, -size}, {size, -size}, {-size, size}} {
			d, t := max(0, dead+move[0]), max(0.05, lag+move[1])
			if f := misfit(steps, c.every, d, t); f < best-1e-12 {
				dead, lag, best, better = d, t, f, true
			}
		}
		if !better {
			size /= 2
		}
	}
	sdDead, sdLag := spreadOfFit(steps, c.every, dead, lag)
	sdDead, sdLag = math.Hypot(sdDead, modelSD), math.Hypot(sdLag, modelSD)
	m.DeadTime = estimate.Normal(dead, sdDead, "step responses")
	m.Lag = estimate.Normal(lag, sdLag, "step responses")
	m.quantile = studentsT(len(steps) - 2)
	var errs []float64
	var buf []float64
	for i, st := range steps {
		var end float64
		buf, end = st.residuals(c.every, dead, lag, buf)
		errs = append(errs, end/orders[i].asked-1)
	}
	mean, sd := meanSD(errs)
	m.Error = estimate.Normal(mean, sd/math.Sqrt(float64(len(errs))), "levels after steps")
	m.Overshoot = overshoot(steps, c.every, dead, lag)
}

// studentsT is the quantile of 0.975 of Student's t.
func studentsT(freedom int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(max(1, freedom))}.Quantile(0.975)
}

// spreadOfFit is the standard deviations of dead time and lag, each step one
// witness (Liang and Zeger 1986, Biometrika 73:13, the sandwich; from memory).
func spreadOfFit(steps []step, every, dead, lag float64) (sdDead, sdLag float64) {
	const h = 0.02
	var hess, meat [2][2]float64
	for _, st := range steps {
		r0, _ := st.residuals(every, dead, lag, nil)
		var j [2][]float64
		up, _ := st.residuals(every, dead+h, lag, nil)
		down, _ := st.residuals(every, dead-h, lag, nil)
		for i := range up {
			j[0] = append(j[0], (up[i]-down[i])/(2*h))
		}
		up, _ = st.residuals(every, dead, lag+h, nil)
		down, _ = st.residuals(every, dead, lag-h, nil)
		for i := range up {
			j[1] = append(j[1], (up[i]-down[i])/(2*h))
		}
		var g [2]float64
		for i, r := range r0 {
			for a := range 2 {
				g[a] += st.w * j[a][i] * r
				for b := range 2 {
					hess[a][b] += st.w * j[a][i] * j[b][i]
				}
			}
		}
		for a := range 2 {
			for b := range 2 {
				meat[a][b] += g[a] * g[b]
			}
		}
	}
	det := hess[0][0]*hess[1][1] - hess[0][1]*hess[1][0]
	if !(det > 0) {
		return 1, 1
	}
	inv := [2][2]float64{{hess[1][1] / det, -hess[0][1] / det}, {-hess[1][0] / det, hess[0][0] / det}}
	n := float64(len(steps))
	v := func(k int) float64 {
		sum := 0.0
		for a := range 2 {
			for b := range 2 {
				sum += inv[k][a] * meat[a][b] * inv[k][b]
			}
		}
		return math.Sqrt(sum * n / max(1, n-2))
	}
	return v(0), v(1)
}

// overshoot is by how much the watts pass the new level on their way there,
// as a fraction of the step: the highest second of the mean response.
func overshoot(steps []step, every, dead, lag float64) estimate.Estimate {
	const seconds = 20
	var at [seconds][]float64
	for _, st := range steps {
		res, end := st.residuals(every, dead, lag, nil)
		first := 0.0
		n := 0.0
		for i, s := range st.s {
			if s < 0 {
				first += st.y[i]
				n++
			}
		}
		if n == 0 || math.Abs(end-first/n) < leastWatts {
			continue
		}
		var sum, count [seconds]float64
		for i, s := range st.s {
			if k := int(s); s >= 0 && k < seconds {
				h := rise(s, every, dead, lag) + res[i]/(end-first/n)
				sum[k] += h
				count[k]++
			}
		}
		for k := range sum {
			if count[k] > 0 {
				at[k] = append(at[k], sum[k]/count[k])
			}
		}
	}
	best, se := 0.0, 0.0
	for k := range at {
		if len(at[k]) < 4 {
			continue
		}
		mean, sd := meanSD(at[k])
		if mean-1 > best {
			best, se = mean-1, sd/math.Sqrt(float64(len(at[k])))
		}
	}
	return estimate.Normal(best, se, "mean response")
}
