package rig

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// block is a few seconds of both sources, aligned.
type block struct {
	index   int     // blocks follow each other without a gap where it grows by one
	at      float64 // s since the riding began
	x, y    float64 // W of the one compared against, and of the source
	cadence float64 // rpm; NaN unknown
	cold    float64 // e^(−at/τ), of the τ in solve
}

// The ways in which Source can differ from Against: ln y' = sum of the
// columns, y = offset + x·exp(sum).
const (
	byOffset = iota // W
	byGain
	byDrivetrain // ln(1 − loss) between the two, known beforehand
	byCold       // what is missing while cold, as e^(−t/τ)
	byCadence    // over the range of cadences ridden
	byPower      // over the range of powers ridden
	ways
)

// soundSD is what two sound sources differ by in each way: sd in its unit.
// Our judgement; it lies within what makers promise each other (1 to 2 %), and
// what is smaller is nothing to act on.
var soundSD = [ways]float64{byOffset: 0.33, byGain: 0.0022, byCold: 0.0022, byCadence: 0.002, byPower: 0.003}

// soundZeroSD is what two sound zeros differ by (N m, sd; our judgement): at
// one cadence it cannot be told from an offset in watts.
const soundZeroSD = 0.03

// usualCadence is that of most indoor riding, rad/s: 85 rpm, our judgement.
const usualCadence = 85 * math.Pi / 30

// The drivetrain's loss between crank and hub or trainer: 2.4 ± 1 %. The mean
// is the efficiency 0.976 of Martin et al. 1998 (secondary); Spicer et al.
// 2001, J Mech Des 123:598, give 80.9 to 98.6 % for the chain alone (memory).
// The doubt is our judgement.
const lossMean, lossSD = 0.024, 0.010

// fitter is the regression of y on x with errors in both, several ways at a time.
type fitter struct {
	blocks           []block
	used             []bool // not rejected
	warmS            float64
	cadMid, cadRange float64 // rpm: middle and range
	powMid, powRange float64 // ln W: middle and range
	prior            [ways]float64
	side             float64 // prior mean of ln(1 − loss) between the two
	shared           float64 // variance of y's noise over that of x's
	flat, rising     float64 // variance of a block's difference: flat + rising·x², W²
	inflate          float64 // of the variance, for what blocks carry into the next
}

type fitted struct {
	theta [ways]float64
	cov   *mat.Dense
	chi   float64
	free  [ways]bool
	warmS float64
}

// columns of a block.
func (f *fitter) columns(b block) [ways]float64 {
	c := [ways]float64{byGain: 1, byDrivetrain: 1, byCold: -b.cold}
	if f.cadRange > 0 && !math.IsNaN(b.cadence) {
		c[byCadence] = (b.cadence - f.cadMid) / f.cadRange
	}
	if f.powRange > 0 && b.x > 0 {
		c[byPower] = (math.Log(b.x) - f.powMid) / f.powRange
	}
	return c
}

// heat sets what is still missing of the warmth, block by block.
func (f *fitter) heat() {
	for i, b := range f.blocks {
		f.blocks[i].cold = math.Exp(-b.at / f.warmS)
	}
}

// misfit is a block's residual in its standard deviation, with slopes.
func (f *fitter) misfit(b block, theta [ways]float64) (u float64, slope [ways]float64) {
	c := f.columns(b)
	sum := 0.0
	for i := byGain; i < ways; i++ {
		sum += c[i] * theta[i]
	}
	e := math.Exp(sum)
	both := (f.flat + f.rising*b.x*b.x) * f.inflate
	vx, vy := both/(1+f.shared), both*f.shared/(1+f.shared)
	r, v := b.y-theta[byOffset]-b.x*e, vy+e*e*vx
	root := math.Sqrt(v)
	u = r / root
	slope[byOffset] = -1 / root
	for i := byGain; i < ways; i++ {
		slope[i] = -c[i] * (b.x*e/root + u*e*e*vx/v)
	}
	return u, slope
}

