package bench

import (
	"math"

	"chainline/internal/sensor/gatt"
	"chainline/physics"
)

type brakeMode int

const (
	released brakeMode = iota
	holdsPower
	simulates
	holdsLevel
)

// setting is what a brake has been told.
type setting struct {
	mode     brakeMode
	watts    float64 // holdsPower
	gradient float64 // simulates, fraction
	wind     float64 // m/s, positive taken as from ahead
	crr, cw  float64 // -, kg/m
	level    float64 // holdsLevel, fraction
}

// brake is a trainer's brake: what it was told, and how far it has come.
// In target power the watts follow with a first-order lag, otherwise the
// force does.
type brake struct {
	Trainer
	set    setting
	watts  float64 // what it regulates drag and brake to, in holdsPower
	force  float64 // N of the brake alone, as applied last
	keep   float64 // of the lag, in one step
	resets int     // counts lost links, so that an order from before is not followed
}

// asDelivered is the fraction of its range that a brake stands at when nobody
// has set it: a wheel spun up feels like one.
const asDelivered = 0.05

func newBrake(t Trainer) *brake {
	b := &brake{Trainer: t, keep: keep(step, t.Lag.Seconds())}
	b.set = setting{mode: holdsLevel, level: asDelivered}
	return b
}

// most is the greatest force of an eddy-current brake at a wheel speed:
// F = 2·F_peak/(v/v_k + v_k/v), Wouterse 1991, IEE Proceedings B 138:153,
// known from a secondary text. It is what keeps a brake from holding a wheel
// that stands.
func (b *brake) most(v float64) float64 {
	if v <= 0 {
		return 0
	}
	x := v / b.PeakSpeed
	return math.Min(2*b.PeakForce/(x+1/x), b.Ceiling/v)
}

func (b *brake) drag(v float64) float64 { return b.Drag0 + b.Drag2*v*v }

// change puts the brake to a new setting; where it starts from is what it
// does now.
func (b *brake) change(s setting, v float64) {
	if s.mode == holdsPower && b.set.mode != holdsPower {
		b.watts = (b.force + b.drag(v)) * v
	}
	b.set = s
}

// apply is the brake's force for the next step. reads is what its own power
// measurement reads per true watt: it holds what it reads.
func (b *brake) apply(v, reads float64) float64 {
	want := 0.0
	if b.set.mode == holdsPower {
		b.watts = b.set.watts/reads + (b.watts-b.set.watts/reads)*b.keep
		want = b.watts/math.Max(v, 1) - b.drag(v)
		b.force = math.Min(math.Max(want, 0), b.most(v))
		return b.force
	}
	switch b.set.mode {
	case simulates:
		m := physics.Motion{Mass: b.Mass, Crr: b.set.crr, Drag: b.set.cw}
		want = m.Resistance(v, b.set.gradient, b.set.wind) - b.drag(v)
	case holdsLevel:
		want = b.set.level * b.most(v)
	}
	want = math.Min(math.Max(want, 0), b.most(v))
	b.force = math.Min(want+(b.force-want)*b.keep, b.most(v))
	return b.force
}

// lost is what the brake does when nobody is connected any more.
func (b *brake) lost(v float64) {
	b.resets++
	switch b.AfterLoss {
	case Releases:
		b.change(setting{}, v)
	case RevertsTo:
		b.change(setting{mode: holdsLevel, level: b.Level}, v)
	}
}

func (t Trainer) powerRange() gatt.Range { return gatt.Range{Min: 0, Max: t.Ceiling, Step: 1} }

func (t Trainer) resistanceRange() gatt.Range {
	if t.WideResistance {
		return gatt.Range{Min: 0, Max: 100, Step: 0.1}
	}
	return gatt.Range{Min: 0, Max: 20, Step: 0.1}
}

func (t Trainer) features() gatt.MachineFeatures {
	f := gatt.MachineFeatures{
		Measures: gatt.MeasuresCadence | gatt.MeasuresPower | gatt.MeasuresResistance,
		Targets:  gatt.TakesResistance | gatt.TakesWheelCircumference | gatt.TakesSpinDown,
	}
	if !t.NoPower {
		f.Targets |= gatt.TakesPower
	}
	if !t.NoSimulation {
		f.Targets |= gatt.TakesSimulation
	}
	return f
}
