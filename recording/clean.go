package recording

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
)

// ChangeKind says what a change of Clean mends.
type ChangeKind string

// The kinds of change.
const (
	Spike   ChangeKind = "spike"   // a value nobody could have ridden there
	DropOut ChangeKind = "dropout" // zeros of a sensor that had lost its rider
	Stuck   ChangeKind = "stuck"   // one value said on and on
	Stopped ChangeKind = "stopped" // the device stood still and did not say so
)

// Reading is one value with its time of arrival, s.
type Reading struct {
	Seconds float64 `json:"seconds"`
	Value   float64 `json:"value"`
}

// Change is one thing that Clean would mend. Readings are only ever taken out,
// never invented: what is left is a gap, over which the reading before stands
// for at most Hold. A stop gets its two marks.
type Change struct {
	Kind     ChangeKind `json:"kind"`
	Quantity Quantity   `json:"quantity,omitempty"` // none for a stop
	Source   string     `json:"source,omitempty"`
	From     float64    `json:"from_s"` // the first reading taken out, or the stop's begin
	To       float64    `json:"to_s"`
	Was      []Reading  `json:"was,omitempty"` // what is taken out
	Marks    []Mark     `json:"marks,omitempty"`
	Why      string     `json:"why"`
}

// Clean takes out what cannot have been and marks unmarked stops. It returns a
// copy and everything it changed; the recording itself stays as it is. It is
// conservative: whatever a rider could have done is kept.
func Clean(r *Recording) (*Recording, []Change) {
	changes := Suspect(r)
	return Apply(r, changes), changes
}

// Apply is a copy of the recording with the given changes made, all or some of
// those Suspect found.
func Apply(r *Recording, changes []Change) *Recording {
	out := *r
	out.Channels, out.Marks = slices.Clone(r.Channels), slices.Clone(r.Marks)
	gone := map[key]map[float64]bool{}
	for _, c := range changes {
		out.Marks = append(out.Marks, c.Marks...)
		if len(c.Was) == 0 {
			continue
		}
		k := key{c.Quantity, c.Source}
		if gone[k] == nil {
			gone[k] = map[float64]bool{}
		}
		for _, x := range c.Was {
			gone[k][x.Seconds] = true
		}
	}
	sortMarks(out.Marks)
	for i, c := range out.Channels {
		if times := gone[key{c.Quantity, c.Source}]; times != nil {
			out.Channels[i].Seconds, out.Channels[i].Values = nil, nil
			for j, s := range c.Seconds {
				if !times[s] {
					out.Channels[i].Seconds = append(out.Channels[i].Seconds, s)
					out.Channels[i].Values = append(out.Channels[i].Values, c.Values[j])
				}
			}
		}
	}
	return &out
}

// Undo is a copy of a cleaned recording with one change taken back. The error
// is for a change that was not made in it.
func Undo(r *Recording, c Change) (*Recording, error) {
	out := *r
	out.Channels, out.Marks = slices.Clone(r.Channels), slices.Clone(r.Marks)
	for _, m := range c.Marks {
		i := slices.Index(out.Marks, m)
		if i < 0 {
			return nil, fmt.Errorf("this stop at %g s is not marked in the recording", c.From)
		}
		out.Marks = slices.Delete(out.Marks, i, i+1)
	}
	if len(c.Was) == 0 {
		return &out, nil
	}
	i := slices.IndexFunc(out.Channels, func(x Channel) bool { return x.Quantity == c.Quantity && x.Source == c.Source })
	if i < 0 {
		return nil, fmt.Errorf("there is no channel %s of %q", c.Quantity, c.Source)
	}
	ch := &out.Channels[i]
	ch.Seconds, ch.Values = slices.Clone(ch.Seconds), slices.Clone(ch.Values)
	for _, x := range c.Was {
		at, there := slices.BinarySearch(ch.Seconds, x.Seconds)
		if there {
			return nil, fmt.Errorf("%s of %q at %g s was not taken out", c.Quantity, c.Source, x.Seconds)
		}
		ch.Seconds, ch.Values = slices.Insert(ch.Seconds, at, x.Seconds), slices.Insert(ch.Values, at, x.Value)
	}
	return &out, nil
}

