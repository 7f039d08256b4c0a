package rig

import (
	"fmt"
	"math"
	"sort"
)

// Point is one row of a table: watts at a wheel speed (m/s).
type Point struct{ WheelSpeed, Watts float64 }

// PowerCurve is the watts of a plain trainer or rollers at each wheel speed.
// Make one with NewPowerCurve; the zero value is an unknown curve.
type PowerCurve struct {
	points []Point   // strictly rising in both, from (0, 0)
	slopes []float64 // W per m/s at the points
	first  float64   // m/s, where the typed table begins
	SD     float64   // fraction, sd of the watts read from it (of their logarithm)
	From   string    // where it comes from, in words
}

const (
	// TableSD is the doubt (fraction) about a maker's table on the rider's own trainer.
	// Our judgement: tyre pressure, clamping and warmth move it, and no
	// published spread was found (Reiser, Watt and Peterson 2003, Sports
	// Biomech 2:237, abstract: rollers' watts rise significantly with each
	// step down in tyre pressure).
	TableSD = 0.10
	// unknownSD, and the law of UnknownCurve, are our judgement: no published
	// curves of plain trainers were found. At the 10th and 90th percentile
	// 30 km/h is 128 W and 313 W, which covers the brakes we can think of.
	unknownSD    = 0.35
	unknownWatts = 200.0      // W ...
	unknownSpeed = 30.0 / 3.6 // ... at this wheel speed, m/s
)

// UnknownCurve stands for a plain trainer of which nothing is known: watts
// grow with the square of wheel speed through 200 W at 30 km/h, log-sd 0.35.
// Our judgement. The square lies between a magnet brake well below its
// critical speed, whose force is proportional to speed (Wouterse 1991, IEE
// Proc B 138:153, known from a secondary text), with its tyre's near constant
// loss, and a fan.
func UnknownCurve() PowerCurve {
	return PowerCurve{SD: unknownSD, From: "curve unknown: our judgement, no published curve was found"}
}

// NewPowerCurve is a curve through the rows of a maker's table: at least two,
// wheel speed and watts both strictly rising, from at most one row of (0, 0).
// sd is the doubt about its watts (fraction); 0 stands for 10 %, our
// judgement. Between rows it is a monotone cubic (Fritsch and Butland 1984,
// SIAM J Sci Stat Comput 5:300: harmonic mean of the neighbouring slopes,
// from memory); below the table it runs on to (0, 0), above it straight on.
func NewPowerCurve(table []Point, sd float64, from string) (PowerCurve, error) {
	if len(table) < 2 {
		return PowerCurve{}, fmt.Errorf("a power curve needs at least 2 rows, found %d", len(table))
	}
	if i, err := Rising(table, true); err != nil {
		return PowerCurve{}, fmt.Errorf("row %d: %w", i+1, err)
	}
	if sd == 0 {
		sd = TableSD
	}
	c := PowerCurve{first: table[0].WheelSpeed, SD: sd, From: from}
	if c.first > 0 {
		c.points = append(c.points, Point{})
	}
	c.points = append(c.points, table...)
	c.slopes = slopes(c.points)
	return c, nil
}

// Rising tells whether wheel speeds strictly rise through finite rows, and
// watts too when they must; the index is that of the first row that does not.
// Zero is allowed for both together, and only in the first row.
func Rising(table []Point, wattsToo bool) (int, error) {
	for i, p := range table {
		switch {
		case !(p.WheelSpeed >= 0 && p.Watts >= 0) || math.IsInf(p.WheelSpeed, 1) || math.IsInf(p.Watts, 1):
			return i, fmt.Errorf("wheel speed and watts must be finite and not negative")
		case i == 0 && wattsToo && (p.WheelSpeed == 0) != (p.Watts == 0):
			return i, fmt.Errorf("a wheel that stands takes 0 W, and only then")
		case i == 0:
		case p.WheelSpeed <= table[i-1].WheelSpeed:
			return i, fmt.Errorf("wheel speed must rise from row to row")
		case wattsToo && p.Watts <= table[i-1].Watts:
			return i, fmt.Errorf("watts must rise from row to row")
		}
	}
	return 0, nil
}

func slopes(p []Point) []float64 {
	n := len(p)
	secant := make([]float64, n-1)
	for i := range secant {
		secant[i] = (p[i+1].Watts - p[i].Watts) / (p[i+1].WheelSpeed - p[i].WheelSpeed)
	}
	d := make([]float64, n)
	d[0], d[n-1] = secant[0], secant[n-2]
	if p[0] == (Point{}) && n > 2 {
		d[0] /= 2 // a brake's force falls towards standstill: any slope within [0, 3·secant] stays monotone
	}
	for i := 1; i < n-1; i++ {
		d[i] = 2 / (1/secant[i-1] + 1/secant[i])
	}
	return d
}

// Known tells a typed curve from an unknown one.
func (c PowerCurve) Known() bool { return len(c.points) > 0 }

