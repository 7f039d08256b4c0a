package bench

import (
	"math"
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
	"chainline/physics"
)

// A wheel that nobody drives slows by P(v) = a·v + b·v³: the time from one
// speed to another is M/√(ab)·(atan(v₁√(b/a)) − atan(v₂√(b/a))). Derived by
// hand; the three times of M = 25 kg, a = 5 N, b = 0.02 kg/m were computed
// independently with a variable-step integrator.
func TestAnalyticSpinDown(t *testing.T) {
	const a, b, mass = 5, 0.02, 25
	by := func(from, to float64) float64 {
		k := math.Sqrt(float64(b) / a)
		return mass / math.Sqrt(a*b) * (math.Atan(from*k) - math.Atan(to*k))
	}
	for _, c := range []struct{ from, to, want float64 }{{12, 8, 14.293072458}, {8, 4, 17.441880852}, {4, 0, 19.589003781}} {
		if got := by(c.from, c.to); math.Abs(got-c.want) > 1e-8 {
			t.Errorf("by the formula %v to %v m/s takes %.9f s, want %.9f s", c.from, c.to, got, c.want)
		}
		d, seconds := drive{mass: mass, v: c.from}, 0.0
		for d.v > c.to {
			before := d.v
			d.step(step, 0, 0, a+b*d.v*d.v)
			if d.v > c.to {
				seconds += step
			} else {
				seconds += step * (before - c.to) / (before - (before - (a+b*before*before)/mass*step))
			}
		}
		// The step's own error: a hundredth of a second's change of force.
		if math.Abs(seconds-c.want) > 0.005 {
			t.Errorf("%v to %v m/s takes %.4f s, want %.4f s", c.from, c.to, seconds, c.want)
		}
	}
}

// F = 2·F_peak/(v/v_k + v_k/v): Wouterse 1991, IEE Proceedings B 138:153.
// Known from a secondary text; the normalised form from memory.
func TestPublishedEddyBrake(t *testing.T) {
	b := newBrake(Trainer{PeakForce: 160, PeakSpeed: 6, Ceiling: 1e9})
	for x, want := range map[float64]float64{0.5: 0.8, 1: 1, 2: 0.8} {
		if got := b.most(6*x) / 160; math.Abs(got-want) > 1e-12 {
			t.Errorf("at %v of the peak's speed the brake has %v of its force, want %v", x, got, want)
		}
	}
	if b.most(0) != 0 {
		t.Errorf("the brake holds a wheel that stands with %v N", b.most(0))
	}
}

// steady is a rig whose rider has no unevenness and whose sensors read true.
func steady(seed uint64) Config {
	c := StandardRig(seed)
	c.Rider.Noise, c.Rider.Drift = 0, 0
	c.Trainer.Unit.Noise = 0
	c.Meter.Unit.Noise, c.Meter.Unit.Bias = 0, 0
	return c
}

func TestBrakeLag(t *testing.T) {
	k := begin(t, steady(1)).control()
	k.holds(150)
	k.ride(40 * time.Second)
	k.write(gatt.MachineRequest{Op: gatt.SetPower, Value: 300})
	for k.w.Truth().Target != 300 {
		k.ride(10 * time.Millisecond)
	}
	k.ride(6 * time.Second) // four time constants
	if got, want := k.w.Truth().Trainer, 300-150*math.Exp(-4); math.Abs(got-want) > 1.5 {
		t.Errorf("6 s after the step the brake takes %.1f W, want %.1f W", got, want)
	}
	k.write(gatt.MachineRequest{Op: gatt.SetPower, Value: 150})
	for k.w.Truth().Target != 150 {
		k.ride(10 * time.Millisecond)
	}
	k.ride(1500 * time.Millisecond)
	if got, want := k.w.Truth().Trainer, 150+(300-150*math.Exp(-4)-150)/math.E; math.Abs(got-want) > 2 {
		t.Errorf("one time constant after the step down the brake takes %.1f W, want %.1f W", got, want)
	}
}

func TestTargetPowerIsHeld(t *testing.T) {
	k := begin(t, StandardRig(5)).control()
	k.holds(120)
	k.ride(30 * time.Second)
	for _, watts := range []float64{180, 260, 140, 310, 100, 240} {
		k.holds(watts)
		k.ride(5 * time.Second)
		if got := k.mean(55 * time.Second); math.Abs(got-watts) > 0.01*watts {
			t.Errorf("%v W asked, %.2f W held from 5 to 60 s", watts, got)
		}
		if tr := k.w.Truth(); math.Abs(tr.Cadence-tr.WheelSpeed*60/k.w.legs.gears[k.w.legs.gear]) > 0.5 || tr.Cadence < 75 {
			t.Errorf("at %v W %.1f rpm at %.2f m/s", watts, tr.Cadence, tr.WheelSpeed)
		}
	}
}

// A simulated road must end at the speed that the road itself gives for the
// power that arrives behind the drivetrain.
func TestSimulatedRoad(t *testing.T) {
	c := steady(2)
	c.Rider.WPrime = 1e9
	k := begin(t, c).control()
	for _, gradient := range []float64{0.0, 0.03, 0.07} {
		k.w.Show(Shown{Watts: 230, Pedalling: true})
		k.ask(gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: gatt.Simulation{Gradient: gradient, Crr: 0.004, Cw: 0.25, Wind: 1}})
		k.ride(4 * time.Minute)
		m := physics.Motion{Mass: c.Trainer.Mass, Inertial: c.Trainer.Mass, Crr: 0.004, Drag: 0.25, Efficiency: c.Trainer.Efficiency}
		if got, want := k.w.Truth().WheelSpeed, m.SpeedAt(230, gradient, 1); math.Abs(got-want) > 0.01*want {
			t.Errorf("230 W on %v go %.3f m/s, want %.3f m/s", gradient, got, want)
		}
		if got := k.w.Truth().Legs; math.Abs(got-230) > 2 {
			t.Errorf("the rider gives %.1f W, shown 230 W", got)
		}
	}
	k.ask(gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: gatt.Simulation{Gradient: -0.2, Crr: 0.004, Cw: 0.25}})
	k.ride(10 * time.Second)
	if tr := k.w.Truth(); tr.Trainer-k.w.brake.drag(tr.WheelSpeed)*tr.WheelSpeed > 1 {
		t.Errorf("downhill the brake takes %.1f W; it can let go at most", tr.Trainer)
	}
}

func TestPlainTrainerWarms(t *testing.T) {
	c := PlainTrainer(4)
	c.Rider.Noise, c.Rider.Drift = 0, 0
	k := begin(t, c)
	k.w.Show(Shown{Watts: 200, Pedalling: true})
	k.ride(time.Minute)
	early := k.w.Truth()
	k.ride(time.Hour)
	late := k.w.Truth()
	watts := func(v float64) float64 { return (c.Plain.A + c.Plain.B*v*v) * v }
	if got, want := watts(late.WheelSpeed), 200*c.Plain.Efficiency; math.Abs(got-want) > 1 {
		t.Errorf("warm, %.3f m/s are %.1f W by the curve, want %.1f W", late.WheelSpeed, got, want)
	}
	// At one minute of eight it is still 0.88 of Cold above its curve.
	cold := 1 + c.Plain.Cold*math.Exp(-62.0/480)
	if got, want := watts(early.WheelSpeed)*cold, 200*c.Plain.Efficiency; math.Abs(got-want) > 2 {
		t.Errorf("cold, %.3f m/s take %.1f W, want %.1f W", early.WheelSpeed, got, want)
	}
}
