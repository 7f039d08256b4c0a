package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// shortOfClear is how far beyond doubt a difference to physics or history
// must be, in standard errors.
const shortOfClear = 3.3

// examinePhysics compares watts with what wheel speed and inertia ask for: by
// the curve of a plain trainer, with the flywheel's part in changes of speed.
func (l *look) examinePhysics() {
	curve := l.in.Rig.Trainer.Curve
	speed := l.wheel
	switch {
	case len(l.power) == 0:
		l.unsaid(AgainstPhysics, "", "nothing measures watts")
		return
	case !l.in.Rig.bySpeed():
		l.unsaid(AgainstPhysics, "", "the brake is set by command, so wheel speed alone does not tell the watts")
		return
	case !curve.Known():
		l.unsaid(AgainstPhysics, "", "no power curve of this trainer is known")
		return
	case speed == nil:
		l.unsaid(AgainstPhysics, "", "no wheel speed is recorded")
		return
	}
	for _, c := range l.power {
		l.againstCurve(c, speed, curve)
	}
}

// againstCurve takes stretches of ten seconds in the warm state; the flywheel
// is reckoned where its inertia is known, else only even speed is used.
func (l *look) againstCurve(c, speed *track, curve PowerCurve) {
	const long = 10.0
	var ratios []float64
	p := Plot{Title: "Watts of " + c.source + " and of the curve", X: "m/s", Y: "W", Names: []string{"curve"}}
	top := 0.0
	for from := warmAfter * 60; from+long < c.t[len(c.t)-1]; from += long {
		v, n := speed.mean(from, from+long)
		w, k := c.mean(from, from+long)
		a, _ := speed.mean(from-1, from+1)
		b, _ := speed.mean(from+long-1, from+long+1)
		kinetic := l.in.FlywheelInertia * (b*b - a*a) / 2 / long
		if n < 4 || k < 4 || v < 2 || w < 40 || math.IsNaN(kinetic) || !curve.Covers(v) || l.in.FlywheelInertia == 0 && math.Abs(b-a) > 0.02*v {
			continue
		}
		ratios = append(ratios, w/(curve.Watts(v)+kinetic))
		top = max(top, v)
		if len(p.Points) < mostPlotted {
			p.Points = append(p.Points, [2]float64{v, w})
		}
	}
	if len(ratios) < 12 {
		l.unsaid(AgainstPhysics, c.source, "less than two minutes of warm, steady riding within the curve's table")
		return
	}
	l.right(AgainstPhysics)
	mean, sd := meanSD(ratios)
	loss := 0.0
	lossSD := 0.0
	if before(l.in.Side[c.source]) {
		loss, lossSD = drivetrainMean, drivetrainSD
	}
	size := mean*(1-loss) - 1
	se := math.Hypot(math.Hypot(sd/math.Sqrt(float64(len(ratios))), lossSD), curve.SD)
	if math.Abs(size)-shortOfClear*se < 0 {
		return
	}
	var line [][2]float64
	for v := 0.0; v <= top*1.05; v += 0.25 {
		line = append(line, [2]float64{v, curve.Watts(v)})
	}
	p.Lines = [][][2]float64{line}
	l.found(ranged(Finding{
		Subject: AgainstPhysics, Source: c.source, Against: "curve", Sure: 0.999, Plot: p,
		Watts:    estimate.Normal(size*l.threshold, se*l.threshold, "against the curve"),
		What:     fmt.Sprintf("%s shows %.0f %% %s than wheel speed and this trainer's curve ask for: %.0f W at %.0f W.", c.source, 100*math.Abs(size), pick(size > 0, "more", "less"), math.Abs(size)*l.threshold, l.threshold),
		Do:       []string{"take the curve again with the tyre pressure of today and warm", "check tyre pressure and clamp (common practice)", "set the meter's zero (common practice)"},
		Readings: []string{c.source + " is wrong by this", "or the trainer is not as it was when its curve was taken"},
		Prior:    curve.From,
	}, size, size-z95*se, size+z95*se, "stretches of ten seconds"))
}

// before tells a meter that measures before the drivetrain.
func before(k SourceKind) bool { return k == SourceCrank || k == SourcePedal }

// The drivetrain's loss as a fraction: 2.4 ± 1 %, the prior this program
// carries. Source: efficiency 0.976 of Martin et al. 1998, J Appl Biomech
// 14:276; its spread over chains is our judgement.
const (
	drivetrainMean = 0.024
	drivetrainSD   = 0.010
)

// heartDaySD is by how much one rider's watts at a heart rate differ from day
// to day (fraction): our judgement, from heat, sleep and drift of heart rate.
const heartDaySD = 0.05

