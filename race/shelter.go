// Package race answers what happens when riders ride together: which category
// to enter, whether a rider hangs on, how a mixed group is sent off fairly, and
// what a group can ride as one.
//
// Nothing here has been checked against a real race. Shelter and the forms of
// W′ recovery are published; how riders behave in a race is our judgement and
// says so where it stands.
package race

import (
	"fmt"

	"chainline/physics"
)

// Shelter is the share of a lone rider's air drag that is left to a rider in a
// bunch, by position and by how far the wheel ahead is.
type Shelter struct {
	// Position holds the share at position 1 (the front), 2, 3, …; whoever is
	// deeper has the last. 1 is no shelter.
	Position []float64
	// Full is the gap to the wheel ahead in metres up to which all of it holds,
	// Reach that at which none is left; between them it is linear.
	Full, Reach float64
}

// How shelter ends with the gap: Olds 1998 lets it vanish at 3 m, the in-line
// table of physics still has a fifth of the drag taken off at 5 m. Full to
// 1.5 m and none at 6 m lies between; our judgement.
const (
	fullGap  = 1.5
	reachGap = 6.0
)

// Strength is how much of the in-line table's shelter riders of a virtual
// bunch are taken to find: its interval is Low to High, our judgement.
type Strength float64

const (
	Low    Strength = 0.55
	Middle Strength = 0.75
	High   Strength = 0.95
)

// Strengths are the three that forecasts are made for.
var Strengths = [3]Strength{Low, Middle, High}

func (s Strength) String() string {
	switch s {
	case Low:
		return "low shelter"
	case Middle:
		return "middling shelter"
	case High:
		return "high shelter"
	}
	return fmt.Sprintf("%.0f %% of the shelter of a line", 100*float64(s))
}

// Bunch is the shelter by position at a strength from 0 (none) to 1 (all that
// a line of nine at wheel gaps of 1 m gives: 47 % of the drag is left to the
// best placed). The 5 to 10 % that Blocken et al. 2018 found deep inside a
// bunch of 121 is never reached: such a bunch has no place here by default.
func Bunch(strength Strength) Shelter {
	line, err := LineShelter(9, 1)
	if err != nil {
		panic("race: " + err.Error()) // the table has that row
	}
	for i, f := range line.Position {
		line.Position[i] = 1 - float64(strength)*(1-f)
	}
	return line
}

// LineShelter is the published in-line table for a line of 2, 3, 4, 6 or 9 at
// a wheel gap of 0.05 to 5 m, as physics.LineDraftingFactor has it.
func LineShelter(riders int, gap float64) (Shelter, error) {
	s := Shelter{Full: fullGap, Reach: reachGap}
	for at := 1; at <= riders; at++ {
		f, err := physics.LineDraftingFactor(riders, at, gap)
		if err != nil {
			return Shelter{}, err
		}
		s.Position = append(s.Position, f)
	}
	return s, nil
}

// uphillAreas are drag areas in m² of lines of one, two and eight riders at 6
// m/s on 7.5 %, front to back: van Druenen and Blocken 2021, Sports Eng 24:10,
// Table 1, read in the table. To them come 0.0044 m² for the wheels' rotation.
var uphillAreas = map[int][]float64{
	1: {0.473},
	2: {0.461, 0.261},
	4: {0.457, 0.246, 0.201, 0.196},
	8: {0.454, 0.246, 0.196, 0.179, 0.170, 0.165, 0.164, 0.171},
}

const uphillWheels = 0.0044 // m²

// UphillShelter is that of van Druenen and Blocken 2021 for a line of 2, 4 or
// 8 riders: shares of the drag area with its wheels.
func UphillShelter(riders int) (Shelter, error) {
	areas, ok := uphillAreas[riders]
	if !ok {
		return Shelter{}, fmt.Errorf("no uphill table for a line of %d riders; there is one for 2, 4 and 8", riders)
	}
	s := Shelter{Full: fullGap, Reach: reachGap}
	for _, a := range areas {
		s.Position = append(s.Position, (a+uphillWheels)/(uphillAreas[1][0]+uphillWheels))
	}
	return s, nil
}

// PursuitShelter is that of four riders on a track at 60 km/h, whose powers
// were 607, 430, 389 and 389 W: Broker, Kyle and Burke 1999, MSSE 31:1677
// (abstract). The shares are of power, taken as shares of drag; the front
// rider's is 1 by definition.
func PursuitShelter() Shelter {
	return Shelter{Position: []float64{1, 430. / 607, 389. / 607, 389. / 607}, Full: fullGap, Reach: reachGap}
}

// Factor is the share of drag left at a position (1 is the front) whose wheel
// ahead is gap metres away. A negative gap (side by side) counts as none.
func (s Shelter) Factor(position int, gap float64) float64 {
	if len(s.Position) == 0 {
		return 1
	}
	f := s.Position[max(1, min(position, len(s.Position)))-1]
	switch {
	case position <= 1 || gap <= s.Full:
		return f
	case gap >= s.Reach:
		return 1
	}
	return f + (1-f)*(gap-s.Full)/(s.Reach-s.Full)
}

// PaceLine is the power in watts at each position, front to back, of n equal
// riders in a line at a steady speed (m/s) on a gradient (fraction).
func PaceLine(m physics.Motion, s Shelter, n int, speed, gradient float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = m.Sheltered(s.Factor(i+1, 0)).PowerAt(speed, gradient, 0)
	}
	return out
}
