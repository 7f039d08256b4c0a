package bench

import "math/rand/v2"

// The parts of the model for those who simulate a rig without its radio, in
// steps of their own.

// BrakeModel is the brake of a Trainer.
type BrakeModel struct{ b *brake }

// NewBrakeModel is a brake that nobody has set, moved in steps of h seconds.
func NewBrakeModel(t Trainer, h float64) BrakeModel {
	b := newBrake(t)
	b.keep = keep(h, t.Lag.Seconds())
	return BrakeModel{b}
}

// Hold has the brake hold watts from now on; v is the wheel's speed, m/s.
func (m BrakeModel) Hold(watts, v float64) { m.b.change(setting{mode: holdsPower, watts: watts}, v) }

// Release takes the brake off.
func (m BrakeModel) Release(v float64) { m.b.change(setting{}, v) }

// Force is what brake and drag hold the wheel with in the next step, N. reads
// is what the brake's own measurement shows per true watt.
func (m BrakeModel) Force(v, reads float64) (brake, drag float64) {
	return m.b.apply(v, reads), m.b.drag(v)
}

// FlywheelModel is a wheel with a mass, kg at the tyre.
type FlywheelModel struct{ d drive }

// NewFlywheelModel is at rest.
func NewFlywheelModel(mass float64) *FlywheelModel { return &FlywheelModel{drive{mass: mass}} }

// Speed at the tyre, m/s.
func (f *FlywheelModel) Speed() float64 { return f.d.v }

// Step moves it by h seconds; forces in N, all ≥ 0. It returns the mean speed.
func (f *FlywheelModel) Step(h, push, brake, drag float64) float64 {
	return f.d.step(h, push, brake, drag)
}

// HeartModel is the heart of a Rider.
type HeartModel struct{ k *heart }

// NewHeartModel is a heart at the start of a ride.
func NewHeartModel(r Rider) HeartModel { return HeartModel{newHeart(r)} }

// Step moves it by h seconds at an effort (fraction of critical power) and
// returns its rate, beats per minute.
func (m HeartModel) Step(h, effort float64, r *rand.Rand) float64 {
	m.k.step(h, effort, r)
	return m.k.rate
}
