package rig

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"chainline/estimate"
)

// Clock is how the clock of another recording of the same ride goes by this
// one's.
type Clock struct {
	LateS float64 // s by which it was set late, at the beginning of this recording
	// Fast is by how much it runs faster, a fraction: its seconds over this
	// one's, less one. SD 0 where the ride is too short to tell.
	Fast estimate.Estimate
}

// clocks sets the clock of b by a where each was written by its own device:
// b at time t is a at (t − late)·rate. The likeness is the correlation at the
// best of all shifts that leave at least leastOverlap. The rate stays 1 unless
// it is surely another: two quartz clocks part by less than a tenth of a
// second in half an hour.
func clocks(a, b series) (late, rate, likeness float64) {
	late, likeness = coarse(a, b)
	if fast, ok := drift(a, b.moved(late, 1)); ok && likeness >= leastLikeness && math.Abs(fast.Mean) > surely*fast.SD {
		return late, 1 / (1 + fast.Mean), likeness
	}
	return late, 1, likeness
}

// The stretches in which the lag is looked at one by one, our judgement: long
// enough for it to be found to a twentieth of a second, and enough of them
// for their scatter to tell how well.
const (
	driftLong   = 300.0 // s
	driftLeast  = 4     // stretches
	driftFloor  = 0.02  // s, doubt of one that nothing lessens
	mostDrift   = 2e-3  // fraction: beyond it the clocks are no clocks
	driftLikely = 0.6   // s, a lag with more doubt than this tells nothing
)

// drift is by how much b's clock, already set to a second, runs faster than
// a's: the slope of the lag from stretch to stretch, which a delay of the
// source's own does not change. Its sd is the greater of what the lags' own
// doubt and what their scatter about the line make it, the latter widened for
// few stretches.
func drift(a, b series) (estimate.Estimate, bool) {
	from, to := overlap(a, b)
	n := int((to - from) / driftLong)
	if n < driftLeast {
		return estimate.Estimate{}, false
	}
	long := (to - from) / float64(n)
	var x, y, w []float64
	for i := range n {
		begin := from + float64(i)*long
		f := follow(a.cut(begin, begin+long), b.cut(begin, begin+long))
		if !f.ok || !(f.freeSD < driftLikely) {
			continue
		}
		x, y = append(x, begin+long/2), append(y, f.free)
		w = append(w, 1/(f.freeSD*f.freeSD+driftFloor*driftFloor))
	}
	if len(x) < driftLeast {
		return estimate.Estimate{}, false
	}
	slope, chi := weightedSlope(x, y, w)
	free := len(x) - 2
	sd := slope.sd * math.Sqrt(max(1, chi/float64(free))) * studentsT(free) / z95
	if sd == 0 || math.Abs(slope.mean) > mostDrift {
		return estimate.Estimate{}, false
	}
	return estimate.Normal(slope.mean, sd, "lags of stretches of five minutes"), true
}

// ClockOf compares the clocks of the two recordings of a check by their watts.
// The error says why they cannot be compared.
func ClockOf(in CheckInput) (Clock, error) {
	for _, p := range powerPairs(in) {
		if !p.TwoClocks {
			continue
		}
		a, b := soundSeries(p.Source), soundSeries(p.Against)
		late, likeness := coarse(a, b)
		if likeness < leastLikeness {
			return Clock{}, fmt.Errorf("%s and %s do not show the same ride", p.Source.Source, p.Against.Source)
		}
		b = b.moved(late, 1)
		c := Clock{LateS: late}
		fast, ok := drift(a, b)
		if ok {
			c.Fast = fast
			b = b.moved(0, 1/(1+fast.Mean))
		}
		if f := follow(a, b); f.ok {
			c.LateS += f.free
		}
		return c, nil
	}
	return Clock{}, fmt.Errorf("there are not two recordings with watts")
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
