package capacity

import (
	"errors"
	"fmt"
	"math"
)

// Least-squares fits of critical power and W′ to maximal tests, in the forms
// that are published. Each form assumes the noise in another place, so each
// gives other numbers for the same rider; Choose picks the most certain.

// Test is one ride at constant power until it could no longer be held, or a
// best mean power over a duration that was ridden all out.
type Test struct {
	Duration float64 // s
	Watts    float64 // W, mean
}

// Form names the equation that is fitted and the variable that carries the noise.
type Form int

const (
	// LinearWork is work on time, W = CP·t + W′, noise in work.
	LinearWork Form = iota
	// InverseTime is power on 1/t, P = CP + W′/t, noise in power.
	InverseTime
	// Hyperbolic is time on power, t = W′/(P−CP), noise in time.
	Hyperbolic
	// ThreeParameter is t = W′/(P−CP) + k, noise in time; with the maximal
	// power CP − W′/k. Morton 1996, Ergonomics 39:611.
	ThreeParameter
)

// String is the form's name in a sentence.
func (f Form) String() string {
	return [...]string{"work on time", "power on 1/time", "time on power", "time on power with a maximal power"}[f]
}

// Status says whether the numbers of a fit may be used.
type Status int

const (
	// Fitted: the parameters are determined by the tests.
	Fitted Status = iota
	// NotIdentified: the tests do not determine the third parameter; none of
	// the numbers is to be used. Fit.Reason says why.
	NotIdentified
)

// Fit is the result of one least-squares fit. Standard errors are those of
// regression, with DOF degrees of freedom.
type Fit struct {
	Form            Form
	CriticalPower   float64 // W
	WPrime          float64 // J
	SECriticalPower float64 // W
	SEWPrime        float64 // J
	Covariance      float64 // W·J, of the two estimates
	R2              float64 // share of the variance of the fitted variable explained
	// K (s, negative when it makes sense) and MaxPower (W), with standard
	// errors, belong to ThreeParameter and are zero otherwise.
	K, SEK, MaxPower, SEMaxPower float64
	Tests                        int
	DOF                          int
	Shortest, Longest            float64 // s, of the tests
	Status                       Status
	Reason                       string // why Status is not Fitted
}

// Score is SE%(CP) + SE%(W′), by which Choose compares the forms.
func (f Fit) Score() float64 {
	return 100 * (f.SECriticalPower/f.CriticalPower + f.SEWPrime/f.WPrime)
}

// Why a set of tests cannot be fitted.
var (
	ErrTooFewTests   = errors.New("too few tests")
	ErrBadTest       = errors.New("durations and watts must be positive numbers")
	ErrSameDuration  = errors.New("all tests have the same duration")
	ErrContradictory = errors.New("the longer tests are not weaker than the shorter ones, so no critical power fits them")
)

func checkTests(tests []Test, atLeast int) error {
	if len(tests) < atLeast {
		return fmt.Errorf("%w: %d, and this form needs %d", ErrTooFewTests, len(tests), atLeast)
	}
	same, samePower := true, true
	for _, t := range tests {
		if !(t.Duration > 0 && t.Watts > 0) || math.IsInf(t.Duration, 1) || math.IsInf(t.Watts, 1) {
			return fmt.Errorf("%w: %g s at %g W", ErrBadTest, t.Duration, t.Watts)
		}
		same = same && t.Duration == tests[0].Duration
		samePower = samePower && t.Watts == tests[0].Watts
	}
	if same {
		return ErrSameDuration
	}
	if samePower {
		return ErrContradictory
	}
	return nil
}

// TwoPoint is the critical power (W) and W′ (J) that two tests of different
// duration agree on exactly: CP = (P₂t₂ − P₁t₁)/(t₂ − t₁). There is nothing
// left over to tell its error from.
func TwoPoint(a, b Test) (criticalPower, wPrime float64, err error) {
	if err := checkTests([]Test{a, b}, 2); err != nil {
		return 0, 0, err
	}
	criticalPower = (b.Watts*b.Duration - a.Watts*a.Duration) / (b.Duration - a.Duration)
	wPrime = (a.Watts - criticalPower) * a.Duration
	if criticalPower <= 0 || wPrime <= 0 {
		return 0, 0, ErrContradictory
	}
	return criticalPower, wPrime, nil
}

// line is an ordinary least-squares line y = intercept + slope·x.
type line struct{ intercept, slope, seIntercept, seSlope, covariance, r2 float64 }

func fitLine(x, y []float64) line {
	n := float64(len(x))
	var mx, my float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	var sxx, sxy, syy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
		syy += (y[i] - my) * (y[i] - my)
	}
	l := line{slope: sxy / sxx}
	l.intercept = my - l.slope*mx
	ss := 0.0
	for i := range x {
		e := y[i] - l.intercept - l.slope*x[i]
		ss += e * e
	}
	s2 := ss / (n - 2)
	l.seSlope = math.Sqrt(s2 / sxx)
	l.seIntercept = math.Sqrt(s2 * (1/n + mx*mx/sxx))
	l.covariance = -s2 * mx / sxx
	l.r2 = 1 - ss/syy
	return l
}

