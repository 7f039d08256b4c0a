package capacity

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// The model of the evidence, forwards: riders whose truth is known, and what
// would be seen of them. docs/evidence.md asks by it how often intervals hold.

// Simulated is a rider drawn from the prior, with a power source, a history
// and a heart.
type Simulated struct {
	Body     Rider    // what is known of them, without evidence
	True     Capacity // now, true watts, no doubt
	Scale    float64  // displayed over true watts of the source
	Source   Source
	Slack    float64 // times the slack that Infer assumes; 1
	noise    float64
	drift    []float64 // by day back
	maximum  float64   // bpm
	line     float64
	outdoors float64
	random   *rand.Rand
}

// Simulate draws a rider of whom body is known, on a source whose accuracy is
// stated.
func Simulate(body Rider, source Source, random *rand.Rand) *Simulated {
	in := newInference(body, Source{})
	points, _ := in.draws(random, 64)
	x := points[0]
	s := &Simulated{Body: body, True: in.capacity(x), Scale: math.Exp(source.SD * random.NormFloat64()), Source: source, Slack: 1,
		noise: math.Exp(x[lnNoise]), random: random, line: heartLineError * random.NormFloat64(), outdoors: outdoorError * random.NormFloat64()}
	s.drift = make([]float64, 366)
	for day := 1; day < len(s.drift); day++ {
		s.drift[day] = s.drift[day-1] + driftPerMonth/math.Sqrt(month)*random.NormFloat64()
	}
	bpm, sd, _, ok := body.MaxHeart()
	if !ok {
		bpm, sd = unknownHeart, unknownHeartSD
	}
	s.maximum = bpm + sd*random.NormFloat64()
	return s
}

// Displayed is the truth in the source's watts.
func (s *Simulated) Displayed() Capacity {
	c := s.True
	c.CriticalPower, c.WPrime, c.MaxPower, c.Fade = c.CriticalPower*s.Scale, c.WPrime*s.Scale, c.MaxPower*s.Scale, c.Fade*s.Scale
	return c
}

// evidence of a kind so many days ago, without its numbers.
func (s *Simulated) evidence(k Kind, days int) Evidence {
	return Evidence{Kind: k, Date: fmt.Sprintf("%d days ago", days), Age: float64(days), Source: s.Source.Name, AccuracyPercent: 100 * s.Source.SD}
}

// then is the share of today's power that was there so many days ago.
func (s *Simulated) then(days int) float64 { return math.Exp(s.drift[days]) }

// held is a mean power shown for an effort, with the repeat error of tests.
func (s *Simulated) held(seconds, slack float64, days int) float64 {
	sd := s.noise
	switch {
	case seconds < severeFrom:
		sd = math.Hypot(sd, shortError)
	case seconds > FadeFrom:
		sd = math.Hypot(sd, longError)
	}
	left := math.Max(0.2, 1-slack*s.Slack*s.random.ExpFloat64())
	return s.True.Power(seconds) * s.then(days) * left * math.Exp(sd*s.random.NormFloat64())
}

// Test is a maximal test.
func (s *Simulated) Test(seconds float64, days int) Evidence {
	e := s.evidence(MaximalTest, days)
	e.Duration, e.Watts = seconds, s.Scale*s.held(seconds, 0, days)
	return e
}

// Best is the best of a ride, with the slack that Infer assumes times Slack.
func (s *Simulated) Best(seconds float64, days int) Evidence {
	e := s.evidence(BestEffort, days)
	e.Duration, e.Watts = seconds, s.Scale*s.held(seconds, slackOf(BestEffort, HarderUnknown), days)
	return e
}

// Threshold is one stated from a 20-minute test.
func (s *Simulated) Threshold(days int) Evidence {
	e := s.evidence(StatedThreshold, days)
	e.From = "20-minute test"
	reading := ReadThreshold(e.From)
	e.Watts = s.Scale * s.then(days) * s.True.CriticalPower / reading.Factor * math.Exp(reading.SD*s.random.NormFloat64())
	return e
}

// Hill is the time up a hill of a length and ascent in metres, drag, wind and
// masses being as uncertain as Infer takes them.
func (s *Simulated) Hill(length, ascent float64, days int) Evidence {
	e := s.evidence(HillTime, days)
	e.Source, e.Length, e.Ascent = "", length, ascent
	low, high := 60.0, 6*3600.0
	off := s.random.NormFloat64()
	left := math.Max(0.2, 1-slackOf(HillTime, HarderUnknown)*s.Slack*s.random.ExpFloat64()) * math.Exp(s.noise*s.random.NormFloat64()+s.outdoors)
	for range 60 { // the time at which what the hill needs is what the rider holds
		e.Duration = math.Sqrt(low * high)
		need, sd := hillPower(s.Body, e)
		if need*math.Exp(-sd*off) > s.True.Power(e.Duration)*s.then(days)*left {
			low = e.Duration
		} else {
			high = e.Duration
		}
	}
	return e
}

// EasyHeart is the heart rate at a share of the oxygen uptake of the 5-minute
// power.
func (s *Simulated) EasyHeart(share float64, days int) Evidence {
	e := s.evidence(EasyHeartRate, days)
	mass := s.Body.Mass
	watts := (share*OxygenUptake(s.True.Power(heartPower)*s.then(days), mass) - 7) * mass / 10.8
	e.Duration, e.Watts = 300, s.Scale*math.Max(leastWatts, watts)
	e.HeartRate = s.maximum * (heartShare(share) + s.line + heartError*s.random.NormFloat64())
	return e
}
