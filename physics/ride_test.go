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
