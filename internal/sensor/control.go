package sensor

import (
	"fmt"
	"math"
	"time"

	"chainline/internal/sensor/gatt"
)

// procedureTime is how long a control point may take to answer. After that
// no other procedure may be begun on the same link: it is made anew.
// Fitness Machine Profile 1.0 (2017), 4.4.14.3.
const procedureTime = 30 * time.Second

// staleAfter is the age at which a command given before control was granted
// is no longer sent. Our judgement: by then the rider is elsewhere.
const staleAfter = 3 * time.Second

// controlRetries are the waits before control is asked for again after it
// was refused or taken. Our judgement: another program may hold the trainer
// for good reasons, and is not to be fought.
var controlRetries = []time.Duration{5 * time.Second, 10 * time.Second, 20 * time.Second, 30 * time.Second}

// What a trainer is told of rolling and air when it simulates a gradient.
// Only the feel depends on it: where the rider is comes from our own
// physics. Our judgement, near the middle of what the octets can say.
const (
	simulatedCrr = 0.004
	simulatedCw  = 0.51
)

// narrowLevel is the highest resistance one octet can say.
const narrowLevel = 25.5

// control is the state of one trainer's control point. Nothing is written
// before someone has commanded: not even a request for control, because on
// a race day another program holds the trainer.
type control struct {
	wanted    bool // someone has commanded on this link
	held      bool // control is granted
	needStart bool // the machine has to be started before targets count

	busy    bool // a procedure is under way
	pending gatt.MachineRequest
	since   time.Time // of its write, or of the write's acknowledgement
	retried bool      // pending is the second try, with the other width

	queued  *Command // the newest only
	given   time.Time
	trusted bool // queued was given while control was held
	spin    bool // a spin-down is asked for

	refusals int // in a row
	losses   int // of control, on this link
	retryAt  time.Time
}

// command takes a wish; the newest replaces one that waits.
func (d *device) command(c Command, now time.Time, out *Out) {
	d.ctl.wanted = true
	d.ctl.queued, d.ctl.given, d.ctl.trusted = &c, now, d.ctl.held
	d.drive(now, out)
}

// drive begins the next procedure, if there is one to begin.
func (d *device) drive(now time.Time, out *Out) {
	c := &d.ctl
	if d.link != Connected || c.busy || !c.wanted {
		return
	}
	if !d.has(gatt.MachineControlPoint) {
		c.queued, c.wanted, c.spin = nil, false, false
		d.say(out, now, CommandFailed, "%s has no brake that can be set.", d.name())
		return
	}
	switch {
	case !c.held:
		if !now.Before(c.retryAt) {
			d.write(gatt.MachineRequest{Op: gatt.RequestControl}, now, out)
		}
	case c.needStart && (c.queued != nil || c.spin):
		d.write(gatt.MachineRequest{Op: gatt.StartOrResume}, now, out)
	case c.spin:
		c.spin = false
		d.write(gatt.MachineRequest{Op: gatt.SpinDown, Value: gatt.SpinDownStart}, now, out)
	case c.queued != nil:
		d.sendQueued(now, out)
	}
}

func (d *device) sendQueued(now time.Time, out *Out) {
	c := &d.ctl
	wish := *c.queued
	c.queued = nil
	if !c.trusted && now.Sub(c.given) > staleAfter {
		return
	}
	q, err := d.request(wish)
	if err != nil {
		d.say(out, now, CommandFailed, "%s was not commanded: %v.", d.name(), err)
		return
	}
	d.write(q, now, out)
}

func (d *device) write(q gatt.MachineRequest, now time.Time, out *Out) {
	d.ctl.busy, d.ctl.pending, d.ctl.since, d.ctl.retried = true, q, now, false
	out.Requests = append(out.Requests, Request{
		Kind: Write, Device: d.id, Char: gatt.MachineControlPoint, Bytes: q.Append(nil),
	})
}