// FitLinear fits work on time. It needs three tests of at least two durations.
func FitLinear(tests []Test) (Fit, error) {
	if err := checkTests(tests, 3); err != nil {
		return Fit{}, err
	}
	x, y := make([]float64, len(tests)), make([]float64, len(tests))
	for i, t := range tests {
		x[i], y[i] = t.Duration, t.Watts*t.Duration
	}
	l := fitLine(x, y)
	f := newFit(LinearWork, tests)
	f.CriticalPower, f.SECriticalPower = l.slope, l.seSlope
	f.WPrime, f.SEWPrime = l.intercept, l.seIntercept
	f.Covariance, f.R2 = l.covariance, l.r2
	return f.checked()
}

// FitInverse fits power on 1/time. It needs three tests of at least two durations.
func FitInverse(tests []Test) (Fit, error) {
	if err := checkTests(tests, 3); err != nil {
		return Fit{}, err
	}
	x, y := make([]float64, len(tests)), make([]float64, len(tests))
	for i, t := range tests {
		x[i], y[i] = 1/t.Duration, t.Watts
	}
	l := fitLine(x, y)
	f := newFit(InverseTime, tests)
	f.CriticalPower, f.SECriticalPower = l.intercept, l.seIntercept
	f.WPrime, f.SEWPrime = l.slope, l.seSlope
	f.Covariance, f.R2 = l.covariance, l.r2
	return f.checked()
}

// FitHyperbolic fits time on power, t = W′/(P−CP), by non-linear least
// squares. It needs three tests of at least two durations.
func FitHyperbolic(tests []Test) (Fit, error) {
	if err := checkTests(tests, 3); err != nil {
		return Fit{}, err
	}
	cp, edge := profile(tests, sharesOnly)
	if edge {
		return Fit{}, ErrContradictory
	}
	w, _, ss := sharesOnly(tests, cp)
	f := newFit(Hyperbolic, tests)
	f.CriticalPower, f.WPrime = cp, w
	rows := make([][3]float64, len(tests))
	for i, t := range tests {
		d := t.Watts - cp
		rows[i] = [3]float64{w / (d * d), 1 / d, 0}
	}
	cov, ok := timeCovariance(rows, 2, ss/float64(f.DOF))
	if !ok {
		return Fit{}, ErrContradictory
	}
	f.SECriticalPower, f.SEWPrime, f.Covariance = math.Sqrt(cov[0][0]), math.Sqrt(cov[1][1]), cov[0][1]
	f.R2 = 1 - ss/timeVariation(tests)
	return f.checked()
}

// FitThreeParameter fits t = W′/(P−CP) + k by non-linear least squares. It
// needs four tests. Tests without short efforts often leave k undetermined:
// then Status is NotIdentified and the numbers mean nothing. k counts as
// identified when it is negative by two standard errors and CP and W′ have
// standard errors below half of themselves; these limits are our judgement.
//
// MaxPower is where the curve meets t = 0. It is not a rider's sprint: in 10
// riders it was 1184 ± 265 W against 1554 ± 235 W measured on one leg
// (Experimental validation of the 3-parameter critical power model, EJAP
// 2019, doi 10.1007/s00421-019-04083-z; known from the abstract only).
func FitThreeParameter(tests []Test) (Fit, error) {
	if err := checkTests(tests, 4); err != nil {
		return Fit{}, err
	}
	f := newFit(ThreeParameter, tests)
	f.DOF--
	cp, edge := profile(tests, sharesAndOffset)
	w, k, ss := sharesAndOffset(tests, cp)
	if edge || w <= 0 || cp <= 0 {
		return f.unidentified("the tests are fitted best without a critical power above zero"), nil
	}
	rows := make([][3]float64, len(tests))
	for i, t := range tests {
		d := t.Watts - cp
		rows[i] = [3]float64{w / (d * d), 1 / d, 1}
	}
	cov, ok := timeCovariance(rows, 3, ss/float64(f.DOF))
	if !ok {
		return f.unidentified("the tests do not separate the three parameters"), nil
	}
	f.CriticalPower, f.WPrime, f.K = cp, w, k
	f.SECriticalPower, f.SEWPrime, f.SEK = math.Sqrt(cov[0][0]), math.Sqrt(cov[1][1]), math.Sqrt(cov[2][2])
	f.Covariance, f.R2 = cov[0][1], 1-ss/timeVariation(tests)
	switch {
	case k >= 0:
		return f.unidentified("the third parameter has the sign of no maximal power"), nil
	case k > -2*f.SEK:
		return f.unidentified("the third parameter is within two standard errors of zero"), nil
	case f.SECriticalPower > cp/2 || f.SEWPrime > w/2:
		return f.unidentified("the standard errors are as large as the numbers"), nil
	}
	f.MaxPower = cp - w/k
	g := [3]float64{1, -1 / k, w / (k * k)} // gradient of MaxPower
	variance := 0.0
	for i := range g {
		for j := range g {
			variance += g[i] * cov[i][j] * g[j]
		}
	}
	f.SEMaxPower = math.Sqrt(variance)
	return f, nil
}

