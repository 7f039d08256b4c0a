package rig

import (
	"chainline/estimate"
)

// climbTruth is the mean watts at the meter's place that a recorded climb
// took, by mass, ascent and time.
func climbTruth(c Climbed) (estimate.Estimate, error) { return estimate.Estimate{}, errNotBuilt }

// climbFindings are the gain findings of meters that climbed outdoors.
func climbFindings(in CheckInput) ([]Finding, []Unsaid) { return nil, nil }
