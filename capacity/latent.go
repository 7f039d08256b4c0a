package capacity

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The latent numbers that evidence speaks about, and how probable they are.
// What each piece of evidence observes is decided in observe.go.

// Positions of the latent numbers that every rider has; those of power
// sources, the outdoors, the heart and time gone by follow as needed.
const (
	lnCP        = iota // of W, true watts, now
	lnWPrime           // of J
	lnMaxPower         // of W
	lnFadeShare        // of the fade over critical power
	lnNoise            // of the repeat error of this rider's tests
	fixed
)

// datum is one thing that was observed.
type datum struct {
	piece    int     // which piece of evidence
	duration float64 // s; +Inf is critical power
	lnWatts  float64
	sd       float64 // of its own, of the logarithm (of the heart's share if heart)
	repeat   bool    // carries the repeat error of tests besides
	slack    float64 // mean of what was left unridden; 0 for a maximal test
	source   int     // position of its source's scale; −1: true watts
	outdoor  bool
	habit    bool    // carries the rider's way of answering
	lost     float64 // logarithm of what usual riders lost by time off since
	steps    int     // how many of the steps back in time lie between now and then

	banded           bool // slack lies in a band: an answer after a ride
	bandFrom, bandTo float64

	heart float64 // bpm; 0 unless this is a heart rate at an easy load
	watts float64 // W displayed, of that load
}

// latent is a model: a normal prior over the latent numbers and what was
// observed.
type latent struct {
	mean []float64
	cov  *mat.SymDense // of the prior
	obs  []datum

	outdoor, heartMax, heartLine, firstStep, habit, layoff int // positions; −1 if there is none
	heart, mass                                            float64
	wider                                                  float64 // factor on every error; 1
	fixedNoise                                             bool    // the repeat error is stated, for checks

	precision *mat.SymDense
	start     []float64 // where the search for the mode begins; nil: the prior's mean
}

// add appends an independent latent number of mean zero.
func (m *latent) add(sd float64) (position int) {
	position = len(m.mean)
	m.mean = append(m.mean, 0)
	grown := mat.NewSymDense(position+1, nil)
	for i := range position {
		for j := i; j < position; j++ {
			grown.SetSym(i, j, m.cov.At(i, j))
		}
	}
	grown.SetSym(position, position, sd*sd)
	m.cov = grown
	return position
}

// seal makes the model ready for energy.
func (m *latent) seal() {
	var c mat.Cholesky
	if !c.Factorize(m.cov) {
		panic("capacity: the prior's covariance is not positive") // prior.go keeps it so
	}
	m.precision = mat.NewSymDense(len(m.mean), nil)
	if err := c.InverseTo(m.precision); err != nil && m.precision.At(0, 0) == 0 {
		panic("capacity: the prior's covariance cannot be inverted: " + err.Error())
	}
}

// energy is minus the logarithm of the posterior density, up to a constant.
func (m *latent) energy(x []float64) float64 {
	sum := 0.0
	for i := range x {
		di := x[i] - m.mean[i]
		sum += 0.5 * di * di * m.precision.At(i, i)
		for j := i + 1; j < len(x); j++ {
			if p := m.precision.At(i, j); p != 0 {
				sum += di * (x[j] - m.mean[j]) * p
			}
		}
	}
	c := m.capacity(x)
	for i := range m.obs {
		sum -= m.density(&m.obs[i], x, c)
	}
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return sum
}

// capacity is the rider of the latent numbers, now, in true watts.
func (m *latent) capacity(x []float64) Capacity {
	c := Capacity{CriticalPower: math.Exp(x[lnCP]), WPrime: math.Exp(x[lnWPrime])}
	c.MaxPower = math.Max(leastTop*c.CriticalPower, math.Exp(x[lnMaxPower]))
	c.Fade = math.Exp(x[lnFadeShare]) * c.CriticalPower
	return c
}

// density is the logarithm of how probable an datum is.
func (m *latent) density(o *datum, x []float64, c Capacity) float64 {
	off, sd := m.residual(o, x, c)
	return o.lnDensity(off, sd)
}

// residual is how far an datum lies above what the latent numbers say,
// and the standard deviation of its noise.
func (m *latent) residual(o *datum, x []float64, c Capacity) (off, sd float64) {
	sd = o.sd
	if o.repeat {
		noise := m.mean[lnNoise]
		if !m.fixedNoise {
			noise = x[lnNoise]
		}
		sd = math.Hypot(sd, math.Exp(noise))
	}
	sd *= m.wider
	scale, then := 0.0, 0.0
	if o.source >= 0 {
		scale = x[o.source]
	}
	for i := range o.steps {
		then += x[m.firstStep+i]
	}
	if o.outdoor {
		then += x[m.outdoor]
	}
	if o.lost != 0 {
		then += o.lost * (1 + x[m.layoff])
	}
	if o.habit {
		then += habit + x[m.habit]
	}
	if o.heart > 0 {
		most := m.heart + x[m.heartMax]
		oxygen := OxygenUptake(o.watts*math.Exp(-scale), m.mass) / OxygenUptake(c.Power(heartPower)*math.Exp(then), m.mass)
		return o.heart/most - heartShare(oxygen) - x[m.heartLine], sd
	}
	if math.IsInf(o.duration, 1) {
		return o.lnWatts - x[lnCP] - then - scale, sd
	}
	return o.lnWatts - math.Log(c.Power(o.duration)) - then - scale, sd
}

// touched are the latent numbers that the residual of an observation depends
// on.
func (m *latent) touched(o *datum) []int {
	at := []int{lnCP, lnWPrime, lnMaxPower, lnFadeShare}
	if o.source >= 0 {
		at = append(at, o.source)
	}
	for i := range o.steps {
		at = append(at, m.firstStep+i)
	}
	if o.outdoor {
		at = append(at, m.outdoor)
	}
	if o.lost != 0 {
		at = append(at, m.layoff)
	}
	if o.habit {
		at = append(at, m.habit)
	}
	if o.heart > 0 {
		at = append(at, m.heartMax, m.heartLine)
	}
	return at
}
