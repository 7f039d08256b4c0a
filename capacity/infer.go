package capacity

import (
	"errors"
	"fmt"
	"math"
)

// From evidence to capacity. This file decides what each piece of evidence
// measures and how well; belief.go combines the measurements with the prior.

// Rider is a body and what is known about it.
type Rider struct {
	Name         string
	Mass         float64 // kg; 0 unknown
	Height       float64 // m; 0 unknown
	Age          float64 // years; 0 unknown
	Sex          Sex
	Level        Level
	MaxHeartRate float64 // bpm, measured; 0 unknown
	HeartRateOff bool    // the rider's heart rate is not to be used
	Evidence     []Evidence
}

// Kind of evidence.
type Kind int

const (
	// MaximalTest is a best mean power over a duration, ridden all out.
	MaximalTest Kind = iota
	// StatedThreshold is a threshold in watts, already factored.
	StatedThreshold
)

// Evidence is one thing known about a rider's capacity.
type Evidence struct {
	Kind            Kind
	Duration        float64 // s; of a test
	Watts           float64 // W, displayed by Source
	From            string  // of a threshold: where it comes from, free words
	Date            string  // ISO 8601; may be empty
	Source          string  // name of the power source; may be empty
	Where           string  // free words; may be empty
	AccuracyPercent float64 // of the source; 0 unknown. For the forecast, not for Infer
}

// Account tells how a capacity was found, in sentences ready to be shown.
type Account struct {
	Model    string
	Lines    []Line // one per piece of evidence, in the order given
	Next     string // what would narrow the capacity most; may be empty
	Warnings []string
	Source   string // power source of the evidence used; "" if none, unnamed or several
	Fit      *Fit   // the fit used, or nil
}

// Line is what became of one piece of evidence.
type Line struct{ What, When, Used string }

// What decides how a piece of evidence is taken; durations in seconds.
const (
	sprintTo    = 15.0   // up to here: maximal power
	leastWatts  = 10.0   // W; outside these limits it is a slip of the pen
	mostWatts   = 3000.0 // W
	severeFrom  = 120.0  // the two-parameter model holds from about two minutes
	severeTo    = 1200.0 // to about twenty
	leastToFit  = 3
	tooFar      = 2.5 // standard deviations from the belief that cause a warning
	disagreeing = 2.0 // own standard deviations from the result that widen everything
)

// Repeat errors, as fractions.
const (
	// testRepeat: typical error of a 20-min test 2.9 % (Borszcz et al. 2020,
	// IJSM 41:175) and 3.7 % on trainers at home (Matta et al. 2022, IJSM);
	// abstracts only.
	testRepeat = 0.03
	// longRepeat is that of rides beyond half an hour (our judgement).
	longRepeat = 0.04
	// sprintRepeat covers how badly a curve with four numbers describes the
	// first seconds (our judgement).
	sprintRepeat = 0.10
	// finestRepeat: tests that agree with a curve better than this agree by
	// luck (our judgement; no source repeats better).
	finestRepeat = 0.005
	// chosenWiden: the form with the smallest standard errors is often the one
	// whose errors are too small. In simulated tests with 3 % error the 80 %
	// interval held critical power in 71 to 72 % of cases without this factor
	// and in 74 to 76 % with it (computed; see TestCoverageAndSharpness). More
	// would let the prior bend good fits; the rest waits for a better inference.
	chosenWiden = 1.15
	// Tests done on one day: 24 h against 3 h of rest, limits of agreement −9
	// to 15 W and −7.4 to 7.8 kJ (Karsten et al. 2016, J Sports Sci; abstract
	// only), as standard deviations.
	sameDayCP, sameDayWPrime = 24 / 3.92, 15200 / 3.92 // W, J
)

// Infer is the capacity that the evidence and the prior allow together, in
// the displayed watts of the evidence's source, and the account of it.
//
// The prior is a normal distribution over (CP, W′, MaxPower, Fade); every
// piece of evidence is a linear measurement with a normal error: three or more
// tests of 2 to 20 min through the best of the published fits, other tests as
// the power held for their duration, thresholds as ReadThreshold reads them.
// The accuracy of the power source is not added: it is common to all of a
// source's evidence and to the ride, so whoever forecasts draws it once.
// Dates do not count yet: old evidence weighs as much as new.
func Infer(r Rider) (Capacity, Account) {
	in := &inference{prior: priorFor(r), account: Account{Lines: make([]Line, len(r.Evidence))}}
	in.sort(r.Evidence)
	in.fit(r.Evidence)
	in.single(r.Evidence)
	b := in.combine()
	b = in.sprint(r.Evidence, b)
	c := in.capacity(b)
	in.explain(r)
	return c, in.account
}

