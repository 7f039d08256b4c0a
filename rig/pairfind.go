package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// timing says what delay and hidden smoothing there are.
func (j *pairJudge) timing() {
	lag := j.out.lag
	if !lag.ok || lag.delaySD > leastDelaySD || lag.smoothSD > leastSmoothing {
		for _, s := range []Subject{Delay, Smoothing} {
			j.unsaid(s, "the power hardly changes: there is nothing to align by")
		}
		return
	}
	if lag.smoothed {
		f := j.finding(Smoothing, lag.smooth, lag.smoothSD, pairCost, lag.smoothChi, 0)
		f.What = fmt.Sprintf("%s is smoothed: it follows %s as if averaged over about %.1f s.", f.Source, f.Against, f.Size.Mean)
		f.Do = []string{"switch smoothing off in the settings of " + f.Source + " or of what shows it", "do not judge sprints and short efforts by it"}
		f.Plot = j.steps()
		j.out.Findings = append(j.out.Findings, f)
	}
	if j.p.TwoClocks {
		j.unsaid(Delay, "the two files were written by different clocks")
		return
	}
	if lag.late {
		f := j.finding(Delay, lag.excess, lag.delaySD, lagCost, lag.lateChi, lag.delay-lag.excess)
		f.What = fmt.Sprintf("%s comes %.1f s later than %s.", f.Source, f.Size.Mean, f.Against)
		f.Do = []string{"bring the receiver nearer to " + f.Source, "look for smoothing in its settings", "when watching intervals, trust " + f.Against + " for the beginning"}
		f.Plot = j.steps()
		j.out.Findings = append(j.out.Findings, f)
	}
}

// finding about the pair, with the interval that holds given that it was
// found: what lies below the cut would not have been told. The size is told
// with what is known beforehand added to it. Delay and smoothing are turned so
// that they are about the slower one.
func (j *pairJudge) finding(s Subject, size, sd, cost, chi, known float64) Finding {
	f := Finding{Subject: s, Source: j.p.Source.Source, Against: j.p.Against.Source}
	if (s == Delay || s == Smoothing) && size+known < 0 {
		f.Source, f.Against, size, known = f.Against, f.Source, -size, -known
	}
	// The misfit grows with the square of the size: this is where it would
	// have been just too small to be told.
	cut := math.Abs(size) * math.Sqrt(min(1, cost/max(chi, cost)))
	low, high := foundInterval(size, sd, cut)
	f = ranged(f, size+known, low+known, high+known, "this check")
	f.Size.SD = sd
	f.Size.Low80, f.Size.High80 = size+known-estimate.Z80*sd, size+known+estimate.Z80*sd
	f.Sure = sureOf(chi)
	return f
}

// sureOf is the chance that a fault is there whose misfit without it is chi
// higher: at even odds beforehand and the least favourable bound on Bayes
// factors, −e·p·ln p (Sellke, Bayarri and Berger 2001, Am Stat 55:62, from
// memory).
func sureOf(chi float64) float64 {
	p := math.Erfc(math.Sqrt(max(0, chi) / 2))
	if p >= 1/math.E {
		return 0.5
	}
	if p < 1e-12 {
		p = 1e-12
	}
	b := -math.E * p * math.Log(p)
	return 1 / (1 + b)
}

// foundInterval is the 95 % interval of a normal mean, given that its
// estimate was told because it lay beyond ±cut: without that condition sizes
// near the cut would seem larger than they are. It does not cross zero.
func foundInterval(size, sd, cut float64) (low, high float64) {
	if !(sd > 0) {
		return size, size
	}
	if size < 0 {
		low, high = foundInterval(-size, sd, cut)
		return -high, -low
	}
	if size-cut > 6*sd {
		return size - z95*sd, size + z95*sd
	}
	cut = min(cut, size)
	below := func(mu float64) float64 { // chance of an estimate up to size, given that it was told
		up, down := tail((cut-mu)/sd), tail((cut+mu)/sd)
		return 1 - tail((size-mu)/sd)/(up+down)
	}
	find := func(want float64) float64 {
		lo, hi := size-12*sd, size+6*sd
		for range 60 {
			mid := (lo + hi) / 2
			if below(mid) > want {
				lo = mid
			} else {
				hi = mid
			}
		}
		return (lo + hi) / 2
	}
	return max(0, find(0.975)), max(find(0.025), size)
}

