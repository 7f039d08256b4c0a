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
	seconder := map[string]float64{} // s in which another source shows watts too
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
				l.seconds(c, t, seconder)
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
	if alone <= 10 || alone <= 0.01*(turning+still) {
		return
	}
	for other, s := range seconder {
		if s > 0.8*alone { // two sources of watts against one of cadence
			l.deadCadence(cad, c.source, other, alone, turning+still)
			return
		}
	}
	l.apart(PowerNoCadence, c, alone, turning+still, fmt.Sprintf("%s shows watts for %.0f s in which the cadence stands at 0: either these watts are wrong, %.0f W or few, or the cadence is.", c.source, alone, l.threshold),
		"the watts of "+c.source+" are wrong while the cranks stand", "or the cadence of "+cad.source+" stands while the cranks turn")
}

// seconds counts what other sources show at an instant.
func (l *look) seconds(c *track, t float64, seconder map[string]float64) {
	for _, o := range l.raw {
		if w, ok := o.at(t); ok && o.source != c.source && w > 20 {
			seconder[o.source] += c.every
		}
	}
}

// deadCadence is a cadence that stands while two sources show watts: found
// once, and the cadence's device is named.
func (l *look) deadCadence(cad *track, a, b string, alone, all float64) {
	if l.hasFoundOf(PowerNoCadence, cad.source) {
		return
	}
	low, high := wilson(alone/5, all/5, z95)
	l.found(ranged(Finding{
		Subject: PowerNoCadence, Source: cad.source, Against: a + " and " + b, Sure: 0.999,
		What: fmt.Sprintf("The cadence of %s stands at 0 for %.0f s in which %s and %s both show watts: the cadence is wrong; watts at %.0f W are harmed only if %s reckons them from it.", cad.source, alone, a, b, l.threshold, cad.source),
		Do:   []string{"check the cadence's magnet and sensor, and its battery (common practice)", "let another device tell the cadence"},
		Plot: Plot{Title: "Cadence of " + cad.source, X: "seconds", Y: "rpm", Points: scatter(cad, 0, math.Inf(1))},
	}, alone/all, low, high, "counted"))
}

func (l *look) apart(s Subject, c *track, k, n float64, what string, readings ...string) {
	low, high := wilson(k/5, n/5, z95) // five seconds as one witness, our judgement
	l.found(ranged(Finding{
		Subject: s, Source: c.source, Sure: 0.99, What: what, Readings: readings,
		Do:   []string{"check magnet and sensor of the cadence, and that both channels come from the same bicycle", "set the meter's zero again (common practice)"},
		Plot: Plot{Title: "Watts of " + c.source, X: "seconds", Y: "W", Points: scatter(c, 0, math.Inf(1))},
	}, k/n, low, high, "counted"))
}

// staleCadence is how long a cadence that counts turns may stand after the
// cranks have stopped, s: our judgement.
const staleCadence = 7.0

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
		for k := sort.SearchFloat64s(c.t, w.from+staleCadence); k < len(c.t) && c.t[k] < w.to-1; k++ {
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
