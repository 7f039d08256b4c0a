package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// Errors that healthy speeds have, our judgement.
const (
	tapeSD    = 0.002  // fraction, of a wheel rolled out along a tape
	machineSD = 0.0013 // fraction, of a trainer's own speed and a sensor's
	fineWheel = 0.004  // fraction by which a healthy circumference may differ
	fineSlip  = 0.0035
	slipSD    = 0.0005 // of slip, from what two speeds drift apart by themselves
)

// rolled is one steady stretch of both speeds.
type rolled struct {
	at, lost, force float64 // share by which the machine's speed is below the wheel's; N at the tyre
}

// examineWheel judges the speed sensor: on the wheel that turns, the right
// circumference, and what the tyre loses on the roller.
func (l *look) examineWheel() {
	if l.wheel == nil {
		for _, s := range []Subject{WrongWheel, Circumference, TyreSlip} {
			l.unsaid(s, "", "no speed sensor is recorded")
		}
		return
	}
	if l.wrongWheel() {
		return
	}
	taped := l.tape()
	if l.machine == nil || l.machine.source == l.wheel.source {
		l.unsaid(TyreSlip, l.wheel.source, "the trainer tells no speed of its own, so wheel and roller cannot be compared")
		if !taped && !l.byGears() {
			l.unsaid(Circumference, l.wheel.source, "no tape measure of the wheel, no speed of the trainer's own and no gears that can tell")
		}
		return
	}
	l.wheelAndRoller(taped)
}

// wrongWheel: nothing turns at the sensor while the cranks do.
func (l *look) wrongWheel() bool {
	if l.cadence == nil && len(l.power) == 0 {
		l.unsaid(WrongWheel, l.wheel.source, "neither cadence nor watts tell whether the wheel should turn")
		return false
	}
	turning, still := 0.0, 0.0
	for i, t := range l.wheel.t {
		c, ok := l.cadence.at(t)
		if !ok && l.cadence == nil {
			c, ok = l.power[0].at(t) // watts in place of rpm: any above 40 will do
		}
		if ok && c > 40 {
			turning++
			if l.wheel.v[i] < 0.3 {
				still++
			}
		}
	}
	if turning*l.wheel.every < 60 {
		l.unsaid(WrongWheel, l.wheel.source, "the cranks turned for less than a minute")
		return false
	}
	if still < 0.5*turning {
		l.right(WrongWheel)
		return false
	}
	low, high := wilson(still/5, turning/5, z95)
	l.found(ranged(Finding{
		Subject: WrongWheel, Source: l.wheel.source, Sure: 0.999,
		What: fmt.Sprintf("%s shows a standing wheel for %.0f %% of the time in which the cranks turn: it sits on the wheel that does not turn, or its magnet is out of reach; watts computed from it would be 0 in place of %.0f.", l.wheel.source, 100*still/turning, l.threshold),
		Do:   []string{"put the sensor on the wheel that turns (common practice)", "check the magnet's gap (common practice)"},
		Plot: Plot{Title: "Wheel speed", X: "seconds", Y: "m/s", Points: scatter(l.wheel, 0, math.Inf(1))}, Prior: "common practice",
	}, still/turning, low, high, "counted"))
	return true
}

func (l *look) set() float64 {
	if l.in.Circumference > 0 {
		return l.in.Circumference
	}
	return l.in.Rig.WheelCircumference
}

// tape compares what the sensor is set to with what was measured.
func (l *look) tape() bool {
	set := l.set()
	if l.in.TrueCircumference <= 0 || set <= 0 {
		return false
	}
	l.right(Circumference)
	l.circumference(set/l.in.TrueCircumference-1, tapeSD, 0.003, "set over measured with a tape", Plot{
		Title: "Circumference: set and measured", X: "0 set, 1 measured", Y: "m",
		Points: [][2]float64{{0, set}, {1, l.in.TrueCircumference}}})
	return true
}