// examineHistory compares watts at this rider's heart rate with those of
// earlier rides on the same source.
func (l *look) examineHistory() {
	if len(l.in.History) == 0 {
		l.unsaid(AgainstHistory, "", "no earlier rides with heart rate on this source are known")
		return
	}
	if l.heart == nil || len(l.power) == 0 {
		l.unsaid(AgainstHistory, "", "heart rate and watts are not both recorded")
		return
	}
	if l.hasFound(LockedHeart) {
		l.unsaid(AgainstHistory, l.heart.source, "the heart rate is that of the legs")
		return
	}
	for _, c := range l.power {
		l.againstHistory(c)
	}
}

func (l *look) hasFound(s Subject) bool {
	for _, f := range l.out.Findings {
		if f.Subject == s {
			return true
		}
	}
	return false
}

func (l *look) hasFoundOf(s Subject, source string) bool {
	for _, f := range l.out.Findings {
		if f.Subject == s && f.Source == source {
			return true
		}
	}
	return false
}

func (l *look) againstHistory(c *track) {
	var x, y, w []float64
	days := map[float64]bool{}
	for _, h := range l.in.History {
		if h.Source == c.source && h.Watts > 30 && h.HeartRate > 50 && h.HeartRate < 230 {
			x, y, w = append(x, h.HeartRate), append(y, math.Log(h.Watts)), append(w, 1)
			days[h.Day] = true
		}
	}
	if len(x) < 6 || len(days) < 3 {
		l.unsaid(AgainstHistory, c.source, fmt.Sprintf("%d earlier efforts on %d days; 6 on 3 days are needed", len(x), len(days)))
		return
	}
	now := l.heartEfforts(c)
	if len(now) < 3 {
		l.unsaid(AgainstHistory, c.source, "fewer than three steady stretches of three minutes with heart rate")
		return
	}
	slope, chi := weightedSlope(x, y, w)
	mx, _ := meanSD(x)
	my, _ := meanSD(y)
	scatter := math.Sqrt(chi / float64(len(x)-2))
	var off []float64
	p := Plot{Title: "Watts at heart rate, before and now", X: "beats per minute", Y: "W", Names: []string{"before"}}
	for _, e := range now {
		off = append(off, math.Log(e[1])-my-slope.mean*(e[0]-mx))
		p.Points = append(p.Points, e)
	}
	mean, sd := meanSD(off)
	se := math.Sqrt(sd*sd/float64(len(off)) + scatter*scatter/float64(len(x)) + heartDaySD*heartDaySD*(1+1/float64(len(days))))
	l.right(AgainstHistory)
	if math.Abs(mean)-shortOfClear*se < 0 {
		return
	}
	for _, h := range []float64{mx - 25, mx + 25} {
		p.Lines = append(p.Lines, nil)
		p.Lines[0] = append(p.Lines[0], [2]float64{h, math.Exp(my + slope.mean*(h-mx))})
	}
	p.Lines = p.Lines[:1]
	size := math.Expm1(mean)
	l.found(ranged(Finding{
		Subject: AgainstHistory, Source: c.source, Sure: 0.999, Plot: p, Watts: estimate.Normal(size*l.threshold, se*l.threshold, "heart rate"),
		What:     fmt.Sprintf("%s shows %.0f %% %s watts at your heart rate than on earlier rides: %.0f W at %.0f W.", c.source, 100*math.Abs(size), pick(size > 0, "more", "fewer"), math.Abs(size)*l.threshold, l.threshold),
		Do:       []string{"set the zero or take the spin-down again (common practice)", "ride the check once more on another day"},
		Readings: []string{c.source + " reads otherwise than before", "or your heart rate is not as usual today: heat, sleep, illness, coffee, form"},
		Prior:    "watts at a heart rate differ by some 5 % from day to day: our judgement",
	}, size, math.Expm1(mean-z95*se), math.Expm1(mean+z95*se), "steady stretches"))
}

// heartEfforts are steady stretches of three minutes: mean heart rate of the
// last minute and watts of all three.
func (l *look) heartEfforts(c *track) [][2]float64 {
	var out [][2]float64
	for from := 180.0; from+180 < c.t[len(c.t)-1]; from += 180 {
		w, n := c.mean(from, from+180)
		h, m := l.heart.mean(from+60, from+180)
		first, _ := c.mean(from, from+90)
		if n > 90 && m > 40 && w > 40 && math.Abs(first/w-1) < 0.08 {
			out = append(out, [2]float64{h, w})
		}
	}
	return out
}
