package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// What a healthy brake does, our judgement; a finding is what is surely
// beyond it.
const (
	fineLag       = 2.0   // s
	fineDead      = 1.5   // s
	fineOvershoot = 0.15  // of the step
	fineControl   = 0.008 // fraction
	surely        = 3.3   // standard errors, one-sided chance 5e-4
)

var controlSubjects = []Subject{BrakeLag, DeadTime, Overshoot, ControlError}

// examineControl judges the brake by its answers to commanded watts.
func (l *look) examineControl() {
	m, err := l.control()
	if m.Judged < leastOrders && err != nil {
		for _, s := range append([]Subject{IgnoredCommands, BrakeLimits}, controlSubjects...) {
			l.unsaid(s, m.Source, err.Error())
		}
		return
	}
	l.ignoredCommands(m)
	l.brakeLimits(m)
	if err != nil {
		for _, s := range controlSubjects {
			l.unsaid(s, m.Source, err.Error())
		}
		return
	}
	if l.hasFoundOf(Smoothing, m.Source) {
		for _, s := range []Subject{BrakeLag, DeadTime, Overshoot} {
			l.unsaid(s, m.Source, "the watts that show it are smoothed, and a slow brake looks the same")
		}
	} else {
		l.out.Brake = &m
		l.brakeTimes(m)
	}
	l.steadyError(m)
}

func (l *look) brakeTimes(m ControlModel) {
	for _, s := range []Subject{BrakeLag, DeadTime, Overshoot} {
		l.right(s)
	}
	pic := l.stepPlot(m)
	late := func(s Subject, e estimate.Estimate, what string, do ...string) {
		l.found(ranged(Finding{Subject: s, Source: m.Source, Sure: 0.999, What: what, Do: do, Plot: pic},
			e.Mean, e.Mean-m.quantile*e.SD, e.Mean+m.quantile*e.SD, e.Origin))
	}
	if m.Lag.Mean-surely*m.Lag.SD > fineLag {
		late(BrakeLag, m.Lag, fmt.Sprintf("%s takes %.1f s for two thirds of a change of watts, so that a step to %.0f W is held only after some %.0f s; the mean watts are not harmed, those of short efforts are.", m.Source, m.Lag.Mean, l.threshold, m.DeadTime.Mean+3*m.Lag.Mean),
			"ride short efforts without target watts, by gears and cadence", "keep cadence even when the watts change: a brake that follows wheel speed has less to do", "send commands early by the dead time and half the lag")
	}
	if m.DeadTime.Mean-surely*m.DeadTime.SD > fineDead {
		late(DeadTime, m.DeadTime, fmt.Sprintf("%s does nothing for %.1f s after a command; at %.0f W as elsewhere the watts come late, not wrong.", m.Source, m.DeadTime.Mean, l.threshold),
			"send commands early by this time", "let no second program control the trainer (common practice)")
	}
	if o := m.Overshoot; o.Mean-4*o.SD > fineOvershoot {
		late(Overshoot, o, fmt.Sprintf("%s passes the new watts by %.0f %% of the step before it settles: %.0f W on a step of 100 W up to %.0f W.", m.Source, 100*o.Mean, 100*o.Mean, l.threshold),
			"pedal through a change at an even cadence", "look whether the maker has newer firmware (common practice)")
	}
}

func (l *look) steadyError(m ControlModel) {
	if !l.trainersOwn(m.Source) {
		l.unsaid(ControlError, m.Source, "the trainer shows no watts of its own, and a meter's own error cannot be told from the brake's")
		return
	}
	l.right(ControlError)
	e := m.Error
	if math.Abs(e.Mean)-surely*e.SD < fineControl {
		return
	}
	off := e.Mean * l.threshold
	l.found(ranged(Finding{
		Subject: ControlError, Source: m.Source, Sure: 0.999, Watts: estimate.Normal(off, e.SD*l.threshold, e.Origin), Plot: l.heldPlot(m),
		What: fmt.Sprintf("%s holds %.1f %% %s than it is asked, by its own watts: %.0f W at %.0f W.", m.Source, 100*math.Abs(e.Mean), pick(e.Mean > 0, "more", "less"), math.Abs(off), l.threshold),
		Do:   []string{"take the spin-down again, warm (common practice)", "ask for so much less or more until it is mended", "switch off a correction that another device has been told to make (common practice)"},
	}, e.Mean, e.Mean-m.quantile*e.SD, e.Mean+m.quantile*e.SD, e.Origin))
}

