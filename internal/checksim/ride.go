package checksim

import (
	"math"
	"math/rand/v2"

	"chainline/internal/sensor/bench"
)

// step is what the model moves by, s.
const (
	step      = 0.05
	perSecond = 20
)

// The rider, as on the bench: they keep a speed by a force that follows what
// the pedals push back, with some hurry towards the speed they aim at.
const (
	feltTau    = 0.3  // s
	hurry      = 6.0  // N at the tyre per m/s
	unsteadyIn = 1.5  // s
	wanderIn   = 20.0 // s
	powerGear  = 8.0  // m/s at the rider's own cadence, when a brake holds the watts
	beatSway   = 1.0  // beats per minute, sd of the slow sway of breathing
)

// trace is the truth of every step.
type trace struct {
	crank, wheel []float64 // W before and behind the drivetrain and the tyre
	cadence      []float64 // rpm, shown by a sensor that cannot tell backwards
	wheelSpeed   []float64 // m/s at the tyre
	rollerSpeed  []float64 // m/s
	heart        []float64 // beats per minute
	commands     []command
}

// command is watts told to the brake.
type command struct {
	at, watts float64
	ignored   bool
}

// reads is what a trainer's own measurement shows per true watt and beyond
// it, W; it regulates by that.
type reads func(seconds, cadence float64) (gain, offset float64)

type world struct {
	r       rider
	m       machine
	gears   []float64
	gear    float64
	brake   bench.BrakeModel
	wheel   *bench.FlywheelModel
	heart   bench.HeartModel
	random  *rand.Rand
	felt    float64
	uneven  float64
	wander  float64
	sway    float64
	asked   float64 // W the brake was told and follows
	cadence float64
	target  float64 // m/s on a plain trainer
	tyre    float64 // N of a steady effort at threshold, for slip
}

func keep(tau float64) float64 { return math.Exp(-step / tau) }

var keepUneven, keepWander, keepTurning, keepBeat = keep(unsteadyIn), keep(wanderIn), keep(0.25), math.Exp(-2 * step / 8)

// sway moves a wandering value with standard deviation sd by one step.
func sway(x, sd, keep float64, r *rand.Rand) float64 {
	return x*keep + sd*math.Sqrt(1-keep*keep)*r.NormFloat64()
}

// ride is the whole protocol.
func ride(r rider, m machine, parts []part, own reads, random *rand.Rand) trace {
	w := &world{r: r, m: m, gears: m.gears(), random: random, heart: bench.NewHeartModel(r.body),
		brake: bench.NewBrakeModel(m.trainer, step), wheel: bench.NewFlywheelModel(m.inertia)}
	w.gear = w.nearest(powerGear * 60 / r.cadence)
	w.tyre = r.threshold / (w.gear * r.cadence / 60)
	n := int(math.Round(parts[len(parts)-1].to * perSecond))
	t := trace{}
	for _, s := range []*[]float64{&t.crank, &t.wheel, &t.cadence, &t.wheelSpeed, &t.rollerSpeed, &t.heart} {
		*s = make([]float64, n)
	}
	t.commands = w.commands(parts)
	k, due := 0, 0
	for i := range n {
		now := float64(i) * step
		if now >= parts[k].to-1e-9 {
			k++
		}
		if i == 0 || now < parts[k].from+step-1e-9 {
			w.begin(parts[k])
		}
		for due < len(t.commands) && now >= t.commands[due].at+m.trainer.Dead.Seconds() {
			if c := t.commands[due]; !c.ignored {
				w.asked = c.watts
			}
			due++
		}
		w.move(i, parts[k], own, &t)
	}
	return t
}

// commands are what a controllable trainer is told: every change of the watts.
func (w *world) commands(parts []part) []command {
	if !w.m.controllable {
		return nil
	}
	var out []command
	last := -1.0
	for _, p := range parts {
		if p.watts != last {
			last = math.Round(p.watts)
			out = append(out, command{p.from, last, w.random.Float64() < w.m.ignores})
			last = p.watts
		}
	}
	return out
}

func (w *world) nearest(metres float64) float64 {
	best := w.gears[0]
	for _, g := range w.gears {
		if math.Abs(math.Log(g/metres)) < math.Abs(math.Log(best/metres)) {
			best = g
		}
	}
	return best
}

// begin shifts on a plain trainer, where speed decides the watts and the gear
// the cadence.
func (w *world) begin(p part) {
	if !w.m.controllable && p.watts > 0 {
		w.target = w.m.speedFor(p.watts * w.m.efficiency)
		w.gear = w.nearest(w.target * 60 / w.aim(p))
	}
}

func (w *world) aim(p part) float64 {
	if p.cadence > 0 {
		return p.cadence
	}
	return w.r.cadence
}

func (w *world) move(i int, p part, own reads, t *trace) {
	now, v := float64(i)*step, w.wheel.Speed()
	brake, drag := 0.0, w.m.a+w.m.b*v*v
	if w.m.controllable {
		gain, offset := own(now, w.cadence)
		held := math.Max(0, (w.asked*(1+w.m.control)-offset)/gain)
		w.brake.Hold(held, v)
		brake, drag = w.brake.Force(v, 1)
	}
	w.uneven = sway(w.uneven, w.r.unsteady, keepUneven, w.random)
	w.wander = sway(w.wander, w.r.wander, keepWander, w.random)
	w.felt += (brake + drag - w.felt) * step / feltTau
	push := 0.0 // N at the tyre, behind the drivetrain
	if p.watts > 0 {
		target := w.aim(p) * w.gear / 60
		if !w.m.controllable {
			target = w.target
		}
		push = math.Max(0, (w.felt+hurry*(target*(1+w.wander)-v))*(1+w.uneven))
	}
	mean := w.wheel.Step(step, push, brake, drag)
	slip := math.Min(w.m.slip*push/w.tyre, 0.5)
	tyre := mean / (1 - slip)
	w.turn(p, tyre)
	t.rollerSpeed[i], t.wheelSpeed[i], t.cadence[i] = mean, tyre, w.cadence
	t.wheel[i], t.crank[i] = push*mean, push*tyre/w.m.efficiency
	w.beat(i, t)
}

// turn is how fast the cranks go.
func (w *world) turn(p part, tyre float64) {
	switch {
	case p.watts > 0:
		w.cadence = tyre * 60 / w.gear
	case p.backward:
		w.cadence += (60*(1+3*w.wander) - w.cadence) * step / 1.0
	default:
		w.cadence *= keepTurning
		if w.cadence < 1 {
			w.cadence = 0
		}
	}
}

// beat moves the heart ten times a second.
func (w *world) beat(i int, t *trace) {
	if i%2 == 1 {
		t.heart[i] = t.heart[i-1]
		return
	}
	rate := w.heart.Step(2*step, t.crank[i]/w.r.body.CriticalPower, w.random)
	w.sway = sway(w.sway, beatSway, keepBeat, w.random)
	t.heart[i] = rate + w.sway
}
