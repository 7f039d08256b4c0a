package estimate

import (
	"math"
	"slices"
	"testing"
)

// The constant inverts the normal distribution function.
func TestZ80(t *testing.T) {
	if p := 0.5 * math.Erfc(-Z80/math.Sqrt2); math.Abs(p-0.9) > 1e-15 {
		t.Errorf("Φ(Z80) = %.17g", p)
	}
}

func TestNormalAndExact(t *testing.T) {
	e := Normal(250, 10, "tests")
	if e.Mean != 250 || e.SD != 10 || math.Abs(e.Low80-237.18448) > 1e-5 || math.Abs(e.High80-262.81552) > 1e-5 || e.Origin != "tests" {
		t.Errorf("%+v", e)
	}
	if e := Exact(250, "stated"); e != (Estimate{250, 0, 250, 250, "stated"}) {
		t.Errorf("%+v", e)
	}
}

func TestQuantile(t *testing.T) {
	x := []float64{1, 2, 4, 8, 16}
	for p, want := range map[float64]float64{0: 1, 0.1: 1.4, 0.25: 2, 0.5: 4, 0.9: 12.8, 1: 16} {
		if got := Quantile(x, p); math.Abs(got-want) > 1e-12 {
			t.Errorf("quantile %g = %g, want %g", p, got, want)
		}
	}
	if got := Quantile([]float64{7}, 0.5); got != 7 {
		t.Errorf("of one value: %g", got)
	}
}

func TestFromDraws(t *testing.T) {
	draws := []float64{16, 1, 8, 2, 4}
	before := slices.Clone(draws)
	e := FromDraws(draws, "draws")
	if !slices.Equal(draws, before) {
		t.Error("the draws were changed")
	}
	// mean 6.2; squares 27.04+17.64+4.84+3.24+96.04 = 148.8 over 4
	if math.Abs(e.Mean-6.2) > 1e-12 || math.Abs(e.SD-math.Sqrt(37.2)) > 1e-12 || math.Abs(e.Low80-1.4) > 1e-12 || math.Abs(e.High80-12.8) > 1e-12 {
		t.Errorf("%+v", e)
	}
	if one := FromDraws([]float64{3}, ""); one.SD != 0 || one.Mean != 3 || one.Low80 != 3 || one.High80 != 3 {
		t.Errorf("one draw: %+v", one)
	}
}

// Draws of a normal distribution give its interval back.
func TestFromDrawsAgainstNormal(t *testing.T) {
	var draws []float64
	for i := range 20000 {
		draws = append(draws, 250+10*Stream(1, i).NormFloat64())
	}
	got, want := FromDraws(draws, ""), Normal(250, 10, "")
	for _, d := range []float64{got.Mean - want.Mean, got.SD - want.SD, got.Low80 - want.Low80, got.High80 - want.High80} {
		if math.Abs(d) > 0.4 { // about four standard errors of a quantile
			t.Errorf("draws %+v, normal %+v", got, want)
		}
	}
}

// A stream depends on seed and index alone, and neighbours are unrelated.
func TestStream(t *testing.T) {
	if Stream(1, 5).Uint64() != Stream(1, 5).Uint64() {
		t.Error("the same seed and index differ")
	}
	seen := map[uint64]bool{}
	for seed := range uint64(50) {
		for i := range 50 {
			seen[Stream(seed, i).Uint64()] = true
		}
	}
	if len(seen) != 2500 {
		t.Errorf("%d different first numbers of 2500 streams", len(seen))
	}
	sum, n := 0.0, 5000
	for i := range n {
		sum += Stream(1, i).NormFloat64() * Stream(1, i+1).NormFloat64()
	}
	if r := sum / float64(n); math.Abs(r) > 4/math.Sqrt(float64(n)) {
		t.Errorf("neighbouring streams correlate by %.3f", r)
	}
}