// solve minimises the misfit with the ways that are free; the others are held
// near nothing by what sound sources differ by. Gauss-Newton, each step halved
// until it makes the misfit less.
func (f *fitter) solve(free [ways]bool) (fitted, bool) {
	f.heat()
	out := fitted{free: free, warmS: f.warmS, theta: [ways]float64{byDrivetrain: f.side}}
	out.chi = f.chi(out.theta, free)
	for range 20 {
		a, grad := f.normal(out.theta, free)
		var inverse mat.Dense
		if inverse.Inverse(a) != nil || math.IsNaN(inverse.At(byGain, byGain)) {
			return out, false
		}
		out.cov = &inverse
		var step [ways]float64
		moved := 0.0
		for j := range ways {
			for k := range ways {
				step[j] += inverse.At(j, k) * grad[k]
			}
			moved = max(moved, math.Abs(step[j])/(math.Sqrt(inverse.At(j, j))+1e-12))
		}
		less := false
		for part := 1.0; part > 1e-3 && !less; part /= 2 {
			next := out.theta
			for j := range next {
				next[j] -= part * step[j]
			}
			if chi := f.chi(next, free); chi <= out.chi {
				out.theta, out.chi, less = next, chi, true
			}
		}
		if moved < 1e-4 || !less {
			break
		}
	}
	return out, true
}

func (f *fitter) chi(theta [ways]float64, free [ways]bool) float64 {
	chi := 0.0
	for i, b := range f.blocks {
		if f.used[i] {
			u, _ := f.misfit(b, theta)
			chi += u * u
		}
	}
	for j := range ways {
		chi += f.weight(j, free) * sq2(theta[j]-f.mean(j))
	}
	return chi
}

// mean is what a way is held near.
func (f *fitter) mean(j int) float64 {
	if j == byDrivetrain {
		return f.side
	}
	return 0
}

func (f *fitter) normal(theta [ways]float64, free [ways]bool) (*mat.SymDense, [ways]float64) {
	var sum [ways][ways]float64
	var grad [ways]float64
	for i, b := range f.blocks {
		if !f.used[i] {
			continue
		}
		u, s := f.misfit(b, theta)
		for j := range s {
			for k := j; k < ways; k++ {
				sum[j][k] += s[j] * s[k]
			}
			grad[j] += s[j] * u
		}
	}
	a := mat.NewSymDense(ways, nil)
	for j := range ways {
		w := f.weight(j, free)
		sum[j][j] += w
		grad[j] += w * (theta[j] - f.mean(j))
		for k := j; k < ways; k++ {
			a.SetSym(j, k, sum[j][k])
		}
	}
	return a, grad
}

func (f *fitter) weight(j int, free [ways]bool) float64 {
	switch {
	case j == byDrivetrain:
		if f.prior[j] == 0 {
			return 1e9 // the same measuring point: no loss between
		}
		return 1 / (f.prior[j] * f.prior[j])
	case free[j]:
		return 1e-9 // keeps a way that these data cannot show from being singular
	}
	return 1 / (f.prior[j] * f.prior[j])
}

// weigh finds from the fullest model how noise grows with power, rejects what
// lies far off, and learns how much a block carries into the next.
func (f *fitter) weigh(can [ways]bool) bool {
	f.inflate = 1
	x := make([]float64, len(f.blocks))
	for i, b := range f.blocks {
		x[i] = b.x
	}
	f.flat, f.rising = 1, sq2(0.02)
	for range 5 {
		fit, ok := f.solve(can)
		if !ok {
			return false
		}
		var u []float64
		for _, b := range f.blocks {
			v, _ := f.misfit(b, fit.theta)
			u = append(u, v)
		}
		scale := spreadOf(kept(u, f.used))
		if !(scale > 0) {
			scale = 1e-6
		}
		for i := range u {
			f.used[i] = math.Abs(u[i]) < 4.5*scale
		}
		f.spread(u)
	}
	fit, ok := f.solve(can)
	if !ok {
		return false
	}
	var u []float64
	var at []int
	for i, b := range f.blocks {
		if f.used[i] {
			v, _ := f.misfit(b, fit.theta)
			u, at = append(u, v), append(at, b.index)
		}
	}
	if next := correlationOfNext(u, at); next > 1/math.Sqrt(float64(len(u))) {
		next = min(next, 0.8)
		f.inflate = (1 + next) / (1 - next)
	}
	return true
}

// spread fits the variance flat + rising·x² to squared residuals, weighted by
// the inverse of what a squared residual scatters.
func (f *fitter) spread(u []float64) {
	var s0, s1, s2, t0, t1, n float64
	for i, b := range f.blocks {
		if !f.used[i] {
			continue
		}
		v := f.flat + f.rising*b.x*b.x
		w := 1 / (v * v)
		z := b.x * b.x
		r2 := u[i] * u[i] * v
		s0, s1, s2 = s0+w, s1+w*z, s2+w*z*z
		t0, t1 = t0+w*r2, t1+w*z*r2
		n++
	}
	grow := n / max(1, n-5)
	if d := s0*s2 - s1*s1; d > 0 {
		flat, rising := (t0*s2-t1*s1)/d, (s0*t1-s1*t0)/d
		switch {
		case flat < 0:
			flat, rising = 0, t1/s2
		case rising < 0:
			flat, rising = t0/s0, 0
		}
		f.flat, f.rising = max(flat*grow, 1e-6), max(rising*grow, 1e-12)
	}
}

