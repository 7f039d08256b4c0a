package session

import (
	"fmt"
	"math"
	"slices"
)

// One session ridden at the same time by several riders, each at their own.

// Row is one step of a group's session: the same moment for all, another
// effort for each.
type Row struct {
	Stage   Stage // with the length that is common to all
	Turns   []Count
	StartS  float64 // s from the start
	CommonS float64 // s until the next row begins by plan
	Riders  []Leg   // one for each view, in their order
}

// Joint is a session for several riders.
type Joint struct {
	Session  Session // as ridden together
	Riders   []Scaled
	Warnings [][]Warning // one list for each rider
	Rows     []Row
	Notes    []string // what was changed so that all stay together, one sentence each
}

// together is to how many seconds a common length is rounded.
const together = 5.0

// Together scales a session for riders who ride it side by side. Stages that
// end on distance or on W′ would end for each at another moment: they are
// given one time, the median of what the riders need, and Notes says so. A
// stage until a rider cannot go on lasts for the row as long as the last rider
// needs; one that ends at a word ends at the host's. At least one view.
func Together(s Session, views []View) (Joint, error) {
	if len(views) == 0 {
		return Joint{}, fmt.Errorf("session: a group without riders")
	}
	var alone []Scaled
	for i, v := range views {
		scaled, _, err := Scale(s, v)
		if err != nil {
			return Joint{}, fmt.Errorf("rider %d: %w", i+1, err)
		}
		alone = append(alone, scaled)
	}
	j := Joint{Session: s}
	at := 0
	j.Session.Blocks = j.common(s.Blocks, &at, alone)
	for _, v := range views {
		scaled, warnings, err := Scale(j.Session, v)
		if err != nil {
			return Joint{}, err
		}
		j.Riders, j.Warnings = append(j.Riders, scaled), append(j.Warnings, warnings)
	}
	start := 0.0
	for i, first := range j.Riders[0].Legs {
		row := Row{Stage: first.Stage, Turns: first.Turns, StartS: start}
		for _, r := range j.Riders {
			row.Riders = append(row.Riders, r.Legs[i])
			row.CommonS = math.Max(row.CommonS, r.Legs[i].PlanS)
		}
		start += row.CommonS
		j.Rows = append(j.Rows, row)
	}
	return j, nil
}

// common is the blocks with one time for stages that would part the group.
func (j *Joint) common(blocks []Block, at *int, alone []Scaled) []Block {
	out := slices.Clone(blocks)
	for i := range out {
		b := &out[i]
		if b.Times > 0 {
			b.Blocks = j.common(b.Blocks, at, alone)
			continue
		}
		here := *at
		*at++
		e := b.Stage.End
		switch e.Kind {
		case AfterDistance, AtBalance:
			sentence := b.Stage.quoted()
			seconds := middle(alone, here)
			if e.Kind == AtBalance {
				seconds = math.Max(e.LeastS, math.Min(e.MostS, seconds))
			}
			b.Stage.End = End{Kind: AfterTime, Seconds: math.Max(together, math.Min(MaxStageS, seconds))}
			j.Notes = append(j.Notes, fmt.Sprintf("%s would end for each rider at another moment: together it lasts %s.", sentence, clock(b.Stage.End.Seconds)))
		case WhenSpent:
			j.Notes = append(j.Notes, fmt.Sprintf("%s: whoever is done pedals lightly until the host goes on.", b.Stage.quoted()))
		}
	}
	return out
}

// middle is the median time of a written stage over riders and turns.
func middle(alone []Scaled, at int) float64 {
	var times []float64
	for _, s := range alone {
		for _, l := range s.Legs {
			if l.At == at {
				times = append(times, l.PlanS)
			}
		}
	}
	slices.Sort(times)
	return together * math.Round((times[(len(times)-1)/2]+times[len(times)/2])/2/together)
}

// quoted is the sentence without its cue text, in quotes.
func (s Stage) quoted() string {
	s.Say = ""
	return "“" + s.Sentence() + "”"
}
