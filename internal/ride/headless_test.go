package ride_test

import (
	"context"
	"encoding/json"
	"math"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/session"
)

var start = time.Date(2026, 12, 3, 19, 0, 0, 0, time.UTC)

func rider() ride.Rider {
	return ride.Rider{Name: "Bench", Mass: 72, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}, MaxPower: 900, Threshold: 245, HeartMax: 188}
}

func scaled(t *testing.T, text string) *session.Scaled {
	t.Helper()
	s, err := session.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	out, _, err := session.Scale(s, session.View{ThresholdW: 245, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		t.Fatal(err)
	}
	return &out
}

// run rides a setup on a bench rig and gives back what its records say.
func run(t *testing.T, s ride.Setup, cfg bench.Config, each func(*ride.Core, *bench.World) error) (ride.Read, [][]byte, *bench.World) {
	t.Helper()
	w := bench.New(cfg)
	c, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	var records [][]byte
	err = ride.Headless(context.Background(), c, w, 3*time.Hour, nil, func(b []byte) error {
		if !json.Valid(b) {
			t.Fatalf("no JSON: %s", b)
		}
		records = append(records, b)
		return nil
	}, func(c *ride.Core) error {
		if each != nil {
			return each(c, w)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	r, err := ride.ReadRecords(records, true)
	if err != nil {
		t.Fatal(err)
	}
	if r.Odd > 0 {
		t.Errorf("%d records were not understood", r.Odd)
	}
	return r, records, w
}

func setup(s *session.Scaled) ride.Setup {
	return ride.Setup{ID: "test", Title: "Test", Begun: start, Way: ride.Controlling, Rider: rider(), Session: s, Bench: true}
}

func standard(seed uint64) bench.Config {
	c := bench.StandardRig(seed)
	c.Start = start
	return c
}

func TestSessionOnTheBench(t *testing.T) {
	began := time.Now()
	r, records, _ := run(t, setup(scaled(t, `warm up 2 min from 50 to 70 % of threshold
three times:
  ride 2 min at 95 % of threshold
  easy 1 min
end
`)), standard(7), nil)
	t.Logf("%d records, %v", len(records), time.Since(began))
	if !r.Ended {
		t.Fatal("did not end")
	}
	tot := r.Recording.Totals("")
	tot.Watts = nil
	t.Logf("%+v", tot)
	for _, m := range r.Recording.Marks {
		t.Logf("%7.1f %-9s %-22s %s", m.Seconds, m.Kind, m.Source, m.Words)
	}
	if math.Abs(tot.Moving-660) > 15 {
		t.Errorf("moved for %.0f s, want about 660", tot.Moving)
	}
}
