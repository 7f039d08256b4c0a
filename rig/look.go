package rig

import (
	"math"
	"slices"
	"sort"

	"chainline/estimate"
	"chainline/recording"
)

// track is one channel laid out for judging.
type track struct {
	source string
	t, v   []float64 // s; the quantity's unit
	every  float64   // s between readings as a rule
}

// look is a recording laid out for judging, and where the judgement goes.
type look struct {
	in        CheckInput
	threshold float64
	out       *Report
	power     []*track            // one a source of watts, cleaned of spikes and stuck stretches
	raw       []*track            // the same as they came
	bad       map[string][]window // of a source: stretches that cannot be true
	cadence   *track              // in use; nil none
	heart     *track
	wheel     *track
	machine   *track
	commanded *track // W; nil where nothing was commanded in watts
	paused    []window
	clear     map[Subject]bool
}

// window is a stretch of time, s.
type window struct{ from, to float64 }

// hold is how long a reading stands for what follows, s.
const hold = recording.Hold

func newTrack(c recording.Channel) *track {
	return &track{source: c.Source, t: c.Seconds, v: c.Values, every: rhythm(c.Seconds)}
}

// rhythm is the usual time between neighbouring readings, s; 1 for too few.
func rhythm(t []float64) float64 {
	if len(t) < 3 {
		return 1
	}
	d := make([]float64, 0, len(t)-1)
	for i := 1; i < len(t); i++ {
		d = append(d, t[i]-t[i-1])
	}
	slices.Sort(d)
	return max(0.05, d[len(d)/2])
}

// at is the reading in force at an instant; false: none, or too old.
func (c *track) at(s float64) (float64, bool) {
	if c == nil {
		return 0, false
	}
	i := sort.SearchFloat64s(c.t, s+1e-9) - 1
	if i < 0 || s-c.t[i] > max(hold, 2*c.every) {
		return 0, false
	}
	return c.v[i], true
}

// mean and number of the readings with from ≤ t < to.
func (c *track) mean(from, to float64) (mean float64, n int) {
	if c == nil {
		return math.NaN(), 0
	}
	sum := 0.0
	for i := sort.SearchFloat64s(c.t, from); i < len(c.t) && c.t[i] < to; i++ {
		sum += c.v[i]
		n++
	}
	return sum / float64(n), n
}

// slice are the indices of the readings with from ≤ t < to.
func (c *track) slice(from, to float64) (i, j int) {
	return sort.SearchFloat64s(c.t, from), sort.SearchFloat64s(c.t, to)
}

// without is the track less the readings inside windows.
func (c *track) without(ws []window) *track {
	if len(ws) == 0 {
		return c
	}
	out := &track{source: c.source, every: c.every}
	for i, t := range c.t {
		if !within(ws, t) {
			out.t, out.v = append(out.t, t), append(out.v, c.v[i])
		}
	}
	return out
}

func within(ws []window, t float64) bool {
	for _, w := range ws {
		if t >= w.from && t <= w.to {
			return true
		}
	}
	return false
}

func newLook(in CheckInput, out *Report) *look {
	l := &look{in: in, threshold: in.threshold(), out: out, bad: map[string][]window{}, clear: map[Subject]bool{}}
	rec := in.Recording
	for _, source := range rec.Sources(recording.Power) {
		if c, ok := rec.Signal(recording.Power, source); ok && source != "ride" && len(c.Seconds) > 0 {
			l.raw = append(l.raw, newTrack(c))
		}
	}
	l.cadence = l.used(recording.Cadence)
	l.heart = l.used(recording.HeartRate)
	l.wheel = l.used(recording.WheelSpeed)
	l.machine = l.used(recording.MachineSpeed)
	l.commanded = l.orders()
	from := -1.0
	for _, m := range rec.Marks {
		switch {
		case m.Kind == recording.Pause && from < 0:
			from = m.Seconds
		case m.Kind == recording.Resume && from >= 0:
			l.paused, from = append(l.paused, window{from, m.Seconds}), -1
		}
	}
	if from >= 0 {
		l.paused = append(l.paused, window{from, rec.End()})
	}
	return l
}

func (l *look) used(q recording.Quantity) *track {
	c, ok := l.in.Recording.Signal(q, "")
	if !ok || len(c.Seconds) == 0 {
		return nil
	}
	return newTrack(c)
}

// orders are the watts commanded. A channel whose values are all small holds
// gradients, and is not for judging watts.
func (l *look) orders() *track {
	for _, q := range []recording.Quantity{recording.Commanded, recording.Target} {
		if q == recording.Target && l.in.Rig.Trainer.Kind != Controllable && l.in.Rig.Trainer.Kind != Bike {
			continue
		}
		if c := l.used(q); c != nil && slices.Max(c.v) > 25 {
			return c
		}
	}
	return nil
}

// cadenceOf is the cadence told by a source itself, or else the one in use.
func (l *look) cadenceOf(source string) *track {
	if c, ok := l.in.Recording.Signal(recording.Cadence, source); ok && len(c.Seconds) > 0 {
		return newTrack(c)
	}
	return l.cadence
}

// phases of the kinds, as windows.
func (l *look) phases(kinds ...PhaseKind) []window {
	var ws []window
	for _, p := range l.in.Phases {
		if slices.Contains(kinds, p.Kind) {
			ws = append(ws, window{p.From, p.To})
		}
	}
	return ws
}

// stops are the windows in which devices may rest: pauses, zero and quiet rest.
func (l *look) stops() []window {
	return append(l.phases(Zero, QuietRest), l.paused...)
}

func (l *look) found(f Finding) { l.out.Findings = append(l.out.Findings, f) }

func (l *look) right(s Subject) { l.clear[s] = true }

func (l *look) unsaid(s Subject, source, because string) {
	l.out.Unsaid = append(l.out.Unsaid, Unsaid{Subject: s, Source: source, Because: because})
}

// ranged fills size and interval of a finding from a mean and its 95 % limits.
func ranged(f Finding, mean, low, high float64, origin string) Finding {
	sd := (high - low) / (2 * z95)
	f.Size = estimate.Normal(mean, sd, origin)
	f.Low95, f.High95 = low, high
	return f
}

// z95 is the standard normal quantile of 0.975. Source: computed.
const z95 = 1.959963984540054

// Within which a check can be made at all, our judgement.
const (
	leastMinutes = 3.0  // of recording
	warmAfter    = 10.0 // min of riding after which meters and brakes are taken as warm
	mostPlotted  = 600
)

// scatter are at most mostPlotted points of t and v between two times.
func scatter(c *track, from, to float64) [][2]float64 {
	i, j := c.slice(from, to)
	stride := max(1, (j-i+mostPlotted-1)/mostPlotted)
	var p [][2]float64
	for ; i < j; i += stride {
		p = append(p, [2]float64{c.t[i], c.v[i]})
	}
	return p
}

// meanSD are mean and sample standard deviation; sd is 0 for fewer than two.
func meanSD(x []float64) (mean, sd float64) {
	if len(x) == 0 {
		return math.NaN(), 0
	}
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	if len(x) < 2 {
		return mean, 0
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(x)-1))
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return estimate.Quantile(s, 0.5)
}

// spreadOf is a robust standard deviation: the median distance from the
// median, over Φ⁻¹(0.75).
func spreadOf(x []float64) float64 {
	m := median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return median(d) / 0.6744897501960817
}
