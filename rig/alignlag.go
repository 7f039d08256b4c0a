package rig

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// following is how a second series follows a first one: by a delay and by a
// filter, each with its doubt.
type following struct {
	ok                 bool
	delay, delaySD     float64 // s, as the readings arrive
	excess             float64 // s of it that the two rhythms of sending do not explain
	smooth, smoothSD   float64 // s, time constant; negative: the first is the smoother one
	late, smoothed     bool    // beyond what two sound devices differ by
	free, freeSD       float64 // s, the whole lag whatever sound devices differ by
	lateChi, smoothChi float64 // fall of the misfit by letting it be there
}

// Two sound devices differ a little in delay and in averaging of their own
// (sd, s), our judgement: a tenth of a second on the radio and in the
// electronics, and a quarter of a second of averaging.
const (
	soundDelaySD  = 0.10
	soundSmoothSD = 0.20
	// stampSD is what a time of arrival may be off by all through, s.
	stampSD = 0.014
	// pairCost is the fall of the misfit (of −2 ln likelihood) that a fault must
	// bring to be believed. Our judgement: chance alone brings it about once
	// in 6,000 sound checks for each fault looked for.
	pairCost = 14.0
	// lagCost is that of a delay: sound devices differ in what they do about it
	// more than one normal distribution says.
	lagCost = 17.0
)

// spectra are two series at the same frequencies and what is known of them.
type spectra struct {
	x, y []complex128
	f    []float64 // Hz
	box  []float64 // how their rhythms of sending differ in height
	half float64   // s by which they differ in delay
	vy   []float64 // variance of y's noise
	vx   []float64 // and of x's
}

// follow finds delay and smoothing of b against a. What is shown is
// Y = g·e^(−iωd)/(1+iωs)·X at every frequency, with noise in both: the misfit
// |Y − HX|²/(V_y + |H|²V_x) is that of regression with errors in both, so
// that noise in the first is not taken for smoothing of the second.
func follow(a, b series) following {
	s, ok := newSpectra(a, b)
	if !ok {
		return following{}
	}
	best, chi := s.search()
	for range 3 {
		s.noise(best)
		best, chi = s.settle(best, [2]bool{true, true})
	}
	var tied [2]float64
	_, tied[0] = s.settle(best, [2]bool{false, true})
	_, tied[1] = s.settle(best, [2]bool{true, false})
	none, neither := s.settle([3]float64{best[0], 0, 0}, [2]bool{false, false})
	var free [2]bool
	chosen, least := none, neither
	for _, try := range [][2]bool{{true, false}, {false, true}, {true, true}} {
		cost := 0.0
		for i, is := range try {
			if is {
				cost += [2]float64{lagCost, pairCost}[i]
			}
		}
		for _, begin := range [][3]float64{best, {best[0], best[1] + best[2], 0}} {
			if p, c := s.settle(begin, try); c+cost < least {
				chosen, least, free = p, c+cost, try
			}
		}
	}
	f := following{ok: true, late: free[0], smoothed: free[1], excess: chosen[1], smooth: chosen[2], delay: chosen[1] + s.half}
	f.lateChi, f.smoothChi = max(0, tied[0]-chi), max(0, tied[1]-chi)
	if free[0] != free[1] { // alone, each is measured against neither
		f.lateChi, f.smoothChi = max(f.lateChi, neither-least+lagCost), max(f.smoothChi, neither-least+pairCost)
	}
	f.free = best[1] + best[2] + s.half
	if cov, ok := s.covariance(best, [2]bool{true, true}); ok {
		f.freeSD = math.Sqrt(max(1e-6, cov.At(1, 1)+cov.At(2, 2)+2*cov.At(1, 2)))
	}
	cov, ok := s.covariance(chosen, free)
	f.ok = ok
	if ok {
		f.delaySD, f.smoothSD = math.Sqrt(cov.At(1, 1)), math.Sqrt(cov.At(2, 2))
		if !f.smoothed { // what little averaging there is counts as delay
			f.delay, f.excess = f.delay+f.smooth, f.excess+f.smooth
			f.delaySD = math.Sqrt(max(1e-8, cov.At(1, 1)+cov.At(2, 2)+2*cov.At(1, 2)))
		}
		f.delaySD = math.Hypot(f.delaySD, stampSD)
		// No filter is exactly of first order: measured on simulated checks.
		f.smoothSD = math.Hypot(f.smoothSD, math.Hypot(0.05, 0.012*f.smooth))
	}
	return f
}

