package rig

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Peak expiratory flow by a large and a small meter, first readings. Bland and
// Altman 1986, Lancet i:307; the readings are from public data files that
// quote them (secondary), the paper itself was not read.
var (
	largeMeter = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	smallMeter = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
)

// The figures to 1e-6 were computed outside this program from the readings;
// the paper's own, from memory, are rounded: −2.1 L/min, sd 38.8, limits −79.7
// and 75.5 at two sd, interval of the bias −22.0 to 17.8, r 0.94.
func TestPublishedBlandAltman(t *testing.T) {
	a, err := Agree(largeMeter, smallMeter, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", a.Bias, -2.117647, 1e-6)
	near(t, "sd", a.SD, 38.765130, 1e-6)
	near(t, "lower limit", a.Low, -78.097301, 2e-6)
	near(t, "upper limit", a.High, 73.862007, 2e-6)
	near(t, "correlation", a.Correlation, 0.943279, 1e-6)
	near(t, "lower limit as printed", a.Bias-2*a.SD, -79.7, 0.1)
	near(t, "upper limit as printed", a.Bias+2*a.SD, 75.5, 0.1)
	near(t, "interval as printed", a.BiasLow, -22.0, 0.06)
	near(t, "interval as printed", a.BiasHigh, 17.8, 0.06)
	near(t, "standard error of a limit by hand", a.LimitSE, math.Sqrt(3*38.765130*38.765130/17), 1e-5)
}

// Pearson 1901, Phil Mag 2:559: ten points and the line of closest fit,
// y = 5.7857 − 0.546·x through (3.82, 3.70) as public code that quotes the
// paper has it (secondary; points from two such files).
func TestPublishedPearsonLine(t *testing.T) {
	x := []float64{0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4}
	y := []float64{5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5}
	l, err := Deming(x, y, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gain", l.Gain, -0.546, 5e-4)
	near(t, "offset", l.Offset, 5.7857, 2e-3)
	near(t, "through the middle", l.Offset+3.82*l.Gain, 3.70, 1e-9)
}

// The line of closest fit is the principal axis: the library's singular
// values of the centred points, y scaled by the root of the ratio.
func TestAnalyticDemingIsPrincipalAxis(t *testing.T) {
	for _, ratio := range []float64{0.25, 1, 3} {
		n := len(largeMeter)
		m := mat.NewDense(n, 2, nil)
		mx, _ := meanSD(largeMeter)
		my, _ := meanSD(smallMeter)
		for i := range n {
			m.Set(i, 0, largeMeter[i]-mx)
			m.Set(i, 1, (smallMeter[i]-my)/math.Sqrt(ratio))
		}
		var svd mat.SVD
		if !svd.Factorize(m, mat.SVDThin) {
			t.Fatal("no singular values")
		}
		var v mat.Dense
		svd.VTo(&v)
		want := v.At(1, 0) / v.At(0, 0) * math.Sqrt(ratio)
		l, err := Deming(largeMeter, smallMeter, ratio)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "gain", l.Gain, want, 1e-9)
		near(t, "offset", l.Offset, my-want*mx, 1e-6)
	}
}

// The regression of several ways at a time is Deming's where only gain and
// offset are free.
func TestAnalyticFitIsDeming(t *testing.T) {
	var f fitter
	for i := range largeMeter {
		f.blocks = append(f.blocks, block{index: i, x: largeMeter[i], y: smallMeter[i], cadence: math.NaN()})
		f.used = append(f.used, true)
	}
	f.warmS, f.inflate, f.flat = 240, 1, 400
	for i := range f.prior {
		f.prior[i] = 1e-6
	}
	f.prior[byDrivetrain] = 0
	for _, ratio := range []float64{0.5, 1, 2} {
		f.shared = ratio
		fit, ok := f.solve([ways]bool{byOffset: true, byGain: true})
		if !ok {
			t.Fatal("no answer")
		}
		want, err := Deming(largeMeter, smallMeter, ratio)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "gain", math.Exp(fit.theta[byGain]), want.Gain, 1e-6)
		near(t, "offset", fit.theta[byOffset], want.Offset, 1e-3)
	}
}

func TestDemingRefuses(t *testing.T) {
	for name, c := range map[string][2][]float64{
		"two pairs": {{1, 2}, {1, 2}}, "one x": {{1, 1, 1}, {1, 2, 3}}, "uneven": {{1, 2, 3}, {1, 2}},
	} {
		if _, err := Deming(c[0], c[1], 1); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := Deming([]float64{1, 2, 3}, []float64{1, 2, 4}, 0); err == nil {
		t.Error("a ratio of nought: accepted")
	}
	if _, err := Agree([]float64{1, 2}, []float64{1, 2}, 0); err == nil {
		t.Error("agreement of two pairs: accepted")
	}
}

// The intervals hold what they say: 95 % of Deming's gains within its
// jackknife interval, and an interval of what was found only when beyond a
// cut holds as often.
func TestIntervalsHold(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	held, n := 0, 1000
	for range n {
		var x, y []float64
		for range 80 {
			w := 100 + 150*r.Float64()
			x = append(x, w+5*r.NormFloat64())
			y = append(y, 2+1.02*w+5*r.NormFloat64())
		}
		l, err := Deming(x, y, 1)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(l.Gain-1.02) < 1.99*l.GainSE {
			held++
		}
	}
	if share := float64(held) / float64(n); share < 0.93 || share > 0.97 {
		t.Errorf("Deming's intervals hold %.3f", share)
	}
	for _, truth := range []float64{1, 3, 4, 6} {
		held, told := 0, 0
		for told < 2000 {
			x := truth + r.NormFloat64()
			if math.Abs(x) < 3 {
				continue
			}
			told++
			if low, high := foundInterval(x, 1, 3); truth >= low && truth <= high {
				held++
			}
		}
		if share := float64(held) / float64(told); share < 0.93 || share > 0.985 {
			t.Errorf("truth %g: %.3f held", truth, share)
		}
	}
}