// request is a command in the trainer's own terms, held within the ranges
// it gave.
func (d *device) request(c Command) (gatt.MachineRequest, error) {
	if v := c.Watts + c.Gradient + c.Level; math.IsNaN(v) || math.IsInf(v, 0) {
		return gatt.MachineRequest{}, fmt.Errorf("the target is not a number")
	}
	may := func(t gatt.MachineTargets) bool { return !d.hasFeatures || d.features.Targets&t != 0 }
	switch c.Kind {
	case TargetPower:
		if !may(gatt.TakesPower) {
			return gatt.MachineRequest{}, fmt.Errorf("it takes no target power")
		}
		return gatt.MachineRequest{Op: gatt.SetPower, Value: d.powerRange.Fit(c.Watts)}, nil
	case TargetGradient:
		if may(gatt.TakesSimulation) {
			return gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: d.simulation(c.Gradient)}, nil
		}
		if may(gatt.TakesInclination) {
			return gatt.MachineRequest{Op: gatt.SetInclination, Value: d.inclinationRange.Fit(c.Gradient)}, nil
		}
		return gatt.MachineRequest{}, fmt.Errorf("it takes no gradient")
	case TargetResistance:
		r := d.resistanceRange
		if !may(gatt.TakesResistance) || !r.Usable() {
			return gatt.MachineRequest{}, fmt.Errorf("it takes no resistance, or does not say in which range")
		}
		level := r.Fit(r.Min + c.Level*(r.Max-r.Min))
		return gatt.MachineRequest{
			Op: gatt.SetResistance, Value: level, Wide: d.setting.ResistanceBytes == 2 || level > narrowLevel,
		}, nil
	}
	panic(fmt.Sprintf("sensor: no such kind of command: %d", c.Kind))
}

func (d *device) simulation(gradient float64) gatt.Simulation {
	if r := d.inclinationRange; r.Usable() {
		gradient = min(max(gradient, r.Min), r.Max) // its steps are those of another op
	}
	s := gatt.Simulation{Gradient: gradient, Crr: simulatedCrr, Cw: simulatedCw}
	if d.setting.CrrScale > 0 {
		s.CrrPer = 1 / d.setting.CrrScale
	}
	return s
}

// wrote takes the acknowledgement of a write to the control point, or its
// refusal by the link itself.
func (d *device) wrote(err error, now time.Time, out *Out) {
	c := &d.ctl
	if !c.busy {
		return
	}
	if err == nil {
		c.since = now
		return
	}
	c.busy = false
	switch c.pending.Op {
	case gatt.RequestControl:
		d.refused(err.Error(), now, out)
	case gatt.StartOrResume:
		c.needStart = false
	default:
		d.say(out, now, CommandFailed, "%s did not take a command: %v.", d.name(), err)
	}
	d.drive(now, out)
}

// answered takes an indication of the control point.
func (d *device) answered(p gatt.MachineResponse, now time.Time, out *Out) {
	c := &d.ctl
	if !c.busy || p.Op != c.pending.Op {
		return // an answer nobody waits for
	}
	c.busy = false
	switch {
	case p.Op == gatt.RequestControl && p.Result == gatt.Success:
		c.held, c.needStart, c.refusals = true, true, 0
		d.say(out, now, ControlGained, "The brake of %s is ours.", d.name())
	case p.Op == gatt.RequestControl:
		d.refused(p.Result.String(), now, out)
	case p.Result == gatt.NotPermitted:
		d.loseControl("it no longer takes our commands", now, out)
	case p.Op == gatt.StartOrResume:
		c.needStart = false // 'failed' is what a machine already started answers
	case p.Op == gatt.SpinDown:
		d.spinDownAnswered(p, now, out)
	case p.Op == gatt.SetResistance && d.otherWidth(p.Result, now, out):
		return
	case p.Result != gatt.Success:
		d.say(out, now, CommandFailed, "%s did not do as told: %s.", d.name(), p.Result)
	}
	d.drive(now, out)
}

