package ride

import (
	"testing"
	"time"

	"chainline/capacity"
	"chainline/internal/sensor"
	"chainline/session"
)

// A step that the rider lengthens ends so much later, more than once if asked;
// what ends by itself, or was not begun, cannot be lengthened.
func TestStepLengthened(t *testing.T) {
	b := capacity.Balance{CriticalPower: 250, WPrime: 20000}
	x, _ := session.Find(session.RigCheckID)
	scaled, _, err := session.Scale(x.Session(), session.View{ThresholdW: 240, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900})
	if err != nil {
		t.Fatal(err)
	}
	c, err := New(Setup{ID: "x", Begun: time.Unix(0, 0), Way: Showing, Rider: Rider{Mass: 72, Balance: b}, Session: &scaled}, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	if why := c.Key(Key{Kind: KeyLengthen, Value: 60}, c.now); why == "" {
		t.Error("a step is longer before the ride has begun")
	}
	c.now = time.Unix(10, 0)
	c.Key(Key{Kind: KeyStart}, c.now)
	length := func() float64 { leg, _ := c.follow.leg(); return c.follow.length(leg) }
	planned := length()
	for _, by := range []float64{0, -5, 1e6} {
		if why := c.Key(Key{Kind: KeyLengthen, Value: by}, c.now); why == "" || length() != planned {
			t.Errorf("lengthened by %g s: %g s, %q", by, length(), why)
		}
	}
	for i := range 2 {
		if why := c.Key(Key{Kind: KeyLengthen, Value: 60}, c.now); why != "" || length() != planned+60*float64(i+1) {
			t.Errorf("%g s of %g s, %q", length(), planned, why)
		}
	}
	if why := c.Key(Key{Kind: KeyNext}, c.now); why != "" || c.follow.cutS != 0 {
		t.Errorf("the next step is of another length too: %g s, %q", c.follow.cutS, why)
	}
}