// Covers tells whether a wheel speed (m/s) lies within the typed table; an
// unknown curve has no table and covers everything with its doubt.
func (c PowerCurve) Covers(v float64) bool {
	return !c.Known() || v >= c.first-1e-9 && v <= c.last().WheelSpeed+1e-9
}

// Points are the rows the curve was made from.
func (c PowerCurve) Points() []Point {
	if !c.Known() {
		return nil
	}
	return append([]Point(nil), c.points[1:]...)
}

func (c PowerCurve) last() Point { return c.points[len(c.points)-1] }

// Watts at a wheel speed (m/s); 0 at or below standstill.
func (c PowerCurve) Watts(v float64) float64 {
	if v <= 0 {
		return 0
	}
	if !c.Known() {
		return unknownWatts * (v / unknownSpeed) * (v / unknownSpeed)
	}
	n := len(c.points)
	i := sort.Search(n, func(i int) bool { return c.points[i].WheelSpeed > v }) - 1
	if i == n-1 {
		return c.last().Watts + c.lastSlope()*(v-c.last().WheelSpeed)
	}
	return c.within(i, v)
}

// within is the cubic of Hermite between points i and i+1.
func (c PowerCurve) within(i int, v float64) float64 {
	a, b := c.points[i], c.points[i+1]
	h := b.WheelSpeed - a.WheelSpeed
	t := (v - a.WheelSpeed) / h
	s := 1 - t
	return s*s*((1+2*t)*a.Watts+t*h*c.slopes[i]) + t*t*((3-2*t)*b.Watts-s*h*c.slopes[i+1])
}

func (c PowerCurve) lastSlope() float64 { return c.slopes[len(c.slopes)-1] }

// WheelSpeed in m/s that takes these watts; 0 for no watts or less. It is the
// inverse of Watts to 1e-9 m/s.
func (c PowerCurve) WheelSpeed(watts float64) float64 {
	if watts <= 0 {
		return 0
	}
	if !c.Known() {
		return unknownSpeed * math.Sqrt(watts/unknownWatts)
	}
	if end := c.last(); watts >= end.Watts {
		return end.WheelSpeed + (watts-end.Watts)/c.lastSlope()
	}
	i := sort.Search(len(c.points), func(i int) bool { return c.points[i].Watts > watts }) - 1
	low, high := c.points[i].WheelSpeed, c.points[i+1].WheelSpeed
	for high-low > 1e-10 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if c.within(i, mid) < watts {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// BrakeTable is a limit of a controllable trainer's brake in watts by wheel
// speed. Make one with NewBrakeTable; the zero value is no known limit.
type BrakeTable struct{ points []Point }

// NewBrakeTable is a limit through rows of strictly rising wheel speed above
// zero; at least one. Between rows it is linear. Outside them, our judgement
// on the careful side: a brake's greatest and least force stay what they were
// at the nearest row, except that a ceiling does not grow above its table.
func NewBrakeTable(table []Point) (BrakeTable, error) {
	if len(table) == 0 {
		return BrakeTable{}, fmt.Errorf("a limit needs at least 1 row")
	}
	if i, err := Rising(table, false); err != nil {
		return BrakeTable{}, fmt.Errorf("row %d: %w", i+1, err)
	}
	if table[0].WheelSpeed == 0 {
		return BrakeTable{}, fmt.Errorf("row 1: wheel speed must be above 0")
	}
	return BrakeTable{points: append([]Point(nil), table...)}, nil
}

// Known tells whether there is a limit.
func (b BrakeTable) Known() bool { return len(b.points) > 0 }

func (b BrakeTable) between(v float64) float64 {
	first := b.points[0]
	if v <= first.WheelSpeed {
		return first.Watts * v / first.WheelSpeed
	}
	i := sort.Search(len(b.points), func(i int) bool { return b.points[i].WheelSpeed >= v })
	p, q := b.points[i-1], b.points[i]
	return p.Watts + (q.Watts-p.Watts)*(v-p.WheelSpeed)/(q.WheelSpeed-p.WheelSpeed)
}

// most reads the table as a ceiling, least as a floor.
func (b BrakeTable) most(v float64) float64 {
	if end := b.points[len(b.points)-1]; v > end.WheelSpeed {
		return end.Watts
	}
	return b.between(v)
}

func (b BrakeTable) least(v float64) float64 {
	if end := b.points[len(b.points)-1]; v > end.WheelSpeed {
		return end.Watts * v / end.WheelSpeed
	}
	return b.between(v)
}

// Contradiction is the first wheel speed (m/s) of either table at which the
// floor lies above the ceiling; ok is false when there is none.
func (t Trainer) Contradiction() (wheelSpeed float64, ok bool) {
	if !t.Floor.Known() || !t.Ceiling.Known() {
		return 0, false
	}
	for _, table := range []BrakeTable{t.Floor, t.Ceiling} {
		for _, p := range table.points {
			if t.Floor.least(p.WheelSpeed) > t.Ceiling.most(p.WheelSpeed) {
				return p.WheelSpeed, true
			}
		}
	}
	return 0, false
}
