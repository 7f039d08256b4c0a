package capacity

import (
	"math"

	"chainline/estimate"
	"gonum.org/v1/gonum/stat/distuv"
)

// The inference itself: evidence as linear measurements with normal errors,
// taken into a normal belief one by one. What counts as a measurement of what
// is decided in infer.go; a better inference replaces this file.

// measurement says that gradient·(CP, W′, MaxPower, Fade) was found to be
// value, with standard deviation sd. piece numbers the piece of evidence it
// belongs to: a fit is one piece and two measurements.
type measurement struct {
	gradient  [4]float64
	value, sd float64
	piece     int
}

// powerMeasurement is a power in watts held for a duration (s); +Inf is
// critical power.
func powerMeasurement(duration, watts, sd float64, piece int) measurement {
	m := measurement{gradient: [4]float64{1}, value: watts, sd: sd, piece: piece}
	if !math.IsInf(duration, 1) {
		m.gradient = powerGradient(duration)
	}
	return m
}

// fitMeasurements are CP and W′ of a fit with the covariance c (CP², CP·W′,
// W′²), turned into two independent ones of unit error by its Cholesky factor.
func fitMeasurements(f Fit, c [3]float64, piece int) [2]measurement {
	l11 := math.Sqrt(c[0])
	l21 := c[1] / l11
	l22 := math.Sqrt(math.Max(c[2]-l21*l21, 1e-12*c[2]))
	a, b := -l21/(l11*l22), 1/l22
	return [2]measurement{
		{gradient: [4]float64{1 / l11}, value: f.CriticalPower / l11, sd: 1, piece: piece},
		{gradient: [4]float64{a, b}, value: a*f.CriticalPower + b*f.WPrime, sd: 1, piece: piece},
	}
}

// widen is how much wider 80 % of Student's t with dof degrees of freedom is
// than 80 % of the normal distribution.
func widen(dof int) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(dof)}.Quantile(0.9) / estimate.Z80
}

// updated is the belief after a measurement (Kalman's update in Joseph's
// form, which keeps the covariance positive).
func (b belief) updated(m measurement) belief {
	var sg [4]float64 // Σg
	variance := m.sd * m.sd
	for i := range sg {
		for j := range sg {
			sg[i] += b.cov[i][j] * m.gradient[j]
		}
	}
	for i := range sg {
		variance += m.gradient[i] * sg[i]
	}
	off := m.value - dot(m.gradient, b.mean)
	var keep [4][4]float64 // I − K·gᵀ
	out := belief{}
	for i := range sg {
		k := sg[i] / variance
		out.mean[i] = b.mean[i] + k*off
		for j := range sg {
			keep[i][j] = -k * m.gradient[j]
		}
		keep[i][i]++
	}
	half := product(keep, b.cov)
	for i := range half {
		for j := range half {
			for l := range half {
				out.cov[i][j] += half[i][l] * keep[j][l]
			}
			out.cov[i][j] += sg[i] * sg[j] * m.sd * m.sd / (variance * variance)
		}
	}
	return out
}

// surprise is how many standard deviations a measurement lies from what the
// belief and its own error allow.
func (b belief) surprise(m measurement) float64 {
	variance := m.sd * m.sd
	for i := range m.gradient {
		for j := range m.gradient {
			variance += m.gradient[i] * b.cov[i][j] * m.gradient[j]
		}
	}
	return (m.value - dot(m.gradient, b.mean)) / math.Sqrt(variance)
}

// factor is the lower triangular Cholesky factor of the covariance. A
// covariance that rounding has left singular gets the least jitter on its
// correlations that makes it positive definite.
func (b belief) factor() [4][4]float64 {
	var scale [4]float64
	for i := range scale {
		scale[i] = math.Sqrt(b.cov[i][i])
	}
	for jitter := 0.0; jitter < 1; jitter = math.Max(1e-12, 10*jitter) {
		if l, ok := cholesky(b.cov, scale, jitter); ok {
			return l
		}
	}
	panic("capacity: covariance is not positive") // updated keeps it so
}

// cholesky factors the covariance after scaling it to correlations, to whose
// diagonal it adds jitter.
func cholesky(cov [4][4]float64, scale [4]float64, jitter float64) (l [4][4]float64, ok bool) {
	for i := range 4 {
		for j := 0; j <= i; j++ {
			sum := cov[i][j] / scale[i] / scale[j]
			if i == j {
				sum += jitter
			}
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			switch {
			case i != j:
				l[i][j] = sum / l[j][j]
			case sum > 1e-13:
				l[i][i] = math.Sqrt(sum)
			default:
				return l, false
			}
		}
	}
	for i := range 4 {
		for j := range 4 {
			l[i][j] *= scale[i]
		}
	}
	return l, true
}

func dot(a, b [4]float64) float64 {
	return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] + a[3]*b[3]
}

func product(a, b [4][4]float64) (c [4][4]float64) {
	for i := range a {
		for j := range a {
			for k := range a {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}
