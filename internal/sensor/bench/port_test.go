package bench

import (
	"testing"
	"testing/synctest"

	"chainline/internal/sensor/porttest"
)

func rigOf(w *World, f porttest.Face) porttest.Rig {
	return porttest.Rig{
		Face: f, Device: w.trainer.device.ID,
		Cut:    func() { w.Inject(Fault{Kind: Disconnects, Device: "trainer"}) },
		Taken:  func() { w.Inject(Fault{Kind: ControlTaken, Device: "trainer"}) },
		Silent: func() { w.Inject(Fault{Kind: NeverAnswers, Device: "trainer"}) },
		Target: func() (float64, bool) { t := w.Truth(); return t.Target, t.Holding },
	}
}

func TestConductInVirtualTime(t *testing.T) {
	porttest.Trainer(t, porttest.Subject{Open: func(*testing.T) porttest.Rig {
		w := New(StandardRig(11))
		return rigOf(w, porttest.OfStage(w))
	}})
}

func TestConductInWallTime(t *testing.T) {
	porttest.Trainer(t, porttest.Subject{
		Open: func(t *testing.T) porttest.Rig {
			w := New(StandardRig(12))
			return rigOf(w, porttest.OfPort(Realtime(t.Context(), w)))
		},
		Around: func(t *testing.T, part func(*testing.T)) { synctest.Test(t, part) },
	})
}
