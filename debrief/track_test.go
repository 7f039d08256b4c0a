package debrief

import (
	"math"
	"strings"
	"testing"

	"chainline/estimate"
)

func foretold(off float64) Foretold {
	return Foretold{Predicted: Interval{1000, 980, 1020}, Actual: 1000 + off}
}

func TestRecord(t *testing.T) {
	var all []Foretold
	for _, off := range []float64{0, 5, -10, 20, 21, -30, 3, 4, -8, 12, 40, 1} {
		all = append(all, foretold(off))
	}
	all = append(all, Foretold{Actual: math.NaN()})
	r := KeepRecord(all)
	if r.Forecasts != 12 || r.Held != 9 || r.Above != 2 || r.Below != 1 || math.Abs(r.OffShare-58./12000) > 1e-12 {
		t.Errorf("%+v", r)
	}
	if !strings.Contains(r.Sentence, "9 of 12") || !strings.Contains(r.Sentence, "about 10 should: as stated") {
		t.Error(r.Sentence)
	}
	for want, miss := range map[string]float64{"surer than": 50, "wider than": 0} {
		var list []Foretold
		for i := range 30 {
			list = append(list, foretold(miss*float64(i%2)))
		}
		if got := KeepRecord(list).Sentence; !strings.Contains(got, want) {
			t.Error(got)
		}
	}
	if few := KeepRecord(all[:3]); !strings.Contains(few.Sentence, "judged from 10") {
		t.Error(few.Sentence)
	}
	if none := KeepRecord(nil); none.Forecasts != 0 || none.Sentence == "" {
		t.Errorf("%+v", none)
	}
}

// Wilson's interval solves (p̂ − p)² = z²·p(1 − p)/n, which is its definition.
func TestAnalyticWilson(t *testing.T) {
	for _, c := range [][2]float64{{0.75, 12}, {1, 5}, {0, 9}, {0.8, 200}} {
		low, high := estimate.Wilson(c[0], c[1], estimate.Z80)
		for _, p := range []float64{low, high} {
			if left, right := (c[0]-p)*(c[0]-p), estimate.Z80*estimate.Z80*p*(1-p)/c[1]; math.Abs(left-right) > 1e-12 {
				t.Errorf("%v: %g against %g at %g", c, left, right, p)
			}
		}
	}
}
