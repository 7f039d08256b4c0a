package debrief

import (
	"slices"

	"chainline/recording"
)

// Glance is what a list shows of a ride, and what needs no rider.
type Glance struct {
	Whole Stretch
	Best  *MeanMax // nil: no power was recorded
}

var glanced = []recording.Quantity{recording.Power, recording.HeartRate, recording.Cadence, recording.Position, recording.Speed, recording.Altitude}

// GlanceAt takes the measures of a ride that a list shows. The error says why
// the recording cannot be used.
func GlanceAt(r *recording.Recording, source string) (Glance, error) {
	few := *r // the rest is not looked at
	few.Channels = slices.DeleteFunc(slices.Clone(r.Channels), func(c recording.Channel) bool { return !slices.Contains(glanced, c.Quantity) })
	s, err := read(&few, source)
	if err != nil {
		return Glance{}, err
	}
	g := Glance{Whole: s.stretch("", 0, s.n(), 0)}
	if g.Whole.KnownS > 0 {
		best := MeanMaximal(s.filled())
		g.Best = &best
	}
	return g, nil
}

// Filled are the watts of a ride, one a second, gaps as nothing.
func Filled(r *recording.Recording, source string) ([]float64, error) {
	s, err := read(r, source)
	if err != nil {
		return nil, err
	}
	return s.filled(), nil
}
