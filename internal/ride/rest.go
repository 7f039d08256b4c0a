package ride

import (
	"context"
	"math"
	"time"
)

// The plan re-made while riding. The core says every ten seconds where the
// ride is; somebody who may take time (the engine's worker, or Headless at
// once) solves the rest and hands it back.

// every is how often the rest is made anew, and what it takes for a new plan
// to replace the old: a cue may not change by less than two steps of 5 W, and
// the one being ridden not in its last twenty seconds. Our judgement.
const (
	every      = 10 * time.Second
	leastShift = 10.0        // W
	leastRest  = 0.1         // of what is left, over which it has to differ by that
	tooLate    = 20.0        // s before a cue's end
	between    = time.Minute // from one new plan to the next
)

// Rest is where a ride is, for whoever solves the rest of it.
type Rest struct {
	Sequence  int     // of the question: an older answer is dropped
	AtM       float64 // m
	Speed     float64 // m/s
	ClockS    float64
	BalanceJ  float64
	MeanWatts float64      // so far
	Planned   []Cue        // as they stand
	Ridden    []TracePoint // every second so far
}

// NewRest is the rest made anew.
type NewRest struct {
	Sequence    int
	Cues        []Cue   // from Rest.AtM to the end
	FinishS     float64 // ride clock at the finish, median
	Low80       float64
	High80      float64
	ChanceEmpty float64
	Affordable  string // what is affordable, a sentence; may be empty
}

// Replanner solves the rest. It may take seconds; it must heed ctx.
type Replanner interface {
	Replan(ctx context.Context, r Rest) (NewRest, error)
}

type replanning struct {
	sequence int
	asked    time.Time
	pending  bool
	last     NewRest
	has      bool
	changes  int
	changed  time.Time
}

// replanIfDue asks for the rest to be made anew.
func (c *Core) replanIfDue() {
	k := c.setup.Course
	if k == nil || k.Basis == nil || k.Advance != ByPosition && k.Advance != ByDistance || c.stage != Riding {
		return
	}
	if c.replan.pending || c.now.Sub(c.replan.asked) < every || c.clock() < 20 || k.Profile.Length()-c.at < 200 {
		return
	}
	c.replan.sequence++
	c.replan.asked, c.replan.pending = c.now, true
	mean := 0.0
	if t := c.clock(); t > 0 {
		mean = c.work / t
	}
	c.out.Replan = &Rest{Sequence: c.replan.sequence, AtM: c.at, Speed: c.speed, ClockS: c.clock(), BalanceJ: c.balance,
		MeanWatts: mean, Planned: k.Cues, Ridden: c.trace.points}
}

// Replanned takes the rest made anew. Cues change only where the difference
// matters and there is time to act on it, so that they do not flutter.
func (c *Core) Replanned(n NewRest, err error) {
	c.replan.pending = false
	if err != nil || n.Sequence != c.replan.sequence || c.stage != Riding {
		return
	}
	c.replan.last, c.replan.has = n, true
	k := c.setup.Course
	if len(n.Cues) == 0 || c.now.Sub(c.replan.changed) < between || !c.worthChanging(k, n.Cues) {
		return
	}
	now := c.follow.cueAt(c, 0)
	kept := append([]Cue(nil), k.Cues[:now]...)
	current := k.Cues[now]
	changed := *k
	first := n.Cues[0]
	secondsLeft := (current.ToM - c.at) / math.Max(1, c.speed)
	if math.Abs(first.Watts-current.Watts) < leastShift || secondsLeft < tooLate && first.Watts > current.Watts {
		// The cue being ridden stays; the rest follows from its end.
		kept = append(kept, current)
		changed.Cues = append(kept, after(n.Cues, current.ToM)...)
	} else {
		ridden := current
		ridden.ToM = c.at
		kept = append(kept, ridden)
		changed.Cues = append(kept, n.Cues...)
	}
	c.setup.Course = &changed
	c.replan.changes++
	c.replan.changed = c.now
	c.record(recordPlan(c.seconds(c.now), changed.Cues))
	i := c.follow.cueAt(c, 0)
	if i != c.follow.index {
		was := k.Cues[now].Watts
		c.follow.step(c, i)
		if to := changed.Cues[i].Watts; math.Abs(to-was) >= leastShift {
			c.notice(AboutCue, false, "New plan from here: "+wattsWords(to)+".")
		}
	}
}

// after are the cues from a place on, the first cut to begin there.
func after(cues []Cue, from float64) []Cue {
	var out []Cue
	for _, q := range cues {
		if q.ToM <= from+1 {
			continue
		}
		q.FromM = math.Max(q.FromM, from)
		out = append(out, q)
	}
	return out
}

// worthChanging tells whether the new cues differ from the old by more than a
// rider should be bothered with: at least leastShift over at least a tenth of
// what is left.
func (c *Core) worthChanging(k *Course, cues []Cue) bool {
	left := k.Profile.Length() - c.at
	differs := 0.0
	const pieces = 100
	for i := range pieces {
		x := c.at + (float64(i)+0.5)/pieces*left
		if math.Abs(wattsAt(k.Cues, x)-wattsAt(cues, x)) >= leastShift {
			differs += 1.0 / pieces
		}
	}
	return differs >= leastRest
}

func wattsAt(cues []Cue, x float64) float64 {
	for _, q := range cues {
		if x < q.ToM {
			return q.Watts
		}
	}
	if len(cues) == 0 {
		return 0
	}
	return cues[len(cues)-1].Watts
}
