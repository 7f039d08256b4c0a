package capacity

import (
	"math"
	"testing"
)

// The exponentially modified normal density against scipy 1.10.1
// (stats.exponnorm.logpdf, computed): noise minus slack is its mirror image.
func TestPublishedSlackDensity(t *testing.T) {
	for _, c := range []struct{ x, sd, slack, want float64 }{
		{-0.05, 0.024, 0.06, 2.012822984334903}, {0.03, 0.024, 0.06, 0.38705153780762025}, {-0.3, 0.024, 0.06, -2.1065892832399644},
		{0.2, 0.024, 0.06, -35.00760399652344}, {0, 0.03, 0.015, 2.4165207441978955}, {-0.5, 0.02, 0.15, -1.4273244595585628}} {
		near(t, "logarithm of the density", lnSlack(c.x, c.sd, c.slack), c.want, 1e-10)
	}
}

// It is a density, its slopes are its slopes, it bends one way only, and
// without slack it is the normal one.
func TestSlackDensityIsOne(t *testing.T) {
	for _, c := range []struct{ sd, slack float64 }{{0.02, 0.06}, {0.05, 0.01}, {0.01, 0.15}, {0.03, 0}} {
		sum, mean, last := 0.0, 0.0, math.Inf(1)
		const h = 1e-4
		for x := -2.5; x < 0.5; x += h {
			p := math.Exp(lnSlack(x, c.sd, c.slack)) * h
			sum, mean = sum+p, mean+x*p
			first, second := slackSlopes(x, c.sd, c.slack)
			near(t, "first derivative", first, -(lnSlack(x+h/10, c.sd, c.slack)-lnSlack(x-h/10, c.sd, c.slack))/(h/5), 1e-3*math.Max(1, math.Abs(first)))
			if second < 0 || -first > last+1e-6 {
				t.Fatalf("not log-concave at %g: %g, %g", x, first, second)
			}
			last = -first
		}
		near(t, "integral", sum, 1, 1e-5)
		near(t, "mean", mean, -c.slack, 1e-4)
	}
	near(t, "no slack", lnSlack(0.01, 0.02, 0), -0.125-math.Log(0.02*math.Sqrt(2*math.Pi)), 1e-12)
	for _, z := range []float64{-34.999, -35.001, -100, -1e4} {
		if l := lnPhi(z); math.IsNaN(l) || math.Abs(l/(-0.5*z*z-math.Log(-z)-0.5*math.Log(2*math.Pi))-1) > 1e-5 {
			t.Errorf("lnPhi(%g) = %g", z, l)
		}
	}
	near(t, "where the two forms of lnPhi meet", lnPhi(-35-1e-9)-lnPhi(-35+1e-9), 0, 1e-6)
}
