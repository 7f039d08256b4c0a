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

func benchmarkLong(b *testing.B, limit float64) {
	w := sampleWorld()
	w.Profile = longProfile()
	for b.Loop() {
		if _, err := Make(context.Background(), Request{World: w, ReserveShare: 0.1, ReserveJ: -1, Ceiling: w.Capacity.Power(60),
			ChanceLimit: limit, Draws: 1000, Seed: 1, Workers: 2}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkLongPlan is optimum, even power, cues and 1,000 draws on 100 km at
// 10 m.
func BenchmarkLongPlan(b *testing.B) { benchmarkLong(b, 0) }

// BenchmarkLongPlanByChance looks for the level first, as a brief does.
func BenchmarkLongPlanByChance(b *testing.B) { benchmarkLong(b, 0.15) }

// BenchmarkHillOptimum is the 10 km hill alone.
func BenchmarkHillOptimum(b *testing.B) {
	p := hillProblem()
	for b.Loop() {
		if _, err := p.Optimum(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCalibration is a fixed loop of square roots and divisions, to tell
// one machine's times from another's: one million of each.
func BenchmarkCalibration(b *testing.B) {
	sum := 0.0
	for b.Loop() {
		x := 2.0
		for range 1000000 {
			x = math.Sqrt(x+1) + 1/x
		}
		sum += x
	}
	if sum == 0 {
		b.Fatal("impossible")
	}
}
