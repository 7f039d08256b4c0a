package race

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
)

var testRoad = physics.Road{BikeMass: 8.5, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334, WheelInertia: 0.14,
	WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.2}

func flat(metres float64) *Way {
	return NewWay(course.Profile{Distance: []float64{0, metres}, Elevation: []float64{0, 0}})
}

func hills(metres float64) *Way {
	p := course.Profile{Distance: []float64{0}, Elevation: []float64{0}}
	for x := 4000.0; x < metres; x += 4000 {
		rise := 0.0
		if len(p.Distance)%2 == 1 {
			rise = 120
		}
		p.Distance, p.Elevation = append(p.Distance, x), append(p.Elevation, rise)
	}
	p.Distance, p.Elevation = append(p.Distance, metres), append(p.Elevation, 0)
	return NewWay(p)
}

func equals(n int, cp float64) []Rider {
	riders := make([]Rider, n)
	for i := range riders {
		riders[i] = Rider{Capacity: capacity.Fixed(cp, 18000, 900), Motion: testRoad.Motion(72), Grit: 0.05, Leads: true}
	}
	return riders
}

func TestAloneEqualsTheTimeTrial(t *testing.T) {
	for name, way := range map[string]*Way{"flat": flat(20000), "hills": hills(24000)} {
		l := way.Length()
		for _, plan := range [][]pacing.Piece{{{From: 0, To: l, Watts: 240}}, {{From: 0, To: 0.4 * l, Watts: 300}, {From: 0.4 * l, To: 0.7 * l, Watts: 190}, {From: 0.7 * l, To: l, Watts: 260}}} {
			r := equals(1, 400)
			r[0].Plan = plan
			got := (&Race{Way: way, Riders: r, Shelter: Bunch(Middle), Tactics: Usual, Watch: -1}).Run(estimate.Stream(1, 0)).Riders[0].FinishS
			var legs []physics.Leg
			for i := range way.sin {
				h := math.Min(cell, l-float64(i)*cell)
				if h <= 0 {
					break
				}
				watts := plan[len(plan)-1].Watts
				for k := len(plan) - 1; k >= 0; k-- {
					if (float64(i)+0.5)*cell <= plan[k].To {
						watts = plan[k].Watts
					}
				}
				legs = append(legs, physics.Leg{Length: h, Gradient: way.sin[i] / way.cos[i], Watts: watts})
			}
			want, err := testRoad.Motion(72).Ride(0, legs)
			if err != nil {
				t.Fatal(err)
			}
			if off := got/want.Time() - 1; math.Abs(off) > 0.001 {
				t.Errorf("%s, %d pieces: alone %.2f s, time trial %.2f s: %.4f %%", name, len(plan), got, want.Time(), 100*off)
			} else {
				t.Logf("%s, %d pieces: off by %.4f %%", name, len(plan), 100*off)
			}
		}
	}
}

func TestEqualRidersOnTheFlatAreNotDropped(t *testing.T) {
	for seed := range 5 {
		res := (&Race{Way: flat(30000), Riders: equals(60, 260), Shelter: Bunch(Low), Tactics: Usual, Watch: -1}).Run(estimate.Stream(7, seed))
		for i, r := range res.Riders {
			if !r.Front {
				t.Errorf("race %d: rider %d was dropped at %.0f m, %.1f s behind", seed, i, r.DroppedM, r.FinishS-res.FirstS)
			}
		}
		if seed == 0 {
			r := res.Riders[0]
			t.Logf("%.0f s, mean %.0f W, opening %.0f W, least W′ %.0f J", res.FirstS, r.MeanW, r.OpeningW, r.LowestJ)
		}
	}
}

func TestBooksOfEnergyBalance(t *testing.T) {
	way := hills(24000)
	res := (&Race{Way: way, Riders: equals(30, 260), Shelter: Bunch(High), Tactics: Usual, Watch: -1}).Run(estimate.Stream(3, 0))
	for i, r := range res.Riders {
		if off := r.Energy.Residual() / r.Energy.Wheel; math.Abs(off) > 1e-9 {
			t.Fatalf("rider %d: %.3g of the work at the wheel is not accounted for", i, off)
		}
		rise := way.Profile.Elevation[len(way.Profile.Elevation)-1] * (72 + 8.5) * physics.Gravity
		if math.Abs(r.Energy.Potential-rise) > 0.003*r.Energy.Wheel {
			t.Errorf("rider %d: climbed %.0f J, the course rises by %.0f J", i, r.Energy.Potential, rise)
		}
		if r.Energy.Air <= 0 || r.Energy.Rolling <= 0 {
			t.Fatalf("rider %d: %+v", i, r.Energy)
		}
	}
}

func benchmarkRace(n int, seconds float64) *Race {
	riders := make([]Rider, n)
	r := estimate.Stream(11, 0)
	for i := range riders {
		cp := 250 * math.Exp(0.1*r.NormFloat64())
		riders[i] = Rider{Capacity: capacity.Fixed(cp, 18000, 900), Motion: testRoad.Motion(72), Grit: 0.05, Leads: true}
	}
	return &Race{Way: hills(9.4 * seconds), Riders: riders, Shelter: Bunch(Middle), Tactics: Usual, Watch: -1, LastsS: seconds}
}

// BenchmarkRace is one race of 60 riders over about an hour, on one core: the
// bar is 15 s for 1,000 on two, so 30 ms each.
func BenchmarkRace(b *testing.B) {
	race := benchmarkRace(60, 3600)
	for i := 0; b.Loop(); i++ {
		race.Run(estimate.Stream(5, i))
	}
}

func streamOf(seed uint64) *rand.Rand { return estimate.Stream(seed, 0) }

// BenchmarkThousandRaces is the bar: 1,000 races of 60 riders over about an
// hour on two workers in under 15 s.
func BenchmarkThousandRaces(b *testing.B) {
	race := benchmarkRace(60, 3600)
	for b.Loop() {
		if err := each(context.Background(), 1000, 2, func(i int) { race.Run(estimate.Stream(5, i)) }); err != nil {
			b.Fatal(err)
		}
	}
}
