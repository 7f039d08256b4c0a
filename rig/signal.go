package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// examineSignals judges each source of watts by itself, first what makes
// stretches of it untrue, so that all later judgements leave those out.
func (l *look) examineSignals() {
	for _, raw := range l.raw {
		c := raw
		q := l.quantised(c)
		spikes := l.spikes(c, q)
		stuck := l.stuck(c, q)
		bad := append(spikes, stuck...)
		l.bad[c.source] = bad
		c = c.without(bad)
		l.power = append(l.power, c)
		l.smoothed(c)
		l.noisy(c)
		l.zeroAtRest(c)
		l.withoutEachOther(c)
	}
	if len(l.raw) == 0 {
		for _, s := range []Subject{Stuck, Spikes, Quantisation, Smoothing, NoiseFloor, ZeroOffset, PowerNoCadence, CadenceNoPower} {
			l.unsaid(s, "", "nothing measures watts")
		}
	}
	l.impossible()
}

const leastReadings = 150 // of watts with turning cranks, our judgement

// quantised finds the step between neighbouring values, W.
func (l *look) quantised(c *track) float64 {
	var seen []float64
	distinct := map[float64]bool{}
	for _, v := range c.v {
		if v > 0 {
			seen = append(seen, v)
			distinct[v] = true
		}
	}
	if len(seen) < leastReadings {
		l.unsaid(Quantisation, c.source, fmt.Sprintf("only %d readings above 0 W; %d are needed", len(seen), leastReadings))
		return 1
	}
	l.right(Quantisation)
	for q := 50.0; q >= 2; q-- {
		on, levels := 0, 0
		for v := range distinct {
			if onGrid(v, q) {
				levels++
			}
		}
		for _, v := range seen {
			if onGrid(v, q) {
				on++
			}
		}
		if levels < 4 || float64(on) < 0.99*float64(len(seen)) {
			continue
		}
		if q >= 3 {
			l.coarse(c, q)
		}
		return q
	}
	return 1
}

func onGrid(v, q float64) bool { return math.Abs(v-q*math.Round(v/q)) < 0.02 }

func (l *look) coarse(c *track, q float64) {
	f := Finding{
		Subject: Quantisation, Source: c.source, Sure: 0.9999,
		Watts: estimate.Normal(0, q/math.Sqrt(12), "rounding"),
		What:  fmt.Sprintf("%s shows watts in steps of %.0f W, so that any one reading at %.0f W is wrong by up to %.1f W; averages are hardly harmed.", c.source, q, l.threshold, q/2),
		Do:    []string{"look whether another field, or newer firmware, shows whole watts", "go by averages over 30 s and more"},
		Plot:  Plot{Title: "Values shown by " + c.source, X: "seconds", Y: "W", Points: scatter(c, 0, math.Inf(1))},
	}
	l.found(ranged(f, q, q, q, "greatest step that all values share"))
}

// spikes are single readings that stand above all of their neighbours by more
// than noise can. What is returned are their instants.
func (l *look) spikes(c *track, quantum float64) []window {
	if len(c.v) < leastReadings {
		l.unsaid(Spikes, c.source, fmt.Sprintf("only %d readings; %d are needed", len(c.v), leastReadings))
		return nil
	}
	l.right(Spikes)
	rel := c.roughness()
	var at []window
	for i := 1; i+1 < len(c.v); i++ {
		if c.t[i+1]-c.t[i-1] > 3.5*c.every {
			continue // too much is missing about it
		}
		most, next, n := 0.0, 0.0, 0 // of the readings about it: those beside it, and the second highest of all
		first, second := 0.0, 0.0
		for j := max(0, i-2); j <= min(len(c.v)-1, i+2); j++ {
			if j == i || math.Abs(c.t[j]-c.t[i]) > 4*c.every+1 {
				continue
			}
			n++
			if j == i-1 || j == i+1 {
				most = max(most, c.v[j])
			}
			switch v := c.v[j]; {
			case v > first:
				first, second = v, first
			case v > second:
				second = v
			}
		}
		next = max(most, second)
		if n >= 3 && c.v[i]-next > max(45, 2.5*quantum, 0.22*next, 6*rel*next) && !c.starting(i, next) {
			at = append(at, window{c.t[i] - 1e-6, c.t[i] + 1e-6})
		}
	}
	if len(at) == 0 {
		return nil
	}
	n := float64(len(at))
	f := Finding{
		Subject: Spikes, Source: c.source, Sure: 0.999,
		What: fmt.Sprintf("%s shows %.0f single readings far above what was ridden (the first at %s); highest watts of short efforts are not to be trusted, averages at %.0f W hardly change.", c.source, n, clock(at[0].from), l.threshold),
		Do:   []string{"leave these readings out of best efforts", "look for a loose magnet or sensor, and for a weak battery (common practice)"},
		Plot: Plot{Title: "Watts of " + c.source, X: "seconds", Y: "W", Points: scatter(c, 0, math.Inf(1))},
	}
	l.found(ranged(f, n, n, n, "counted"))
	return at
}

