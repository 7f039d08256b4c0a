package brief

import (
	"fmt"
	"math"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/rig"
)

// warnings are about the numbers: what is missing, wide, or outside the range
// in which a model is known to hold. Most important first.
func (s *sheet) warnings(b Brief) []string {
	var w []string
	add := func(format string, args ...any) { w = append(w, fmt.Sprintf(format, args...)) }
	f := b.Forecast
	if f.Alone {
		add("The bunch is not reckoned with: the time is for riding this course alone. In company you will be sheltered and the pace will jump.")
	}
	if s.res.Missed {
		add("Even the most careful plan runs empty more often than the %s style allows (%.0f in 100). Ride by feel and keep something back.", s.Style, 100*f.ChanceEmpty)
	}
	if b.Plan.BalanceMin < -1 {
		add("The plan asks for %.1f kJ more than the reserve above critical power holds. Nobody can ride it as it stands.", -b.Plan.BalanceMin/1000)
	}
	if kept := s.res.Problem.Reserve; s.ReserveJ > kept+1 {
		add("The %.1f kJ you want to keep back are more than nine tenths of what the plan is made with; %.1f kJ are kept.", s.ReserveJ/1000, kept/1000)
	}
	if s.res.EvenRules && len(b.Plan.Rules) == 1 {
		add("One even effort is as good here as any rule by gradient we found.")
	}
	if s.res.Optimum.Status == pacing.Infeasible {
		add("The least this rig can hold, %.0f W, is more than you can keep up over this course. Stop pedalling where the road allows it.", s.ask.Floor)
	}
	if !s.c.Exact && (f.Median > capacity.PowerTo || f.Median < 120) {
		add("The power-duration curve is meant for 5 s to 5 h and the plan for efforts above two minutes; this ride lies outside.")
	}
	if s.heat.costs() {
		add("The plan allows for the heat of this room: it is made for about %.0f %% of the critical power of a cool one.", 100*mean(s.heat.shares))
	}
	w = append(w, s.account.Warnings...)
	w = append(w, s.rigWarnings()...)
	w = append(w, s.look.Warnings...)
	w = append(w, s.notes...)
	w = append(w, s.Way.Notes...)
	w = append(w, s.Road.Warnings...)
	if s.Recovery == capacity.Elite {
		add("The elite form of W′ recovery comes from four riders of national level; it is too fast for most.")
	}
	if spread := f.High80 - f.Low80; !s.c.Exact && spread > 0.12*f.Median {
		add("The forecast is wide: %s", s.whyWide())
	}
	if n := len(s.Occasion.Categories); n > 0 && s.Stated == nil {
		w = append(w, s.categories()...)
	}
	return w
}

// whyWide names the largest doubt, and what would narrow it.
func (s *sheet) whyWide() string {
	sd, _ := s.Rig.SourceSD()
	cp := s.c.SD()[0] / s.c.CriticalPower
	switch {
	case s.byFeel() && sd > cp:
		return "nobody knows how many watts your trainer shows the road for a given effort. The maker's table of watts by speed, added to what is known of the rig, would narrow it most."
	case cp > 0.06:
		return "little is known of what you can do. " + s.next.Sentence
	case s.Way.Sketch != nil:
		return "only the length and ascent of the course are known. A track of it would narrow it most."
	default:
		return "drag, rolling and the day add up."
	}
}

func (s *sheet) rigWarnings() []string {
	var w []string
	if s.Stated != nil {
		return nil
	}
	if s.Rig.Speaks() == rig.WheelSpeed && !s.Rig.Trainer.Curve.Known() {
		w = append(w, "Your trainer's power curve is not known, so wheel speeds are a first guess that may be off by a third: go by how it feels, and note the speed that fits.")
	}
	if s.Rig.SensorsAssumed {
		w = append(w, "Which sensors there are is not known; a heart-rate strap was assumed.")
	}
	if !s.sameSource() && len(s.Rider.Evidence) > 0 && s.Rig.Speaks() == rig.Watts {
		w = append(w, fmt.Sprintf("Your evidence does not come from the power source of this ride (%s). Two sources differ by a few percent; the forecast carries that.", sourceName(s.Rig)))
	}
	return w
}

func sourceName(r rig.Rig) string {
	if r.Source.Name != "" {
		return r.Source.Name
	}
	return r.Source.Kind.String()
}

// categories places the rider in the event's classes by power over their
// duration. Which to enter is package race's to say.
func (s *sheet) categories() []string {
	var w []string
	for _, c := range s.Occasion.Categories {
		over := c.Over
		if over == 0 {
			over = 3600
		}
		mean := s.c.Power(over) / s.Rider.Mass
		hard, easy := s.c.AtRisk(1, over), s.c.AtRisk(-1, over)
		sd := 0.5 * (easy.Power(over) - hard.Power(over)) / s.Rider.Mass
		inside := 1.0
		if sd > 0 {
			inside = phi((c.Max-mean)/sd) - phi((c.Min-mean)/sd)
		} else if mean < c.Min || mean >= c.Max {
			inside = 0
		}
		if inside > 0.3 && s.Rider.Age > 0 && !capacity.MaybeMinor(s.Rider.Age) {
			w = append(w, fmt.Sprintf("By power over %s you lie inside the class '%s' with a chance of %s. 'chainline race' says which to enter.",
				minutes(over), c.Name, estimate.Chance(inside)))
		}
	}
	return w
}

func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

func minutes(seconds float64) string {
	if seconds >= 3600 && math.Mod(seconds, 3600) == 0 {
		return fmt.Sprintf("%.0f h", seconds/3600)
	}
	return fmt.Sprintf("%.0f min", seconds/60)
}

// cautions are about people. They defer to doctors, device manuals and local
// rules.
func (s *sheet) cautions(b Brief) []string {
	out := []string{"A hard effort. Not for anyone with chest pain, faintness, fever or a doctor's advice against it; stop and get help if any of these appear."}
	out = append(out, s.Health...)
	if s.EasyOnly {
		out = append(out, "Only easy riding for now, by your answers to the health screening: this plan stays where you can talk. Ask your doctor.")
	}
	if !s.Rider.Screened && len(s.Health) == 0 {
		out = append(out, "Ask a doctor before going hard if you are new to it, over 45, pregnant, or take medicines for heart or blood pressure; answer the health questions once.")
	}
	if s.minor() {
		out = append(out, "Under 18: with the agreement of a guardian and a qualified coach; no maximal tests, and this plan asks for nothing all-out.")
	}
	if b.Rider.HeartRateMax > 0 {
		out = append(out, "Some medicines lower the heart rate; then the bands do not hold: say so in the health questions.")
	}
	out = append(out, s.look.Cautions...)
	if s.Stated != nil {
		out = append(out, "Put a fan on before the start. Drink when thirsty, not more than you sweat.")
	}
	return append(out, "Keep leads and sockets dry and off the floor, the fan's lead out of the way, children and pets away from the wheel; follow the makers' manuals.",
		"Chainline estimates; it does not examine you and is no medical device.")
}
