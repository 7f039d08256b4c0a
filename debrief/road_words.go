package debrief

import (
	"fmt"
	"math"
)

// Sentences are what a ride says of the road, in words; one reason for all is
// said once.
func (f RoadFit) Sentences() []string {
	if f.CdA.Unsaid != "" && f.CdA.Unsaid == f.Crr.Unsaid {
		return []string{"Drag, rolling and shelter: cannot say, because " + f.CdA.Unsaid + "."}
	}
	out := []string{fmt.Sprintf("From %.0f min ridden alone:", f.Seconds/60)}
	for _, part := range []struct {
		name, unit string
		of         Fitted
		digits     int
	}{{"Drag area CdA", " m²", f.CdA, 3}, {"Rolling Crr", "", f.Crr, 4}, {"Share of the drag left in shelter", "", f.Shelter, 2}} {
		n := part.digits
		switch {
		case part.of.Unsaid != "":
			out = append(out, part.name+": cannot say, because "+part.of.Unsaid+".")
		case !math.IsNaN(part.of.Mean):
			out = append(out, fmt.Sprintf("%s %.*f%s, 19 times in 20 between %.*f and %.*f.", part.name, n, part.of.Mean, part.unit, n, part.of.Low95, n, part.of.High95))
		}
	}
	return out
}