// inference is the work sheet of one Infer.
type inference struct {
	prior                              belief
	severe, other, sprints, thresholds []int // indices of the evidence that is used
	fitted                             []int // those of severe that went through the fit
	measured                           []measurement
	account                            Account
}

// sort decides what each piece is, leaving out with a reason what tells nothing.
func (in *inference) sort(evidence []Evidence) {
	for i, e := range evidence {
		in.account.Lines[i] = Line{What: e.words(), When: e.Date}
		used := &in.account.Lines[i].Used
		switch {
		case !(e.Watts >= leastWatts && e.Watts <= mostWatts):
			*used = fmt.Sprintf("left out: its watts are not between %g and %g", leastWatts, mostWatts)
		case e.Kind == StatedThreshold:
			in.thresholds = append(in.thresholds, i)
		case !(e.Duration > 0) || math.IsInf(e.Duration, 1):
			*used = "left out: its duration is not a positive number"
		case e.Duration <= sprintTo:
			in.sprints = append(in.sprints, i)
		case e.Duration < severeFrom:
			*used = "left out: between a sprint and the two minutes from which critical power can be told"
		case e.Duration <= severeTo:
			in.severe = append(in.severe, i)
		case e.Duration <= PowerTo:
			in.other = append(in.other, i)
		default:
			*used = "left out: longer than the five hours that the power-duration curve is meant for"
		}
	}
}

// fit takes three or more tests of 2 to 20 min as one piece.
func (in *inference) fit(evidence []Evidence) {
	if len(in.severe) < leastToFit {
		return
	}
	tests := make([]Test, len(in.severe))
	for i, at := range in.severe {
		tests[i] = Test{evidence[at].Duration, evidence[at].Watts}
	}
	fits, err := FitTwoParameter(tests)
	best, ok := Choose(fits)
	if err != nil || !ok {
		reason := "they cannot be fitted"
		if errors.Is(err, ErrSameDuration) || errors.Is(err, ErrContradictory) {
			reason = err.Error()
		}
		in.warn("Your %d tests of 2 to 20 minutes were taken one by one: %s.", len(tests), reason)
		return
	}
	covariance := fitCovariance(best, tests)
	if day := sameDay(evidence, in.severe); day != "" {
		covariance[0] += sameDayCP * sameDayCP
		covariance[2] += sameDayWPrime * sameDayWPrime
		in.warn("Several of the tests were ridden on one day (%s); tired legs blur critical power and W′, so both are taken as less certain.", day)
	}
	pair := fitMeasurements(best, covariance, 0)
	in.measured = append(in.measured, pair[:]...)
	in.account.Warnings = append(in.account.Warnings, best.Warnings()...)
	in.account.Fit = &best
	in.fitted, in.severe = in.severe, nil
	for _, at := range in.fitted {
		in.account.Lines[at].Used = "in the fit of critical power and W′"
	}
}

// fitCovariance is (CP², CP·W′, W′²) of a fit, widened for its few degrees of
// freedom, and not less than tests that repeat to finestRepeat would give.
func fitCovariance(f Fit, tests []Test) [3]float64 {
	var n, x, xx, watts, ss float64
	for _, t := range tests {
		e := t.Watts - f.CriticalPower - f.WPrime/t.Duration
		n, x, xx, watts, ss = n+1, x+1/t.Duration, xx+1/(t.Duration*t.Duration), watts+t.Watts, ss+e*e
	}
	c := [3]float64{f.SECriticalPower * f.SECriticalPower, f.Covariance, f.SEWPrime * f.SEWPrime}
	if finest := finestRepeat * watts / n; math.Sqrt(ss/float64(f.DOF)) < finest {
		s2, det := finest*finest, n*xx-x*x
		c = [3]float64{s2 * xx / det, -s2 * x / det, s2 * n / det}
	}
	wide := chosenWiden * widen(f.DOF)
	for i := range c {
		c[i] *= wide * wide
	}
	return c
}

// sameDay is a date that two of the pieces share, or "".
func sameDay(evidence []Evidence, at []int) string {
	seen := map[string]bool{}
	for _, i := range at {
		day := evidence[i].Date
		if day != "" && seen[day] {
			return day
		}
		seen[day] = true
	}
	return ""
}

