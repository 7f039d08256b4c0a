package debrief

import (
	"fmt"
	"math"
	"slices"

	"chainline/capacity"
	"chainline/estimate"
)

// What a ride taught about the rider: its efforts, with the answer to 'could
// you have gone harder?', become evidence, and the capacity is inferred again.

// LearnRequest is a ride to learn from. Rider holds the evidence and the time
// off known before it, with ages as of the day of this ride.
type LearnRequest struct {
	Rider    capacity.Rider
	Source   capacity.Source // the ride's power source
	Watts    []float64       // of the ride, one a second, gaps as nothing
	Best     *MeanMax        // of Watts; nil: it is reckoned
	Answer   capacity.Harder
	Recovery capacity.Recovery
	Date     string // ISO 8601, of the ride
	Where    string // "indoor", "outdoor" or empty
	Seed     uint64
}

// Learning is what it taught.
type Learning struct {
	Added    []capacity.Evidence `json:"added,omitempty"`
	Numbers  []Moved             `json:"numbers"`
	Sentence string              `json:"sentence"`
	Unsaid   []string            `json:"unsaid,omitempty"` // why an effort or an answer was not used
	Learnt   capacity.Learnt     `json:"-"`                // after the ride
	Account  capacity.Account    `json:"-"`
}

// Moved is one number of the capacity before and after, in the watts that the
// ride's source displays.
type Moved struct {
	Name   string   `json:"name"`
	Unit   string   `json:"unit"`
	Before Interval `json:"before"`
	After  Interval `json:"after"`
}

// What counts as an effort; our judgement.
const (
	effortFrom = 120     // s, below it a ride's best is a sprint
	sprintOf   = 5       // s
	badDay     = 0.80    // of what is thought possible: less, with nothing left, tells of the day
	sprintNear = 0.97    // of what is thought possible, from which a sprint counts
	effortStep = 1.1     // between the durations looked at
	mostFactor = 1.6     // of the capacity, that a ride can ask for
	factorGrid = 1.0 / 8 // W′ balance is looked for down to this share
)

// Learn infers the capacity without and with a ride. Both use the same draws of
// chance, so that a difference is the ride's.
func Learn(q LearnRequest) Learning {
	before, _ := capacity.Infer(q.Rider, q.Source, estimate.Stream(q.Seed, 0))
	l := Learning{}
	l.Added, l.Unsaid = q.efforts(before.Displayed)
	rider := q.Rider
	rider.Evidence = append(slices.Clone(rider.Evidence), l.Added...)
	l.Learnt, l.Account = capacity.Infer(rider, q.Source, estimate.Stream(q.Seed, 0))
	a, b := Numbers(before.Displayed), Numbers(l.Learnt.Displayed)
	for i, n := range learntNumbers {
		l.Numbers = append(l.Numbers, Moved{n.name, n.unit, a[i], b[i]})
	}
	l.Sentence = l.words()
	return l
}

// Numbers are those of a capacity that a Learning has, in its order.
func Numbers(c capacity.Capacity) (out []Interval) {
	for _, n := range learntNumbers {
		e, _ := c.Estimate(n.of, "")
		out = append(out, interval(e))
	}
	return out
}

var learntNumbers = []struct {
	name, unit string
	of         func(capacity.Capacity) float64
}{
	{"threshold", "W", capacity.Capacity.Threshold},
	{"critical power", "W", func(c capacity.Capacity) float64 { return c.CriticalPower }},
	{"W′", "J", func(c capacity.Capacity) float64 { return c.WPrime }},
	{"maximal power", "W", func(c capacity.Capacity) float64 { return c.MaxPower }},
}

