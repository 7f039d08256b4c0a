package bench

import (
	"errors"
	"slices"
	"time"

	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/virtual"
)

// FaultKind says what goes wrong.
type FaultKind int

// What can go wrong. Size is in the unit named; where it says chance, 0 is
// read as certain. A fault without For lasts for ever.
const (
	DropOut       FaultKind = iota + 1 // messages do not arrive; Size: chance
	Disconnects                        // the link is lost at once, the device out of range until the end; without For only for the instant
	Stuck                              // the last message again and again
	Spike                              // Size is added to what is measured (W, beats per minute, rpm)
	Scale                              // what is measured is multiplied by Size; a trainer regulates by it
	Delay                              // messages arrive Size seconds late
	IgnoresOrders                      // commands are answered with success and not followed
	NeverAnswers                       // commands are acknowledged and never answered
	RefusesOrders                      // commands fail
	DyingBattery                       // falls to nothing within For, then the device is gone
	Duplicate                          // every message twice
	Garbled                            // octets missing or changed; Size: chance
	ControlTaken                       // another program takes the trainer and sets Size watts (0: leaves the brake)
	NoContact                          // a belt without skin
	MagnetGap                          // wheel turns are not counted; Size: chance
	RadioGone                          // the radio itself is off
)

var faultWords = map[FaultKind]string{
	DropOut: "drop-out", Disconnects: "disconnect", Stuck: "stuck value", Spike: "spike", Scale: "scale error",
	Delay: "delay", IgnoresOrders: "ignored commands", NeverAnswers: "commands without an answer",
	RefusesOrders: "refused commands", DyingBattery: "dying battery", Duplicate: "duplicates",
	Garbled: "garbled messages", ControlTaken: "control taken by another", NoContact: "no skin contact",
	MagnetGap: "magnet out of reach", RadioGone: "radio gone",
}

func (k FaultKind) String() string {
	if w, is := faultWords[k]; is {
		return w
	}
	return "no fault"
}

// Fault is something that goes wrong. At counts from Config.Start, or from
// the call of Inject. Device is a device's address or its part in the rig:
// "trainer", "meter", "pace", "belt"; empty is all of them.
type Fault struct {
	At, For time.Duration
	Device  string
	Kind    FaultKind
	Size    float64
}

// ErrRadioGone is what RadioGone reports.
var ErrRadioGone = errors.New("the radio was switched off")

// running is a fault that has begun.
type running struct {
	Fault
	began time.Duration
}

// Inject has something go wrong.
func (w *World) Inject(f Fault) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.inject(f)
}

func (w *World) inject(f Fault) {
	w.radio.After(f.At, func() {
		r := &running{Fault: f, began: w.radio.Now()}
		w.faults = append(w.faults, r)
		w.faultBegins(r)
		if f.For > 0 || f.Kind == Disconnects {
			w.radio.After(f.For, func() {
				w.faults = slices.DeleteFunc(w.faults, func(other *running) bool { return other == r })
				w.faultEnds(r)
			})
		}
	})
}

func (w *World) faultBegins(r *running) {
	switch r.Kind {
	case RadioGone:
		w.radio.Off(ErrRadioGone)
	case ControlTaken:
		if w.trainer != nil {
			w.control.takenAway(r.Size)
		}
	}
	for _, u := range w.units {
		if !r.hits(u) {
			continue
		}
		switch r.Kind {
		case Disconnects:
			u.device.Drop(virtual.ErrOutOfRange)
		case DyingBattery:
			u.diesFrom, u.diesAt, u.diesFor = u.level(r.began), r.began, max(r.For, time.Second)
		}
	}
}

func (w *World) faultEnds(r *running) {
	switch r.Kind {
	case RadioGone:
		w.radio.On()
	case ControlTaken:
		if w.trainer != nil {
			w.control.taken = false
		}
	}
	for _, u := range w.units {
		if r.Kind == DyingBattery && r.hits(u) {
			u.dead = true
			u.device.Drop(virtual.ErrOutOfRange)
		}
	}
}

func (r *running) hits(u *unit) bool {
	return r.Device == "" || r.Device == u.role || r.Device == u.device.ID
}

// fault is the size of a fault that runs on a unit now.
func (w *World) fault(u *unit, kind FaultKind) (size float64, runs bool) {
	for _, r := range w.faults {
		if r.Kind == kind && r.hits(u) {
			return r.Size, true
		}
	}
	return 0, false
}

// chance draws whether a fault of the kind strikes now.
func (w *World) chance(u *unit, kind FaultKind) bool {
	size, runs := w.fault(u, kind)
	return runs && (size <= 0 || u.random.Float64() < size)
}

// say has a unit send a message, through whatever is wrong with it.
func (w *World) say(u *unit, char uint16, bytes []byte) {
	if _, stuck := w.fault(u, Stuck); stuck && u.last[char] != nil {
		bytes = slices.Clone(u.last[char])
	} else if !gatt.Indicates(char) {
		u.last[char] = bytes
	}
	if w.chance(u, DropOut) {
		return
	}
	if w.chance(u, Garbled) {
		bytes = garble(u, bytes)
	}
	wait := time.Duration(u.random.Int64N(int64(jitter)))
	if late, runs := w.fault(u, Delay); runs {
		wait += time.Duration(late * float64(time.Second))
	}
	// A radio link keeps the order of one device's messages.
	due := max(w.radio.Now()+wait, u.latest)
	u.latest = due
	u.device.Send(due-w.radio.Now(), char, bytes)
	if _, twice := w.fault(u, Duplicate); twice {
		u.device.Send(due-w.radio.Now(), char, slices.Clone(bytes))
	}
}

// garble cuts a message short or changes an octet.
func garble(u *unit, bytes []byte) []byte {
	out := slices.Clone(bytes)
	if len(out) == 0 {
		return out
	}
	i := u.random.IntN(len(out))
	if u.random.IntN(2) == 0 {
		return out[:i]
	}
	out[i] ^= byte(1 + u.random.IntN(255))
	return out
}
