package rig

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Line is y = Offset + Gain·x with standard errors.
type Line struct {
	Gain, GainSE     float64
	Offset, OffsetSE float64
	N                int
}

// Deming is the line through points with errors in both x and y, where ratio
// is the variance of y's errors over that of x's; 1 makes it orthogonal
// regression. The least squares of Kummell 1879 and Deming 1943 in closed
// form; standard errors by leaving out one point at a time (the jackknife of
// Linnet 1993, Clin Chem 39:424). Sources from memory. It needs at least
// three points that are not all at one x.
func Deming(x, y []float64, ratio float64) (Line, error) {
	n := len(x)
	if n < 3 || len(y) != n || !(ratio > 0) || math.IsInf(ratio, 1) {
		return Line{}, fmt.Errorf("a line with errors in both needs 3 pairs or more and a ratio above 0")
	}
	gain, offset, ok := deming(x, y, ratio, -1)
	if !ok {
		return Line{}, fmt.Errorf("the points lie on no line")
	}
	l := Line{Gain: gain, Offset: offset, N: n}
	gains, offsets := make([]float64, n), make([]float64, n)
	for i := range x {
		g, a, ok := deming(x, y, ratio, i)
		if !ok {
			return Line{}, fmt.Errorf("the line hangs on a single point")
		}
		gains[i], offsets[i] = float64(n)*gain-float64(n-1)*g, float64(n)*offset-float64(n-1)*a
	}
	_, sd := meanSD(gains)
	l.GainSE = sd / math.Sqrt(float64(n))
	_, sd = meanSD(offsets)
	l.OffsetSE = sd / math.Sqrt(float64(n))
	return l, nil
}

// deming leaves out one point; -1 leaves out none.
func deming(x, y []float64, ratio float64, without int) (gain, offset float64, ok bool) {
	n, mx, my := 0.0, 0.0, 0.0
	for i := range x {
		if i != without {
			n, mx, my = n+1, mx+x[i], my+y[i]
		}
	}
	mx, my = mx/n, my/n
	sxx, syy, sxy := 0.0, 0.0, 0.0
	for i := range x {
		if i != without {
			sxx += (x[i] - mx) * (x[i] - mx)
			syy += (y[i] - my) * (y[i] - my)
			sxy += (x[i] - mx) * (y[i] - my)
		}
	}
	if sxx == 0 || sxy == 0 {
		return 0, 0, false
	}
	d := syy - ratio*sxx
	gain = (d + math.Sqrt(d*d+4*ratio*sxy*sxy)) / (2 * sxy)
	return gain, my - gain*mx, true
}

// Agreement is how far two sources lie apart, reading by reading.
type Agreement struct {
	N                   int
	Bias, SD            float64 // W, of the differences first less second
	BiasLow, BiasHigh   float64 // 95 % interval of the bias
	Low, High           float64 // limits of agreement: bias ± 1.96 sd
	LimitSE             float64 // standard error of each limit
	LowLow, LowHigh     float64 // 95 % interval of the lower limit
	HighLow, HighHigh   float64 // and of the upper one
	Correlation         float64 // of the two sources
	DifferenceWithLevel float64 // correlation of difference with mean: agreement that depends on the level
}

// Agree are bias and limits of agreement (Bland and Altman 1986, Lancet i:307,
// secondary text; the standard errors √(s²/n) and √(3s²/n), with Student's t).
// Independent is how many of the n differences count as independent; 0 is all.
func Agree(first, second []float64, independent float64) (Agreement, error) {
	n := len(first)
	if n < 3 || len(second) != n {
		return Agreement{}, fmt.Errorf("limits of agreement need 3 pairs or more")
	}
	d, m := make([]float64, n), make([]float64, n)
	for i := range first {
		d[i], m[i] = first[i]-second[i], (first[i]+second[i])/2
	}
	a := Agreement{N: n, Correlation: correlation(first, second), DifferenceWithLevel: correlation(d, m)}
	a.Bias, a.SD = meanSD(d)
	if !(independent > 2) || independent > float64(n) {
		independent = float64(n)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: independent - 1}.Quantile(0.975)
	se := a.SD / math.Sqrt(independent)
	a.LimitSE = math.Sqrt(3) * se
	a.BiasLow, a.BiasHigh = a.Bias-t*se, a.Bias+t*se
	a.Low, a.High = a.Bias-1.96*a.SD, a.Bias+1.96*a.SD
	a.LowLow, a.LowHigh = a.Low-t*a.LimitSE, a.Low+t*a.LimitSE
	a.HighLow, a.HighHigh = a.High-t*a.LimitSE, a.High+t*a.LimitSE
	return a, nil
}

func correlation(x, y []float64) float64 {
	mx, _ := meanSD(x)
	my, _ := meanSD(y)
	sxx, syy, sxy := 0.0, 0.0, 0.0
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		syy += (y[i] - my) * (y[i] - my)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if sxx == 0 || syy == 0 {
		return 0
	}
	return sxy / math.Sqrt(sxx*syy)
}

// correlationOfNext is how much of each value is carried into the next, at
// neighbouring places (gap one); 0 for few.
func correlationOfNext(u []float64, at []int) float64 {
	sum, squares, n := 0.0, 0.0, 0
	for i := range u {
		squares += u[i] * u[i] / float64(len(u))
		if i > 0 && at[i] == at[i-1]+1 {
			sum += u[i] * u[i-1]
			n++
		}
	}
	if n < 20 || squares == 0 {
		return 0
	}
	return sum / float64(n) / squares
}