// starting tells whether the wheel was spun up in the last seconds: legs that
// begin push harder for a moment, and that is no spike.
func (c *track) starting(i int, level float64) bool {
	for k := i - 1; k >= 0 && c.t[i]-c.t[k] < 6; k-- {
		if c.v[k] < 0.4*level {
			return true
		}
	}
	return false
}

// roughness is a robust sd of one reading about its neighbours, as a fraction
// of them.
func (c *track) roughness() float64 {
	var d []float64
	for i := 1; i+1 < len(c.v); i++ {
		level := (c.v[i-1] + c.v[i+1]) / 2
		if level > 40 && c.t[i+1]-c.t[i-1] < 2.5*c.every {
			d = append(d, (c.v[i]-level)/level)
		}
	}
	if len(d) < 50 {
		return 0.06
	}
	return max(0.01, spreadOf(d)/math.Sqrt(1.5))
}

// clock is a time of the ride as minutes and seconds.
func clock(s float64) string {
	whole := int(math.Round(s))
	return fmt.Sprintf("%d:%02d", whole/60, whole%60)
}

// run is a row of equal readings above 0 W: from index i up to j.
type run struct{ i, j int }

// stuckChance is how seldom a healthy source may show a run as long as one
// that is called stuck, over the whole recording.
const stuckChance = 1e-4

// stuck finds runs of one value that are too long for chance, given how often
// neighbours are equal.
func (l *look) stuck(c *track, quantum float64) []window {
	if len(c.v) < leastReadings {
		l.unsaid(Stuck, c.source, fmt.Sprintf("only %d readings; %d are needed", len(c.v), leastReadings))
		return nil
	}
	if quantum > 2 {
		l.unsaid(Stuck, c.source, fmt.Sprintf("its watts come in steps of %.0f W, in which a steady effort looks stuck", quantum))
		return nil
	}
	l.right(Stuck)
	var ws []window
	var longest run
	rests := append(l.phases(Zero, QuietRest, Coast), l.paused...)
	for _, r := range c.runs() {
		if within(rests, c.t[r.j]) {
			continue
		}
		p := c.equalNear(r)
		if chance := float64(len(c.v)) * math.Pow(p, float64(r.j-r.i)); chance > stuckChance {
			continue
		}
		ws = append(ws, window{c.t[r.i] + c.every/4, c.t[r.j] + 1e-6})
		if c.t[r.j]-c.t[r.i] > c.t[longest.j]-c.t[longest.i] {
			longest = r
		}
	}
	if len(ws) > 0 {
		l.stuckFinding(c, longest, len(ws))
	}
	return ws
}

func (c *track) runs() []run {
	var out []run
	for i := 0; i < len(c.v); {
		j := i
		for j+1 < len(c.v) && c.v[j+1] == c.v[i] {
			j++
		}
		if c.v[i] >= 20 && j-i >= 3 {
			out = append(out, run{i, j})
		}
		i = j + 1
	}
	return out
}

// equalNear is how often neighbours are equal, near a run and all over,
// whichever is more; a little more than seen, since few are seen.
func (c *track) equalNear(r run) float64 {
	count := func(from, to int) float64 {
		same, n := 2.0, 4.0
		for k := max(1, from); k < min(len(c.v), to); k++ {
			if k > r.i && k <= r.j || c.v[k] == 0 {
				continue
			}
			n++
			if c.v[k] == c.v[k-1] {
				same++
			}
		}
		return same / n
	}
	near := int(60 / c.every)
	return max(0.08, count(r.i-near, r.j+near), count(1, len(c.v)))
}

