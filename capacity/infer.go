package capacity

import (
	"fmt"
	"math"
	"math/rand/v2"

	"chainline/estimate"
)

// From evidence to capacity: the model of latent.go, filled by observe.go and
// ageing.go, sampled by posterior.go.

// Learnt is what evidence and prior say together. True and Displayed hold the
// same draws: a rider in true watts, and in the watts that the ride's source
// shows. Where evidence and ride share the source its error cancels in
// Displayed.
type Learnt struct {
	True, Displayed Capacity
	Scale           estimate.Estimate // displayed watts over true watts
	Mode            Capacity          // the most probable rider, true watts
	RepeatError     float64           // of this rider's tests, the most probable, fraction
	Places          Places            // outdoors against indoors
	Effective       float64           // share of the draws that counted before resampling

	scales []float64
}

// Account tells how a capacity was found, in sentences ready to be shown.
type Account struct {
	Model    string
	Lines    []Line // one per piece of evidence, in the order given
	Warnings []string
	Source   string // power source of the evidence used; "" if none, unnamed or several
	Fit      *Fit   // least squares over the maximal tests alone, to compare; nil if there are too few
}

// Line is what became of one piece of evidence.
type Line struct{ What, When, Used string }

const (
	leastToFit  = 3
	tooFar      = 2.5 // standard deviations from the prior that cause a warning
	disagreeing = 2.5 // own standard deviations from the result that widen everything
	// leastTop is the least of maximal over critical power (our judgement).
	leastTop = 1.2
	leastCP  = 30.0 // W, below which a warning says that something is off
)

// inference is the work sheet of one Infer.
type inference struct {
	latent
	sources map[string]int // positions of the scales of power sources
	ride    int            // that of the ride's; −1 if it is exact
	tired   string         // a day on which several tests were ridden
	account Account
}

func newInference(r Rider, ride Source) *inference {
	in := &inference{latent: latent{outdoor: -1, heartMax: -1, heartLine: -1, firstStep: -1, habit: -1, layoff: -1, wider: 1}}
	in.mean, in.cov = prior(r)
	in.observe(r, ride)
	in.seal()
	return in
}

// Infer is the capacity that evidence and prior allow together, for a ride on
// the given power source, and the account of it. random chooses the draws.
//
// Latent are the logarithms of CP, W′, MaxPower and the fade's share, the
// repeat error of this rider's tests, the scale of every power source, the
// rider's place about the published heart-rate line, and the drift since each
// piece of evidence. Each kind of evidence has its density (observe.go); the
// posterior is drawn by importance resampling.
func Infer(r Rider, ride Source, random *rand.Rand) (Learnt, Account) {
	in := newInference(r, ride)
	at, _ := in.mode()
	in.check(at)
	if in.wider > 1 {
		at, _ = in.mode()
	}
	points, effective := in.draws(random, Draws)
	l := Learnt{Mode: in.capacity(at), RepeatError: math.Exp(at[lnNoise]), Effective: effective}
	trueDraws, displayed, scales := make([][4]float64, Draws), make([][4]float64, Draws), make([]float64, Draws)
	for i, x := range points {
		c := in.capacity(x)
		trueDraws[i] = [4]float64{c.CriticalPower, c.WPrime, c.MaxPower, c.Fade}
		scales[i] = 1
		if in.ride >= 0 {
			scales[i] = math.Exp(x[in.ride])
		}
		for k, v := range trueDraws[i] {
			displayed[i][k] = v * scales[i]
		}
	}
	l.True, l.Displayed = ofDraws(trueDraws), ofDraws(displayed)
	l.scales = scales
	l.Places = in.places(points)
	l.Scale = estimate.FromDraws(scales, "the power source's accuracy")
	in.explain(r, l)
	return l, in.account
}

// check looks at how the evidence lies about the mode: pieces that contradict
// each other widen all errors by their root mean square distance, and what is
// far from any likely rider causes a warning.
func (in *inference) check(at []float64) {
	c := in.capacity(at)
	worst, squares := 0.0, 0.0
	for i := range in.obs {
		off, sd := in.residual(&in.obs[i], at, c)
		off = in.obs[i].beyond(off)
		if off < 0 && in.obs[i].slack > 0 {
			continue // ridden well below what is possible: no contradiction
		}
		worst, squares = math.Max(worst, math.Abs(off/sd)), squares+off*off/sd/sd
	}
	if n := len(in.obs); n > 1 && worst > disagreeing {
		in.wider = math.Max(1, math.Sqrt(squares/float64(n)))
		in.warn("The evidence contradicts itself; everything is taken as less certain. Check the watts, or leave out what was not ridden all out.")
	}
	for i := range lnNoise {
		if math.Abs(at[i]-in.mean[i]) > tooFar*math.Sqrt(in.cov.At(i, i)) {
			in.warn("The evidence is far from what is likely for a rider like you. Check the watts, the mass and the level.")
			return
		}
	}
}

// fit is least squares over the maximal tests of 2 to 20 min alone.
func (in *inference) fit(r Rider) {
	var tests []Test
	for _, o := range in.obs {
		e := r.Evidence[o.piece]
		if e.Kind == MaximalTest && o.slack == 0 && e.Duration >= severeFrom && e.Duration <= severeTo {
			tests = append(tests, Test{e.Duration, e.Watts})
		}
	}
	if len(tests) < leastToFit {
		return
	}
	fits, err := FitTwoParameter(tests)
	if best, ok := Choose(fits); err == nil && ok {
		in.account.Fit = &best
		in.account.Warnings = append(in.account.Warnings, best.Warnings()...)
		return
	}
	in.warn("Your %d tests of 2 to 20 minutes do not lie on one curve of critical power and W′. One of them may not have been all out.", len(tests))
}

func (in *inference) warn(format string, args ...any) {
	in.account.Warnings = append(in.account.Warnings, fmt.Sprintf(format, args...))
}
