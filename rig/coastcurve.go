package rig

import (
	"fmt"
	"math"
)

// A curve from coast-downs. Force is inertia times slowing, but the slowing
// from one reading to the next is worth little: a sensor that counts turns
// tells a speed of some tenths of a second before. So the law of the force is
// fitted to how the speed falls over whole runs.

// What a curve from coast-downs needs, our judgement.
const (
	coastReadings = 12   // of all runs together
	coastSlowest  = 2.2  // m/s, below which a sensor that counts turns has none in each second
	coastLawSD    = 0.02 // fraction, doubt that the law itself leaves
)

// curveFromCoasts is the power curve from coast-downs with known inertia (kg
// at the wheel's rim). It is what the trainer takes at the wheel, in the
// warmth and at the tyre pressure of the day. Its sd is that of the curve when
// runs are left out one by one (the jackknife), with the inertia's doubt.
func curveFromCoasts(in CheckInput) (PowerCurve, error) {
	m := in.FlywheelInertia
	if !(m > 0 && m < 1000 && in.FlywheelSD >= 0) {
		return PowerCurve{}, fmt.Errorf("the flywheel's inertia is not known")
	}
	var runs []coasting
	n, low, high := 0, math.Inf(1), 0.0
	for _, r := range coastings(in) {
		if f := r.free(); len(f.v) >= 4 {
			runs = append(runs, f)
			n += len(f.v)
			low, high = math.Min(low, f.v[len(f.v)-1]), math.Max(high, f.v[0])
		}
	}
	switch {
	case n < coastReadings:
		return PowerCurve{}, fmt.Errorf("a curve needs %d readings of a wheel that runs down by itself, found %d: let it run down from a higher speed, or more often", coastReadings, n)
	case high < curveRange*low:
		return PowerCurve{}, fmt.Errorf("a curve needs a wider range of wheel speed than %.0f-%.0f km/h", 3.6*low, 3.6*high)
	}
	runs = pieces(runs)
	a, b := coastLaw(runs, -1)
	if !(a+b > 0) {
		return PowerCurve{}, fmt.Errorf("the wheel does not run down as a trainer's does")
	}
	var table []Point
	for v := low; v < high+curveTableGap/2; v += curveTableGap {
		table = append(table, Point{v, m * (a*v + b*v*v*v)})
	}
	doubt := math.Hypot(math.Hypot(coastJackknife(runs, table, m), in.FlywheelSD/m), coastLawSD)
	return NewPowerCurve(table, doubt, fmt.Sprintf("fitted from %d coast-downs, %.0f-%.0f km/h", len(coastings(in)), 3.6*low, 3.6*high))
}

// pieces are the runs, and where there are fewer than three of them their
// thirds, so that some can be left out.
func pieces(runs []coasting) []coasting {
	if len(runs) >= 3 {
		return runs
	}
	var out []coasting
	for _, r := range runs {
		third := max(3, len(r.v)/3)
		for i := 0; i+3 <= len(r.v); i += third {
			to := min(len(r.v), i+third)
			if len(r.v)-to < 3 {
				to = len(r.v)
			}
			out = append(out, coasting{r.t[i:to], r.v[i:to]})
			if to == len(r.v) {
				break
			}
		}
	}
	return out
}

// coastLaw fits v = v₀ − a·t − b·∫v² dt by least squares, with a v₀ of each
// run's own and neither a nor b below nought: force over inertia is a + b·v².
// The run without is left out; −1: none.
func coastLaw(runs []coasting, without int) (a, b float64) {
	var stt, stq, sqq, sty, sqy float64
	for k, r := range runs {
		if k == without {
			continue
		}
		q := make([]float64, len(r.v)) // ∫v² dt
		var mt, mq, mv float64
		n := float64(len(r.v))
		for i := range r.v {
			if i > 0 {
				q[i] = q[i-1] + (r.t[i]-r.t[i-1])*(r.v[i]*r.v[i]+r.v[i]*r.v[i-1]+r.v[i-1]*r.v[i-1])/3
			}
			mt, mq, mv = mt+r.t[i]/n, mq+q[i]/n, mv+r.v[i]/n
		}
		for i := range r.v {
			t, x, y := r.t[i]-mt, q[i]-mq, mv-r.v[i]
			stt, stq, sqq, sty, sqy = stt+t*t, stq+t*x, sqq+x*x, sty+t*y, sqy+x*y
		}
	}
	if d := stt*sqq - stq*stq; d > 1e-9*stt*sqq {
		a, b = (sty*sqq-sqy*stq)/d, (sqy*stt-sty*stq)/d
	}
	switch {
	case a < 0 || a == 0 && b == 0:
		a, b = 0, sqy/sqq
	case b < 0:
		a, b = sty/stt, 0
	}
	return a, b
}

// coastJackknife is the sd of the curve as a fraction, its mean square over
// the table.
func coastJackknife(runs []coasting, table []Point, m float64) float64 {
	n := float64(len(runs))
	sum := 0.0
	for _, p := range table {
		var mean, squares float64
		for k := range runs {
			a, b := coastLaw(runs, k)
			x := m * (a*p.WheelSpeed + b*math.Pow(p.WheelSpeed, 3)) / p.Watts
			mean += x / n
			squares += x * x
		}
		sum += math.Max(0, (n-1)/n*(squares-n*mean*mean))
	}
	return math.Sqrt(sum / float64(len(table)))
}

// free is the part of a coast-down in which nothing but the trainer slows the
// wheel and the sensor sees it: not the second in which the legs still push,
// nor the end, where readings repeat what was.
func (r coasting) free() coasting {
	most := 0.0
	for i := 1; i < len(r.v); i++ {
		most = math.Max(most, (r.v[i-1]-r.v[i])/max(0.2, r.t[i]-r.t[i-1]))
	}
	from := 0
	for i := 1; i < len(r.v); i++ {
		if (r.v[i-1]-r.v[i])/max(0.2, r.t[i]-r.t[i-1]) >= most/2 {
			from = i // the reading before is a mean that the legs are still in
			break
		}
	}
	to := from
	for to < len(r.v) && r.v[to] >= coastSlowest && (to == from || r.v[to] < r.v[to-1]) {
		to++
	}
	return coasting{r.t[from:to], r.v[from:to]}
}
