package ride

import (
	"math"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/course"
	"chainline/internal/sensor"
	"chainline/physics"
)

// TestAnalyticMoveFollowsRide: the ride's own integration in time against the
// adaptive integration over distance that plans are scored with.
func TestAnalyticMoveFollowsRide(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 1500, 3000, 4200, 6000}, Elevation: []float64{10, 10, 115, 45, 45}}
	m := physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2, WheelInertia: 0.14, WheelRadius: 0.335, Bearings: true}.Motion(72)
	var legs []physics.Leg
	for i := 1; i < len(p.Distance); i++ {
		legs = append(legs, physics.Leg{Length: p.Distance[i] - p.Distance[i-1], Gradient: p.Gradient(i - 1), Watts: 230})
	}
	want, err := m.Ride(3, legs)
	if err != nil {
		t.Fatal(err)
	}
	c, err := New(Setup{ID: "x", Begun: time.Unix(0, 0), Way: Showing, Rider: Rider{Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}},
		Course: &Course{Profile: p, Motion: m, Advance: ByPosition}}, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	c.speed, c.watts = 3, 230
	seconds := 0.0
	for c.at < p.Length()-1e-9 {
		before := c.at
		c.roll(0.25)
		step := 0.25
		if c.at >= p.Length() {
			step = (p.Length() - before) / math.Max(1, c.speed)
		}
		seconds += step
	}
	if off := seconds/want.Time() - 1; math.Abs(off) > 0.001 {
		t.Errorf("took %.2f s, physics says %.2f s: %.3f %% off", seconds, want.Time(), 100*off)
	}
}

func TestBalanceIsCapacitys(t *testing.T) {
	b := capacity.Balance{CriticalPower: 250, WPrime: 20000}
	c, err := New(Setup{ID: "x", Begun: time.Unix(0, 0), Way: Showing, Rider: Rider{Mass: 72, Balance: b}}, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	c.stage, c.watts, c.state = Riding, 350, Measured
	for range 4 * 100 {
		c.move(0.25)
	}
	if want := b.Step(20000, 350, 100); math.Abs(c.balance-want) > 1e-6 {
		t.Errorf("%.1f J left, want %.1f", c.balance, want)
	}
	if l := c.leftSheet(); math.Abs(l.LastS-c.balance/100) > 1 {
		t.Errorf("lasts %.1f s, want %.1f", l.LastS, c.balance/100)
	}
}

// A plain trainer's wheel that runs down by itself has nobody pedalling.
func TestWheelWithStillLegsReadsZero(t *testing.T) {
	c, err := New(Setup{ID: "x", Begun: time.Unix(0, 0), Way: Showing, Rider: Rider{Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}}}, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	w := c.wheel
	at, v := time.Unix(100, 0), 9.0
	w.watts(v, at, false)
	for range 5 { // steady: the curve's watts
		at = at.Add(time.Second)
		if got, ok := w.watts(v, at, false); !ok || math.Abs(got-w.curve.Watts(v)) > 1e-9 {
			t.Fatalf("steady at %.1f m/s reads %.1f W, the curve says %.1f", v, got, w.curve.Watts(v))
		}
	}
	for v > 2 { // runs down as fast as its brake alone slows it
		brake := w.curve.Watts(v)
		v -= brake / (w.mass * v)
		at = at.Add(time.Second)
		if v < 1 {
			break
		}
		if got, _ := w.watts(v, at, false); got != 0 {
			t.Errorf("running down at %.1f m/s reads %.1f W", v, got)
		}
	}
}
