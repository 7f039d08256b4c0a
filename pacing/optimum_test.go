package pacing

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

func hillProblem() Problem {
	return Problem{
		Motion: physics.Road{BikeMass: 8.6, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, WheelRadius: 0.334,
			WheelInertia: 0.14, WheelDragArea: 0.0044, Bearings: true, AirDensity: 1.19}.Motion(68.5),
		Profile: course.Profile{Distance: []float64{0, 2000, 4000, 5000, 7000, 8000, 9000, 10000},
			Elevation: []float64{0, 0, 100, 100, 0, 0, 60, 0}},
		Balance: capacity.Balance{CriticalPower: 240, WPrime: 18000},
		Ceiling: 1000,
	}
}

// randomProfile is a seeded course of straight pieces up to ±8 %.
func randomProfile(seed uint64, pieces int, shortest, longest float64) course.Profile {
	r := rand.New(rand.NewPCG(seed, 5))
	p := course.Profile{Distance: []float64{0}, Elevation: []float64{100}}
	for i := range pieces {
		length := shortest + (longest-shortest)*r.Float64()
		p.Distance = append(p.Distance, p.Distance[i]+length)
		p.Elevation = append(p.Elevation, p.Elevation[i]+length*0.16*(r.Float64()-0.5))
	}
	return p
}

// TestOptimumHasFourModes checks the published property of the optimum
// (Ashtiani et al. 2020, arXiv 2007.11393, abstract: all-out, coasting,
// critical power, constant speed) on the ride with inertia: away from changes
// of gradient and of mode, power is at a limit, at CP, or speed is constant.
func TestOptimumHasFourModes(t *testing.T) {
	for seed := range uint64(6) {
		p := hillProblem()
		p.Profile = randomProfile(seed, 7, 900, 2200)
		o, err := p.Optimum(context.Background())
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		checked := 0
		for i := 4; i+4 < len(o.Plan); i++ {
			piece := o.Plan[i]
			if nearBreak(p.Profile, piece, 350) || modeChanges(o.Plan[i-4:i+5], p.Balance.CriticalPower) {
				continue
			}
			checked++
			v0, v1 := speedAt(o.Outcome, piece.From), speedAt(o.Outcome, piece.To)
			atLimit := piece.Watts < p.Floor+1 || piece.Watts > p.Ceiling-1
			atCP := math.Abs(piece.Watts-p.Balance.CriticalPower) < 2
			// Half a per cent of speed in 50 m: the residue of a numerical optimum.
			constant := math.Abs(v1-v0) < 0.005*v0
			if !atLimit && !atCP && !constant {
				t.Errorf("seed %d, %.0f to %.0f m: %.1f W, speed %.3f to %.3f m/s: none of the four modes", seed, piece.From, piece.To, piece.Watts, v0, v1)
			}
		}
		if checked < 20 {
			t.Errorf("seed %d: only %d pieces checked", seed, checked)
		}
	}
}

func nearBreak(p course.Profile, piece Piece, margin float64) bool {
	for _, x := range p.Distance {
		if piece.From < x+margin && piece.To > x-margin {
			return true
		}
	}
	return false
}

// modeChanges tells whether power crosses CP within the pieces.
func modeChanges(plan []Piece, cp float64) bool {
	mode := func(w float64) int {
		switch {
		case w > cp+2:
			return 1
		case w < cp-2:
			return -1
		}
		return 0
	}
	for _, piece := range plan[1:] {
		if mode(piece.Watts) != mode(plan[0].Watts) {
			return true
		}
	}
	return false
}

func speedAt(o Outcome, x float64) float64 { return interpolate(o.At, o.Speed, x) }

