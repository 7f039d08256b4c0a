package bench

import (
	"time"

	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/virtual"
)

// control is a trainer's control point: who may set the brake, what is being
// answered, and the spin-down.
type control struct {
	w       *World
	granted bool
	started bool
	taken   bool // by another program
	pending bool
	epoch   int // counts links
	spin    spin
}

// spin is a spin-down: the rider speeds up to high, stops pedalling, and the
// time down to low says how much the trainer drags.
type spin int

const (
	noSpin spin = iota
	speedsUp
	coasts
)

// The speeds of the spin-down, those of the example in the standard's
// vectors: 20 and 36 km/h.
const (
	spinLow  = 20 / 3.6
	spinHigh = 36 / 3.6
	spinMost = 90 * time.Second
)

// The simulated road is limited to what brakes of this kind can do.
const steepest = 0.20

// linked forgets what belonged to the old link: control is per link.
// A brake that this link did not set takes no notice.
func (k *control) linked(up bool) {
	if !up && k.granted {
		k.spin = noSpin
		k.w.brake.lost(k.w.drive.v)
	}
	k.granted, k.pending = false, false
	k.epoch++
}

// takenAway is another program becoming the one that sets the brake.
func (k *control) takenAway(watts float64) {
	k.taken = true
	if k.granted {
		k.granted = false
		k.w.say(k.w.trainer, gatt.MachineStatus, gatt.Status{Op: gatt.StatusControlLost}.Append(nil))
	}
	if watts > 0 {
		k.w.brake.change(setting{mode: holdsPower, watts: watts}, k.w.drive.v)
	}
}

// write takes a write to the control point; the answer comes as an
// indication a little later. One procedure at a time.
func (k *control) write(bytes []byte) error {
	if k.pending {
		return virtual.ErrBusy
	}
	q, bad := gatt.DecodeMachineRequest(bytes)
	k.pending = true
	if _, silent := k.w.fault(k.w.trainer, NeverAnswers); silent {
		return nil // the procedure stays open until the link is made anew
	}
	epoch := k.epoch
	wait := 15*time.Millisecond + time.Duration(k.w.trainer.random.Int64N(int64(30*time.Millisecond)))
	k.w.radio.After(wait, func() {
		if k.epoch != epoch {
			return
		}
		k.pending = false
		p := gatt.MachineResponse{Op: q.Op, Result: gatt.InvalidParameter}
		if bad != nil && len(bytes) > 0 {
			p.Op = gatt.MachineOp(bytes[0])
		}
		if bad == nil {
			p = k.answer(q)
		}
		k.w.say(k.w.trainer, gatt.MachineControlPoint, p.Append(nil))
	})
	return nil
}

// answer does what is asked, if it may and can be done.
func (k *control) answer(q gatt.MachineRequest) gatt.MachineResponse {
	p := gatt.MachineResponse{Op: q.Op, Result: gatt.Success}
	if q.Op == gatt.RequestControl {
		if k.taken {
			p.Result = gatt.NotPermitted
		} else {
			k.granted = true
		}
		return p
	}
	if !k.granted {
		p.Result = gatt.NotPermitted
		return p
	}
	if _, refuses := k.w.fault(k.w.trainer, RefusesOrders); refuses {
		p.Result = gatt.OperationFailed
		return p
	}
	switch q.Op {
	case gatt.SetPower, gatt.SetResistance, gatt.SetSimulation:
		p.Result = k.target(q)
	case gatt.ResetMachine:
		k.granted, k.started = false, false
		k.order(setting{mode: holdsLevel, level: asDelivered})
		k.status(gatt.Status{Op: gatt.StatusReset})
	case gatt.StartOrResume:
		if k.started {
			p.Result = gatt.OperationFailed
			break
		}
		k.started = true
		k.status(gatt.Status{Op: gatt.StatusStarted})
	case gatt.StopOrPause:
		p.Result = k.stop(q)
	case gatt.SetWheelCircumference:
		k.status(gatt.Status{Op: gatt.StatusWheelCircumference, Value: q.Value})
	case gatt.SpinDown:
		k.spinDown(q, &p)
	default:
		p.Result = gatt.NotSupported
	}
	return p
}

