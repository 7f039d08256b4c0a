package ride_test

import (
	"strings"
	"testing"
	"time"

	"chainline/internal/sensor/bench"
	"chainline/recording"
)

// TestEveryFaultIsRiddenThrough: each fault of the bench is ridden through to
// the session's end, said to the rider or marked in the recording, and nothing
// is invented where nothing was measured.
func TestEveryFaultIsRiddenThrough(t *testing.T) {
	const at, lasts = 60 * time.Second, 60 * time.Second
	for _, x := range []struct {
		name   string
		fault  bench.Fault
		said   string // somewhere in notices and marks; empty: nothing can be seen of it
		kind   recording.MarkKind
		unseen string // why nothing can be seen
	}{
		{name: "meter drops out", fault: bench.Fault{Kind: bench.DropOut, Device: "meter", Size: 1}, said: "Watts now come from"},
		{name: "all drop out", fault: bench.Fault{Kind: bench.DropOut, Size: 1}, said: "No watts are heard"},
		{name: "meter disconnects", fault: bench.Fault{Kind: bench.Disconnects, Device: "meter"}, said: "Watts now come from", kind: recording.Lost},
		{name: "trainer disconnects", fault: bench.Fault{Kind: bench.Disconnects, Device: "trainer"}, said: "Stop pedalling"},
		{name: "meter sticks", fault: bench.Fault{Kind: bench.Stuck, Device: "meter"}, said: "may be stuck"},
		{name: "spike", fault: bench.Fault{Kind: bench.Spike, Device: "meter", Size: 3000}, said: "cannot be right"},
		{name: "scale", fault: bench.Fault{Kind: bench.Scale, Device: "meter", Size: 1.4}, said: "differ"},
		{name: "delay", fault: bench.Fault{Kind: bench.Delay, Device: "meter", Size: 4}, said: "the last watts"},
		{name: "orders ignored", fault: bench.Fault{Kind: bench.IgnoresOrders, Device: "trainer"}, said: "The trainer was told"},
		{name: "orders never answered", fault: bench.Fault{Kind: bench.NeverAnswers, Device: "trainer"}, said: "answer"},
		{name: "orders refused", fault: bench.Fault{Kind: bench.RefusesOrders, Device: "trainer"}, said: "trainer"},
		{name: "battery dies", fault: bench.Fault{Kind: bench.DyingBattery, Device: "meter"}, said: "attery"},
		{name: "everything twice", fault: bench.Fault{Kind: bench.Duplicate}, unseen: "a value said twice is the same value"},
		{name: "garbled", fault: bench.Fault{Kind: bench.Garbled, Device: "meter", Size: 0.5}, said: "cannot be read"},
		{name: "control taken", fault: bench.Fault{Kind: bench.ControlTaken, Device: "trainer", Size: 200}, said: "trainer"},
		{name: "belt without skin", fault: bench.Fault{Kind: bench.NoContact, Device: "belt"}, said: "skin"},
		{name: "radio gone", fault: bench.Fault{Kind: bench.RadioGone}, said: "radio"},
	} {
		t.Run(x.name, func(t *testing.T) {
			x.fault.At, x.fault.For = at, lasts
			cfg := standard(21)
			cfg.Faults = []bench.Fault{x.fault}
			r, _, w := run(t, setup(scaled(t, "ride 80 s at 170 W\nride 60 s at 230 W\nride 60 s at 150 W\n")), cfg, nil)
			if !r.Ended {
				t.Fatal("the ride did not come to its end")
			}
			var words []string
			found, marked := false, x.kind == ""
			for _, m := range r.Recording.Marks {
				if m.Seconds >= at.Seconds()-1 {
					words = append(words, string(m.Kind)+" "+m.Source+" "+m.Words)
					found = found || x.said != "" && strings.Contains(m.Words, x.said)
					marked = marked || m.Kind == x.kind
				}
			}
			if x.said != "" && !found || !marked {
				t.Errorf("nothing says %q (%s):\n%s", x.said, x.kind, strings.Join(words, "\n"))
			}
			if err := r.Recording.Validate(); err != nil {
				t.Error(err)
			}
			honest(t, &r.Recording, w)
		})
	}
}

// honest: no channel of a device holds values during a silence, and what was
// ridden is no more than what legs did, but for a source that lies.
func honest(t *testing.T, r *recording.Recording, w *bench.World) {
	t.Helper()
	for _, c := range r.Channels {
		for i := 1; i < len(c.Seconds); i++ {
			if c.Seconds[i] <= c.Seconds[i-1] {
				t.Fatalf("%s of %s: time stands still at %.2f s", c.Quantity, c.Source, c.Seconds[i])
			}
		}
	}
	if truth := w.Truth(); r.Totals("").WorkJ > 1.45*truth.Work {
		t.Errorf("recorded %.0f J, the legs did %.0f J", r.Totals("").WorkJ, truth.Work)
	}
}
