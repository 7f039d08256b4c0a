package session

import (
	"fmt"
	"math"

	"chainline/capacity"
)

// check is the first thing wrong with a request, in one line.
func (q Request) check() error {
	c := q.Capacity
	for _, f := range []struct {
		name      string
		value     float64
		low, high float64
		unit      string
	}{
		{"critical power", c.CriticalPower, 20, 1000, "W"},
		{"W′", c.WPrime, 500, 100e3, "J"},
		{"maximal power", c.MaxPower, c.CriticalPower, 5000, "W"},
		{"wait in the pen", q.PenS, 0, MaxPenS, "s"},
		{"age", q.Age, 0, 120, "years"},
		{"duration of the ride", q.RideS, 1, 7 * 86400, "s"},
		{"power of the first minutes", q.FirstWatts, 0, 5000, "W"},
		{"length of the first minutes", q.FirstS, 0, 7 * 86400, "s"},
		{"least power of the rig", q.Rig.FloorW, 0, 5000, "W"},
		{"most power of the rig", q.Rig.CeilingW, 0, 10000, "W"},
		{"speed of recovery", q.Recovery.SpeedMedian, 0, 100, ""},
		{"spread of the speed of recovery", q.Recovery.SpeedLogSD, 0, 5, ""},
		{"clock of the start", float64(q.StartClock), 0, 1439, "minutes after midnight"},
	} {
		if !(f.value >= f.low && f.value <= f.high) {
			return fmt.Errorf("session: %s is %g, expected %g to %g %s", f.name, f.value, f.low, f.high, f.unit)
		}
	}
	switch low, high := q.range5(); {
	case low > 5*math.Floor(0.75*c.CriticalPower/5):
		return fmt.Errorf("session: the rig cannot go below %.0f W, and a warm-up for a critical power of %.0f W needs it to", q.Rig.FloorW, c.CriticalPower)
	case high < low || high == 0:
		return fmt.Errorf("session: the rig holds no power between %.0f and %.0f W in steps of 5 W", q.Rig.FloorW, q.Rig.CeilingW)
	}
	return nil
}

// balance is the book-keeping of W′ for these steps. The integral form needs
// the mean deficit of what is ridden below critical power.
func (q Request) balance(steps []Step, speed float64) capacity.Balance {
	b := capacity.Balance{CriticalPower: q.Capacity.CriticalPower, WPrime: q.Capacity.WPrime, Form: q.Recovery.Form, Speed: speed}
	seconds := 0.0
	for _, s := range steps {
		if deficit := b.CriticalPower - s.Watts; deficit > 0 {
			b.MeanDeficit += deficit * s.DurationS
			seconds += s.DurationS
		}
	}
	if seconds > 0 {
		b.MeanDeficit /= seconds
	}
	return b
}
