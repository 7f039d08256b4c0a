package capacity

import (
	"math"
	"strings"
	"testing"
)

// Tests that are 5 % better outdoors, on one source, move the ratio there; how
// far is what two normal distributions make of it, by hand.
func TestPlaces(t *testing.T) {
	both := func(gain float64) Places {
		e := tests(300, 290, 600, 266, 1200, 250, 300, 290*gain, 600, 266*gain, 1200, 250*gain)
		for i := range e {
			e[i].Where = map[bool]string{true: "indoor", false: "outdoor"}[i < 3]
		}
		l, _ := infer(Rider{Mass: 70, Sex: Male, Level: Regular, Evidence: e})
		return l.Places
	}
	p := both(1.05)
	// three tests on each side of 2 to 3 % each against a prior of 3 %
	if p.Indoors != 3 || p.Outdoors != 3 || p.Ratio.Mean < 1.025 || p.Ratio.Mean > 1.05 || p.Ratio.SD > 0.025 {
		t.Errorf("%+v", p)
	}
	if same := both(1); math.Abs(same.Ratio.Mean-1) > 0.005 || !strings.Contains(same.Words(), "do not differ") {
		t.Errorf("%+v %s", same, same.Words())
	}
	if !strings.Contains(p.Words(), "more outdoors") || !strings.Contains(both(0.93).Words(), "less outdoors") {
		t.Error(p.Words(), both(0.93).Words())
	}
	inside, _ := infer(Rider{Mass: 70, Evidence: tests(300, 290)})
	if w := inside.Places.Words(); !strings.Contains(w, "Cannot say") || inside.Places.Ratio.Mean != 1 {
		t.Error(w)
	}
}
