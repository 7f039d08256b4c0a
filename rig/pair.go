package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
	"chainline/recording"
)

// powerPair is two sources of power that saw the same ride. Findings about
// gain, offset, warmth, cadence and power are about Source against Against;
// the one that lags or is smoothed is named by the finding itself.
type powerPair struct {
	Source, Against recording.Channel
	TwoClocks       bool // Against comes from CheckInput.Other: its clock may differ
}

// powerPairs are all pairs worth comparing: the source in use against each
// other one, of this recording and of the other.
func powerPairs(in CheckInput) []powerPair {
	if in.Recording == nil {
		return nil
	}
	names := in.Recording.Sources(recording.Power)
	if len(names) == 0 {
		return nil
	}
	first, _ := in.Recording.Signal(recording.Power, names[0])
	var pairs []powerPair
	for _, name := range names[1:] {
		c, _ := in.Recording.Signal(recording.Power, name)
		pairs = append(pairs, powerPair{Source: first, Against: c})
	}
	if in.Other != nil {
		for _, name := range in.Other.Sources(recording.Power) {
			c, _ := in.Other.Signal(recording.Power, name)
			if c.Source == first.Source {
				c.Source += " (other file)"
			}
			pairs = append(pairs, powerPair{Source: first, Against: c, TwoClocks: true})
		}
	}
	return pairs
}

// pairSubjects are what comparePower judges.
var pairSubjects = []Subject{Gain, Offset, Delay, Smoothing, WarmUpDrift, CadenceBias, PowerBias, OneSided}

// compared is all that two sources of power say about each other.
type compared struct {
	Findings []Finding
	Unsaid   []Unsaid
	// Difference is Source over Against, less one, at the threshold and warm,
	// by the explanation chosen; SD 0 where it cannot be said. Drivetrain
	// tells that they stand on both sides of the drivetrain: the published
	// loss is then taken out of the difference, and its doubt is in the SD.
	Difference estimate.Estimate
	Drivetrain bool
	Warm       bool
	Minutes    float64   // of the ride that both saw
	Agreement  Agreement // of blocks of ten seconds, W
	fit        fitted
	fitter     fitter
	lag        following
}

// What a comparison needs, our judgement.
const (
	leastPairS     = 360.0 // s of riding that both saw
	warmAfterS     = 720.0 // meters and brakes drift while cold
	leastWarmS     = 180.0 // s of riding after that
	leastColdS     = 120.0 // s of riding before, for the drift itself
	blockS         = 10.0
	pairWatts      = 25.0 // below it many meters show nothing
	leastPowers    = 1.35 // highest over lowest power ridden
	leastCadences  = 15.0 // rpm between lowest and highest
	leastLikeness  = 0.6
	leastDelaySD   = 0.4 // s
	leastSmoothing = 1.5 // s
)

// comparePower judges Source against Against. It is deterministic.
func comparePower(in CheckInput, p powerPair) compared {
	var c compared
	a, b := soundSeries(p.Against), soundSeries(p.Source)
	j := &pairJudge{in: in, p: p, out: &c}
	if p.TwoClocks {
		// The clock of the other file is set by this one.
		late, rate, likeness := clocks(b, a)
		if likeness < leastLikeness {
			j.nothing(fmt.Sprintf("%s and %s do not show the same ride: no shift of their clocks makes them alike", p.Source.Source, p.Against.Source))
			return c
		}
		a = a.moved(late, rate)
		a = a.moved(follow(b, a).free, 1)
	}
	if from, to := overlap(a, b); to-from < leastPairS {
		j.nothing(fmt.Sprintf("both were recorded together for only %.0f s; a comparison needs %.0f s", math.Max(0, to-from), leastPairS))
		return c
	}
	c.lag = follow(a, b)
	if c.lag.ok {
		a, b = c.lag.aligned(a, b)
	}
	j.blocks(a, b)
	if !j.enough() {
		return c
	}
	j.timing()
	j.levels()
	j.sides()
	return c
}

// aligned takes delay and smoothing out, so that both show the same instant
// through the same filter.
func (f following) aligned(a, b series) (series, series) {
	switch {
	case f.smoothed && f.smooth > 0:
		a = a.filtered(f.smooth)
	case f.smoothed && f.smooth < 0:
		b = b.filtered(-f.smooth)
	}
	return a, b.moved(f.delay, 1)
}

type pairJudge struct {
	in                       CheckInput
	p                        powerPair
	out                      *compared
	cold, warm               float64 // s of riding
	powers, cadences         [2]float64
	cadenceKnown, powersWide bool
}

func (j *pairJudge) nothing(because string) {
	for _, s := range pairSubjects {
		j.unsaid(s, because)
	}
}

func (j *pairJudge) unsaid(s Subject, because string) {
	j.out.Unsaid = append(j.out.Unsaid, Unsaid{Subject: s, Source: j.p.Source.Source, Because: because})
}