func (l *look) ignoredCommands(m ControlModel) {
	l.right(IgnoredCommands)
	if m.Ignored == 0 {
		return
	}
	k, n := float64(m.Ignored), float64(m.Judged)
	low, high := wilson(k, n, z95)
	l.found(ranged(Finding{
		Subject: IgnoredCommands, Source: m.Source, Sure: pickSure(m.Ignored), Plot: l.heldPlot(m),
		What: fmt.Sprintf("%d of %d commands changed nothing on %s; while that lasts its watts are whatever was asked before, and %.0f W may not come when they should.", m.Ignored, m.Judged, m.Source, l.threshold),
		Do:   []string{"let no second program or phone control the trainer (common practice)", "send a command again when the watts do not follow in some seconds", "look whether the maker has newer firmware (common practice)"},
	}, k/n, low, high, "commands counted"))
}

func pickSure(n int) float64 {
	if n > 1 {
		return 0.9999
	}
	return 0.995
}

// brakeLimits reports the limits that orders met.
func (l *look) brakeLimits(m ControlModel) {
	met := false
	for _, side := range []int{1, -1} {
		if orders, held := limited(m.orders, side); len(held) >= limitLeast {
			met = true
			l.limit(m, orders, held, side > 0)
		}
	}
	if !met {
		l.unsaid(BrakeLimits, m.Source, "no command met a floor or ceiling of the brake")
	}
}

func (l *look) limit(m ControlModel, orders []order, held []float64, above bool) {
	at := ""
	speed := l.machine
	if speed == nil {
		speed = l.wheel
	}
	if v, n := speed.mean(orders[0].at+8, orders[0].until); n > 0 {
		at = fmt.Sprintf(" at a wheel speed of %.0f km/h", 3.6*v)
	}
	mean, sd := meanSD(held)
	half := studentsT(len(held)-1) * sd / math.Sqrt(float64(len(held)))
	l.found(ranged(Finding{
		Subject: BrakeLimits, Source: m.Source, Sure: 0.95, Plot: l.heldPlot(m),
		What: fmt.Sprintf("The brake of %s %s %.0f W%s, whatever is asked; %.0f W %s reached in this gear.", m.Source, pick(above, "cannot hold more than", "does not go below"), mean, at, l.threshold,
			pick(above && l.threshold > mean || !above && l.threshold < mean, "are not", "are")),
		Do: []string{pick(above, "shift to a harder gear, so that the wheel turns faster", "shift to an easier gear, so that the wheel turns slower")},
	}, mean, mean-half, mean+half, "watts held"))
}

// stepPlot is the mean answer to a step, as a fraction of it.
func (l *look) stepPlot(m ControlModel) Plot {
	p := Plot{Title: "Answer to a command", X: "seconds after it", Y: "fraction of the change", Names: []string{"model"}}
	c := l.ownWatts()
	for _, o := range m.orders {
		if !o.judged || !o.followed {
			continue
		}
		i, j := c.slice(o.at-2, min(o.until, o.at+25))
		for k := i; k < j && len(p.Points) < mostPlotted; k++ {
			if d := o.after - o.before; math.Abs(d) > 20 {
				p.Points = append(p.Points, [2]float64{c.t[k] - o.at, (c.v[k] - o.before) / d})
			}
		}
	}
	var line [][2]float64
	for s := 0.0; s <= 25; s += 0.25 {
		line = append(line, [2]float64{s, rise(s, c.every, m.DeadTime.Mean, m.Lag.Mean)})
	}
	p.Lines = [][][2]float64{line}
	return p
}

// heldPlot is watts held over watts asked.
func (l *look) heldPlot(m ControlModel) Plot {
	p := Plot{Title: "Watts held and asked", X: "W asked", Y: "W held", Names: []string{"as asked"}}
	most := 0.0
	for _, o := range m.orders {
		if o.judged && len(p.Points) < mostPlotted {
			p.Points = append(p.Points, [2]float64{o.asked, o.after})
			most = max(most, o.asked)
		}
	}
	p.Lines = [][][2]float64{{{0, 0}, {most, most}}}
	return p
}
