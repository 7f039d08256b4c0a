package rig

import (
	"fmt"
	"math"
	"sort"

	"chainline/estimate"
)

// withoutEachOther looks for watts of still cranks and turning cranks without
// watts.
func (l *look) withoutEachOther(c *track) {
	cad := l.cadenceOf(c.source)
	if cad == nil {
		l.unsaid(PowerNoCadence, c.source, "no cadence is recorded")
		l.unsaid(CadenceNoPower, c.source, "no cadence is recorded")
		return
	}
	rests := append(l.phases(Zero, QuietRest, Coast), l.paused...)
	var still, alone, turning, dead float64
	for i, t := range c.t {
		now, ok := cad.at(t)
		old, okOld := cad.at(t - 5)
		if !ok || !okOld || within(rests, t) {
			continue
		}
		switch {
		case now == 0 && old == 0:
			still += c.every
			if c.v[i] > 20 {
				alone += c.every
			}
		case now > 40 && old > 40:
			turning += c.every
			if c.v[i] == 0 {
				dead += c.every
			}
		}
	}
	if turning < 120 {
		l.unsaid(CadenceNoPower, c.source, "the cranks turned for less than two minutes")
	} else if l.right(CadenceNoPower); dead > 10 && dead > 0.03*turning {
		l.apart(CadenceNoPower, c, dead, turning, fmt.Sprintf("%s shows 0 W for %.0f s in which the cranks turned: %.0f W would be missed at threshold.", c.source, dead, l.threshold))
	}
	l.right(PowerNoCadence)
	if alone > 10 && alone > 0.01*(turning+still) {
		l.apart(PowerNoCadence, c, alone, turning+still, fmt.Sprintf("%s shows watts for %.0f s in which the cranks stood still: all of them are wrong, however few against %.0f W.", c.source, alone, l.threshold))
	}
}

func (l *look) apart(s Subject, c *track, k, n float64, what string) {
	low, high := wilson(k/5, n/5, z95) // five seconds as one witness, our judgement
	l.found(ranged(Finding{
		Subject: s, Source: c.source, Sure: 0.99, What: what,
		Do:   []string{"check magnet and sensor of the cadence, and that both channels come from the same bicycle", "set the meter's zero again (common practice)"},
		Plot: Plot{Title: "Watts of " + c.source, X: "seconds", Y: "W", Points: scatter(c, 0, math.Inf(1))},
	}, k/n, low, high, "counted"))
}

// zeroAtRest is the torque that a source shows while cranks turn and nothing
// pushes them: in the zero phase, turned backwards or by hand.
func (l *look) zeroAtRest(c *track) {
	if l.hasFoundOf(Smoothing, c.source) {
		l.unsaid(ZeroOffset, c.source, "its watts are smoothed, so that those of before the rest are still shown")
		return
	}
	cad := l.cadenceOf(c.source)
	var watts, speeds []float64
	for _, w := range l.phases(Zero) {
		for k := sort.SearchFloat64s(c.t, w.from+3); k < len(c.t) && c.t[k] < w.to-1; k++ {
			now, ok := cad.at(c.t[k])
			old, okOld := cad.at(c.t[k] - 3)
			if ok && okOld && now > 20 && old > 20 {
				watts, speeds = append(watts, c.v[k]), append(speeds, now*math.Pi/30)
			}
		}
	}
	if float64(len(watts))*c.every < 10 {
		l.unsaid(ZeroOffset, c.source, "the cranks were not turned without a push for 10 s, backwards or by hand, in the zero phase")
		return
	}
	l.right(ZeroOffset)
	w, sd := meanSD(watts)
	omega, _ := meanSD(speeds)
	torque := w / omega
	// Whole watts round by up to half a watt, which does not average out when
	// the readings hardly move; and a healthy meter's own offset is some tenths.
	se := math.Hypot(math.Hypot(0.12, 0.11)/omega, math.Hypot(sd/math.Sqrt(float64(len(watts))*c.every)/omega, 0.017))
	if torque-3.5*se < 0.1 {
		return
	}
	l.found(l.zeroFinding(c, torque, se, "cranks turned without a push"))
}

func (l *look) zeroFinding(c *track, torque, se float64, origin string) Finding {
	omega := 85 * math.Pi / 30
	return ranged(Finding{
		Subject: ZeroOffset, Source: c.source, Sure: 0.999,
		Watts: estimate.Normal(torque*omega, se*omega, origin),
		What:  fmt.Sprintf("%s shows %.1f N m when nothing is pushed: %.0f W at 85 rpm too much, at %.0f W as at any other power.", c.source, torque, torque*omega, l.threshold),
		Do:    []string{"set the meter's zero before each ride, feet off, cranks as its maker says (common practice)", "if it comes back: tighten what holds the meter, put in a fresh battery (common practice)"},
		Prior: "common practice: zero before each ride",
		Plot:  Plot{Title: "Watts of " + c.source + " in the zero phase", X: "seconds", Y: "W", Points: l.zeroPoints(c)},
	}, torque, torque-z95*se, torque+z95*se, origin)
}

func (l *look) zeroPoints(c *track) [][2]float64 {
	var p [][2]float64
	for _, w := range l.phases(Zero) {
		p = append(p, scatter(c, w.from, w.to)...)
	}
	return p[:min(len(p), mostPlotted)]
}
