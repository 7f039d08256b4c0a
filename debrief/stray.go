package debrief

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"chainline/estimate"
	"chainline/pacing"
)

// How a rider strays from plans: by the gradient and by the time into the
// ride, learnt over rides.

// Held is a stretch of a ride that had a plan: a cue.
type Held struct {
	Gradient float64 // fraction, mean
	Into     float64 // share of the ride gone at its middle, 0 to 1
	Seconds  float64 // ridden
	PlannedW float64
	RiddenW  float64
}

// Strays is how the rider is expected to hold the next plan.
type Strays struct {
	Rides  int     `json:"rides"`
	Places []Stray `json:"places"`
	// Scatter is how far a ride as a whole lies off its plan, sd, as a fraction,
	// from one ride to the next.
	Scatter Interval `json:"scatter"`
}

// Stray is how watts ridden lie off watts planned in one kind of place, as a
// fraction. While nothing was ridden there, Bias is what is believed of any rider.
type Stray struct {
	Place string   `json:"place"`
	Rides int      `json:"rides"`
	Bias  Interval `json:"bias"`
	Words string   `json:"words"`
}

// What is believed before; our judgement. The scatter is what forecasts take
// (pacing.RepeatPower/√2), believed as if so many rides had shown it.
const (
	biasSD       = 0.03
	scatterRides = 4.0
	leastHeld    = 30.0 // s; a shorter stretch says nothing of how it was meant
	worthSaying  = 0.02
)

// places are the kinds of place looked at; a stretch may be of several.
var places = []struct {
	in, name string
	of       func(Held) bool
}{
	{"On", "descents", func(h Held) bool { return h.Gradient < -0.02 }},
	{"On", "the flat", func(h Held) bool { return math.Abs(h.Gradient) <= 0.02 }},
	{"On", "rises of 2 to 5 %", func(h Held) bool { return h.Gradient > 0.02 && h.Gradient <= 0.05 }},
	{"On", "climbs over 5 %", func(h Held) bool { return h.Gradient > 0.05 }},
	{"In", "the first fifth of a ride", func(h Held) bool { return h.Into < 0.2 }},
	{"In", "the middle of a ride", func(h Held) bool { return h.Into >= 0.2 && h.Into <= 0.8 }},
	{"In", "the last fifth of a ride", func(h Held) bool { return h.Into > 0.8 }},
}

// LearnStrays learns from the stretches of each ride. A ride counts once for
// each kind of place (its stretches there are not independent), weighted by
// how much scatter there is between rides: normal about the bias, normal prior.
func LearnStrays(rides [][]Held) Strays {
	s := Strays{}
	var whole []float64
	offs := make([][]float64, len(places))
	for _, ride := range rides {
		all, ok := off(ride, func(Held) bool { return true })
		if !ok {
			continue
		}
		s.Rides++
		whole = append(whole, all)
		for i, p := range places {
			if x, ok := off(ride, p.of); ok {
				offs[i] = append(offs[i], x)
			}
		}
	}
	s.Scatter = interval(scatter(whole))
	for i, p := range places {
		s.Places = append(s.Places, stray(p.in+" "+p.name, p.name, offs[i], s.Scatter.Mean))
	}
	return s
}

// Holding is how the next plan is expected to be held: the habit of each kind
// of place that was ridden, and the scatter of whole rides. A stretch is of a
// gradient and of a part of the ride: what all parts have in common is the
// gradients' already.
func (s Strays) Holding() pacing.Holding {
	h := pacing.Holding{SD: s.Scatter.Mean}
	common, rides := 0.0, 0
	for i, p := range s.Places {
		if w := reach[i]; w.share > 0 {
			common += w.share * p.Bias.Mean
		}
		rides += p.Rides
	}
	if rides == 0 {
		return pacing.Holding{}
	}
	for i, p := range s.Places {
		w := reach[i]
		habit := pacing.Habit{GradientFrom: w.from, GradientTo: w.to, IntoTo: 2, Mean: p.Bias.Mean, SD: (p.Bias.High80 - p.Bias.Low80) / 2 / estimate.Z80}
		if w.share > 0 {
			habit = pacing.Habit{GradientFrom: -1, GradientTo: 1, IntoFrom: w.from, IntoTo: w.to, Mean: p.Bias.Mean - common, SD: habit.SD}
		}
		if p.Rides > 0 {
			h.Habits = append(h.Habits, habit)
		}
	}
	return h
}

