package form

import (
	"strings"
	"testing"
	"time"
)

// However much is typed, the answer comes at once.
func TestMuchTypedIsAnsweredSoon(t *testing.T) {
	began := time.Now()
	YAML(Rig, m{"trainer.kind": "plain", "trainer.power_curve": strings.Repeat("30 200;", 900)}, Metric)
	many := m{"mass_kg": "70"}
	for i := range 300 {
		many["evidence."+itoa(i*7)+".kind"] = "talk"
		many["evidence."+itoa(i*7)+".harder"] = "no"
	}
	YAML(Rider, many, Metric)
	YAML(Rider, m{"mass_kg": strings.Repeat("1 000", 20000), "name": strings.Repeat("a", 1<<20), "height_cm": strings.Repeat("5'", 10000), "evidence.0.duration_s": strings.Repeat("1 h ", 10000)}, Metric)
	t.Log(time.Since(began))
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("it took %v", took)
	}
}

func BenchmarkChange(b *testing.B) {
	text := samples(b)["../../demo/racer.yaml"]
	for b.Loop() {
		values, _ := ValuesIn(Rider, text, Imperial)
		if _, errs := Change(Rider, text, values, Imperial); len(errs) > 0 {
			b.Fatal(errs)
		}
	}
}
