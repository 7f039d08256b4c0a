package physics

import (
	"math"
	"math/rand/v2"
	"testing"
)

// hillMotion is the example rider and bicycle of the tests: 77.1 kg on a
// steel-rimmed pair of wheels, upright, sea level.
func hillMotion() Motion {
	return Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
		WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19}.Motion(68.5)
}

func hillLegs(watts float64) []Leg {
	points := [][2]float64{{0, 0}, {2000, 0}, {4000, 100}, {5000, 100}, {7000, 0}, {8000, 0}, {9000, 60}, {10000, 0}}
	var legs []Leg
	for i := 1; i < len(points); i++ {
		length := points[i][0] - points[i-1][0]
		legs = append(legs, Leg{Length: length, Gradient: (points[i][1] - points[i-1][1]) / length, Watts: watts})
	}
	return legs
}

func TestRideEnergyCloses(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	for trial := range 200 {
		m := hillMotion()
		var legs []Leg
		for range 1 + r.IntN(60) {
			legs = append(legs, Leg{Length: 5 + 400*r.Float64(), Gradient: 0.24 * (r.Float64() - 0.4), Watts: 120 + 400*r.Float64()})
		}
		res, err := m.Ride(12*r.Float64()*float64(trial%2), legs)
		if err != nil {
			t.Fatalf("trial %d: %v", trial, err)
		}
		if off := math.Abs(res.Energy.Residual()) / res.Energy.Wheel; off > 1e-6 {
			t.Errorf("trial %d: energy misses by %.2g of the work", trial, off)
		}
	}
}

// Cutting legs into pieces must not change the ride: an identity.
func TestRideSplitInvariance(t *testing.T) {
	m := hillMotion()
	whole, err := m.Ride(0, hillLegs(255.6))
	if err != nil {
		t.Fatal(err)
	}
	var pieces []Leg
	for _, leg := range hillLegs(255.6) {
		for range 100 {
			part := leg
			part.Length /= 100
			pieces = append(pieces, part)
		}
	}
	cut, err := m.Ride(0, pieces)
	if err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(cut.Time() - whole.Time()); d > 1e-6 {
		t.Errorf("cut into 700 pieces the ride takes %.9f s, whole %.9f s", cut.Time(), whole.Time())
	}
	t.Logf("hill at 255.6 W: %.4f s in %d steps, own error estimate %.1e s", whole.Time(), whole.Steps, whole.TimeError)
}

func TestRideStalls(t *testing.T) {
	m := hillMotion()
	_, err := m.Ride(8, []Leg{{Length: 100, Watts: 200}, {Length: 2000, Gradient: 0.1, Watts: 0}})
	stall, ok := err.(*StallError)
	if !ok {
		t.Fatalf("got %v, want a stall", err)
	}
	// Without power the bike climbs about v²/2g(sin+Crr) before it stops.
	if stall.At < 120 || stall.At > 150 {
		t.Errorf("stalls at %.1f m", stall.At)
	}
	if _, err := m.Ride(0, []Leg{{Length: 10, Watts: 0}}); err == nil {
		t.Error("no power, no slope, from rest: want a stall")
	}
}

func TestRideDescentCap(t *testing.T) {
	m := hillMotion()
	m.DescentCap = 12
	res, err := m.Ride(5, []Leg{{Length: 3000, Gradient: -0.08, Watts: 0}, {Length: 200, Watts: 100}})
	if err != nil {
		t.Fatal(err)
	}
	if res.Speeds[0] > 12+1e-9 {
		t.Errorf("%.3f m/s at the foot, cap 12", res.Speeds[0])
	}
	if res.Energy.Braking <= 0 {
		t.Error("a cap that binds must take energy away")
	}
}

// The fast scheme against the adaptive one, on seeded courses with steep slow
// climbs and from rest; and its derivative against finite differences.
func TestAdvanceFollowsRide(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 3))
	worst := 0.0
	for trial := range 300 {
		m := hillMotion()
		var legs []Leg
		for range 200 {
			legs = append(legs, Leg{Length: 10, Gradient: 0.26 * (r.Float64() - 0.35), Watts: 100 + 400*r.Float64()})
		}
		start := 10 * r.Float64() * float64(trial%2)
		want, err := m.Ride(start, legs)
		if err != nil {
			t.Fatalf("trial %d: %v", trial, err)
		}
		y, total := start*start, 0.0
		for _, leg := range legs {
			next, dt, ok := m.Advance(y, leg.Length, m.ConstantForce(leg.Gradient), leg.Watts, nil)
			if !ok {
				t.Fatalf("trial %d: stalled", trial)
			}
			y, total = next, total+dt
		}
		worst = math.Max(worst, math.Abs(total/want.Time()-1))
	}
	t.Logf("worst relative error in time %.1e", worst)
	if worst > 1e-4 {
		t.Errorf("fast scheme errs by %.2g of the time, documented below 1e-4", worst)
	}
}

func TestRetreatIsTheDerivative(t *testing.T) {
	m := hillMotion()
	for _, c := range []struct{ v, force, watts float64 }{{8, 5, 250}, {3, 60, 260}, {12, -40, 0}, {10, 45, 400}, {0, 4, 300}} {
		const h = 10.0
		cost := func(y, watts float64) float64 {
			end, dt, ok := m.Advance(y, h, c.force, watts, nil)
			if !ok {
				t.Fatal("stalled")
			}
			return 0.3*end + 2*dt
		}
		var steps []Stage
		y := c.v * c.v
		m.Advance(y, h, c.force, c.watts, &steps)
		r := m.Retreat(steps, c.watts)
		byStart, byWatts := 0.3*r.SpeedBySpeed+2*r.TimeBySpeed, 0.3*r.SpeedByWatts+2*r.TimeByWatts
		const e = 1e-4
		wantWatts := (cost(y, c.watts+e) - cost(y, math.Max(0, c.watts-e))) / (c.watts + e - math.Max(0, c.watts-e))
		tolerance := 1e-5
		if c.v == 0 {
			tolerance = 2e-2 // the seed's derivative is first order
		} else if want := (cost(y+e, c.watts) - cost(y-e, c.watts)) / (2 * e); math.Abs(byStart/want-1) > 1e-5 {
			t.Errorf("%+v: by v² %.8g, finite difference %.8g", c, byStart, want)
		}
		if math.Abs(byWatts/wantWatts-1) > tolerance {
			t.Errorf("%+v: by watts %.8g, finite difference %.8g", c, byWatts, wantWatts)
		}
	}
}

func BenchmarkAdvance10m(b *testing.B) {
	m := hillMotion()
	y := 100.0
	for b.Loop() {
		end, _, _ := m.Advance(y, 10, 5, 250, nil)
		if end < 0 {
			b.Fatal("stalled")
		}
	}
}
