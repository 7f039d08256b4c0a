package capacity

import (
	"math"
	"testing"
)

// The rise is first-order with the time constant measured on a treadmill (24
// people, 55.7 s moderate and 59.5 s vigorous, Biomed Eng Online 2015,
// PMC4687158; abstract only).
func TestPublishedHeartRise(t *testing.T) {
	h := Heart{Max: 190}
	for range 600 {
		h.Step(0.4, 1)
	}
	from := h.Step(0.4, 1)
	to := Heart{Max: 190}
	for range 60 {
		to.Step(0.5, 10)
	}
	want, after := to.Step(0.5, 1), 0.0
	for h.rate < from+(want-from)*(1-1/math.E) {
		h.Step(0.5, 0.5)
		after += 0.5
	}
	if after < 52 || after > 63 {
		t.Errorf("63 %% of the way after %.1f s, expected 55.7 to 59.5", after)
	}
}

// A heart neither passes its maximum nor falls below rest, beats faster with
// effort, and creeps up at an effort that stays.
func TestHeartIsWithinItsRange(t *testing.T) {
	last := 0.0
	for effort := 0.0; effort < 3; effort += 0.1 {
		h := Heart{Max: 188}
		var early, late float64
		for i := range 3600 {
			bpm := h.Step(effort, 1)
			if i == 400 {
				early = bpm
			}
			late = bpm
		}
		if late > 188 || early < heartRest || early < last-1e-9 || effort > 0.6 && effort < 0.8 && late < early+3 {
			t.Errorf("effort %.1f: %.1f then %.1f bpm, at less effort %.1f", effort, early, late, last)
		}
		last = early
	}
}
