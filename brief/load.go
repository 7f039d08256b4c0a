package brief

import (
	"sort"

	"chainline/capacity"
)

// perSecond is the plan second by second, in watts.
func (s *sheet) perSecond() []float64 {
	out := s.res.Plan.Outcome
	var watts []float64
	for t := 0.5; t < out.Time; t++ {
		j := min(sort.SearchFloat64s(out.Seconds, t), len(out.At)-1)
		from, before := 0.0, 0.0
		if j > 0 {
			from, before = out.At[j-1], out.Seconds[j-1]
		}
		x := from
		if out.Seconds[j] > before {
			x += (out.At[j] - from) * min(1, (t-before)/(out.Seconds[j]-before))
		}
		watts = append(watts, wattsAt(s.res.Plan.Plan, x))
	}
	return watts
}

// load fills what the plan costs as a session: equivalent power, its share of
// threshold, load. The threshold is the rider's in a cool room.
func (s *sheet) load(p *PlanSheet) {
	p.EquivalentWatts = capacity.EquivalentPower(s.perSecond())
	if threshold := s.cool.Threshold(); threshold > 0 {
		p.ShareOfThreshold = p.EquivalentWatts / threshold
		p.Load = capacity.Load(p.Time, p.EquivalentWatts, threshold)
	}
}
