package capacity

import (
	"testing"

	"chainline/estimate"
)

// BenchmarkInfer is the inference from three tests, two bests and a threshold.
func BenchmarkInfer(b *testing.B) {
	e := append(tests(180, 330, 420, 280, 900, 258), Evidence{Kind: BestEffort, Duration: 1800, Watts: 240, Source: "hub", Date: "x", Age: 40},
		Evidence{Kind: BestEffort, Duration: 600, Watts: 262, Source: "hub", Date: "y", Age: 20}, Evidence{Kind: StatedThreshold, Watts: 240, From: "ramp", Source: "pedals", Date: "z", Age: 90})
	r := Rider{Mass: 70, Sex: Male, Level: Regular, Age: 36, Evidence: e}
	for b.Loop() {
		Infer(r, hub, estimate.Stream(1, 0))
	}
}
