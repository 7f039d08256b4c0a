// Package checksim rides a simulated rig check whose truth is known: a rider,
// a flywheel, a brake and sensors in steps of a twentieth of a second, without
// radio or bytes, fast enough for tens of thousands of checks. Brake, flywheel
// and heart are those of the bench rig.
//
// Where a number of the model has no source beside it, it is our judgement:
// it shows whether a check finds what it should on a plausible rig, and is no
// evidence about any real one.
package checksim

import (
	"slices"

	"chainline/rig"
)

// Setup is a kind of rig.
type Setup string

// The rigs; the text is that of the files.
const (
	Both  Setup = "trainer and crank meter" // controllable, wheel-on; speed sensor, belt
	Alone Setup = "trainer alone"           // controllable; belt
	Curve Setup = "plain with curve"        // speed sensor, cadence, belt; nothing measures watts
	Hub   Setup = "hub meter and pedals"    // on a plain trainer
	Crank Setup = "crank meter and pedals"  // on a plain trainer: the same measuring point
)

// Setups are all rigs in order.
var Setups = []Setup{Both, Alone, Curve, Hub, Crank}

// Case is what is wrong with which rig. Without a Subject it is healthy.
type Case struct {
	Setup   Setup
	Subject rig.Subject
	Size    float64 // in the unit of the subject; see Faults
}

// Fault is one way of being wrong, at three sizes, and the rigs on which it
// can show at all.
type Fault struct {
	Subject rig.Subject
	Sizes   [3]float64
	Shows   []Setup
	Partly  []Setup // shows only where it is larger than what cannot be told from it: no detection is demanded
	Signed  bool    // comes in both directions
	Because string  // why it does not show elsewhere
}

// Faults are the rows of the fault matrix.
var Faults = []Fault{
	{Subject: rig.Gain, Sizes: [3]float64{0.01, 0.02, 0.04}, Shows: []Setup{Crank}, Partly: []Setup{Both, Hub}, Signed: true,
		Because: "one source alone has nothing to be compared with; before and behind the drivetrain its loss (2.4 ± 1 %) hides what is smaller"},
	{Subject: rig.Offset, Sizes: [3]float64{3, 6, 12}, Shows: []Setup{Both, Hub, Crank}, Signed: true, Because: "needs a second source"},
	{Subject: rig.Delay, Sizes: [3]float64{0.3, 1, 3}, Shows: []Setup{Both, Hub, Crank}, Because: "needs a second source"},
	{Subject: rig.Smoothing, Sizes: [3]float64{3, 5, 10}, Shows: []Setup{Both, Alone, Hub, Crank}, Because: "needs measured watts"},
	{Subject: rig.LostSamples, Sizes: [3]float64{0.01, 0.03, 0.10}, Shows: Setups},
	{Subject: rig.Stuck, Sizes: [3]float64{5, 15, 60}, Shows: []Setup{Both, Alone, Hub, Crank}, Because: "needs measured watts"},
	{Subject: rig.Spikes, Sizes: [3]float64{1, 3, 10}, Shows: []Setup{Both, Alone, Hub, Crank}, Because: "needs measured watts"},
	{Subject: rig.WarmUpDrift, Sizes: [3]float64{0.01, 0.03, 0.06}, Shows: []Setup{Both, Hub, Crank}, Signed: true, Because: "needs a second source"},
	{Subject: rig.CadenceBias, Sizes: [3]float64{0.015, 0.03, 0.06}, Shows: []Setup{Both, Hub, Crank}, Signed: true, Because: "needs a second source"},
	{Subject: rig.ZeroOffset, Sizes: [3]float64{0.5, 1, 2}, Shows: []Setup{Both, Hub, Crank}, Signed: true, Because: "needs a meter at the crank"},
	{Subject: rig.LockedHeart, Sizes: [3]float64{0.2, 0.5, 1}, Shows: []Setup{Both, Alone, Curve}, Because: "needs heart rate and cadence"},
	{Subject: rig.BrakeLag, Sizes: [3]float64{3, 5, 8}, Shows: []Setup{Both, Alone}, Because: "needs a brake that is told watts"},
	{Subject: rig.ControlError, Sizes: [3]float64{0.02, 0.05, 0.10}, Shows: []Setup{Both, Alone}, Signed: true, Because: "needs a brake that is told watts"},
	{Subject: rig.IgnoredCommands, Sizes: [3]float64{0.02, 0.10, 0.50}, Shows: []Setup{Both, Alone}, Because: "needs a brake that is told watts"},
	{Subject: rig.Interference, Sizes: [3]float64{0.01, 0.05, 0.20}, Shows: Setups},
	{Subject: rig.Quantisation, Sizes: [3]float64{5, 10, 25}, Shows: []Setup{Both, Alone, Hub, Crank}, Because: "needs measured watts"},
	{Subject: rig.Circumference, Sizes: [3]float64{0.01, 0.03, 0.06}, Shows: []Setup{Both, Curve}, Signed: true, Because: "needs a speed sensor, and gears or a tape measure"},
	{Subject: rig.TyreSlip, Sizes: [3]float64{0.01, 0.03, 0.08}, Shows: []Setup{Both}, Because: "needs a wheel on a roller, and the speed of both"},
}

// Cell is one square of the matrix.
type Cell struct {
	Case
	Step     int  // 0 small, 1 middle, 2 large
	Demanded bool // detection is demanded; false: it shows partly
}

// Cells are all squares, in the order of Faults.
func Cells() []Cell {
	var out []Cell
	for _, f := range Faults {
		for step, size := range f.Sizes {
			for _, s := range f.Shows {
				out = append(out, Cell{Case{s, f.Subject, size}, step, true})
			}
			for _, s := range f.Partly {
				out = append(out, Cell{Case{s, f.Subject, size}, step, false})
			}
		}
	}
	return out
}

func signed(s rig.Subject) bool {
	is := func(f Fault) bool { return f.Subject == s && f.Signed }
	return slices.ContainsFunc(Faults, is) || slices.ContainsFunc(Beyond, is)
}
