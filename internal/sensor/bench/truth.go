package bench

import (
	"slices"
	"time"
)

// Truth is what no sensor knows. Watts are those of the last step of the
// model (10 ms); works are summed since the start, in joules, and
//
//	Work = ChainLoss + BrakeWork + DragWork + Kinetic
//
// to rounding.
type Truth struct {
	At         time.Time
	Legs       float64 // W at the crank
	Wheel      float64 // W behind the drivetrain
	Trainer    float64 // W that brake and drag take: the trainer's true power
	Cadence    float64 // rpm
	WheelSpeed float64 // m/s
	Heart      float64 // beats per minute
	Left       float64 // J of W′
	Emptied    bool    // gives critical power at most
	GaveUp     bool    // could not turn the cranks any more, and rests
	Pedalling  bool
	Holding    bool    // the brake holds a target power
	Target     float64 // W the brake is set to, when Holding
	Gradient   float64 // fraction the brake simulates, else 0

	Work, ChainLoss, BrakeWork, DragWork, Kinetic float64 // J
}

// TrainerWork is what brake and drag have taken, in joules: the difference of
// two over the time between is the trainer's true mean power.
func (t Truth) TrainerWork() float64 { return t.BrakeWork + t.DragWork }

// Truth is the state at the virtual time reached.
func (w *World) Truth() Truth {
	w.mu.Lock()
	defer w.mu.Unlock()
	t := w.truth()
	t.At = w.radio.Clock()
	return t
}

// History is the truth at the end of every second so far, if Config.History
// asked for it: whoever moves the world, a test sees all of it afterwards.
func (w *World) History() []Truth {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.history)
}

func (w *World) truth() Truth {
	t := Truth{
		At: w.c.Start.Add(w.stepped), Legs: w.now.legs, Wheel: w.now.wheel, Trainer: w.now.brake + w.now.drag,
		Cadence: w.legs.cadence, WheelSpeed: w.drive.v, Heart: w.heart.rate,
		Left: w.legs.left, Emptied: w.legs.emptied, GaveUp: w.legs.gaveUp, Pedalling: w.legs.pushing,
		Work: w.worked, ChainLoss: w.lostInChain, BrakeWork: w.drive.braked, DragWork: w.drive.dragged, Kinetic: w.drive.kinetic(),
	}
	if w.brake != nil {
		t.Holding = w.brake.set.mode == holdsPower
		if t.Holding {
			t.Target = w.brake.set.watts
		}
		if w.brake.set.mode == simulates {
			t.Gradient = w.brake.set.gradient
		}
	}
	return t
}