// tail is the chance of a standard normal above z.
func tail(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// levels says how the watts of the two differ.
func (j *pairJudge) levels() {
	f := &j.out.fitter
	can := j.can()
	weigh := can
	weigh[byPower] = false // beside an offset and a gain it is hardly told apart
	if !f.weigh(weigh) {
		j.nothing("the regression of one on the other has no answer")
		return
	}
	best, ok := f.choose(can)
	if !ok {
		j.nothing("the regression of one on the other has no answer")
		return
	}
	j.out.fit = best
	j.agreement()
	j.difference()
	j.say(best)
}

// can tells which ways of differing these data can show, and says of the
// others why not.
func (j *pairJudge) can() [ways]bool {
	can := [ways]bool{byOffset: true, byGain: true, byCold: true, byCadence: true, byPower: true}
	if j.warm < leastWarmS {
		cold := fmt.Sprintf("only %.0f min were ridden: meters and brakes drift while cold, ride %.0f min easy first", math.Floor(j.out.Minutes), warmAfterS/60)
		for way, s := range map[int]Subject{byOffset: Offset, byGain: Gain, byCold: WarmUpDrift, byCadence: CadenceBias, byPower: PowerBias} {
			can[way] = false
			j.unsaid(s, cold)
		}
		return can
	}
	if j.cold < leastColdS {
		can[byCold] = false
		j.unsaid(WarmUpDrift, "there is no beginning that both recorded while cold")
	}
	if !j.powersWide {
		can[byOffset], can[byPower] = false, false
		narrow := fmt.Sprintf("the powers ridden lie between %.0f and %.0f W: too narrow to tell an offset from a gain", j.powers[0], j.powers[1])
		j.unsaid(Offset, narrow)
		j.unsaid(PowerBias, narrow)
	}
	if j.out.fitter.cadRange == 0 {
		can[byCadence] = false
		why := "no cadence was recorded"
		if j.cadenceKnown {
			why = fmt.Sprintf("the cadences ridden lie between %.0f and %.0f rpm: too narrow", j.cadences[0], j.cadences[1])
		}
		j.unsaid(CadenceBias, why)
	}
	return can
}

// say makes findings of the ways that are believed.
func (j *pairJudge) say(best fitted) {
	f := &j.out.fitter
	for way, s := range [ways]Subject{byOffset: Offset, byGain: Gain, byCold: WarmUpDrift, byCadence: CadenceBias, byPower: PowerBias} {
		if !best.free[way] {
			continue
		}
		mean, sd := f.average(best, way)
		chi := f.fall(best, way)
		switch way {
		case byCadence: // what the sensor and the legs make of a cadence is known to some per cent
			sd = math.Hypot(sd, 0.04*mean)
		case byOffset:
			sd = math.Hypot(sd, soundZeroSD*usualCadence)
		}
		if way == byGain && !j.powersWide {
			j.narrow(mean)
			continue
		}
		size := mean
		if way != byOffset {
			size = math.Expm1(mean)
		} else { // halfway between before and behind the drivetrain
			size *= math.Exp(-f.side / 2)
		}
		find := j.finding(s, size, sd, costs[way], chi, 0)
		j.describe(&find)
		if justTold(find) {
			find.What += " That there is a difference is sure; how large it is, is known badly, because it is only just large enough to be told."
		}
		j.out.Findings = append(j.out.Findings, find)
	}
}

// justTold tells a finding so near to the cut that its interval reaches down
// to almost nothing.
func justTold(f Finding) bool {
	return min(math.Abs(f.Low95), math.Abs(f.High95)) < 0.25*math.Abs(f.Size.Mean)
}

// narrow says that a difference is there, but not of which kind.
func (j *pairJudge) narrow(mean float64) {
	at := (j.powers[0] + j.powers[1]) / 2
	j.unsaid(Gain, fmt.Sprintf("at %.0f W %s shows %+.1f W against %s, and the powers ridden are too narrow to tell a gain from an offset",
		at, j.p.Source.Source, at*math.Expm1(mean), j.p.Against.Source))
}

// difference is what parts the two at threshold, with gain left open.
func (j *pairJudge) difference() {
	f := &j.out.fitter
	if !j.out.Warm {
		return
	}
	free := j.out.fit.free
	free[byGain] = true
	fit, ok := f.solve(free)
	if !ok {
		return
	}
	t := j.in.threshold()
	var g [ways]float64
	g[byOffset], g[byGain] = 1/t, 1
	if f.powRange > 0 {
		g[byPower] = (math.Log(t) - f.powMid) / f.powRange
	}
	mean, v := 0.0, 0.0
	for i := range g {
		mean += g[i] * fit.theta[i]
		for k := range g {
			v += g[i] * g[k] * fit.cov.At(i, k)
		}
	}
	j.out.Difference = estimate.Normal(math.Expm1(mean), math.Sqrt(v), "this check against "+j.p.Against.Source)
}

// agreement are the limits of agreement of the blocks.
func (j *pairJudge) agreement() {
	f := &j.out.fitter
	var x, y []float64
	for i, b := range f.blocks {
		if f.used[i] {
			x, y = append(x, b.x), append(y, b.y)
		}
	}
	if a, err := Agree(y, x, float64(len(x))/f.inflate); err == nil {
		j.out.Agreement = a
	}
}
