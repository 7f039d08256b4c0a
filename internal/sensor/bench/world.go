package bench

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"chainline/estimate"
	"chainline/internal/sensor"
	"chainline/internal/sensor/virtual"
)

// The model moves in fixed steps, whatever the calls of Advance are.
const (
	tick = 10 * time.Millisecond
	step = 0.01 // s, the same
	// Every tenthly-th step what is slow is moved: heart, unevenness.
	tenthly   = 10
	perSecond = 100
)

// World is a rig with its rider in virtual time. All methods may be called
// from any goroutine; worlds share nothing.
type World struct {
	mu      sync.Mutex
	c       Config
	radio   *virtual.Radio
	drive   drive
	legs    *legs
	heart   *heart
	brake   *brake   // nil on a plain trainer
	control *control // nil on a plain trainer
	random  *rand.Rand
	stepped time.Duration
	steps   int
	warm    float64 // 0 cold to 1 warm, of a plain trainer

	units                      []*unit
	trainer, meter, pace, belt *unit // nil: not there
	faults                     []*running
	wheel, crank               virtual.Turns
	now                        flow
	efficiency                 float64
	lostInChain                float64 // J
	worked                     float64 // J at the crank
	history                    []Truth
}

// flow is what went through the rig in the last step, in watts.
type flow struct{ legs, wheel, brake, drag float64 }

// New is a world at its Config.Start: wheel at rest, rider on the saddle and
// turning easily until something is shown.
func New(c Config) *World {
	c = c.filled()
	w := &World{c: c, radio: virtual.NewRadio(c.Start), random: estimate.Stream(c.Seed, 0),
		legs: newLegs(c.Rider, c.Gears), heart: newHeart(c.Rider)}
	if c.Trainer != nil {
		w.brake = newBrake(*c.Trainer)
		w.control = &control{w: w}
		w.drive.mass, w.efficiency = c.Trainer.Inertia, c.Trainer.Efficiency
	} else {
		w.drive.mass, w.efficiency = c.Plain.Inertia, c.Plain.Efficiency
	}
	w.legs.shown.Pedalling = !c.Still
	w.makeUnits()
	for _, f := range c.Faults {
		w.inject(f)
	}
	return w
}

// name begins the addresses of the world's devices.
func (w *World) name() string {
	if w.c.Name != "" {
		return w.c.Name
	}
	return fmt.Sprintf("bench-%d", w.c.Seed)
}

// Device is the address of a part of the rig: "trainer", "meter", "pace",
// "belt"; empty when the rig has no such part.
func (w *World) Device(part string) string {
	for _, u := range w.units {
		if u.role == part {
			return u.device.ID
		}
	}
	return ""
}

// Realtime has the wall clock drive a world. Show, Inject and Truth may be
// called meanwhile.
func Realtime(ctx context.Context, w *World) sensor.Port { return virtual.Realtime(ctx, w) }

// Now is the virtual time reached.
func (w *World) Now() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.radio.Clock()
}

// Do takes a request at the virtual time reached.
func (w *World) Do(r sensor.Request) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.radio.Do(r)
}

// Show changes what the rider sees. They answer after their reaction time.
func (w *World) Show(s Shown) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.legs.see(s, w.radio.Now())
}

// Advance moves the world to a time and returns what its devices said since
// the last call. A time that is past moves nothing.
func (w *World) Advance(to time.Time) []sensor.Event {
	w.mu.Lock()
	defer w.mu.Unlock()
	end := to.Sub(w.c.Start)
	for {
		next := w.stepped + tick
		if due, any := w.radio.Due(); any && due < next {
			if due > end {
				break
			}
			w.radio.Run(due)
			continue
		}
		if next > end {
			break
		}
		w.move()
		w.radio.Run(next)
	}
	w.radio.Run(end)
	return w.radio.Take()
}

// move is one step of the model.
func (w *World) move() {
	w.stepped += tick
	w.steps++
	now := w.stepped.Seconds()
	brake, drag, holding := w.resistance()
	push := w.legs.push(step, w.drive.v, brake+drag, w.efficiency, holding, w.stepped)
	mean := w.drive.step(step, push*w.efficiency, brake, drag)
	w.now = flow{legs: push * mean, wheel: push * w.efficiency * mean, brake: brake * mean, drag: drag * mean}
	w.worked += w.now.legs * step
	w.lostInChain += (w.now.legs - w.now.wheel) * step
	w.legs.spend(step, w.now.legs)
	w.crank.Add(w.legs.cadence/60*step, step, now)
	if w.pace != nil {
		w.wheel.Add(mean*step/w.c.Pace.Circumference, step, now)
	}
	for _, u := range w.units {
		u.follow(w)
	}
	if w.steps%tenthly == 0 {
		w.slowly()
	}
	if w.c.History && w.steps%perSecond == 0 {
		w.history = append(w.history, w.truth())
	}
}

// resistance is what holds the wheel in the next step, in newtons, and
// whether a brake decides the watts.
func (w *World) resistance() (brake, drag float64, holding bool) {
	v := w.drive.v
	if w.brake != nil {
		reads := 1 + w.trainer.Bias
		if len(w.faults) > 0 {
			if size, runs := w.fault(w.trainer, Scale); runs {
				reads *= size
			}
		}
		return w.brake.apply(v, math.Max(reads, 0.1)), w.brake.drag(v), w.brake.set.mode == holdsPower
	}
	p := w.c.Plain
	return 0, (p.A + p.B*v*v) * (1 + p.Cold*(1-w.warm)), false
}

func (w *World) slowly() {
	h := step * tenthly
	w.legs.uneven(w.random)
	w.heart.step(h, w.now.legs/w.legs.CriticalPower, w.random)
	if w.control != nil {
		w.control.watch(w.drive.v, w.legs.cadence)
	} else if w.drive.v > 1 {
		w.warm += (1 - w.warm) * h / w.c.Plain.Warm.Seconds()
	}
}