// single takes every other test and threshold as a piece of its own.
func (in *inference) single(evidence []Evidence) {
	piece := 1 // 0 is the fit
	add := func(at int, duration, watts, sd float64, used string) {
		in.measured = append(in.measured, powerMeasurement(duration, watts, sd*watts, piece))
		in.account.Lines[at].Used = used
		piece++
	}
	for _, at := range in.severe {
		e := evidence[at]
		add(at, e.Duration, e.Watts, testRepeat, fmt.Sprintf("as the power held for %s, ±%.0f %%", durationWords(e.Duration), 100*testRepeat))
	}
	for _, at := range in.other {
		e, repeat := evidence[at], testRepeat
		if e.Duration > FadeFrom {
			repeat = longRepeat
		}
		add(at, e.Duration, e.Watts, repeat, fmt.Sprintf("as the power held for %s, ±%.0f %%", durationWords(e.Duration), 100*repeat))
	}
	for _, at := range in.thresholds {
		e := evidence[at]
		reading := ReadThreshold(e.From)
		what := "critical power"
		if !math.IsInf(reading.Duration, 1) {
			what = "the power held for " + durationWords(reading.Duration)
		}
		watts := e.Watts * reading.Factor
		add(at, reading.Duration, watts, reading.SD, fmt.Sprintf("as %s of %.0f W ±%.0f %% (%s)", what, watts, 100*reading.SD, reading.Name))
	}
}

// combine takes the measurements into the prior. Pieces that contradict each
// other widen all of them by their root mean square disagreement; a single
// piece far from the prior, or any contradiction, causes a warning.
func (in *inference) combine() belief {
	take := func(wider float64) belief {
		b := in.prior
		for _, m := range in.measured {
			m.sd *= wider
			b = b.updated(m)
		}
		return b
	}
	b := take(1)
	if len(in.measured) == 0 {
		return b
	}
	pieces, worst, squares := map[int]bool{}, 0.0, 0.0
	for _, m := range in.measured {
		off := (m.value - dot(m.gradient, b.mean)) / m.sd
		pieces[m.piece] = true
		worst, squares = math.Max(worst, math.Abs(off)), squares+off*off
	}
	if len(pieces) > 1 && worst > disagreeing {
		in.warn("The evidence contradicts itself; everything is taken as less certain. Check the watts, or leave out what is old or was not ridden all out.")
		return take(math.Max(1, math.Sqrt(squares/float64(len(in.measured)))))
	}
	for _, m := range in.measured {
		if math.Abs(in.prior.surprise(m)) > tooFar {
			in.warn("The evidence is far from what is likely for a rider like you. Check the watts, the mass and the level.")
			break
		}
	}
	return b
}

// sprint takes tests of seconds as measurements of maximal power, the curve
// being linearised where the belief stands.
func (in *inference) sprint(evidence []Evidence, b belief) belief {
	for _, at := range in.sprints {
		e := evidence[at]
		in.account.Lines[at].Used = fmt.Sprintf("for maximal power, ±%.0f %%", 100*sprintRepeat)
		point := b.mean
		var next belief
		for range 5 { // the curve bends with MaxPower: linearise again nearer the answer
			c := Capacity{CriticalPower: point[0], WPrime: point[1], MaxPower: math.Max(point[2], 1.2*point[0])}
			up := c
			up.MaxPower++
			slope := up.Power(e.Duration) - c.Power(e.Duration)
			next = b.updated(measurement{gradient: [4]float64{2: slope}, sd: sprintRepeat * e.Watts,
				value: e.Watts - c.Power(e.Duration) + slope*c.MaxPower})
			point = next.mean
		}
		b = next
	}
	return b
}

// Floors below which no rider is taken to be, whatever the evidence (our
// judgement); reaching one causes a warning.
const (
	leastCP     = 30.0   // W
	leastWPrime = 2000.0 // J
	leastTop    = 1.5    // MaxPower over CP
)

// capacity is the belief as a Capacity, above the floors.
func (in *inference) capacity(b belief) Capacity {
	c := Capacity{CriticalPower: b.mean[0], WPrime: b.mean[1], MaxPower: b.mean[2], Fade: math.Max(0, b.mean[3]), Sigma: b.factor()}
	if c.CriticalPower < leastCP || c.WPrime < leastWPrime {
		in.warn("The evidence leads to a critical power or a W′ that nobody has; the smallest likely value is used instead.")
	}
	c.CriticalPower = math.Max(leastCP, c.CriticalPower)
	c.WPrime = math.Max(leastWPrime, c.WPrime)
	c.MaxPower = math.Max(leastTop*c.CriticalPower, c.MaxPower)
	return c
}
