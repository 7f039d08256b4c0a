package capacity

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// The posterior: its mode by Newton's method, and draws by importance
// resampling about it.

// Draws are how many riders an inference draws.
const Draws = 4096

// mode is where the posterior is highest, and the covariance of the normal
// distribution that fits it there (Laplace's approximation).
func (m *latent) mode() (at []float64, cov *mat.SymDense) {
	n := len(m.mean)
	at = append([]float64(nil), m.mean...)
	if m.start != nil {
		at = append([]float64(nil), m.start...)
		at[lnNoise] = m.mean[lnNoise]
	}
	damping, energy := 0.0, m.energy(at)
	for range 200 {
		g, h := m.slopes(at)
		step := mat.NewVecDense(n, nil)
		if !solve(h, g, damping, step) {
			damping = math.Max(1e-3, 10*damping)
			continue
		}
		next, most := make([]float64, n), 0.0
		for i := range next {
			next[i] = at[i] - step.AtVec(i)
			most = math.Max(most, math.Abs(step.AtVec(i)))
		}
		if e := m.energy(next); e <= energy+1e-12*math.Abs(energy) && most < 20 {
			at, energy, damping = next, e, damping/10
			if damping < 1e-6 {
				damping = 0
			}
			if most < 1e-10 {
				break
			}
			continue
		}
		if most < 1e-9 {
			break
		}
		damping = math.Max(1e-3, 10*damping)
	}
	return at, m.laplace(at)
}

// solve is step = (h + damping·diag)⁻¹·g; false where that is not positive.
func solve(h *mat.SymDense, g []float64, damping float64, step *mat.VecDense) bool {
	n := len(g)
	d := mat.NewSymDense(n, nil)
	d.CopySym(h)
	for i := range n {
		d.SetSym(i, i, h.At(i, i)+damping*math.Max(1, math.Abs(h.At(i, i))))
	}
	var c mat.Cholesky
	if !c.Factorize(d) {
		return false
	}
	// A badly scaled but positive matrix still gives a direction to try.
	_ = c.SolveVecTo(step, mat.NewVecDense(n, g))
	return !math.IsNaN(step.AtVec(0))
}

// slopes are the gradient of the energy, and its Hessian without the curvature
// of the power-duration curve (Gauss and Newton's), which is positive because
// every density falls off faster than its tangent.
func (m *latent) slopes(x []float64) (g []float64, h *mat.SymDense) {
	n := len(x)
	g, h = make([]float64, n), mat.NewSymDense(n, nil)
	h.CopySym(m.precision)
	for i := range n {
		for j := range n {
			g[i] += m.precision.At(i, j) * (x[j] - m.mean[j])
		}
	}
	c := m.capacity(x)
	row := make([]float64, n)
	y := append([]float64(nil), x...)
	for k := range m.obs {
		o := &m.obs[k]
		off, sd := m.residual(o, x, c)
		at := m.touched(o)
		const small = 1e-5
		for _, i := range at {
			y[i] = x[i] + small
			up, _ := m.residual(o, y, m.capacity(y))
			y[i] = x[i] - small
			down, _ := m.residual(o, y, m.capacity(y))
			y[i] = x[i]
			row[i] = (up - down) / (2 * small)
		}
		first, second := o.slopes(off, sd)
		for p, i := range at {
			g[i] += first * row[i]
			for _, j := range at[:p+1] {
				h.SetSym(i, j, h.At(i, j)+second*row[i]*row[j])
			}
		}
		if o.repeat && !m.fixedNoise {
			first, second := m.noiseSlopes(o, x, off)
			g[lnNoise] += first
			h.SetSym(lnNoise, lnNoise, h.At(lnNoise, lnNoise)+math.Max(0, second))
		}
	}
	return g, h
}

// noiseSlopes are the derivatives of an observation's energy by the logarithm
// of the repeat error.
func (m *latent) noiseSlopes(o *datum, x []float64, off float64) (first, second float64) {
	const step = 1e-3
	at := func(d float64) float64 {
		return -o.lnDensity(off, m.wider*math.Hypot(o.sd, math.Exp(x[lnNoise]+d)))
	}
	up, middle, down := at(step), at(0), at(-step)
	return (up - down) / (2 * step), (up - 2*middle + down) / (step * step)
}