func sortMarks(marks []Mark) {
	slices.SortStableFunc(marks, func(a, b Mark) int { return cmp.Compare(a.Seconds, b.Seconds) })
}

// Suspect lists what Clean would change, in the order of time. What the
// program reckoned itself, asked or was asked is never suspect.
func Suspect(r *Recording) []Change {
	s := suspects{rec: r, taken: map[key][]bool{}}
	s.cadence, _ = r.Signal(Cadence, "")
	for i := range r.Channels {
		c := &r.Channels[i]
		if c.Source == "ride" || len(c.Values) == 0 {
			continue
		}
		s.taken[key{c.Quantity, c.Source}] = make([]bool, len(c.Values))
		switch c.Quantity {
		case Power:
			s.power(c)
		case HeartRate:
			s.heart(c)
		case Cadence:
			s.cranks(c)
		case Speed, WheelSpeed, MachineSpeed:
			s.fast(c)
		case Altitude:
			s.height(c)
		}
	}
	s.stops()
	slices.SortStableFunc(s.changes, func(a, b Change) int { return cmp.Compare(a.From, b.From) })
	return s.changes
}

// suspects collects changes; a reading belongs to one at most, so that each
// can be made or not without the others.
type suspects struct {
	rec     *Recording
	cadence Channel
	taken   map[key][]bool
	changes []Change
}

// take suspects readings i up to and with j of a channel.
func (s *suspects) take(c *Channel, i, j int, kind ChangeKind, why string, args ...any) {
	taken := s.taken[key{c.Quantity, c.Source}]
	change := Change{Kind: kind, Quantity: c.Quantity, Source: c.Source, Why: fmt.Sprintf(why, args...)}
	for k := i; k <= j; k++ {
		if !taken[k] {
			taken[k] = true
			change.Was = append(change.Was, Reading{c.Seconds[k], c.Values[k]})
		}
	}
	if n := len(change.Was); n > 0 {
		change.From, change.To = change.Was[0].Seconds, change.Was[n-1].Seconds
		s.changes = append(s.changes, change)
	}
}

// run is the readings around i without a gap for which ok holds.
func (c *Channel) run(i int, ok func(v float64) bool) (from, to int) {
	from, to = i, i
	for from > 0 && ok(c.Values[from-1]) && c.Seconds[from]-c.Seconds[from-1] <= Hold {
		from--
	}
	for to+1 < len(c.Values) && ok(c.Values[to+1]) && c.Seconds[to+1]-c.Seconds[to] <= Hold {
		to++
	}
	return from, to
}

// beside is the values within a time before reading i and behind reading j.
func (c *Channel) beside(i, j int, within float64) (before, behind []float64) {
	from := sort.SearchFloat64s(c.Seconds, c.Seconds[i]-within)
	to := sort.Search(len(c.Seconds), func(k int) bool { return c.Seconds[k] > c.Seconds[j]+within })
	return c.Values[from:i], c.Values[j+1 : to]
}

// between are the values from one instant to another, both included.
func (c *Channel) between(from, to float64) []float64 {
	i := sort.SearchFloat64s(c.Seconds, from)
	j := sort.Search(len(c.Seconds), func(k int) bool { return c.Seconds[k] > to })
	return c.Values[i:max(i, j)]
}

func highest(values ...[]float64) float64 {
	high := math.Inf(-1)
	for _, list := range values {
		for _, v := range list {
			high = math.Max(high, v)
		}
	}
	return high
}

func lowest(values []float64) float64 {
	low := math.Inf(1)
	for _, v := range values {
		low = math.Min(low, v)
	}
	return low
}

func median(values []float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(values))
	return s[len(s)/2]
}

func quantile(values []float64, share float64) float64 {
	s := slices.Sorted(slices.Values(values))
	return s[int(share*float64(len(s)-1))]
}

// instants are the times of all readings of all channels, in order.
func (r *Recording) instants() []float64 {
	var all []float64
	for i, c := range r.Channels {
		// Most devices write all of their channels at the same instants.
		if i == 0 || !slices.Equal(c.Seconds, r.Channels[i-1].Seconds) {
			all = append(all, c.Seconds...)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}