// stuckFinding: the value froze somewhere between the first two readings of
// the run and came loose between its last and the next, which makes ±0.78 of
// a reading (95 % of a triangle).
func (l *look) stuckFinding(c *track, r run, times int) {
	size := c.t[r.j] - c.t[r.i]
	low, high := size-0.78*c.every, size+0.78*c.every
	f := Finding{
		Subject: Stuck, Source: c.source, Sure: 1 - stuckChance,
		What: fmt.Sprintf("%s showed %.0f W without a change for %.0f s at %s (%d such stretches): what was ridden meanwhile is not known, at %.0f W a change of effort would have been missed.",
			c.source, c.v[r.i], size, clock(c.t[r.i]), times, l.threshold),
		Do:   []string{"leave these stretches out", "put a fresh battery into the sensor (common practice)", "let no second program hold the sensor (common practice)"},
		Plot: Plot{Title: "Watts of " + c.source + " about the stretch", X: "seconds", Y: "W", Points: scatter(c, c.t[r.i]-60, c.t[r.j]+60)},
	}
	l.found(ranged(f, size, max(0, low), high, "longest run of one value"))
}

// smoothed looks at what is shown after the legs have stopped: an honest
// source is at 0 W within about two seconds, a filtered one runs down.
func (l *look) smoothed(c *track) {
	cad := l.cadenceOf(c.source)
	if cad == nil {
		l.unsaid(Smoothing, c.source, "no cadence tells when the legs stopped")
		return
	}
	var taus, weights []float64
	stops := 0
	var pic Plot
	for i := 1; i < len(cad.t); i++ {
		before3, turned := cad.at(cad.t[i] - 3)
		if cad.v[i] >= 20 || cad.v[i-1] < 20 || !turned || before3 < 50 || cad.t[i]-cad.t[i-1] > 3 {
			continue
		}
		before, n := c.mean(cad.t[i]-10, cad.t[i]-2)
		until := nextTurning(cad, i+int(2/cad.every))
		if n < 3 || before < 50 || until-cad.t[i] < 8 {
			continue
		}
		stops++
		if tau, se, ok := c.runDown(cad.t[i]-1, until, before); ok {
			taus, weights = append(taus, tau), append(weights, 1/(se*se))
			pic = Plot{Title: "Watts of " + c.source + " after the legs stopped", X: "seconds", Y: "W", Points: scatter(c, cad.t[i]-10, until)}
		}
	}
	if stops == 0 {
		l.unsaid(Smoothing, c.source, "the legs never stopped for 8 s after an effort, so there is nothing that should fall at once")
		return
	}
	l.right(Smoothing)
	if 2*len(taus) <= stops {
		return
	}
	tau, sum := 0.0, 0.0
	for i, w := range weights {
		tau += w * taus[i]
		sum += w
	}
	tau /= sum
	se := math.Hypot(math.Sqrt(1/sum), 0.0025*tau) // legs do not stop within one instant
	if tau-3*se < leastTau {
		return
	}
	l.found(ranged(Finding{
		Subject: Smoothing, Source: c.source, Sure: 0.999, Plot: pic,
		What: fmt.Sprintf("%s smooths its watts over %.1f s: a step to %.0f W is shown by two thirds only after that time, and short efforts are shown too low.", c.source, tau, l.threshold),
		Do:   []string{"switch off smoothing in the meter's or the trainer's own settings", "pace by the effort of the last half minute, not by what is shown now", "do not judge efforts under a minute by it"},
	}, tau, tau-z95*se, tau+z95*se, "run-down after the legs stopped"))
}

// leastTau is the filter (s) below which a source is called direct, our
// judgement: two messages.
const leastTau = 1.5

func nextTurning(cad *track, i int) float64 {
	for j := i + 1; j < len(cad.t); j++ {
		if cad.v[j] >= 20 {
			return cad.t[j] - 1
		}
	}
	return cad.t[len(cad.t)-1]
}

// runDown fits an exponential to falling watts by their logarithms, from 85 %
// of what they were down to where rounding tells; not ok: they fell at once.
func (c *track) runDown(from, to, before float64) (tau, se float64, ok bool) {
	i, j := c.slice(from, to)
	var x, y, w []float64
	for k := i; k < j && (len(x) == 0 || c.v[k] >= 6); k++ {
		if v := c.v[k]; v < 0.85*before && v >= 6 {
			x, y = append(x, c.t[k]), append(y, math.Log(v))
			w = append(w, 1/(0.014*0.014/c.every+0.5*0.5/(v*v)))
		}
	}
	if len(x) < 4 || x[len(x)-1]-x[0] < 2 {
		return 0, 0, false
	}
	slope, chi := weightedSlope(x, y, w)
	if slope.sd == 0 || slope.mean >= 0 {
		return 0, 0, false
	}
	grow := math.Sqrt(max(1, chi/float64(len(x)-2)))
	tau = -1 / slope.mean
	return tau, tau * tau * slope.sd * grow, true
}

