package pacing

import (
	"math"
	"testing"

	"chainline/course"
)

// longProfile is 100 km of rolling road in 10 m points, about 1,000 m of ascent.
func longProfile() course.Profile {
	var p course.Profile
	for x := 0.0; x <= 100000; x += 10 {
		p.Distance = append(p.Distance, x)
		p.Elevation = append(p.Elevation, 200+60*math.Sin(x/2300)+35*math.Sin(x/700)+20*math.Cos(x/5100))
	}
	return p
}

func BenchmarkLong(b *testing.B) {
	p := hillProblem()
	p.Profile = longProfile()
	for b.Loop() {
		o, err := p.Optimum()
		if err != nil {
			b.Fatal(err)
		}
		w, even, err := p.Even()
		if err != nil {
			b.Fatal(err)
		}
		r, err := p.Rideable(o, 36, w, even)
		if err != nil {
			b.Fatal(err)
		}
		b.Logf("ascent %.0f even %.1f optimum %.1f (%s %d rides) plan %.1f %+.2f %% %d cues", p.Profile.Ascent(), even.Time, o.Outcome.Time, o.Status, o.Rides, r.Outcome.Time, 100*(r.Outcome.Time/o.Outcome.Time-1), len(r.Plan))
	}
}