// laplace is the inverse of the Hessian; where that is not positive, the
// prior's covariance stands in, which is wider.
func (m *latent) laplace(at []float64) *mat.SymDense {
	_, h := m.slopes(at)
	var c mat.Cholesky
	out := mat.NewSymDense(len(at), nil)
	if c.Factorize(h) && c.InverseTo(out) == nil {
		return out
	}
	out.CopySym(m.cov)
	return out
}

// The proposal is a mixture of normal distributions. Where tests carry a
// repeat error that is itself not known, the posterior is a funnel: wide where
// the error is large, narrow where it is small. So each component is the
// Laplace approximation at one value of that error, on a grid over its prior,
// weighted by the evidence for it.
type component struct {
	centre []float64
	lower  []float64 // Cholesky factor of the covariance, by rows
	share  float64
	lnTop  float64 // of share over the root of the determinant
}

type proposal []component

const (
	gridFrom, gridStep, gridPoints = -2.4, 0.8, 7 // sd of the prior of the repeat error
	gridKernel                     = 0.7          // of gridStep, sd of a component in that direction
	leastShare                     = 0.01
	spread                         = 1.15 // on the sd in all other directions, so that tails are covered
)

// proposal is the mixture about the posterior's modes.
func (m *latent) proposal() proposal {
	if !m.repeats() {
		at, cov := m.mode()
		return proposal{newComponent(at, cov, m.cov, 0)}
	}
	var p proposal
	held := *m
	held.precision = mat.NewSymDense(len(m.mean), nil)
	held.mean = append([]float64(nil), m.mean...)
	sd := math.Sqrt(m.cov.At(lnNoise, lnNoise))
	best, last := math.Inf(-1), []float64(nil)
	for k := range gridPoints {
		held.mean[lnNoise] = m.mean[lnNoise] + (gridFrom+gridStep*float64(k))*sd
		held.precision.CopySym(m.precision)
		held.precision.SetSym(lnNoise, lnNoise, 1e8)
		held.start = last
		at, cov := held.mode()
		last = at
		c := newComponent(at, cov, m.cov, gridKernel*gridStep*sd)
		c.share = -m.energy(at) - c.lnTop // the logarithm of the evidence
		best = math.Max(best, c.share)
		p = append(p, c)
	}
	sum := 0.0
	for k := range p {
		p[k].share = math.Max(leastShare, math.Exp(p[k].share-best))
		sum += p[k].share
	}
	for k := range p {
		p[k].share /= sum
		p[k].lnTop += math.Log(p[k].share)
	}
	return p
}

// repeats tells whether any observation carries the unknown repeat error.
func (m *latent) repeats() bool {
	for i := range m.obs {
		if m.obs[i].repeat {
			return true
		}
	}
	return false
}

// newComponent is a normal distribution with a little more than the covariance;
// where that is not positive, instead is taken. noise, if not 0, is its sd in the
// direction of the repeat error.
func newComponent(centre []float64, cov, instead *mat.SymDense, noise float64) component {
	n := len(centre)
	wide := mat.NewSymDense(n, nil)
	fill := func(from *mat.SymDense) {
		wide.ScaleSym(spread*spread, from)
		if noise > 0 {
			for i := range n {
				wide.SetSym(i, lnNoise, 0)
			}
			wide.SetSym(lnNoise, lnNoise, noise*noise)
		}
	}
	fill(cov)
	var c mat.Cholesky
	if !c.Factorize(wide) {
		fill(instead)
		c.Factorize(wide) // the prior's: positive
	}
	var l mat.TriDense
	c.LTo(&l)
	out := component{centre: centre, lower: make([]float64, n*n), share: 1, lnTop: -0.5 * c.LogDet()}
	for i := range n {
		for j := 0; j <= i; j++ {
			out.lower[i*n+j] = l.At(i, j)
		}
	}
	return out
}

