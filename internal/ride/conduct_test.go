package ride_test

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"chainline/course"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/internal/sensor/gatt"
	"chainline/physics"
)

// spy stands between a ride and its bench rig and looks at the octets that
// reach the trainer's control point.
type spy struct {
	*bench.World
	limits ride.Limits
	listen bool
	heard  map[string]time.Time // last message with readings, by device
	stale  func(time.Time) bool

	last    float64 // last target power, W; < 0 nothing on this link
	lastAt  time.Time
	writes  int
	problem string
}

func (s *spy) Do(r sensor.Request) {
	if r.Kind == sensor.Write {
		s.writes++
		if s.listen {
			s.problem = "a write while listening only"
		}
		if r.Char == gatt.MachineControlPoint && len(r.Bytes) == 3 && r.Bytes[0] == 0x05 {
			s.power(float64(int16(binary.LittleEndian.Uint16(r.Bytes[1:]))))
		}
	}
	s.World.Do(r)
}

func (s *spy) power(watts float64) {
	now := s.Now()
	const rounding = 1.0 // the protocol speaks whole watts
	switch {
	case watts > s.limits.MostWatts+rounding || watts < 0:
		s.problem = fmt.Sprintf("%.0f W is beyond the caps", watts)
	case s.last < 0 && watts > s.limits.EasyWatts+rounding:
		s.problem = fmt.Sprintf("the first command on a link is %.0f W", watts)
	case s.last >= 0 && watts > s.last+s.limits.RiseWatts*min(1.3, now.Sub(s.lastAt).Seconds()+0.3)+2*rounding:
		s.problem = fmt.Sprintf("rose from %.0f to %.0f W in %v", s.last, watts, now.Sub(s.lastAt))
	case s.last >= 0 && watts > s.last+rounding && now.Sub(s.heard["any"]) > 4*time.Second:
		s.problem = fmt.Sprintf("rose to %.0f W though nothing was heard for %v", watts, now.Sub(s.heard["any"]))
	}
	s.last, s.lastAt = watts, now
}

func (s *spy) Advance(to time.Time) []sensor.Event {
	events := s.World.Advance(to)
	for _, e := range events {
		switch {
		case e.Kind == sensor.Up && strings.HasSuffix(e.Device, "-trainer"):
			s.last = -1
		case e.Kind == sensor.Value && (e.Char == gatt.IndoorBikeData || e.Char == gatt.CyclingPowerMeasurement):
			s.heard["any"] = e.At
		}
	}
	return events
}

func hills() course.Profile {
	p := course.Profile{Distance: []float64{0}, Elevation: []float64{20}}
	for i, g := range []float64{0, 0.05, 0.08, -0.04, 0.01, -0.06, 0.03} {
		p.Distance = append(p.Distance, p.Distance[i]+900)
		p.Elevation = append(p.Elevation, p.Elevation[i]+900*g)
	}
	return p
}

func courseSetup(way ride.Way) ride.Setup {
	road := physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2, DescentCap: 22}
	p := hills()
	k := &ride.Course{Name: "Hills", Profile: p, Motion: road.Motion(72), Advance: ride.ByPosition, PlannedS: 900, Cues: []ride.Cue{
		{FromM: 0, ToM: 900, Watts: 240, Name: "Off the line"}, {FromM: 900, ToM: 2700, StartS: 90, Watts: 280, Name: "Climb 1"},
		{FromM: 2700, ToM: 3600, StartS: 500, Watts: 120, Name: "Over the top"}, {FromM: 3600, ToM: p.Length(), StartS: 580, Watts: 250, Name: "Home"}}}
	return ride.Setup{ID: "test", Title: "Hills", Begun: start, Way: way, Rider: rider(), Course: k, Bench: true}
}

// TestEngineProperties rides whole rides with random faults, keys and losses.
// In full it is two thousand.
func TestEngineProperties(t *testing.T) {
	rides := 40
	if *all {
		rides = 2000
	}
	session := scaled(t, "warm up 40 s from 40 to 70 % of threshold\nfour times:\n  ride 25 s at 130 % of critical power\n  easy 15 s\n  sprint 8 s\n  rest 10 s\nend\n")
	events := 0
	for n := range rides {
		r := rand.New(rand.NewPCG(11, uint64(n)))
		s := setup(session)
		if r.IntN(3) == 0 {
			s = courseSetup(ride.Controlling)
			s.Rig.Gradient = r.IntN(2) == 0
		}
		listen := r.IntN(5) == 0
		if listen {
			s.Way = ride.Listening
		}
		if r.IntN(3) == 0 {
			s.Rig.Trusted = ride.SourceKey(fmt.Sprintf("bench-%d-meter/1818", n))
		}
		seen, why := conduct(t, s, n, r, listen)
		events += seen
		if why != "" {
			t.Fatalf("ride %d: %s", n, why)
		}
	}
	t.Logf("%d rides, %d events each on average", rides, events/rides)
}

func conduct(t *testing.T, s ride.Setup, n int, r *rand.Rand, listen bool) (events int, why string) {
	cfg := standard(uint64(n))
	for range 3 + r.IntN(6) {
		cfg.Faults = append(cfg.Faults, bench.Fault{At: time.Duration(r.Float64() * float64(4*time.Minute)), For: time.Duration(r.Float64() * float64(40*time.Second)),
			Kind: bench.FaultKind(1 + r.IntN(16)), Size: r.Float64() * 1.5, Device: []string{"", "trainer", "meter", "belt"}[r.IntN(4)]})
	}
	c, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	w := &spy{World: bench.New(cfg), limits: ride.DefaultLimits().ForRider(s.Rider.MaxPower, 0), listen: listen, heard: map[string]time.Time{}, last: -1}
	keys := []ride.KeyKind{ride.KeyPause, ride.KeyResume, ride.KeyNext, ride.KeyBack, ride.KeyShorten, ride.KeySay}
	err = ride.Headless(context.Background(), c, w, 5*time.Minute, nil, func(b []byte) error {
		events++
		if !json.Valid(b) {
			return fmt.Errorf("no JSON: %s", b)
		}
		return nil
	}, func(c *ride.Core) error {
		if r.IntN(80) == 0 {
			c.Key(ride.Key{Kind: keys[r.IntN(len(keys))], Value: 5, Text: "well done"}, w.Now())
		}
		_ = c.Snapshot()
		if w.problem != "" {
			return fmt.Errorf("at %v: %s", w.Now().Sub(start), w.problem)
		}
		return nil
	})
	if err != nil {
		return events, err.Error()
	}
	return events, ""
}