func newFit(form Form, tests []Test) Fit {
	f := Fit{Form: form, Tests: len(tests), DOF: len(tests) - 2, Shortest: math.Inf(1)}
	for _, t := range tests {
		f.Shortest, f.Longest = math.Min(f.Shortest, t.Duration), math.Max(f.Longest, t.Duration)
	}
	return f
}

func (f Fit) checked() (Fit, error) {
	if !(f.CriticalPower > 0 && f.WPrime > 0) {
		return Fit{}, ErrContradictory
	}
	return f, nil
}

func (f Fit) unidentified(reason string) Fit {
	f.Status, f.Reason = NotIdentified, reason
	return f
}

// sharesOnly is the best W′ for a given critical power in t = W′/(P−CP), and
// the sum of squares (s²) that it leaves.
func sharesOnly(tests []Test, cp float64) (w, k, ss float64) {
	var xx, xt float64
	for _, t := range tests {
		x := 1 / (t.Watts - cp)
		xx, xt = xx+x*x, xt+x*t.Duration
	}
	w = xt / xx
	for _, t := range tests {
		e := t.Duration - w/(t.Watts-cp)
		ss += e * e
	}
	return w, 0, ss
}

// sharesAndOffset is the same for t = W′/(P−CP) + k.
func sharesAndOffset(tests []Test, cp float64) (w, k, ss float64) {
	x, y := make([]float64, len(tests)), make([]float64, len(tests))
	for i, t := range tests {
		x[i], y[i] = 1/(t.Watts-cp), t.Duration
	}
	l := fitLine(x, y)
	for i := range x {
		e := y[i] - l.intercept - l.slope*x[i]
		ss += e * e
	}
	return l.slope, l.intercept, ss
}

// profile finds the critical power with the least sum of squares, the other
// parameters being at their best for each. It searches the logarithm of the
// distance below the weakest test, first on a grid, then by golden section,
// so that it needs no starting value and cannot run past the asymptote. edge
// reports that the best value lies at the end of the range searched.
func profile(tests []Test, at func([]Test, float64) (w, k, ss float64)) (cp float64, edge bool) {
	weakest := math.Inf(1)
	for _, t := range tests {
		weakest = math.Min(weakest, t.Watts)
	}
	cost := func(u float64) float64 {
		_, _, ss := at(tests, weakest-math.Exp(u))
		if math.IsNaN(ss) {
			return math.Inf(1)
		}
		return ss
	}
	const steps = 400
	low, high := math.Log(weakest*1e-6), math.Log(weakest*4)
	best, bestCost := 0, math.Inf(1)
	for i := range steps + 1 {
		if c := cost(low + (high-low)*float64(i)/steps); c < bestCost {
			best, bestCost = i, c
		}
	}
	if best == 0 || best == steps {
		return weakest - math.Exp(low+(high-low)*float64(best)/steps), true
	}
	a := low + (high-low)*float64(best-1)/steps
	b := low + (high-low)*float64(best+1)/steps
	return weakest - math.Exp(goldenSection(cost, a, b)), false
}

func goldenSection(f func(float64) float64, a, b float64) float64 {
	const ratio = 0.6180339887498949
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	fc, fd := f(c), f(d)
	for b-a > 1e-11*(math.Abs(a)+math.Abs(b)) {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - ratio*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + ratio*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

// timeCovariance is s2·(JᵀJ)⁻¹ of the first n columns of the Jacobian. The
// columns are scaled to unit length first, because watts, joules and seconds
// differ by orders of magnitude.
func timeCovariance(rows [][3]float64, n int, s2 float64) (cov [3][3]float64, ok bool) {
	var scale [3]float64
	for _, r := range rows {
		for j := range n {
			scale[j] += r[j] * r[j]
		}
	}
	a := [3][6]float64{}
	for j := range n {
		scale[j] = math.Sqrt(scale[j])
		a[j][n+j] = 1
	}
	for _, r := range rows {
		for i := range n {
			for j := range n {
				a[i][j] += r[i] / scale[i] * r[j] / scale[j]
			}
		}
	}
	for i := range n { // Gauss–Jordan; the matrix is positive definite
		if !(a[i][i] > 1e-13) {
			return cov, false
		}
		pivot := a[i][i]
		for j := range 2 * n {
			a[i][j] /= pivot
		}
		for r := range n {
			if factor := a[r][i]; r != i {
				for j := range 2 * n {
					a[r][j] -= factor * a[i][j]
				}
			}
		}
	}
	for i := range n {
		for j := range n {
			cov[i][j] = s2 * a[i][n+j] / scale[i] / scale[j]
		}
	}
	return cov, true
}

func timeVariation(tests []Test) float64 {
	mean, ss := 0.0, 0.0
	for _, t := range tests {
		mean += t.Duration / float64(len(tests))
	}
	for _, t := range tests {
		ss += (t.Duration - mean) * (t.Duration - mean)
	}
	return ss
}
