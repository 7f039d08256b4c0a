package rig

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// clocks sets the clock of b by a where each was written by its own device:
// b at time t is a at (t − late)·rate. The likeness is the correlation at the
// best of all shifts that leave at least leastOverlap. The rate is taken as 1:
// two quartz clocks part by less than a tenth of a second in half an hour.
func clocks(a, b series) (late, rate, likeness float64) {
	late, likeness = coarse(a, b)
	return late, 1, likeness
}

const leastOverlap = 300.0 // s

// coarse is the shift of b against a to a second, of the greatest correlation.
func coarse(a, b series) (late, likeness float64) {
	x, y := a.seconds(), b.seconds()
	if len(x) < leastOverlap || len(y) < leastOverlap {
		return 0, 0
	}
	n := 1
	for n < len(x)+len(y) {
		n *= 2
	}
	fft := fourier.NewFFT(n)
	at := func(v []float64) []complex128 {
		padded := make([]float64, n)
		copy(padded, v)
		return fft.Coefficients(nil, padded)
	}
	fx, fy := at(x), at(y)
	for i := range fx {
		fy[i] *= complex(real(fx[i]), -imag(fx[i]))
	}
	corr := fft.Sequence(nil, fy)
	sx, sy := squares(x), squares(y)
	best := math.Inf(-1)
	for shift := -(len(x) - leastOverlap); shift <= len(y)-leastOverlap; shift++ {
		// y[i+shift] against x[i].
		lo, hi := max(0, -shift), min(len(x), len(y)-shift)
		if hi-lo < leastOverlap {
			continue
		}
		energy := math.Sqrt((sx[hi] - sx[lo]) * (sy[hi+shift] - sy[lo+shift]))
		if energy <= 0 {
			continue
		}
		r := corr[(shift+n)%n] / float64(n) / energy
		// Long overlaps are believed before short ones that happen to be alike.
		if score := r * math.Sqrt(float64(hi-lo)); score > best {
			best, likeness = score, r
			late = b.t[0] - a.t[0] + float64(shift)
		}
	}
	return late, likeness
}

func squares(v []float64) []float64 {
	out := make([]float64, len(v)+1)
	for i, x := range v {
		out[i+1] = out[i] + x*x
	}
	return out
}

// seconds is the series each second from its first reading, less its mean.
func (s series) seconds() []float64 {
	if len(s.t) < 2 {
		return nil
	}
	n := int(s.t[len(s.t)-1] - s.t[0])
	out := make([]float64, n)
	mean, i := 0.0, 1
	for k := range out {
		t := s.t[0] + float64(k)
		for i < len(s.t)-1 && s.t[i] < t {
			i++
		}
		out[k] = s.between(i, t)
		mean += out[k] / float64(n)
	}
	for k := range out {
		out[k] -= mean
	}
	return out
}

// cut is the part of a series between two times.
func (s series) cut(from, to float64) series {
	out := series{source: s.source, every: s.every, holes: s.holes}
	for i, t := range s.t {
		if t >= from && t <= to {
			out.t, out.v = append(out.t, t), append(out.v, s.v[i])
		}
	}
	return out
}