// otherWidth remembers the width of a resistance that worked and tries the
// other when a value was refused. It reports whether it did try.
func (d *device) otherWidth(result gatt.Result, now time.Time, out *Out) bool {
	c := &d.ctl
	q := c.pending
	if result == gatt.Success {
		d.setting.ResistanceBytes = 1
		if q.Wide {
			d.setting.ResistanceBytes = 2
		}
		return false
	}
	if result != gatt.InvalidParameter || !c.held || c.retried || (q.Wide && q.Value > narrowLevel) || c.queued != nil {
		return false
	}
	q.Wide = !q.Wide
	d.write(q, now, out)
	c.retried = true
	return true
}

func (d *device) spinDownAnswered(p gatt.MachineResponse, now time.Time, out *Out) {
	switch {
	case p.Result != gatt.Success:
		d.say(out, now, SpinDown, "%s does not begin a spin-down: %s.", d.name(), p.Result)
	case p.HasSpeeds:
		d.say(out, now, SpinDown, "Ride %s up to %.1f km/h, then stop pedalling and let it run down to %.1f km/h.",
			d.name(), p.High*3.6, p.Low*3.6)
	default:
		d.say(out, now, SpinDown, "%s begins a spin-down: speed up until it says to stop pedalling.", d.name())
	}
}

func (d *device) refused(why string, now time.Time, out *Out) {
	c := &d.ctl
	if c.refusals == 0 {
		d.say(out, now, ControlRefused,
			"%s does not give us its brake (%s); another program may hold it. It will be asked again.", d.name(), why)
	}
	c.retryAt = now.Add(controlRetries[min(c.refusals, len(controlRetries)-1)])
	c.refusals++
}

// loseControl forgets what waits: it was meant for a brake that was ours.
func (d *device) loseControl(why string, now time.Time, out *Out) {
	c := &d.ctl
	if !c.held {
		return
	}
	c.held, c.queued, c.spin = false, nil, false
	c.retryAt = now.Add(controlRetries[min(c.losses, len(controlRetries)-1)])
	c.losses++
	d.say(out, now, ControlLost, "The brake of %s is no longer ours: %s.", d.name(), why)
}

// machineStatus takes what a machine says happened to it. That it repeats a
// target, ours or another's, changes nothing.
func (d *device) machineStatus(s gatt.Status, now time.Time, out *Out) {
	c := &d.ctl
	switch s.Op {
	case gatt.StatusControlLost:
		d.loseControl("it was taken back", now, out)
		c.wanted = false // someone else may have it now: only a new command asks
	case gatt.StatusReset:
		d.loseControl("it was reset", now, out)
	case gatt.StatusSafetyKey:
		d.loseControl("its safety key was pulled", now, out)
		c.wanted = false // not to be started again but by a new command
	case gatt.StatusStopped:
		c.needStart = true
	case gatt.StatusSpinDown:
		d.spinDownStatus(int(s.Value), now, out)
	}
}

func (d *device) spinDownStatus(value int, now time.Time, out *Out) {
	switch value {
	case gatt.SpinDownRequested:
		d.say(out, now, SpinDown, "%s asks for a spin-down.", d.name())
	case gatt.SpinDownSuccess:
		d.say(out, now, SpinDown, "The spin-down of %s is done.", d.name())
	case gatt.SpinDownError:
		d.say(out, now, SpinDown, "The spin-down of %s failed.", d.name())
	case gatt.SpinDownStopPedaling:
		d.say(out, now, SpinDown, "Stop pedalling and let %s run down.", d.name())
	}
}

// controlTick ends a link whose control point does not answer, and asks
// again for control that was refused.
func (d *device) controlTick(now time.Time, out *Out) {
	c := &d.ctl
	if d.link == Connected && c.busy && now.Sub(c.since) >= procedureTime {
		d.say(out, now, CommandFailed, "%s has not answered for %.0f s; its link is made anew.",
			d.name(), procedureTime.Seconds())
		d.end(now, out)
		return
	}
	d.drive(now, out)
}