func sq2(x float64) float64 { return x * x }

func kept(u []float64, used []bool) []float64 {
	var out []float64
	for i, v := range u {
		if used[i] {
			out = append(out, v)
		}
	}
	return out
}

// warmings are the time constants (s) tried for warming up, our judgement:
// meters and brakes settle within a quarter of an hour.
var warmings = []float64{90, 140, 180, 220, 260, 300, 360, 450, 600}

const usualWarming = 240.0

// costs are the fall of the misfit that each way must bring to be believed.
// Cadence shows in four minutes of the check only and gets by with less, at
// one sound check in a thousand; power is dearer, because an offset looks much
// like it.
var costs = [ways]float64{byOffset: pairCost, byGain: pairCost, byDrivetrain: pairCost, byCold: pairCost, byCadence: 11, byPower: pairCost + 6}

// choose is the explanation that fits best for what it costs.
func (f *fitter) choose(can [ways]bool) (fitted, bool) {
	var best fitted
	least, found := math.Inf(1), false
	for mask := range 1 << ways {
		var free [ways]bool
		cost, allowed := 0.0, true
		for j := range ways {
			if mask>>j&1 == 1 {
				free[j] = true
				cost += costs[j]
				allowed = allowed && can[j] && j != byDrivetrain && j != byPower
			}
		}
		if !allowed {
			continue
		}
		f.warmS = usualWarming
		at := []float64{usualWarming}
		if free[byCold] {
			at = warmings
		}
		for _, f.warmS = range at {
			if fit, ok := f.solve(free); ok && fit.chi+cost < least {
				best, least, found = fit, fit.chi+cost, true
			}
		}
	}
	if !found {
		return best, false
	}
	best = f.ratherGain(best)
	f.warmS = best.warmS
	if can[byPower] {
		with := best.free
		with[byPower] = true
		if fit, ok := f.solve(with); ok && fit.chi+costs[byPower] < best.chi {
			best = fit
		}
	}
	return best, true
}

// ratherGain takes a gain in place of an offset where both explain the same
// about as well and the two stand at one point of the drivetrain: meters come
// calibrated wrong more often than shifted (our judgement), and at the watts
// ridden a gain of 2 % and an offset of 3 W differ by one watt.
func (f *fitter) ratherGain(best fitted) fitted {
	if !best.free[byOffset] || best.free[byGain] || f.prior[byDrivetrain] > 0 {
		return best
	}
	instead := best.free
	instead[byOffset], instead[byGain] = false, true
	f.warmS = best.warmS
	if fit, ok := f.solve(instead); ok && fit.chi < best.chi+ratherBy {
		return fit
	}
	return best
}

// ratherBy is how much worse a gain may explain it, of −2 ln likelihood.
const ratherBy = 3.0

// average mixes the time constants of warming by how well they fit: mean and
// sd of a parameter that hangs on them.
func (f *fitter) average(best fitted, j int) (mean, sd float64) {
	if !best.free[byCold] {
		return best.theta[j], math.Sqrt(best.cov.At(j, j))
	}
	keep := f.warmS
	defer func() { f.warmS = keep }()
	var weights, means, vars []float64
	for _, f.warmS = range warmings {
		fit, ok := f.solve(best.free)
		if !ok {
			continue
		}
		weights = append(weights, math.Exp((best.chi-fit.chi)/2))
		means, vars = append(means, fit.theta[j]), append(vars, fit.cov.At(j, j))
	}
	total := 0.0
	for i, w := range weights {
		total += w
		mean += w * means[i]
	}
	mean /= total
	v := 0.0
	for i, w := range weights {
		v += w / total * (vars[i] + (means[i]-mean)*(means[i]-mean))
	}
	return mean, math.Sqrt(v)
}

// fall is by how much the misfit rises when a way is no longer free.
func (f *fitter) fall(best fitted, j int) float64 {
	without := best.free
	without[j] = false
	keep := f.warmS
	f.warmS = best.warmS
	defer func() { f.warmS = keep }()
	fit, ok := f.solve(without)
	if !ok {
		return 0
	}
	return fit.chi - best.chi
}

// quantiles of x, by the order of values.
func quantiles(x []float64, p ...float64) []float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	out := make([]float64, len(p))
	for i, q := range p {
		out[i] = s[int(q*float64(len(s)-1)+0.5)]
	}
	return out
}
