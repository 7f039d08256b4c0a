package brief

import (
	"testing"

	"chainline/course"
)

// A cue is called after the climb it begins at; one that begins well before it
// says so, and the last one says what the road home asks for.
func TestNamesSayWhereTheCueIs(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 4000, 7000, 9000, 10000}, Elevation: []float64{0, 0, 180, 100, 60}}
	climbs := []course.Climb{{Start: 4000, Length: 3000, Ascent: 180}}
	cue := func(from, to, share float64) Cue {
		return Cue{FromM: from, ToM: to, Watts: 200 * share, Share: share, LastS: 300}
	}
	for _, c := range []struct {
		cues []Cue
		want []string
	}{
		{[]Cue{cue(0, 4000, 0.95), cue(4000, 7000, 1.1), cue(7000, 9000, 0.2), cue(9000, 10000, 1.1)}, []string{"Settle in", "The climb", "Down, easy, drink", "Home, push to the line"}},
		{[]Cue{cue(0, 2600, 0.95), cue(2600, 7000, 1), cue(7000, 10000, 0.7)}, []string{"Settle in", "Into the climb", "Home, easy does it"}},
		{[]Cue{cue(0, 3900, 0.95), cue(3900, 5000, 1), cue(5000, 7000, 1.1), cue(7000, 10000, 0.97)}, []string{"Settle in", "The climb, foot", "The climb, top", "Home, hold on"}},
	} {
		nameCues(c.cues, climbs, p)
		for i, want := range c.want {
			if got := c.cues[i].Name; got != want {
				t.Errorf("cue %d from %.0f m is called %q, want %q", i+1, c.cues[i].FromM, got, want)
			}
		}
	}
}
