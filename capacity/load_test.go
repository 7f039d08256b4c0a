package capacity

import (
	"math"
	"testing"
)

// series repeats on seconds at one power and off at another.
func series(on int, high float64, off int, low float64, times int) (out []float64) {
	for range times {
		for range on {
			out = append(out, high)
		}
		for range off {
			out = append(out, low)
		}
	}
	return out
}

// The fourth-power mean of a 30 s rolling mean on four series: discrete values
// computed by an independent program, beside the limits from analysis (a
// triangle and a trapezoid wave). No worked example was found published.
func TestAnalyticEquivalentPower(t *testing.T) {
	for _, c := range []struct {
		watts           []float64
		discrete, limit float64
	}{
		{series(3600, 250, 0, 0, 1), 250, 250},
		{series(1800, 200, 1800, 300, 1), 263.8257, math.Pow((math.Pow(200, 4)+math.Pow(300, 4))/2, 0.25)},
		{series(30, 400, 30, 100, 60), 287.4645, math.Pow((math.Pow(400, 5)-math.Pow(100, 5))/(5*300), 0.25)},
		{series(60, 300, 60, 150, 30), 247.0754, 246.9807},
	} {
		near(t, "equivalent power", EquivalentPower(c.watts), c.discrete, 0.001)
		near(t, "analytic limit", EquivalentPower(c.watts), c.limit, 0.12)
		doubled := make([]float64, len(c.watts))
		for i, w := range c.watts {
			doubled[i] = 2 * w
		}
		near(t, "twice the power", EquivalentPower(doubled), 2*EquivalentPower(c.watts), 1e-9)
	}
	near(t, "constant", EquivalentPower(series(3600, 250, 0, 0, 1)), 250, 1e-9)
	near(t, "shorter than the mean", EquivalentPower([]float64{100, 200}), 150, 1e-9)
	near(t, "nothing", EquivalentPower(nil), 0, 0)
	near(t, "an hour at threshold", Load(3600, 250, 250), 1, 1e-12)
	near(t, "two hours at three quarters", Load(7200, 150, 200), 1.125, 1e-12)
}
