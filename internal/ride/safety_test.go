package ride_test

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/sensor/bench"
)

// exposure is what a brake did to a rider when its link was lost at 300 W.
type exposure struct {
	told    time.Duration // from the loss to the words on the screen
	above   time.Duration // the brake asked for more than twice 'easy' while the legs turned
	holding time.Duration // it stood above twice 'easy', legs or not
	easy    time.Duration // from the link's return to the first command, which is easy
	first   float64       // W of that command
}

// TestExposureAfterALostLink measures what docs/safety.md states.
func TestExposureAfterALostLink(t *testing.T) {
	for _, x := range []struct {
		name string
		kind bench.AfterLoss
		most time.Duration // of holding, while the link is away for 20 s
	}{{"holds the last target", bench.HoldsLast, 25 * time.Second}, {"releases", bench.Releases, 5 * time.Second}, {"reverts to a level", bench.RevertsTo, 25 * time.Second}} {
		e := expose(t, x.kind)
		t.Logf("%s: told after %v, above twice easy with legs turning %v, standing %v, easy again %v after the link is back, first command %.0f W",
			x.name, e.told, e.above, e.holding, e.easy, e.first)
		if e.told > 500*time.Millisecond {
			t.Errorf("%s: the rider was told after %v", x.name, e.told)
		}
		if e.above > 3*time.Second {
			t.Errorf("%s: a rider who heeds the words was exposed for %v", x.name, e.above)
		}
		if e.holding > x.most {
			t.Errorf("%s: the brake stood for %v", x.name, e.holding)
		}
		if e.easy > 6*time.Second || e.first > ride.DefaultLimits().EasyWatts {
			t.Errorf("%s: first command %.0f W, %v after the link was back", x.name, e.first, e.easy)
		}
	}
}

func expose(t *testing.T, kind bench.AfterLoss) exposure {
	t.Helper()
	const at, away = 90 * time.Second, 20 * time.Second
	cfg := standard(5)
	cfg.Trainer.AfterLoss, cfg.Trainer.Level = kind, 0.3
	cfg.Faults = []bench.Fault{{At: at, For: away, Device: "trainer", Kind: bench.Disconnects}}
	var e exposure
	var back time.Time
	run(t, setup(scaled(t, "ride 3 min at 300 W\n")), cfg, func(c *ride.Core, w *bench.World) error {
		s, truth := c.Snapshot(), w.Truth()
		since := truth.At.Sub(start.Add(at))
		if since < 0 {
			return nil
		}
		if e.told == 0 && s.Stop != "" {
			e.told = since
		}
		high := truth.Trainer > 2*ride.DefaultLimits().EasyWatts || truth.Holding && truth.Target > 2*ride.DefaultLimits().EasyWatts
		if back.IsZero() && high {
			e.holding += 250 * time.Millisecond
			if truth.Pedalling {
				e.above += 250 * time.Millisecond
			}
		}
		linked := false
		for _, d := range s.Sensors {
			linked = linked || strings.HasSuffix(d.ID, "trainer") && d.Health != "lost"
		}
		if since > away && back.IsZero() && linked && s.Stop == "" {
			back = truth.At
		}
		if !back.IsZero() && e.first == 0 && strings.Contains(s.Brake, "told") && !strings.Contains(s.Brake, "not been") {
			e.easy = truth.At.Sub(back)
			e.first = truth.Target
			if _, err := fmt.Sscanf(s.Brake, "The brake was told %f W", &e.first); err != nil {
				return err
			}
		}
		return nil
	})
	return e
}

// TestOnlyRideCommands: no other package hands a command to a trainer.
func TestOnlyRideCommands(t *testing.T) {
	out, err := exec.Command("grep", "-rlE", `\.Command\([a-z.]+, [a-z]+, `, "../../internal", "../../cmd", "--include=*.go").Output()
	if err != nil {
		t.Fatal(err, string(out))
	}
	found := 0
	for name := range strings.Lines(string(out)) {
		name = strings.TrimSpace(name)
		if strings.HasSuffix(name, "_test.go") || strings.Contains(name, "/sensor/") {
			continue
		}
		found++
		if !strings.HasSuffix(name, "internal/ride/steer.go") {
			t.Errorf("%s commands a trainer", name)
		}
		text, err := os.ReadFile(name)
		if err != nil || strings.Count(string(text), "hub.Command(") != 1 || !strings.Contains(string(text), "c.gate.Pass(") {
			t.Errorf("%s: expected one command, after the gate", name)
		}
	}
	if found != 1 {
		t.Errorf("%d files command a trainer, expected one", found)
	}
}