// reach is where each of places is, by gradient, or by the part of the ride,
// which is the share of it.
var reach = []struct{ from, to, share float64 }{{-1, -0.02, 0}, {-0.02, 0.02, 0}, {0.02, 0.05, 0}, {0.05, 1, 0}, {0, 0.2, 0.2}, {0.2, 0.8, 0.6}, {0.8, 2, 0.2}}

// HeldCues are the cues of a ride against its plan that were ridden to their
// end, as stretches to learn from.
func HeldCues(a *Against) (out []Held) {
	if a == nil {
		return nil
	}
	total, gone := 0.0, 0.0
	for _, c := range a.Cues {
		total += c.RiddenS
	}
	for _, c := range a.Cues {
		if c.Ridden && c.ToM > c.FromM {
			out = append(out, Held{Gradient: (elevation(a.Line, c.ToM) - elevation(a.Line, c.FromM)) / (c.ToM - c.FromM), Into: (gone + c.RiddenS/2) / total,
				Seconds: c.RiddenS, PlannedW: c.PlannedW, RiddenW: c.RiddenW})
		}
		gone += c.RiddenS
	}
	return out
}

// elevation is that of the line at a place, m.
func elevation(line []LinePoint, m float64) float64 {
	i, _ := slices.BinarySearchFunc(line, m, func(p LinePoint, m float64) int { return cmp.Compare(p.M, m) })
	switch {
	case len(line) == 0:
		return 0
	case i == 0:
		return line[0].Elevation
	case i == len(line):
		return line[i-1].Elevation
	}
	a, b := line[i-1], line[i]
	return a.Elevation + (b.Elevation-a.Elevation)*(m-a.M)/(b.M-a.M)
}

// off is the logarithm of the work ridden over the work planned in some
// stretches of a ride; false: there are none.
func off(ride []Held, of func(Held) bool) (float64, bool) {
	ridden, planned := 0.0, 0.0
	for _, h := range ride {
		if h.Seconds >= leastHeld && h.PlannedW > 0 && h.RiddenW > 0 && of(h) {
			ridden, planned = ridden+h.RiddenW*h.Seconds, planned+h.PlannedW*h.Seconds
		}
	}
	return math.Log(ridden / planned), planned > 0
}

// scatter is the sd between rides: what is believed, counted as scatterRides of
// them, with what was seen (the mean of an inverse gamma distribution's root,
// taken as normal).
func scatter(whole []float64) estimate.Estimate {
	believed := pacing.RepeatPower / math.Sqrt2
	squares := scatterRides * believed * believed
	_, sd := meanSD(whole)
	seen := math.Max(0, float64(len(whole)-1))
	n := scatterRides + seen
	mean := math.Sqrt((squares + seen*sd*sd) / n)
	return estimate.Normal(mean, mean/math.Sqrt(2*n), "how whole rides lay off their plans")
}

func stray(at, place string, offs []float64, scatter float64) Stray {
	s := Stray{Place: place, Rides: len(offs)}
	mean, sd := meanSD(offs)
	n := float64(len(offs))
	// one place scatters at least as a whole ride does
	each := math.Max(sd, scatter)
	weight, prior := n/(each*each), 1/(biasSD*biasSD)
	bias := estimate.Normal(weight*mean/(weight+prior), 1/math.Sqrt(weight+prior), "plans and rides so far")
	if len(offs) == 0 {
		bias = estimate.Normal(0, biasSD, "our judgement; nothing was ridden there yet")
	}
	s.Bias = interval(bias)
	s.Words = s.words(at)
	return s
}

func (s Stray) words(at string) string {
	b := s.Bias
	switch {
	case s.Rides == 0:
		return fmt.Sprintf("%s nothing was ridden to a plan yet.", at)
	case b.Low80 > 0 && b.Mean >= worthSaying:
		return fmt.Sprintf("%s you ride about %.0f %% above plan (%s, %+.0f to %+.0f %%).", at, 100*b.Mean, counted(s.Rides), 100*b.Low80, 100*b.High80)
	case b.High80 < 0 && b.Mean <= -worthSaying:
		return fmt.Sprintf("%s you ride about %.0f %% below plan (%s, %+.0f to %+.0f %%).", at, -100*b.Mean, counted(s.Rides), 100*b.Low80, 100*b.High80)
	}
	return fmt.Sprintf("%s you hold the plan, as far as %s can tell (%+.0f to %+.0f %%).", at, counted(s.Rides), 100*b.Low80, 100*b.High80)
}

func counted(rides int) string {
	if rides == 1 {
		return "one ride"
	}
	return fmt.Sprintf("%d rides", rides)
}
