package capacity

import "math"

// Simulated rides with answers, for the check of coverage.

// Ride is a ride's hardest effort so many days ago, with the share left
// unridden (0 and up) and what this rider answers: by what was left, felt to
// within answerBlur; optimism (a share) is how much more than that the rider
// thinks was left.
func (s *Simulated) Ride(seconds, left, optimism float64, days int) Evidence {
	e := s.evidence(RideEffort, days)
	sd := s.noise
	if seconds > FadeFrom {
		sd = math.Hypot(sd, longError)
	}
	possible := s.True.Power(seconds) * s.then(days) * math.Exp(sd*s.random.NormFloat64())
	e.Duration, e.Watts = seconds, s.Scale*possible*math.Exp(-left)
	switch felt := left + optimism + answerBlur*s.random.NormFloat64(); {
	case felt < answerNoTo:
		e.Harder = HarderNo
	case felt < answerLittleTo:
		e.Harder = HarderLittle
	default:
		e.Harder = HarderMuch
	}
	return e
}
