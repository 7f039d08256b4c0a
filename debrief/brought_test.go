package debrief

import (
	"math"
	"testing"

	"chainline/course"
	"chainline/recording"
)

// TestBroughtUpIsNotRidden: who was brought up over most of a climb by the host of a
// live group has neither that height nor that length in speed and ascent, and
// did not climb it.
func TestBroughtUpIsNotRidden(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 1000, 3000, 9000}, Elevation: []float64{50, 50, 170, 170}}
	var position, altitude, brought, watts []float64
	m, given := 0.0, 0.0
	for s := range 400 {
		if m += 10; s == 149 {
			m, given = m+1800, 1800
		}
		position, altitude, watts = append(position, m), append(altitude, p.At(m)), append(watts, 200)
		if brought = append(brought, given); given == 0 {
			brought[s] = math.NaN() // only written down once there is any
		}
	}
	of := map[recording.Quantity][]float64{recording.Power: watts, recording.Position: position, recording.Altitude: altitude, recording.Brought: brought}
	r := record(t, of)
	s, err := read(&r, "")
	if err != nil {
		t.Fatal(err)
	}
	whole := s.stretch("", 0, s.n(), 70)
	if math.Abs(whole.Speed-10) > 0.05 || math.Abs(whole.AscentM-30) > 1 {
		t.Errorf("%.2f m/s and %.0f m up were not ridden", whole.Speed, whole.AscentM)
	}
	if climbs := s.climbs(p, 70); len(climbs) != 0 {
		t.Errorf("climbed without riding: %+v", climbs)
	}
	if total := r.Totals(""); math.Abs(total.AscentM-30) > 1 || math.Abs(total.DistanceM-3990) > 15 {
		t.Errorf("in all %.0f m up, %.0f m", total.AscentM, total.DistanceM)
	}
	delete(of, recording.Brought)
	alone := record(t, of)
	if s, err = read(&alone, ""); err != nil {
		t.Fatal(err)
	}
	if whole := s.stretch("", 0, s.n(), 70); whole.AscentM < 100 || len(s.climbs(p, 70)) != 1 {
		t.Errorf("a test of nothing: %+v", whole)
	}
}