// newSpectra takes frequencies from one in 200 s, below which gain and warmth
// play in, up to a quarter per second or what the slower rhythm shows.
func newSpectra(a, b series) (*spectra, bool) {
	from, to := overlap(a, b)
	if to-from < 120 {
		return nil, false
	}
	df := 1 / (to - from)
	top := min(0.25, 0.3/max(a.every, b.every))
	first, last := int(math.Ceil(0.005/df)), int(top/df)
	first = max(first, 3)
	n := last - first + 1
	if n < 24 {
		return nil, false
	}
	s := &spectra{half: (b.every - a.every) / 2}
	s.x, s.y = a.spectrum(from, to, df, first, n), b.spectrum(from, to, df, first, n)
	for k := range n {
		f := float64(first+k) * df
		s.f = append(s.f, f)
		s.box = append(s.box, sinc(f*b.every)/sinc(f*a.every))
	}
	s.vx, s.vy = make([]float64, n), make([]float64, n)
	flat := 0.0
	for k := n / 2; k < n; k++ {
		flat += (sq(s.x[k]) + sq(s.y[k])) / float64(n-n/2) / 4
	}
	for k := range s.vx {
		s.vx[k], s.vy[k] = flat, flat
	}
	return s, flat > 0
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

func sq(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// answer is H at frequency k for p = (ln g, delay beyond the rhythms, smoothing).
func (s *spectra) answer(k int, p [3]float64) complex128 {
	w := 2 * math.Pi * s.f[k]
	filter := complex(1, w*math.Abs(p[2]))
	if p[2] > 0 {
		filter = 1 / filter
	}
	return filter * cmplx.Rect(math.Exp(p[0])*s.box[k], -w*(p[1]+s.half))
}

// misfit is the residual at frequency k in its standard deviations, times √2.
func (s *spectra) misfit(k int, p [3]float64) complex128 {
	h := s.answer(k, p)
	v := s.vy[k] + sq(h)*s.vx[k]
	return (s.y[k] - h*s.x[k]) * complex(math.Sqrt(2/v), 0)
}

func (s *spectra) chi(p [3]float64, free [2]bool) float64 {
	sum := 0.0
	for k := range s.f {
		sum += sq(s.misfit(k, p))
	}
	return sum + tiedChi(p, free)
}

func tiedChi(p [3]float64, free [2]bool) float64 {
	sum := 0.0
	if !free[0] {
		sum += p[1] * p[1] / (soundDelaySD * soundDelaySD)
	}
	if !free[1] {
		sum += p[2] * p[2] / (soundSmoothSD * soundSmoothSD)
	}
	return sum
}

// search looks over delays up to 12 s and time constants up to 15 s, at every
// third frequency: it only says where to begin.
func (s *spectra) search() (best [3]float64, least float64) {
	least = math.Inf(1)
	few := &spectra{half: s.half}
	for k := 0; k < len(s.f); k += 3 {
		few.x, few.y, few.f, few.box = append(few.x, s.x[k]), append(few.y, s.y[k]), append(few.f, s.f[k]), append(few.box, s.box[k])
		few.vx, few.vy = append(few.vx, s.vx[k]), append(few.vy, s.vy[k])
	}
	for _, smooth := range []float64{-15, -9, -5, -2.5, 0, 2.5, 5, 9, 15} {
		for d := -12.0; d <= 12; d++ {
			p := [3]float64{0, d, smooth}
			if c := few.chi(p, [2]bool{true, true}); c < least {
				best, least = p, c
			}
		}
	}
	return best, least
}

// settle goes to the nearest minimum by damped Gauss-Newton steps.
func (s *spectra) settle(p [3]float64, free [2]bool) ([3]float64, float64) {
	now, damp := s.chi(p, free), 1e-3
	for range 60 {
		normal, slope := s.normal(p, free)
		for i := range 3 {
			normal.SetSym(i, i, normal.At(i, i)*(1+damp)+1e-12)
		}
		var step mat.VecDense
		if step.SolveVec(normal, slope) != nil {
			break
		}
		q := p
		for i := range q {
			q[i] -= step.AtVec(i)
		}
		next := s.chi(q, free)
		if !(next < now) {
			if damp *= 10; damp > 1e6 {
				break
			}
			continue
		}
		gain := now - next
		p, now, damp = q, next, max(damp/10, 1e-9)
		if gain < 1e-4 {
			break
		}
	}
	return p, now
}

// normal are JᵀJ and Jᵀu of the misfit.
func (s *spectra) normal(p [3]float64, free [2]bool) (*mat.SymDense, *mat.VecDense) {
	a, g := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	var sum [3][3]float64
	var slope [3]float64
	for k := range s.f {
		h := s.answer(k, p)
		v := s.vy[k] + sq(h)*s.vx[k]
		w := 2 * math.Pi * s.f[k]
		u := (s.y[k] - h*s.x[k]) * complex(math.Sqrt(2/v), 0)
		// d ln H by ln g, by the delay and by the time constant of either sign.
		by := [3]complex128{1, complex(0, -w), complex(0, -w) / complex(1, w*math.Abs(p[2]))}
		var j [3]complex128
		for i := range by {
			j[i] = -by[i]*h*s.x[k]*complex(math.Sqrt(2/v), 0) - u*complex(sq(h)*real(by[i])*s.vx[k]/v, 0)
		}
		for i := range 3 {
			for l := i; l < 3; l++ {
				sum[i][l] += real(j[i])*real(j[l]) + imag(j[i])*imag(j[l])
			}
			slope[i] += real(j[i])*real(u) + imag(j[i])*imag(u)
		}
	}
	for i := range 3 {
		g.SetVec(i, slope[i])
		for l := i; l < 3; l++ {
			a.SetSym(i, l, sum[i][l])
		}
	}
	for i, sd := range []float64{soundDelaySD, soundSmoothSD} {
		if !free[i] {
			a.SetSym(i+1, i+1, a.At(i+1, i+1)+1/(sd*sd))
			g.SetVec(i+1, g.AtVec(i+1)+p[i+1]/(sd*sd))
		}
	}
	return a, g
}

func (s *spectra) covariance(p [3]float64, free [2]bool) (*mat.Dense, bool) {
	a, _ := s.normal(p, free)
	var inverse mat.Dense
	if inverse.Inverse(a) != nil || inverse.At(1, 1) <= 0 || inverse.At(2, 2) <= 0 {
		return nil, false
	}
	return &inverse, true
}

// noise sets the variances of both noises from what an answer leaves over, in
// bands of frequency; their ratio is that of Grubbs (1948, JASA 43:243, from
// memory): what each has that the other does not share. Where the two share
// little, nothing can be learnt and a wrong ratio would bend the answer: such
// bands count by the square of their coherence, which is what noise leaves of 1.
func (s *spectra) noise(p [3]float64) {
	n := len(s.f)
	bands := max(2, n/24)
	ratio := s.ratio(p, n/2, n)
	for b := range bands {
		lo, hi := b*n/bands, (b+1)*n/bands
		left, xx, yy, many := 0.0, 0.0, 0.0, float64(hi-lo)
		var xy complex128
		for k := lo; k < hi; k++ {
			h := s.answer(k, p)
			left += sq(s.y[k]-h*s.x[k]) / (ratio + sq(h)) / many
			xy += s.y[k] * cmplx.Conj(h*s.x[k])
			xx, yy = xx+sq(h*s.x[k]), yy+sq(s.y[k])
		}
		coherence := (sq(xy)/max(xx*yy, 1e-12) - 1/many) / (1 - 1/many)
		left = max(left, 1e-12) / max(coherence, 1e-3)
		for k := lo; k < hi; k++ {
			s.vx[k], s.vy[k] = left, left*ratio
		}
	}
}

// ratio is the variance of y's noise over that of x's, between 1/9 and 9.
func (s *spectra) ratio(p [3]float64, from, to int) float64 {
	vx, vy, shared, hh := 0.0, 0.0, 0.0, 0.0
	for k := from; k < to; k++ {
		h := s.answer(k, p)
		shared += real(s.y[k] * cmplx.Conj(h*s.x[k]))
		hh += sq(h)
		vx, vy = vx+sq(s.x[k]), vy+sq(s.y[k])
	}
	vx, vy = vx-shared/hh*float64(to-from), vy-shared
	if vx <= 0 && vy <= 0 {
		return 1
	}
	return min(max(max(vy, 0)/max(vx, 1e-9), 1.0/9), 9)
}
