package capacity

import (
	"math"
	"testing"

	"chainline/estimate"
)

func someone() Capacity {
	l, _ := infer(Rider{Mass: 70, Sex: Male, Level: Regular, Evidence: tests(180, 320, 1200, 250)})
	return l.Displayed
}

// The curve falls, is continuous, starts below maximal power and gives tests
// of two minutes and more back.
func TestPowerCurve(t *testing.T) {
	c := someone()
	last := c.MaxPower
	for s := PowerFrom; s <= PowerTo; s *= 1.01 {
		p := c.Power(s)
		if !(p < last) || last-p > 0.03*last && s > PowerFrom {
			t.Fatalf("%.0f s: %.1f W after %.1f W", s, p, last)
		}
		last = p
	}
	if c.Power(PowerFrom) < 0.6*c.MaxPower || c.Power(PowerTo) < 0.5*c.CriticalPower {
		t.Errorf("ends at %.0f and %.0f W", c.Power(PowerFrom), c.Power(PowerTo))
	}
	for s := 120.0; s <= FadeFrom; s += 60 {
		if off := math.Abs(c.Power(s) - c.CriticalPower - c.WPrime/s); off > 0.02*c.WPrime/s {
			t.Errorf("%.0f s: %.2f W from the hyperbola", s, off)
		}
	}
	near(t, "just before and after the fade begins", c.Power(FadeFrom+0.01), c.Power(FadeFrom), 0.01)
	near(t, "an hour's fade", c.Power(3600), c.CriticalPower+c.WPrime/3600-c.Fade*math.Ln2, 1e-6)
	near(t, "spends W′ exactly", c.Power(7200)-c.SustainableCP(7200), c.WPrime/7200, 1e-6)

	f := Fixed(250, 20000, 600)
	near(t, "two-parameter, 100 s", f.Power(100), 450, 1e-9)
	near(t, "two-parameter, capped", f.Power(10), 600, 1e-9)
	near(t, "two-parameter, an hour", f.Threshold(), 250+20000./3600, 1e-9)
	if e := f.ThresholdEstimate("x"); e.SD != 0 || e.Mean != f.Threshold() || e.Low80 != e.Mean {
		t.Errorf("stated values have an estimate %+v", e)
	}
}

func TestThresholdEstimateAgainstDraws(t *testing.T) {
	c := someone()
	e := c.ThresholdEstimate("linear")
	var draws []float64
	for i := range 4000 {
		draws = append(draws, c.Draw(estimate.Stream(3, i)).Threshold())
	}
	d := estimate.FromDraws(draws, "draws")
	near(t, "mean", e.Mean, d.Mean, 0.5)
	near(t, "sd", e.SD, d.SD, 0.05*d.SD)
	if e.Origin != "linear" {
		t.Errorf("origin %q", e.Origin)
	}
}

// At z standard deviations the power is z standard deviations lower, and no
// other capacity with that power is as probable.
func TestAtRisk(t *testing.T) {
	c := someone()
	for _, duration := range []float64{600, 1800, 5400} {
		p := func(c Capacity) float64 {
			g := powerGradient(duration)
			return g[0]*c.CriticalPower + g[1]*c.WPrime + g[3]*c.Fade
		}
		variance, _ := c.alongPower(duration)
		for _, z := range []float64{-1, 0, 0.4, 1.036, 1.645} {
			at := c.AtRisk(z, duration)
			near(t, "power", p(at), p(c)-z*math.Sqrt(variance), 1e-6)
			near(t, "distance from the mean in standard deviations", distance(c, at), math.Abs(z), 1e-6)
		}
	}
	// any other point on the same level is farther away
	at := c.AtRisk(1, 600)
	other := at
	other.CriticalPower, other.WPrime = at.CriticalPower+1, at.WPrime-600
	if distance(c, other) <= distance(c, at) {
		t.Errorf("a more probable point: %.4f against %.4f", distance(c, other), distance(c, at))
	}
	if f := Fixed(250, 20000, 600); f.AtRisk(2, 600) != f {
		t.Error("stated values move")
	}
	// share of draws that hold less than the point planned for
	below, duration := 0, 1500.0
	c.sample = nil                  // exact for normal draws; those of an inference are skewed
	at = c.AtRisk(1.0364, duration) // Φ(−1.0364) = 0.15
	for i := range 4000 {
		if d := c.Draw(estimate.Stream(5, i)); d.Power(duration) < at.Power(duration) {
			below++
		}
	}
	near(t, "share that fails", float64(below)/4000, 0.15, 0.02)
}

// distance is |Sigma⁻¹(at − c)|.
func distance(c, at Capacity) float64 {
	d := [4]float64{at.CriticalPower - c.CriticalPower, at.WPrime - c.WPrime, at.MaxPower - c.MaxPower, at.Fade - c.Fade}
	sum := 0.0
	var z [4]float64
	for i := range d {
		z[i] = d[i]
		for j := range i {
			z[i] -= c.Sigma[i][j] * z[j]
		}
		z[i] /= c.Sigma[i][i]
		sum += z[i] * z[i]
	}
	return math.Sqrt(sum)
}

func TestDrawsFollowSigma(t *testing.T) {
	c := someone()
	var mean, square [4]float64
	const n = 5000
	for i := range n {
		d := c.Draw(estimate.Stream(9, i))
		for j, x := range [4]float64{d.CriticalPower, d.WPrime, d.MaxPower, d.Fade} {
			mean[j] += x / n
			square[j] += x * x / n
		}
	}
	for j, sd := range c.SD() {
		got := math.Sqrt(square[j] - mean[j]*mean[j])
		if math.Abs(got/sd-1) > 0.05 {
			t.Errorf("parameter %d: sd %.4g of draws, %.4g stated", j, got, sd)
		}
	}
}
