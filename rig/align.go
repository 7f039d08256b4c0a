package rig

import (
	"math"
	"slices"
	"sort"

	"chainline/recording"
)

// series is one channel cleaned for comparing: what cannot be true is left out
// and gaps are filled with a straight line, so that a spectrum can be taken.
type series struct {
	source string
	t, v   []float64
	every  float64  // s between readings as a rule
	holes  []window // filled, not measured
}

// The limits of what is cleaned, our judgement. A spike stands alone above
// its four neighbours; a run of one value is stuck when it is longer than a
// live effort, shown in whole watts, is likely to stay there.
const (
	spikeW, spikePart = 60.0, 0.3
	stuckS            = 5.0
	stuckShare        = 0.25 // if more than this looks stuck, the values are only coarse
)

// soundSeries is a channel without spikes and stuck stretches.
func soundSeries(c recording.Channel) series {
	s := series{source: c.Source, every: rhythm(c.Seconds)}
	bad := stuckRuns(c, s.every)
	hole := max(recording.Hold, 2.5*s.every)
	for i, t := range c.Seconds {
		if spike(c.Values, i) || within(bad, t) {
			continue
		}
		if n := len(s.t); n > 0 && t-s.t[n-1] > hole {
			s.bridge(t, c.Values[i])
		}
		s.t, s.v = append(s.t, t), append(s.v, c.Values[i])
	}
	return s
}

func spike(v []float64, i int) bool {
	most := 0.0
	for j := i - 2; j <= i+2; j++ {
		if j >= 0 && j < len(v) && j != i {
			most = max(most, v[j])
		}
	}
	return v[i] > most+max(spikeW, spikePart*most)
}

// stuckRuns are the stretches in which a value above nought stays the same.
// Runs must be the longer the coarser the values are.
func stuckRuns(c recording.Channel, every float64) []window {
	for least := stuckS; ; least *= 2 {
		var runs []window
		total, riding := 0.0, 0.0
		for i := 0; i < len(c.Values); {
			j := i + 1
			for j < len(c.Values) && c.Values[j] == c.Values[i] {
				j++
			}
			if c.Values[i] > 0 {
				long := c.Seconds[j-1] - c.Seconds[i] + every
				riding += long
				if long >= least && j-i >= 5 {
					runs = append(runs, window{c.Seconds[i] + every/2, c.Seconds[j-1]})
					total += long
				}
			}
			i = j
		}
		if total <= stuckShare*riding || least > 1000 {
			return runs
		}
	}
}

// bridge fills a hole with a straight line between the means of its banks.
func (s *series) bridge(to, value float64) {
	n := len(s.t)
	from, bank := s.t[n-1], 0.0
	for _, v := range s.v[max(0, n-3):] {
		bank += v / float64(min(n, 3))
	}
	s.holes = append(s.holes, window{from, to})
	for t := from + s.every; t < to-s.every/2; t += s.every {
		s.t = append(s.t, t)
		s.v = append(s.v, bank+(value-bank)*(t-from)/(to-from))
	}
}

// moved is the series with its clock set: t → (t − late)·rate.
func (s series) moved(late, rate float64) series {
	out := s
	out.t, out.holes = slices.Clone(s.t), slices.Clone(s.holes)
	for i := range out.t {
		out.t[i] = (out.t[i] - late) * rate
	}
	for i, h := range out.holes {
		out.holes[i] = window{(h.from - late) * rate, (h.to - late) * rate}
	}
	return out
}

// filtered is the series behind a first-order filter of time constant tau, s.
func (s series) filtered(tau float64) series {
	if tau <= 0 || len(s.v) == 0 {
		return s
	}
	out := s
	out.v = slices.Clone(s.v)
	for i := 1; i < len(out.v); i++ {
		keep := math.Exp(-(s.t[i] - s.t[i-1]) / tau)
		// The mean of the reading's own interval passes the filter as a ramp
		// between readings would.
		mid := (s.v[i] + s.v[i-1]) / 2
		out.v[i] = out.v[i-1]*keep + mid*(1-keep)
	}
	return out
}

// mean over [from, to] of straight lines between the readings; NaN where a
// fifth or more of it was not measured.
func (s series) mean(from, to float64) float64 {
	n := len(s.t)
	if n < 2 || from < s.t[0] || to > s.t[n-1] {
		return math.NaN()
	}
	for _, h := range s.holes {
		if min(h.to, to)-max(h.from, from) > 0.2*(to-from) {
			return math.NaN()
		}
	}
	area := 0.0
	for i := max(1, sort.SearchFloat64s(s.t, from)); i < n && s.t[i-1] < to; i++ {
		a, b := max(from, s.t[i-1]), min(to, s.t[i])
		if b > a {
			area += (b - a) * (s.between(i, a) + s.between(i, b)) / 2
		}
	}
	return area / (to - from)
}

func (s series) between(i int, t float64) float64 {
	return s.v[i-1] + (s.v[i]-s.v[i-1])*(t-s.t[i-1])/(s.t[i]-s.t[i-1])
}

// spectrum is ∫ v·e^(−2πift) dt over [from, to] at the frequencies k·df,
// k = first … first+n−1. It is taken of the changes from reading to reading,
// tapered by a twentieth at both ends, over 2πif: a level that goes on beyond
// the ends would else look like something that both show without delay. The
// readings need not be even in time.
func (s series) spectrum(from, to, df float64, first, n int) []complex128 {
	out := make([]complex128, n)
	i0, i1 := s.cutIndex(from, to)
	edge := (to - from) / 20
	for i := i0 + 1; i < i1; i++ {
		t := (s.t[i] + s.t[i-1]) / 2
		a := s.v[i] - s.v[i-1]
		if near := min(t-from, to-t); near < edge {
			a *= 0.5 - 0.5*math.Cos(math.Pi*near/edge)
		}
		sin, cos := math.Sincos(-2 * math.Pi * df * (t - from))
		turn := complex(cos, sin)
		sin, cos = math.Sincos(-2 * math.Pi * df * float64(first) * (t - from))
		z := complex(a*cos, a*sin)
		for k := range out {
			out[k] += z
			z *= turn
		}
	}
	for k := range out {
		f := float64(first+k) * df
		out[k] /= complex(0, 2*math.Pi*f*sinc(f*s.every))
	}
	return out
}

// overlap is the time both series cover.
func overlap(a, b series) (from, to float64) {
	if len(a.t) < 2 || len(b.t) < 2 {
		return 0, 0
	}
	return max(a.t[0], b.t[0]), min(a.t[len(a.t)-1], b.t[len(b.t)-1])
}

// cutIndex are the readings with from ≤ t < to.
func (s series) cutIndex(from, to float64) (lo, hi int) {
	return sort.SearchFloat64s(s.t, from), sort.SearchFloat64s(s.t, to)
}
