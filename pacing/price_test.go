package pacing

import (
	"math"
	"testing"

	"chainline/physics"
)

// r1 is the reference rider of the quasi-steady fixtures: 80 kg, CdA 0.30 m²,
// air 1.2 kg/m³, Crr 0.004, efficiency 0.977, no bearings, no wheel drag.
var r1 = physics.Road{CdA: 0.30, Crr: 0.004, Efficiency: 0.977, AirDensity: 1.2}.Motion(80)

func quasiSteady(course [][2]float64, parts int, recovers bool) *pricing {
	m := r1
	q := &pricing{motion: &m, cp: 250, wPrime: 20000, limit: 20000, ceiling: 2000, recovers: recovers}
	for _, c := range course {
		for range parts {
			q.cells = append(q.cells, cell{c[0] / float64(parts), m.ConstantForce(c[1])})
		}
	}
	q.solve()
	return q
}

func (q *pricing) time() float64 {
	t := 0.0
	for i, c := range q.cells {
		t += c.length / q.speedAt(q.watts[i], c.force)
	}
	return t
}

// TestAnalyticQuasiSteadyPacing checks the price recursion against optima that
// were computed by root finding and, independently, by brute force or SLSQP
// (own derivations, scipy 1.10.1; not published numbers): P1 interior, P2
// corner, P3 without recovery and with exponential recovery. Tolerances are
// those of the fixtures: 1e-3 s, 0.1 W; never better than the optimum by more
// than 1e-6 s beyond its printed digits.
func TestAnalyticQuasiSteadyPacing(t *testing.T) {
	p3 := [][2]float64{{2000, 0.05}, {2000, -0.03}, {2000, 0.05}}
	for _, c := range []struct {
		name     string
		course   [][2]float64
		recovers bool
		watts    []float64
		time     float64
	}{
		{"P1", [][2]float64{{3000, 0}, {2000, 0.01}}, true, []float64{258.414324, 344.129372}, 468.380313},
		{"P2", [][2]float64{{2000, 0.06}, {3000, 0}}, true, []float64{303.645841, 250}, 657.269792},
		{"P3-none", p3, false, []float64{278.279533, 250, 278.279533}, 846.075240},
		{"P3-exp", p3, true, []float64{311.923294, 108.092259, 289.375309}, 823.935389},
	} {
		for _, parts := range []int{1, 20} {
			q := quasiSteady(c.course, parts, c.recovers)
			if d := q.time() - c.time; math.Abs(d) > 1e-3 || d < -2e-6 {
				t.Errorf("%s in %d parts: %.6f s, want %.6f", c.name, parts, q.time(), c.time)
			}
			for i, want := range c.watts {
				if got := q.watts[i*parts]; math.Abs(got-want) > 0.1 {
					t.Errorf("%s in %d parts, section %d: %.4f W, want %.4f", c.name, parts, i, got, want)
				}
			}
		}
	}
}
