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
	band           pacing.Band
	names          []Cue

	done     float64 // ride clock up to which what was ridden is counted, s
	asked    float64 // J asked and ridden since the start, where both are known
	given    float64
	even     float64 // s in which what was asked was about held
	squares  float64 // W²·s around it
	slow     float64 // s for which the legs have fallen short
	failures int
}

// solverDraws are enough for a chance of one in ten to be known within three
// in a hundred, and few enough to ride the rest many times a second.
const solverDraws = 100

// What counts as legs that failed: this far below what was asked, for so long.
// Our judgement; a gear change or a bottle is shorter.
const (
	shortShare   = 0.12
	shortSeconds = 25.0
)

// Shares of the brief's chance of running empty between which a standing plan
// is left alone. Chosen on bench riders (docs/evidence.md).
const (
	lowerAt = 1.0
	raiseAt = 0.02
)

// NewReplanner makes the solver of one ride from what its brief was made from.
func NewReplanner(w pacing.World, o pacing.Orders, floor, ceiling, limit float64, course *Course, seed uint64) *Solver {
	s := &Solver{going: w.Begin(o, seed, solverDraws), floor: floor, ceiling: ceiling, band: pacing.Band{Lower: lowerAt * limit, Raise: raiseAt * limit}, names: course.Cues}
	return s
}

// standing is the plan as it stands, ridden and to come.
func standing(cues []Cue) []pacing.Piece {
	var out []pacing.Piece
	for _, c := range cues {
		out = append(out, pacing.Piece{From: c.FromM, To: c.ToM, Watts: c.Watts})
	}
	return out
}

// Replan solves the rest.
func (s *Solver) Replan(ctx context.Context, r Rest) (NewRest, error) {
	s.learn(r)
	executed := 1.0
	if s.asked > 30000 {
		executed = math.Max(0.9, math.Min(1.1, s.given/s.asked))
	}
	if s.even > 60 {
		s.going.Rough(math.Sqrt(s.squares / s.even))
	}
	plan, out, err := s.going.Replan(ctx, standing(r.Planned), r.AtM, r.Speed, executed, s.floor, s.ceiling, s.band)
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
		if off := p.Watts - p.Target; p.Target > 0 && math.Abs(off) < 0.25*p.Target {
			s.even, s.squares = s.even+dt, s.squares+off*off*dt
		}
		s.failing(p, dt)
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
