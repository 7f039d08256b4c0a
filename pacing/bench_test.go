package pacing

import (
	"context"
	"math"
	"testing"

	"chainline/course"
)

// longProfile is 100 km of rolling road in 10 m points, 1,660 m of ascent.
func longProfile() course.Profile {
	var p course.Profile
	for x := 0.0; x <= 100000; x += 10 {
		p.Distance = append(p.Distance, x)
		p.Elevation = append(p.Elevation, 200+60*math.Sin(x/2300)+35*math.Sin(x/700)+20*math.Cos(x/5100))
	}
	return p
}

// BenchmarkLongBrief is the whole of a plan on 100 km at 10 m: level by
// chance, optimum, even power, cues, and 1,000 draws.
func BenchmarkLongBrief(b *testing.B) {
	w := sampleWorld()
	w.Profile = longProfile()
	for b.Loop() {
		if _, err := Make(context.Background(), Request{World: w, ReserveShare: 0.1, ReserveJ: -1, Ceiling: w.Capacity.Power(60),
			ChanceLimit: 0.15, Draws: 1000, Seed: 1, Workers: 2}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkHillOptimum is the 10 km hill alone.
func BenchmarkHillOptimum(b *testing.B) {
	p := hillProblem()
	for b.Loop() {
		if _, err := p.Optimum(); err != nil {
			b.Fatal(err)
		}
	}
}