type slopeFit struct{ mean, sd float64 }

// weightedSlope is a straight line by weighted least squares and its chi².
func weightedSlope(x, y, w []float64) (slopeFit, float64) {
	var sw, mx, my float64
	for i := range x {
		sw += w[i]
		mx += w[i] * x[i]
		my += w[i] * y[i]
	}
	mx, my = mx/sw, my/sw
	var sxx, sxy float64
	for i := range x {
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
	}
	if sxx == 0 {
		return slopeFit{}, 0
	}
	b, chi := sxy/sxx, 0.0
	for i := range x {
		e := y[i] - my - b*(x[i]-mx)
		chi += w[i] * e * e
	}
	return slopeFit{b, math.Sqrt(1 / sxx)}, chi
}

// noisy judges the unevenness of a steady effort from second to second. The
// legs' own is in it: published precision of meters is 1.2 ± 0.9 % (Maier et
// al. 2017, Int J Sports Med 38:456, abstract), riders' is larger.
func (l *look) noisy(c *track) {
	var d []float64
	last, lastAt := 0.0, math.Inf(-1)
	for at := math.Ceil(c.t[0]); at < c.t[len(c.t)-1]; at++ {
		m, n := c.mean(at, at+1)
		if n == 0 {
			continue
		}
		if at-lastAt == 1 && m > 50 && last > 50 && math.Abs(m/last-1) < 0.6 {
			d = append(d, 2*(m-last)/(m+last))
		}
		last, lastAt = m, at
	}
	if len(d) < leastReadings {
		l.unsaid(NoiseFloor, c.source, fmt.Sprintf("only %d s of steady watts; %d are needed", len(d), leastReadings))
		return
	}
	l.right(NoiseFloor)
	sd := spreadOf(d) / math.Sqrt2
	half := sd * 1.4 * z95 / math.Sqrt(2*float64(len(d)))
	if sd-2*half < noisyAbove {
		return
	}
	l.found(ranged(Finding{
		Subject: NoiseFloor, Source: c.source, Sure: 0.99, Watts: estimate.Normal(0, sd*l.threshold, "second to second"),
		What:  fmt.Sprintf("%s jumps by %.0f %% from second to second, %.0f W at %.0f W, more than legs and a good meter do.", c.source, 100*sd, sd*l.threshold, l.threshold),
		Do:    []string{"go by averages over 10 s and more", "tighten what holds the meter; put in a fresh battery (common practice)"},
		Prior: "precision of meters 1.2 ± 0.9 % (Maier et al. 2017, abstract); 12 % with the legs' own unevenness is our judgement",
		Plot:  Plot{Title: "Watts of " + c.source, X: "seconds", Y: "W", Points: scatter(c, 0, math.Inf(1))},
	}, sd, sd-half, sd+half, "second to second"))
}

const noisyAbove = 0.12 // fraction, our judgement

// What no rider and flywheel do, our judgement: a wheel and flywheel faster
// by more than 6 m/s in a second, cranks by more than 80 rpm in a second
// while turning.
const (
	mostWheelJump = 6.0
	mostCrankJump = 80.0
)

func (l *look) impossible() {
	if l.cadence == nil && l.wheel == nil {
		l.unsaid(Impossible, "", "neither cadence nor wheel speed is recorded")
		return
	}
	l.right(Impossible)
	for _, it := range []struct {
		c           *track
		most, least float64
		name        string
	}{{l.wheel, mostWheelJump, 0.5, "wheel speed"}, {l.cadence, mostCrankJump, 30, "cadence"}} {
		if it.c == nil {
			continue
		}
		n := 0
		for i := 1; i < len(it.c.v); i++ {
			dt := max(1, it.c.t[i]-it.c.t[i-1])
			if it.c.v[i] > it.least && it.c.v[i-1] > it.least && math.Abs(it.c.v[i]-it.c.v[i-1]) > it.most*dt {
				n++
			}
		}
		if n == 0 {
			continue
		}
		f := Finding{
			Subject: Impossible, Source: it.c.source, Sure: 0.99,
			What: fmt.Sprintf("The %s of %s jumps %d times as no rider and flywheel can; the watts at %.0f W are not harmed unless they are computed from it.", it.name, it.c.source, n, l.threshold),
			Do:   []string{"check the magnet's gap and that the sensor sits tight (common practice)"},
			Plot: Plot{Title: it.name, X: "seconds", Y: it.name, Points: scatter(it.c, 0, math.Inf(1))},
		}
		l.found(ranged(f, float64(n), float64(n), float64(n), "counted"))
	}
}
