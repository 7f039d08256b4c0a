package session

import "chainline/capacity"

// Demand is how hard a session is at its hardest, for the health screening.
type Demand int

// The demands. Borders are our judgement: shares of threshold or critical
// power, of maximal heart rate, and exertions.
const (
	Light   Demand = iota // at most 80 % of threshold, 80 % of maximal heart rate, exertion 12
	Firm                  // at most 95 %, 88 %, exertion 15: hard to talk, below critical power
	Hard                  // anything above, in watts too, for which no share is known
	Maximal               // all out, to exhaustion, or W′ ridden down
)

// String is the demand in a word.
func (d Demand) String() string { return [...]string{"easy", "firm", "hard", "maximal"}[d] }

// Demand is that of the hardest stage.
func (s Session) Demand() (d Demand) {
	unroll(s.Blocks, 0, nil, func(l Leg) { d = max(d, l.Stage.demand()) })
	return d
}

// demand of a stage. Watts and beats could be anything for somebody, and
// count as hard: who allows them must have scaled them, see Scaled.Demand.
func (s Stage) demand() Demand {
	t := s.Target
	if t.Of == OfAllOut || s.End.Kind == WhenSpent || s.End.Kind == AtBalance && !s.End.Back {
		return Maximal
	}
	switch t.Of {
	case OfNothing:
		return Light
	case OfThreshold, OfCritical:
		return graded(max(t.From, t.To), 0.80, 0.95)
	case OfHeartMax:
		return graded(t.To, 0.80, 0.88)
	case OfFeel:
		if t.To >= 19 {
			return Maximal
		}
		return graded(t.To, 12, 15)
	}
	return Hard
}

func graded(x, light, firm float64) Demand {
	switch {
	case x <= light:
		return Light
	case x <= firm:
		return Firm
	}
	return Hard
}

// Demand is that of the session for the rider it is scaled to: stages in watts
// and beats are judged by what they are for this rider.
func (s Scaled) Demand(v View) (d Demand) {
	for _, l := range s.Legs {
		of := l.Stage.demand()
		switch l.Stage.Target.Of {
		case OfWatts:
			of = max(graded(max(l.AimW, l.ToW)/min(v.ThresholdW, v.CriticalPowerW), 0.80, 0.95), endDemand(l.End))
		case OfHeart:
			if v.HeartMax > 0 {
				of = max(graded(l.HeartHigh/v.HeartMax, 0.80, 0.88), endDemand(l.End))
			}
		}
		if low := min(l.HeldW, l.HeldToW); low > max(l.AimW, l.ToW) { // the brake's floor makes it harder than written
			of = max(of, graded(low/min(v.ThresholdW, v.CriticalPowerW), 0.80, 0.95))
		}
		d = max(d, of)
	}
	return d
}

func endDemand(e End) Demand {
	if e.Kind == WhenSpent || e.Kind == AtBalance && !e.Back {
		return Maximal
	}
	return Light
}

// Allowed tells whether a session of this demand may be suggested to whoever
// was screened so, and if not, why, in a sentence. Easy riding is held back
// from nobody here; firm riding from whom the screening keeps to easy; hard
// and maximal riding from everybody who has not passed. That is our judgement
// in keeping with capacity.Screening, and no medical advice.
func Allowed(d Demand, screened capacity.Screened) (ok bool, why string) {
	switch {
	case d == Light || screened.Passed:
		return true, ""
	case screened.EasyOnly:
		return false, "This session is " + d.String() + ", and the health questions keep you to easy riding for now."
	case d == Firm:
		return true, ""
	}
	return false, "This session is " + d.String() + ": it is suggested only to those who have been through the health questions and passed."
}