// The optimum must beat every even power, keep the reserve, and no small
// feasible change of it may be clearly faster: brute force around it.
func TestOptimumIsLocallyBest(t *testing.T) {
	p := hillProblem()
	p.Reserve = 1800
	o, err := p.Optimum(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if o.Outcome.BalanceMin < p.Reserve-1e-6 {
		t.Fatalf("balance falls to %.2f J", o.Outcome.BalanceMin)
	}
	r := rand.New(rand.NewPCG(3, 9))
	for range 300 {
		plan := append([]Piece(nil), o.Plan...)
		i, width := r.IntN(len(plan)-12), 2+r.IntN(10)
		for j := i; j < i+width; j++ {
			plan[j].Watts = math.Min(p.Ceiling, math.Max(0, plan[j].Watts+40*(r.Float64()-0.5)))
		}
		out, err := p.Score(plan)
		if err != nil {
			continue
		}
		_, mended, status := p.mend(plan, out)
		if status == Converged && mended.Time < o.Outcome.Time-0.02 {
			t.Errorf("a change at piece %d gains %.3f s", i, o.Outcome.Time-mended.Time)
		}
	}
}

// Even power against a plain bisection on the adaptive integrator.
func TestEvenAgainstBisection(t *testing.T) {
	for seed := range uint64(5) {
		p := hillProblem()
		p.Profile, p.Reserve = randomProfile(seed, 9, 300, 1500), 900
		got, out, err := p.Even(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		lo, hi := 200.0, 600.0
		for hi-lo > 1e-3 {
			mid := 0.5 * (lo + hi)
			o, err := p.Score([]Piece{{To: p.Profile.Length(), Watts: mid}})
			if err == nil && o.BalanceMin >= p.Reserve {
				lo = mid
			} else {
				hi = mid
			}
		}
		if math.Abs(got-lo) > 0.02 || out.BalanceMin < p.Reserve-1e-6 {
			t.Errorf("seed %d: %.4f W with %.1f J left, bisection %.4f W", seed, got, out.BalanceMin, lo)
		}
	}
}

// The derivative of the ride against finite differences, through recovery and
// spending.
func TestSweepGradient(t *testing.T) {
	for _, form := range []capacity.Recovery{capacity.Differential, capacity.Integral, capacity.Elite} {
		p := hillProblem()
		p.Balance.Form, p.Balance.MeanDeficit, p.Balance.Speed = form, 100, 1.3
		rd := newRider(&p, newGrid(&p.Motion, p.Profile, []float64{1500, 3000, 4500, 6500, 8500, 10000}, 25))
		rd.penalty = 1e-6
		watts := []float64{250, 300, 260, 120, 330, 235}
		cost := func(w []float64) float64 {
			sw := &sweep{rd: rd, policies: make([]policy, 6), price: make([]float64, 6), hi: [2]float64{1e4, 1e4}}
			tr := newTrajectory(6)
			for i := range w {
				tr.u[i] = [2]float64{math.Max(0, w[i]-240), math.Max(0, 240-w[i])}
			}
			out, ok := sw.follow(tr, 0)
			if !ok {
				t.Fatal("stalled")
			}
			return out.cost
		}
		// Gradient by watts of control 0: from the backward sweep's expansion.
		sw := &sweep{rd: rd, policies: make([]policy, 6), price: make([]float64, 6)}
		tr := newTrajectory(6)
		for i := range watts {
			tr.u[i] = [2]float64{math.Max(0, watts[i]-240), math.Max(0, 240-watts[i])}
		}
		full := &sweep{rd: rd, policies: make([]policy, 6), hi: [2]float64{1e4, 1e4}}
		tr, _ = full.follow(tr, 0)
		sw.linearise(tr)
		// With bounds that forbid any step the policies stay zero and the
		// model of the cost to come is the plain adjoint.
		for c := range watts {
			var v model
			for k := 5; k > c; k-- {
				_, slope, curve := rd.overspent(k, tr.spent[k+1])
				v.g[1] += slope
				v.h[1][1] += curve
				g, h := sw.expand(k, tr, v)
				v = sw.reduce(policy{}, g, h)
			}
			_, slope, _ := rd.overspent(c, tr.spent[c+1])
			v.g[1] += slope
			g, _ := sw.expand(c, tr, v)
			got := g[2]
			if watts[c] < 240 {
				got = -g[3]
			}
			up, down := append([]float64(nil), watts...), append([]float64(nil), watts...)
			up[c] += 0.01
			down[c] -= 0.01
			want := (cost(up) - cost(down)) / 0.02
			tolerance := 1e-4
			if c == 0 {
				tolerance = 2e-3 // the start from rest is differentiated to first order
			}
			if math.Abs(got-want) > tolerance*math.Max(math.Abs(want), 0.01) {
				t.Errorf("form %d, control %d: %.8f s/W, finite difference %.8f", form, c, got, want)
			}
		}
	}
}