func (k *control) stop(q gatt.MachineRequest) gatt.Result {
	if q.Value != gatt.MachineStop && q.Value != gatt.MachinePause {
		return gatt.InvalidParameter
	}
	k.started = false
	k.order(setting{mode: holdsLevel, level: asDelivered})
	k.status(gatt.Status{Op: gatt.StatusStopped, Value: q.Value})
	return gatt.Success
}

// target sets the brake, within the ranges the trainer says it has.
func (k *control) target(q gatt.MachineRequest) gatt.Result {
	t := k.w.brake.Trainer
	switch q.Op {
	case gatt.SetPower:
		if t.NoPower {
			return gatt.NotSupported
		}
		if r := t.powerRange(); q.Value < r.Min || q.Value > r.Max {
			return gatt.InvalidParameter
		}
		k.order(setting{mode: holdsPower, watts: q.Value})
		k.status(gatt.Status{Op: gatt.StatusPower, Value: q.Value})
	case gatt.SetResistance:
		r := t.resistanceRange()
		if t.WideResistance && !q.Wide || q.Value < r.Min || q.Value > r.Max {
			return gatt.InvalidParameter
		}
		k.order(setting{mode: holdsLevel, level: (q.Value - r.Min) / (r.Max - r.Min)})
		k.status(gatt.Status{Op: gatt.StatusResistance, Value: q.Value})
	case gatt.SetSimulation:
		if t.NoSimulation {
			return gatt.NotSupported
		}
		s := q.Simulation
		crr := s.Crr
		if t.CrrPer > 0 {
			crr *= gatt.StandardCrrPer / t.CrrPer
		}
		k.order(setting{mode: simulates, gradient: min(max(s.Gradient, -steepest), steepest), wind: s.Wind, crr: crr, cw: s.Cw})
		k.status(gatt.Status{Op: gatt.StatusSimulation, Simulation: s})
	}
	return gatt.Success
}

// order reaches the brake after its dead time.
func (k *control) order(s setting) {
	w := k.w
	if _, ignores := w.fault(w.trainer, IgnoresOrders); ignores {
		return
	}
	resets := w.brake.resets
	w.radio.After(w.brake.Dead, func() {
		if w.brake.resets == resets && k.spin == noSpin {
			w.brake.change(s, w.drive.v)
		}
	})
}

// status tells of a change. The standard has a server tell the other
// clients; many trainers tell the writer too.
func (k *control) status(s gatt.Status) {
	if k.w.brake.EchoStatus {
		k.w.say(k.w.trainer, gatt.MachineStatus, s.Append(nil))
	}
}

func (k *control) spinDown(q gatt.MachineRequest, p *gatt.MachineResponse) {
	switch q.Value {
	case gatt.SpinDownStart:
	case gatt.SpinDownIgnore:
		k.spin = noSpin
		return
	default:
		p.Result = gatt.InvalidParameter
		return
	}
	p.HasSpeeds, p.Low, p.High = true, spinLow, spinHigh
	k.spin = speedsUp
	k.w.brake.change(setting{}, k.w.drive.v)
	k.spinSays(gatt.SpinDownRequested)
	epoch := k.epoch
	k.w.radio.After(spinMost, func() {
		if k.epoch == epoch && k.spin != noSpin {
			k.spin = noSpin
			k.spinSays(gatt.SpinDownError)
		}
	})
}

func (k *control) spinSays(value float64) {
	k.w.say(k.w.trainer, gatt.MachineStatus, gatt.Status{Op: gatt.StatusSpinDown, Value: value}.Append(nil))
}

// watch follows a spin-down, ten times a second.
func (k *control) watch(v, cadence float64) {
	switch {
	case k.spin == speedsUp && v >= spinHigh:
		k.spin = coasts
		k.spinSays(gatt.SpinDownStopPedaling)
	case k.spin == coasts && v <= spinLow:
		k.spin = noSpin
		if cadence > 0 {
			k.spinSays(gatt.SpinDownError) // pushed all the way down
			return
		}
		k.spinSays(gatt.SpinDownSuccess)
	}
}
