package rig

import (
	"math"
	"sort"
)

// identity is each against the other, the identity and the fit.
func (j *pairJudge) identity() Plot {
	f := &j.out.fitter
	p := Plot{Title: j.p.Source.Source + " against " + j.p.Against.Source, X: j.p.Against.Source + ", W", Y: j.p.Source.Source + ", W", Names: []string{"equal", "fit"}}
	f.heat()
	for _, b := range thinned(f.blocks) {
		p.Points = append(p.Points, [2]float64{b.x, b.y})
	}
	lo, hi := j.powers[0], j.powers[1]
	at := func(x float64) [2]float64 {
		t := j.out.fit.theta
		return [2]float64{x, t[byOffset] + x*math.Exp(t[byGain]+t[byDrivetrain])}
	}
	p.Lines = [][][2]float64{{{lo, lo}, {hi, hi}}, {at(lo), at(hi)}}
	return p
}

func thinned(b []block) []block {
	stride := (len(b) + mostPlotted - 1) / mostPlotted
	if stride <= 1 {
		return b
	}
	var out []block
	for i := 0; i < len(b); i += stride {
		out = append(out, b[i])
	}
	return out
}

// ratioBy is the ratio of the two against what it hangs on, with the fit of
// each block's own time, cadence and power.
func (j *pairJudge) ratioBy(x string, of func(block) float64) Plot {
	f, theta := &j.out.fitter, j.out.fit.theta
	p := Plot{Title: j.p.Source.Source + " over " + j.p.Against.Source, X: x, Y: "ratio", Names: []string{"fit"}}
	var line [][2]float64
	for _, b := range thinned(f.blocks) {
		at := of(b)
		if math.IsNaN(at) {
			continue
		}
		p.Points = append(p.Points, [2]float64{at, b.y / b.x})
		sum := 0.0
		for i, c := range f.columns(b) {
			if i != byOffset {
				sum += c * theta[i]
			}
		}
		line = append(line, [2]float64{at, theta[byOffset]/b.x + math.Exp(sum)})
	}
	sort.Slice(line, func(i, k int) bool { return line[i][0] < line[k][0] })
	p.Lines = [][][2]float64{line}
	return p
}

// steps is a stretch of both sources, second by second, about the greatest
// change of power.
func (j *pairJudge) steps() Plot {
	a, b := soundSeries(j.p.Against), soundSeries(j.p.Source)
	from, to := overlap(a, b)
	best, at := 0.0, from
	for t := from + 40; t+40 < to; t += 5 {
		if d := math.Abs(a.mean(t, t+10) - a.mean(t-10, t)); d > best {
			best, at = d, t
		}
	}
	p := Plot{Title: "A change of power as both show it", X: "time, s", Y: "power, W", Names: []string{a.source, b.source}}
	for _, s := range []series{a, b} {
		cut := s.cut(at-30, at+40)
		var line [][2]float64
		for i, t := range cut.t {
			line = append(line, [2]float64{t, cut.v[i]})
		}
		p.Lines = append(p.Lines, line)
	}
	return p
}
