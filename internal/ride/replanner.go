package ride

import (
	"context"
	"fmt"
	"math"

	"chainline/pacing"
)

// Solver makes the rest of a course anew by pacing.Going: a hundred and some
// riders who may be this one, weighed by what the ride has shown.
type Solver struct {
	going          *pacing.Going
	floor, ceiling float64
	limit          float64
	plan           []pacing.Piece // as first made: the shape that is scaled
	names          []Cue
	heartMax       float64

	done     float64 // ride clock up to which what was ridden is counted, s
	asked    float64 // J asked and ridden since the start, where both are known
	given    float64
	slow     float64 // s for which the legs have fallen short
	steady   []second
	failures int
}

// second is one second of the ride.
type second struct{ watts, heart float64 }

// solverDraws are enough for a chance of one in ten to be known within three
// in a hundred, and few enough to ride the rest many times a second.
const solverDraws = 100

// What counts as legs that failed: this far below what was asked, for so long.
// Our judgement; a gear change or a bottle is shorter.
const (
	shortShare   = 0.12
	shortSeconds = 25.0
	steadyFor    = 240 // s of even watts before a heart rate is evidence
	steadyWithin = 0.08
)

// shareOfLimit of the brief's chance of running empty is what the rest may
// take: the chance is taken again at every look, and the brief's is for the
// whole ride. Chosen on bench riders (docs/evidence.md).
const shareOfLimit = 0.7

// NewReplanner makes the solver of one ride from what its brief was made from.
func NewReplanner(w pacing.World, o pacing.Orders, floor, ceiling, limit float64, course *Course, heartMax float64, seed uint64) *Solver {
	s := &Solver{going: w.Begin(o, seed, solverDraws), floor: floor, ceiling: ceiling, limit: shareOfLimit * limit, names: course.Cues, heartMax: heartMax}
	for _, c := range course.Cues {
		s.plan = append(s.plan, pacing.Piece{From: c.FromM, To: c.ToM, Watts: c.Watts})
	}
	return s
}

// Replan solves the rest.
func (s *Solver) Replan(ctx context.Context, r Rest) (NewRest, error) {
	s.learn(r)
	executed := 1.0
	if s.asked > 30000 {
		executed = math.Max(0.9, math.Min(1.1, s.given/s.asked))
	}
	plan, out, err := s.going.Replan(ctx, s.plan, r.AtM, r.Speed, executed, s.floor, s.ceiling, s.limit)
	if err != nil {
		return NewRest{}, err
	}
	n := NewRest{Sequence: r.Sequence, FinishS: r.ClockS + out.Median, Low80: r.ClockS + out.Low80, High80: r.ClockS + out.High80, ChanceEmpty: out.ChanceEmpty}
	for _, p := range plan {
		n.Cues = append(n.Cues, s.cue(p))
	}
	n.Affordable = affordable(r, plan)
	return n, nil
}

// cue is a piece with the name and the words of the cue it came from.
func (s *Solver) cue(p pacing.Piece) Cue {
	q := Cue{FromM: p.From, ToM: p.To, Watts: p.Watts}
	for _, c := range s.names {
		if p.To <= c.ToM+1 && p.To > c.FromM {
			q.Name, q.StartS, q.Gear = c.Name, c.StartS, c.Gear
			if p.Watts == c.Watts { // how it feels goes with the watts it was said of
				q.Exertion, q.Feel, q.HeartLow, q.HeartHigh, q.WheelKmh = c.Exertion, c.Feel, c.HeartLow, c.HeartHigh, c.WheelKmh
			}
		}
	}
	return q
}

// affordable says how the rest differs from what stands.
func affordable(r Rest, plan []pacing.Piece) string {
	var change, weight float64
	for _, p := range plan {
		length := p.To - p.From
		change += length * (p.Watts - wattsAt(r.Planned, (p.From+p.To)/2))
		weight += length
	}
	if weight == 0 {
		return ""
	}
	switch d := change / weight; {
	case d >= 4:
		return fmt.Sprintf("About %.0f W more can be afforded from here.", 5*math.Round(d/5))
	case d <= -4:
		return fmt.Sprintf("About %.0f W less from here, to have enough to the line.", 5*math.Round(-d/5))
	}
	return ""
}

// learn takes what was ridden since the last time.
func (s *Solver) learn(r Rest) {
	for _, p := range r.Ridden {
		if p.ClockS <= s.done {
			continue
		}
		dt := math.Min(2, p.ClockS-s.done)
		s.done = p.ClockS
		s.going.Ridden(p.Watts, dt)
		if p.Target > 0 && p.Watts > 0.3*p.Target {
			s.asked, s.given = s.asked+p.Target*dt, s.given+p.Watts*dt
		}
		s.failing(p, dt)
		s.even(second{p.Watts, p.Heart})
	}
}

// failing sees legs that cannot hold what is asked, once for each time.
func (s *Solver) failing(p TracePoint, dt float64) {
	cp, _, _ := s.going.Expected()
	if p.Target > 0.9*cp && p.Watts > 0.4*p.Target && p.Watts < (1-shortShare)*p.Target {
		s.slow += dt
	} else {
		s.slow = 0
	}
	if s.slow >= shortSeconds {
		s.going.Failed()
		s.failures++
		s.slow = math.Inf(-1) // until it is held again
	}
}

// even keeps the last minutes and gives a steady heart to the draws.
func (s *Solver) even(x second) {
	s.steady = append(s.steady, x)
	if len(s.steady) < steadyFor || s.heartMax <= 0 {
		return
	}
	mean := 0.0
	for _, y := range s.steady {
		mean += y.watts / float64(len(s.steady))
	}
	off, bpm, beats := 0.0, 0.0, 0
	for i, y := range s.steady {
		off += math.Abs(y.watts-mean) / float64(len(s.steady))
		if i >= steadyFor*3/4 && y.heart > 0 {
			bpm += y.heart
			beats++
		}
	}
	if off <= steadyWithin*mean && mean > 80 && beats >= steadyFor/8 {
		s.going.Heart(bpm/float64(beats), mean, steadyFor, s.heartMax, 0)
		s.steady = s.steady[:0]
		return
	}
	s.steady = s.steady[1:]
}
