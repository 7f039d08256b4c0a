package debrief

import "chainline/recording"

// Glance is what a list shows of a ride, and what needs no rider.
type Glance struct {
	Whole Stretch
	Best  *MeanMax // nil: no power was recorded
}

// GlanceAt takes the measures of a ride that a list shows. The error says why
// the recording cannot be used.
func GlanceAt(r *recording.Recording, source string) (Glance, error) {
	s, err := read(r, source)
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