// draw is a point and the logarithm of the proposal's density there, up to a
// constant.
func (p proposal) draw(r *rand.Rand) (x []float64, ln float64) {
	n := len(p[0].centre)
	u, k := r.Float64(), 0
	for k < len(p)-1 && u >= p[k].share {
		u -= p[k].share
		k++
	}
	z := make([]float64, 2*n)
	x, z = z[:n], z[n:]
	for i := range z {
		z[i] = r.NormFloat64()
	}
	for i := range x {
		x[i] = p[k].centre[i]
		for j := 0; j <= i; j++ {
			x[i] += p[k].lower[i*n+j] * z[j]
		}
	}
	top, sum := math.Inf(-1), 0.0
	for k := range p {
		e := p[k].lnTop - 0.5*p[k].distance(x, z)
		if e > top {
			sum, top = sum*math.Exp(top-e)+1, e
		} else {
			sum += math.Exp(e - top)
		}
	}
	return x, top + math.Log(sum)
}

// distance is the squared Mahalanobis distance of x; z is room to work in.
func (c *component) distance(x, z []float64) (square float64) {
	n := len(x)
	for i := range x {
		d := x[i] - c.centre[i]
		for j := range i {
			d -= c.lower[i*n+j] * z[j]
		}
		z[i] = d / c.lower[i*n+i]
		square += z[i] * z[i]
	}
	return square
}

// leastEffective is the share of the draws that have to count; below it the
// proposal is moved to where the weights are and drawn from again.
const leastEffective = 0.1

// draws are n points of the posterior, and the effective share of those they
// were chosen from.
func (m *latent) draws(r *rand.Rand, n int) (points [][]float64, effective float64) {
	p := m.proposal()
	for try := 0; ; try++ {
		all, weights := m.weighed(r, p, n)
		effective = effectiveShare(weights)
		if effective >= leastEffective || try == 2 {
			return resampled(r, all, weights, n), effective
		}
		mean, cov := moments(all, weights)
		p = append(p, newComponent(mean, cov, m.cov, 0))
		last := &p[len(p)-1]
		for k := range p {
			p[k].share, p[k].lnTop = p[k].share/2, p[k].lnTop-math.Ln2
		}
		last.share = 0.5
	}
}

// weighed are n points of the proposal and their weights, which sum to 1.
func (m *latent) weighed(r *rand.Rand, p proposal, n int) (points [][]float64, weights []float64) {
	points, weights = make([][]float64, n), make([]float64, n)
	most := math.Inf(-1)
	for i := range points {
		x, ln := p.draw(r)
		points[i], weights[i] = x, -m.energy(x)-ln
		most = math.Max(most, weights[i])
	}
	sum := 0.0
	for i, w := range weights {
		weights[i] = math.Exp(w - most)
		sum += weights[i]
	}
	for i := range weights {
		weights[i] /= sum
	}
	return points, weights
}

func effectiveShare(weights []float64) float64 {
	squares := 0.0
	for _, w := range weights {
		squares += w * w
	}
	return 1 / squares / float64(len(weights))
}

// resampled chooses n points by their weights (systematic resampling).
func resampled(r *rand.Rand, points [][]float64, weights []float64, n int) [][]float64 {
	out := make([][]float64, 0, n)
	at, sum := r.Float64(), 0.0
	for i, w := range weights {
		sum += w * float64(n)
		for at < sum && len(out) < n {
			out = append(out, points[i])
			at++
		}
	}
	for len(out) < n { // rounding
		out = append(out, points[len(points)-1])
	}
	// Neighbours are alike after systematic resampling; whoever takes only
	// the first few must not get one corner.
	r.Shuffle(n, func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

func moments(points [][]float64, weights []float64) (mean []float64, cov *mat.SymDense) {
	n := len(points[0])
	mean, cov = make([]float64, n), mat.NewSymDense(n, nil)
	for k, x := range points {
		for i := range x {
			mean[i] += weights[k] * x[i]
		}
	}
	for i := range n {
		for j := i; j < n; j++ {
			sum := 0.0
			for k, x := range points {
				sum += weights[k] * (x[i] - mean[i]) * (x[j] - mean[j])
			}
			if i == j {
				sum = math.Max(1.2*sum, 1e-10) // few weights make it too narrow
			}
			cov.SetSym(i, j, sum)
		}
	}
	return mean, cov
}