// blocks lays both sources into pieces of ten seconds of riding.
func (j *pairJudge) blocks(a, b series) {
	cadence, known := j.in.Recording.Signal(recording.Cadence, j.p.Source.Source)
	if !known || len(cadence.Seconds) == 0 {
		cadence, known = j.in.Recording.Signal(recording.Cadence, "")
	}
	turning := series{t: cadence.Seconds, v: cadence.Values, every: rhythm(cadence.Seconds)}
	begin := math.NaN()
	from, to := overlap(a, b)
	f := &j.out.fitter
	rest := j.resting()
	for i, t := 0, from; t+blockS <= to; i, t = i+1, t+blockS {
		x, y := a.mean(t, t+blockS), b.mean(t, t+blockS)
		if !(x > pairWatts && y > pairWatts) || j.idle(a, t) || j.idle(b, t) || overlaps(rest, t, t+blockS) {
			continue
		}
		if math.IsNaN(begin) {
			begin = t
		}
		at := t + blockS/2 - begin
		if at < warmAfterS {
			j.cold += blockS
		} else {
			j.warm += blockS
		}
		f.blocks = append(f.blocks, block{index: i, at: at, x: x, y: y, cadence: turning.mean(t, t+blockS)})
	}
	j.out.Minutes = (j.cold + j.warm) / 60
	j.out.Warm = j.warm >= leastWarmS
}

// resting are the phases in which nothing is pushed or the cranks are turned
// backwards, and what surrounds them.
func (j *pairJudge) resting() []window {
	var ws []window
	for _, p := range j.in.Phases {
		if p.Kind == Zero || p.Kind == QuietRest || p.Kind == Coast {
			ws = append(ws, window{p.From, p.To + 2})
		}
	}
	return ws
}

func overlaps(ws []window, from, to float64) bool {
	for _, w := range ws {
		if from < w.to && to > w.from {
			return true
		}
	}
	return false
}

// idle tells a block in which nothing was pushed for a while.
func (j *pairJudge) idle(s series, from float64) bool {
	lo, hi := s.cutIndex(from, from+blockS)
	still := 0
	for _, v := range s.v[lo:hi] {
		if v < pairWatts/2 {
			still++
		}
	}
	return float64(still) > 0.1*float64(hi-lo)
}

// enough tells whether there is a ride to judge by; if not, it says why.
func (j *pairJudge) enough() bool {
	f := &j.out.fitter
	var x, y, cadence []float64
	for _, b := range f.blocks {
		x, y = append(x, b.x), append(y, b.y)
		if !math.IsNaN(b.cadence) && b.cadence > 0 {
			cadence = append(cadence, b.cadence)
		}
	}
	riding := float64(len(f.blocks)) * blockS
	if riding < leastPairS {
		j.nothing(fmt.Sprintf("both show only %.0f s of pedalling; a comparison needs %.0f s", riding, leastPairS))
		return false
	}
	j.powers = [2]float64(quantiles(x, 0.03, 0.97))
	j.powersWide = j.powers[1] > leastPowers*j.powers[0]
	if j.powersWide && correlation(x, y) < leastLikeness {
		j.nothing(fmt.Sprintf("%s and %s contradict each other: one does not follow the other (correlation %.2f)", j.p.Source.Source, j.p.Against.Source, correlation(x, y)))
		return false
	}
	if len(cadence) > len(f.blocks)*3/4 {
		j.cadences = [2]float64(quantiles(cadence, 0.02, 0.98))
		j.cadenceKnown = true
	}
	f.prepare(j)
	return true
}

// prepare sets the middles and ranges that the columns are measured by.
func (f *fitter) prepare(j *pairJudge) {
	f.used = make([]bool, len(f.blocks))
	cadence, power := 0.0, 0.0
	for i, b := range f.blocks {
		f.used[i] = true
		cadence += b.cadence / float64(len(f.blocks))
		power += math.Log(b.x) / float64(len(f.blocks))
	}
	f.warmS, f.shared, f.inflate = usualWarming, 1, 1
	f.prior = soundSD
	if j.cadenceKnown && j.cadences[1]-j.cadences[0] >= leastCadences {
		f.cadMid, f.cadRange = cadence, j.cadences[1]-j.cadences[0]
		if low, high := j.askedCadences(); high > low {
			f.cadRange, j.cadences = high-low, [2]float64{low, high}
		}
		if math.IsNaN(cadence) {
			f.cadMid = (j.cadences[0] + j.cadences[1]) / 2
		}
	}
	if j.powersWide {
		f.powMid, f.powRange = power, math.Log(j.powers[1]/j.powers[0])
	}
	source, against := behind(j.in.Side[j.p.Source.Source]), behind(j.in.Side[j.p.Against.Source])
	if source*against < 0 {
		j.out.Drivetrain = true
		f.prior[byDrivetrain] = lossSD
		f.side = math.Log(1-lossMean) * float64(source-against) / 2
	}
}

// askedCadences are the lowest and the highest cadence that the check asked
// for, rpm; high is 0 where it did not. A bias is told over what was asked,
// which is known, rather than over what legs made of it.
func (j *pairJudge) askedCadences() (low, high float64) {
	low = math.Inf(1)
	for _, p := range j.in.Phases {
		if p.Kind == Cadences && p.Cadence > 0 {
			low, high = min(low, p.Cadence), max(high, p.Cadence)
		}
	}
	return low, high
}

// behind is −1 for a source before the drivetrain, +1 behind it, 0 unknown.
func behind(k SourceKind) int {
	switch k {
	case SourceCrank, SourcePedal:
		return -1
	case SourceHub, SourceTrainer:
		return 1
	}
	return 0
}