// circumference is a finding if it is surely beyond what healthy ones differ.
func (l *look) circumference(size, se, slack float64, origin string, p Plot, readings ...string) bool {
	if math.Abs(size)-3.3*se < slack {
		return false
	}
	watts := 0.0
	bySpeed := l.in.Rig.bySpeed()
	if bySpeed {
		watts = l.fromSpeed(size)
	}
	how := fmt.Sprintf("watts at %.0f W are not harmed, since they are not computed from it", l.threshold)
	if bySpeed {
		how = fmt.Sprintf("watts computed from it are %.0f W off at %.0f W", watts, l.threshold)
	}
	f := Finding{
		Subject: Circumference, Source: l.wheel.source, Sure: 0.999, Plot: p, Readings: readings,
		What:  fmt.Sprintf("%s shows a wheel speed %.1f %% too %s; %s.", l.wheel.source, 100*math.Abs(size), pick(size > 0, "high", "low"), how),
		Do:    []string{"measure the wheel: mark tyre and floor, roll one turn with you on the bicycle, measure on the floor (common practice)", "set the sensor to what you measured, at the tyre pressure you ride"},
		Watts: estimate.Normal(watts, math.Abs(watts)*se/math.Max(math.Abs(size), 1e-9), origin),
	}
	l.found(ranged(f, size, size-z95*se, size+z95*se, origin))
	return true
}

// fromSpeed is what a share of wheel speed makes of watts at threshold.
func (l *look) fromSpeed(share float64) float64 {
	curve := l.in.Rig.curve()
	v := curve.WheelSpeed(l.threshold)
	return curve.Watts(v*(1+share)) - l.threshold
}

