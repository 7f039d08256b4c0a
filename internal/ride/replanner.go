package ride

import (
	"context"
	"fmt"
	"math"

	"chainline/course"
	"chainline/pacing"
)

// Basis is what the rest of a course is made anew from. It stands in the
// ride's journal, so that a ride gone on with after the program was killed
// has its plan made anew as well.
type Basis struct {
	World    pacing.World   `json:"world"` // without its profile: the course's
	Orders   pacing.Orders  `json:"orders"`
	Shape    []pacing.Piece `json:"shape"` // the brief's plan: what is scaled
	FloorW   float64        `json:"floor_w,omitempty"`
	CeilingW float64        `json:"ceiling_w,omitempty"` // 0 none
	Limit    float64        `json:"limit"`               // chance of running empty that the style allows
	HeartMax float64        `json:"heart_max_bpm,omitempty"`
	Seed     uint64         `json:"seed"`
}

// Solver makes the rest of a course anew by pacing.Going: some hundred riders
// who may be this one, weighed by what the ride has shown.
type Solver struct {
	basis Basis
	going *pacing.Going
	names []Cue
	share float64 // of the shape's watts, less one
	toll  float64 // s

	done    float64 // ride clock up to which what was ridden is counted, s
	asked   float64 // J asked and ridden since the start, where both are known
	given   float64
	even    float64 // s in which what was asked was about held
	squares float64 // W²·s around it
	slow    float64 // s for which the legs have fallen short
}

// solverDraws are enough for a chance of one in ten to be known within two in
// a hundred, and few enough to solve the rest many times a minute.
const solverDraws = 300

// What counts as legs that failed: this far below what was asked, for so long.
// Our judgement; a gear change or a bottle is shorter.
const (
	shortShare   = 0.12
	shortSeconds = 25.0
)

// NewBasis of a ride from what its brief was made from.
func NewBasis(w pacing.World, r pacing.Result, floor, ceiling, limit, heartMax float64, seed uint64) *Basis {
	b := &Basis{World: w, Orders: r.Orders, Shape: r.Plan.Plan, FloorW: floor, Limit: limit, HeartMax: heartMax, Seed: seed}
	b.World.Profile, b.World.Sketch = course.Profile{}, nil
	if !math.IsInf(ceiling, 1) {
		b.CeilingW = ceiling
	}
	return b
}

// Solver of a course; nil where its plan stays as it is.
func (k *Course) Solver() *Solver {
	if k == nil || k.Basis == nil {
		return nil
	}
	b := *k.Basis
	b.World.Profile = k.Profile
	if b.CeilingW == 0 {
		b.CeilingW = math.Inf(1)
	}
	return &Solver{basis: b, going: b.World.Begin(b.Orders, b.Seed, solverDraws), names: k.Cues, toll: pacing.Toll(k.PlannedS, b.Limit)}
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
	share, plan, out, err := s.going.Replan(ctx, s.basis.Shape, r.AtM, r.Speed, executed, s.basis.FloorW, s.basis.CeilingW, s.toll, s.share)
	s.share = share
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
		if s.basis.HeartMax > 0 {
			s.going.Heart(p.Heart, p.Watts, dt, s.basis.HeartMax)
		}
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
		s.slow = math.Inf(-1) // until it is held again
	}
}
