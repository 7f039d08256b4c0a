package calendar

import "time"

// AssumedLength is how long an event is taken to go on if nobody says. Our
// judgement.
const AssumedLength = time.Hour

// ends is when an event is over, as far as that is known.
func (o Occurrence) ends() time.Time {
	if !o.LengthKnown {
		return o.Start.Add(AssumedLength)
	}
	return o.End
}

// Clash is two events of a list that go on at the same time, by their places
// in it.
type Clash struct{ First, Second int }

// mostClashes of one list.
const mostClashes = 5000

// Clashes finds events that overlap, each with its turn-round between: one
// that begins sooner than gap after another ends clashes with it. Whole days
// clash with nothing. all must be in the order of starts.
func Clashes(all []Occurrence, gap time.Duration) []Clash {
	var found []Clash
	var open []int
	for i, o := range all {
		if o.AllDay {
			continue
		}
		still := open[:0]
		for _, j := range open {
			if all[j].ends().Add(gap).After(o.Start) || all[j].Start.Equal(o.Start) {
				still = append(still, j)
				if len(found) < mostClashes {
					found = append(found, Clash{j, i})
				}
			}
		}
		open = append(still, i)
	}
	return found
}
