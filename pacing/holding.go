package pacing

import (
	"math"
	"math/rand/v2"
)

// Holding is how one rider holds plans, learnt from plans that were ridden. The
// zero value is that of any rider.
type Holding struct {
	Habits []Habit `json:"habits,omitempty"`
	// SD is how far a ride as a whole lies off its plan, as the sd of a
	// logarithm; 0: as published of any rider.
	SD float64 `json:"sd,omitempty"`
}

// Habit is how watts ridden lie off watts planned in one kind of place, as a
// fraction: where the gradient lies between From and To, and so much of the
// course is behind. Mean and SD are what is believed of it.
type Habit struct {
	GradientFrom float64 `json:"gradient_from"`
	GradientTo   float64 `json:"gradient_to"`
	IntoFrom     float64 `json:"into_from"`
	IntoTo       float64 `json:"into_to"`
	Mean         float64 `json:"mean"`
	SD           float64 `json:"sd"`
}

// held tells whether a place is one of the habit's.
func (h Habit) held(gradient, into float64) bool {
	return gradient >= h.GradientFrom && gradient < h.GradientTo && into >= h.IntoFrom && into < h.IntoTo
}

// sd is the standard deviation of holding a plan.
func (h Holding) sd() float64 {
	if h.SD > 0 {
		return h.SD
	}
	return holdSD
}

// draw is one ride's habits; nil: none are known.
func (h Holding) draw(r *rand.Rand) []float64 {
	if len(h.Habits) == 0 {
		return nil
	}
	out := make([]float64, len(h.Habits))
	for i, x := range h.Habits {
		out[i] = x.Mean + x.SD*r.NormFloat64()
	}
	return out
}

// ridden is what becomes of the planned watts on each step with these habits.
func (h Holding) ridden(s *shape, watts, drawn []float64) []float64 {
	if drawn == nil {
		return watts
	}
	out, at := make([]float64, len(watts)), 0.0
	for i, w := range watts {
		into := (at + s.length[i]/2) / s.total
		off := 0.0
		for k, x := range h.Habits {
			if x.held(s.gradient[i], into) {
				off += drawn[k]
			}
		}
		out[i] = w * math.Exp(off)
		at += s.length[i]
	}
	return out
}