// efforts are the ride's evidence, and why some of it is none.
func (q LearnRequest) efforts(c capacity.Capacity) (out []capacity.Evidence, unsaid []string) {
	best := q.Best
	if best == nil {
		b := MeanMaximal(q.Watts)
		best = &b
	}
	like := capacity.Evidence{Kind: capacity.RideEffort, Date: q.Date, Source: q.Source.Name, Where: q.Where, AccuracyPercent: 100 * q.Source.SD}
	duration, share := nearest(*best, c)
	if duration == 0 {
		return nil, []string{"The ride is shorter than two minutes: nothing is learnt from it."}
	}
	// A ride of several hard efforts asks for more than its best one alone.
	share = math.Max(share, asked(q.Watts, c, q.Recovery))
	if q.Answer == capacity.HarderNo && share < badDay {
		unsaid = append(unsaid, fmt.Sprintf("You had nothing left at %.0f %% of what was thought possible: that tells of the day, of heat or of tired legs, so it is not taken for your capacity.", 100*share))
	} else {
		e := like
		e.Duration, e.Watts, e.Harder = float64(duration), share*c.Power(float64(duration)), q.Answer
		out = append(out, e)
	}
	// A sprint in a ride is seldom all one has: it counts where it shows more
	// than was known, as at least this.
	if w, _, ok := best.At(sprintOf); ok && w >= sprintNear*c.Power(sprintOf) {
		e := like
		e.Duration, e.Watts = sprintOf, w
		out = append(out, e)
	}
	return out, unsaid
}

// nearest is the duration (s) whose best came nearest to what the capacity
// allows, and the share of it; 0 for a ride that is too short.
func nearest(best MeanMax, c capacity.Capacity) (duration int, share float64) {
	for d := effortFrom; d <= min(len(best.Watts), int(capacity.PowerTo)); d = max(d+1, int(effortStep*float64(d))) {
		w, _, _ := best.At(d)
		if s := w / c.Power(float64(d)); s > share {
			duration, share = d, s
		}
	}
	return duration, share
}

// asked is the share of a capacity that a ride as a whole needs: CP and W′ times
// it would just run empty once. The fade of long rides is left out: nearest
// has it.
func asked(watts []float64, c capacity.Capacity, form capacity.Recovery) float64 {
	low, high := factorGrid, mostFactor
	empty := func(k float64) bool {
		b := capacity.Balance{CriticalPower: k * c.CriticalPower, WPrime: k * c.WPrime, Form: form}
		if form == capacity.Integral {
			b.MeanDeficit = meanDeficit(watts, b.CriticalPower)
		}
		w := b.WPrime
		for _, p := range watts {
			if w = b.Step(w, p, 1); w <= 0 {
				return true
			}
		}
		return false
	}
	if len(watts) == 0 || !empty(low) {
		return 0
	}
	for range 20 {
		if middle := (low + high) / 2; empty(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

func meanDeficit(watts []float64, cp float64) float64 {
	sum, n := 0.0, 0
	for _, w := range watts {
		if w < cp {
			sum, n = sum+cp-w, n+1
		}
	}
	return sum / math.Max(1, float64(n))
}

func (l *Learning) words() string {
	m := l.Numbers[0]
	change := m.After.Mean - m.Before.Mean
	before, after := m.Before.High80-m.Before.Low80, m.After.High80-m.After.Low80
	what := fmt.Sprintf("Your threshold is now taken as %.0f W (%.0f to %.0f)", m.After.Mean, m.After.Low80, m.After.High80)
	switch {
	case len(l.Added) == 0:
		return what + ", as before."
	case math.Abs(change) < 0.5 && after > 0.97*before:
		return what + "; the ride said nothing new about it."
	case math.Abs(change) < 0.5:
		return fmt.Sprintf("%s; the ride narrowed it from %.0f to %.0f.", what, m.Before.Low80, m.Before.High80)
	case change > 0:
		return fmt.Sprintf("%s, %.0f W more than before it (%.0f to %.0f).", what, change, m.Before.Low80, m.Before.High80)
	}
	return fmt.Sprintf("%s, %.0f W less than before it (%.0f to %.0f).", what, -change, m.Before.Low80, m.Before.High80)
}

// TimeOff are the stretches without a ride, from the days (any count of days,
// rising) on which rides took place, up to today.
func TimeOff(days []int, today int) (off []capacity.TimeOff) {
	for i, d := range days {
		next := today
		if i+1 < len(days) {
			next = min(days[i+1], today)
		}
		if gap := float64(next - d); gap >= capacity.OffLeast {
			off = append(off, capacity.TimeOff{Ago: float64(today - next), Days: gap})
		}
	}
	return off
}
