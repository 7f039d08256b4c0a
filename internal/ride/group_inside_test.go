package ride

import (
	"math"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/course"
	"chainline/internal/bunch"
	"chainline/internal/sensor"
	"chainline/physics"
	"chainline/race"
)

// TestAnalyticGroupEnergy: with shelter and help that change all the time, what
// the legs bring is what the road takes, up to the integration's error.
func TestAnalyticGroupEnergy(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 1500, 3000, 4200, 6000, 60000}, Elevation: []float64{10, 10, 115, 45, 45, 45}}
	m := physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2, WheelInertia: 0.14, WheelRadius: 0.335, Bearings: true}.Motion(72)
	c, err := New(Setup{ID: "x", Begun: time.Unix(0, 0), Way: Showing, Rider: Rider{Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}},
		Course: &Course{Profile: p, Motion: m, Advance: ByPosition}}, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	c.group = &inGroup{shelter: 1, extra: 1}
	c.speed = 5
	legs, road, saved, height := 0.0, 0.0, 0.0, 0.0
	for i := range 20 * 900 {
		at := float64(i) * subStep
		c.watts = 220 + 60*math.Sin(at/17)
		c.group.shelter, c.group.extra = 0.75+0.25*math.Sin(at/11), 0.8+0.2*math.Cos(at/7)
		share := c.group.shelter * c.group.extra
		x, v, slope := c.at, c.speed, c.gradient()
		c.roll(subStep)
		mid, dx := (v+c.speed)/2, c.at-x
		legs += m.Efficiency * c.watts * subStep
		alone := m.Resistance(mid, slope, 0) * dx
		air := (m.Resistance(mid, slope, 0) - m.Sheltered(0).Resistance(mid, slope, 0)) * dx
		road += alone - (1-share)*air
		saved += (1 - share) * air
		height += slope * dx
	}
	kinetic := m.Inertial * (c.speed*c.speed - 25) / 2
	if off := legs - road - kinetic; math.Abs(off) > 0.001*legs {
		t.Errorf("of %.0f J from the legs %.0f J are not accounted for", legs, off)
	}
	if saved < 0.1*legs || height < 30 {
		t.Errorf("a test of little: %.0f J saved, %.0f m climbed", saved, height)
	}
}

// TestAnalyticGroupSpeed: in steady shelter on the level the speed is that of
// physics with as much of the drag.
func TestAnalyticGroupSpeed(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 1e5}, Elevation: []float64{10, 10}}
	m := physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2}.Motion(72)
	c, err := New(Setup{ID: "x", Begun: time.Unix(0, 0), Way: Showing, Rider: Rider{Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}},
		Course: &Course{Profile: p, Motion: m, Advance: ByPosition}}, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	c.watts, c.speed = 200, 9
	c.group = &inGroup{scene: bunch.Scene{Strength: float64(race.Middle)}, shelter: 1, extra: 1}
	c.group.air = c.group.airNow()
	for range 4 * 600 { // third of three, 3 m apart, whatever the speed
		c.group.scene.Dots = []bunch.Dot{{AtM: c.at + 6, State: bunch.Riding}, {AtM: c.at + 3, State: bunch.Riding}, {AtM: c.at, You: true, State: bunch.Riding}}
		c.group.breathe(c.at, true, 0.25)
		c.roll(0.25)
	}
	share := race.Bunch(race.Middle).Position[2]
	if want := m.Sheltered(share).SpeedAt(200, 0, 0); math.Abs(c.speed/want-1) > 0.001 {
		t.Errorf("%.3f m/s, physics says %.3f m/s", c.speed, want)
	}
	// It comes and goes over some three seconds.
	c.group.scene.Dots = c.group.scene.Dots[2:]
	c.group.breathe(c.at, true, 0.25)
	if f := c.group.shelter; f > share+0.1*(1-share) || f <= share {
		t.Errorf("%.3f of the drag a quarter of a second after everybody is gone, before %.3f", f, share)
	}
	for range 4 * 15 {
		c.group.breathe(c.at, true, 0.25)
	}
	if f := c.group.shelter; f < 0.99 {
		t.Errorf("%.3f of the drag fifteen seconds after", f)
	}
}