func pick(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// rolls are steady stretches of ten seconds of both speeds.
func (l *look) rolls() []rolled {
	const long = 10.0
	var out []rolled
	force := l.forceSource()
	for from := l.wheel.t[0] + 5; from+long < l.wheel.t[len(l.wheel.t)-1]; from += long {
		a, n := l.wheel.mean(from, from+long)
		b, m := l.machine.mean(from, from+long)
		w, k := force.mean(from, from+long)
		if n < 4 || m < 4 || k < 4 || b < 1.5 || a <= 0 || w < 30 {
			continue
		}
		a1, _ := l.wheel.mean(from, from+long/2)
		a2, _ := l.wheel.mean(from+long/2, from+long)
		if math.Abs(a1-a2) > 0.06*a {
			continue
		}
		out = append(out, rolled{from + long/2, 1 - b/a, w / b})
	}
	return out
}

// forceSource is whose watts tell the force at the tyre: the trainer's own,
// or the first there are.
func (l *look) forceSource() *track {
	for _, c := range l.power {
		if c.source == l.machine.source {
			return c
		}
	}
	if len(l.power) > 0 {
		return l.power[0]
	}
	return nil
}

// wheelAndRoller parts a wrong circumference, which is the same at any force,
// from slip, which grows with it.
func (l *look) wheelAndRoller(taped bool) {
	if len(l.power) == 0 {
		l.unsaid(TyreSlip, l.wheel.source, "no watts tell the force at the tyre")
		return
	}
	rolls := l.rolls()
	if len(rolls) < 12 {
		l.unsaid(TyreSlip, l.wheel.source, "less than two minutes of steady speed of both wheel and trainer")
		if !taped {
			l.unsaid(Circumference, l.wheel.source, "less than two minutes of steady speed of both wheel and trainer")
		}
		return
	}
	x, y, w := make([]float64, len(rolls)), make([]float64, len(rolls)), make([]float64, len(rolls))
	p := Plot{Title: "The trainer's speed below the wheel's", X: "N at the tyre", Y: "per cent"}
	var speeds []float64
	for i, r := range rolls {
		x[i], y[i], w[i] = r.force, r.lost, 1
		p.Points = append(p.Points, [2]float64{r.force, 100 * r.lost})
		v, _ := l.machine.mean(r.at-5, r.at+5)
		speeds = append(speeds, v)
	}
	slope, chi := weightedSlope(x, y, w)
	sd := math.Sqrt(chi/float64(len(x)-2)) * studentsT(len(x)-2) / z95
	atThreshold := l.threshold / median(speeds)
	_, spread := meanSD(x)
	mx, _ := meanSD(x)
	my, _ := meanSD(y)
	set := 1 / (1 - my + slope.mean*mx) // the set circumference over the true one
	slip, slipSE := slope.mean*atThreshold*set, math.Hypot(slope.sd*sd*atThreshold, slipSD)
	if spread < 0.08*mx {
		l.unsaid(TyreSlip, l.wheel.source, "the force at the tyre hardly changed, so slip cannot be told from a wrong circumference")
		l.unsaid(Circumference, l.wheel.source, "the force at the tyre hardly changed, so a wrong circumference cannot be told from slip")
		return
	}
	l.right(TyreSlip)
	l.right(Circumference)
	p.Lines = [][][2]float64{{{0, 100 * (my - slope.mean*mx)}, {atThreshold, 100 * (my + slope.mean*(atThreshold-mx))}}}
	p.Names = []string{"fit"}
	if slip-3.3*slipSE > fineSlip {
		l.slips(slip, slipSE, p)
	}
	if !taped {
		se := math.Hypot(math.Hypot(sd/math.Sqrt(float64(len(x))), slope.sd*sd*mx), machineSD)
		l.circumference(set-1, se, 0.003, "wheel speed over the trainer's at no force", p,
			"the sensor is set to a wrong circumference", "or the trainer's own speed is wrong: measure the wheel with a tape to know")
	}
}

func (l *look) slips(slip, se float64, p Plot) {
	loss := slip * l.threshold
	f := Finding{
		Subject: TyreSlip, Source: l.wheel.source, Against: l.machine.source, Sure: 0.999, Plot: p,
		Watts: estimate.Normal(-loss, se*l.threshold, "slip at threshold"),
		What:  fmt.Sprintf("The tyre slips on the roller by %.1f %% at %.0f W, and more the harder you push: %.0f W go into the tyre and are not seen by the trainer.", 100*slip, l.threshold, loss),
		Do:    []string{"turn the roller's clamp tighter by half a turn (common practice)", "pump the tyre to the pressure its maker asks for on a roller, the same each time (common practice)", "wipe tyre and roller clean of oil and dust (common practice)", "then take the spin-down again"},
		Prior: "common practice",
	}
	l.found(ranged(f, slip, slip-z95*se, slip+z95*se, "slope of wheel over roller speed with force"))
}

// byGears compares the metres of wheel per turn of the crank with what the
// gears make of the rig's own circumference: the setting, not the truth, but
// it tells when both are not one. It needs the setting to be unknown.
func (l *look) byGears() bool {
	want := l.in.TrueCircumference
	if want <= 0 {
		want = l.in.Rig.WheelCircumference
	}
	gears := l.in.Rig.gears()
	if want <= 0 || l.in.Circumference > 0 || len(gears) < 2 || l.cadence == nil {
		return false
	}
	var off []float64
	for i, t := range l.wheel.t {
		c, ok := l.cadence.at(t)
		old, okOld := l.cadence.at(t - 3)
		if !ok || !okOld || c < 50 || math.Abs(c-old) > 2 || l.wheel.v[i] < 1 {
			continue
		}
		metres := l.wheel.v[i] * 60 / c
		best := math.Inf(1)
		for _, g := range gears {
			if d := math.Log(metres / (g.ratio() * want)); math.Abs(d) < math.Abs(best) {
				best = d
			}
		}
		off = append(off, best)
	}
	// Gears stand some 6 to 12 % apart: only agreement within 2.5 % can be told.
	if len(off) < 200 || spreadOf(off) > 0.008 || math.Abs(median(off)) > 0.025 {
		return false
	}
	l.right(Circumference)
	m := median(off)
	l.circumference(math.Expm1(m), math.Hypot(spreadOf(off)/math.Sqrt(float64(len(off))/5), 0.003), fineWheel, "metres a turn of the crank over gear and circumference",
		Plot{Title: "Wheel speed", X: "seconds", Y: "m/s", Points: scatter(l.wheel, 0, math.Inf(1))}, "the sensor is set to another circumference than the rig's", "or a gear is not as typed")
	return true
}
