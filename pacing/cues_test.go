package pacing

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// checkRideable holds a plan to the rules of what can be ridden.
func checkRideable(t *testing.T, name string, p Problem, r Rideable, optimum, even float64) {
	t.Helper()
	at := 0.0
	for i, piece := range r.Plan {
		if piece.From != at || piece.To <= piece.From {
			t.Errorf("%s: cue %d runs from %.3f to %.3f m after %.3f m", name, i+1, piece.From, piece.To, at)
		}
		at = piece.To
		if math.Mod(piece.Watts, WattStep) != 0 || piece.Watts > p.Ceiling || piece.Watts < p.Floor {
			t.Errorf("%s: cue %d asks for %g W", name, i+1, piece.Watts)
		}
		if d := r.Outcome.secondsAt(piece.To) - r.Outcome.secondsAt(piece.From); d < ShortestCue && len(r.Plan) > 1 {
			t.Errorf("%s: cue %d lasts %.1f s", name, i+1, d)
		}
	}
	if at != p.Profile.Length() {
		t.Errorf("%s: the cues end at %.1f m", name, at)
	}
	if len(r.Plan) > r.Allowed && !r.Even {
		t.Errorf("%s: %d cues of %d", name, len(r.Plan), r.Allowed)
	}
	if r.Outcome.BalanceMin < p.Reserve-1e-6 {
		t.Errorf("%s: balance falls to %.2f J, reserve %.0f", name, r.Outcome.BalanceMin, p.Reserve)
	}
	if r.Outcome.Time < optimum-0.5 {
		t.Errorf("%s: the cues take %.2f s, faster than the optimum's %.2f", name, r.Outcome.Time, optimum)
	}
	if r.Outcome.Time > even+1e-6 {
		t.Errorf("%s: the cues take %.2f s, slower than the best even power's %.2f", name, r.Outcome.Time, even)
	}
}

// On random courses the plan is rideable, never slower than even power, and
// within 0.5 % of the optimum where every section lasts a minute and has a cue.
func TestRideableOnRandomCourses(t *testing.T) {
	qualified := 0
	for seed := range uint64(16) {
		p := hillProblem()
		p.Reserve, p.Ceiling = 1800, 480
		p.Profile = randomProfile(seed, 4+int(seed)%7, 500+60*float64(seed), 2600)
		o, err := p.Optimum(context.Background())
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		watts, even, err := p.Even(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		long := LongSections(p.Profile, o.Outcome)
		n := Allowed(o.Outcome.Time, long, 0)
		r, err := p.Rideable(context.Background(), o, n, watts, even)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		checkRideable(t, "seed", p, r, o.Outcome.Time, even.Time)
		pieces := len(p.Profile.Distance) - 1
		if long == pieces && n >= pieces {
			qualified++
			if cost := r.Outcome.Time/o.Outcome.Time - 1; cost > 0.005 {
				t.Errorf("seed %d: %d cues cost %.2f %%", seed, len(r.Plan), 100*cost)
			}
		}
	}
	if qualified < 4 {
		t.Errorf("only %d courses had a minute and a cue for every section", qualified)
	}
}

func TestAllowed(t *testing.T) {
	for _, c := range []struct {
		seconds  float64
		sections int
		perHour  float64
		want     int
	}{
		{1100, 7, 0, 7}, {1100, 20, 0, 9}, {3600, 3, 0, 12}, {3600, 20, 0, 20}, {3600, 50, 0, 30}, {60, 1, 0, 2}, {50, 1, 0, 1}, {5400, 50, 8, 12},
	} {
		if got := Allowed(c.seconds, c.sections, c.perHour); got != c.want {
			t.Errorf("Allowed(%g, %d, %g) = %d, want %d", c.seconds, c.sections, c.perHour, got, c.want)
		}
	}
}

// Dynamic programming over breakpoints against full enumeration.
func TestBreakpointsAgainstEnumeration(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 1))
		stretches := make([]stretch, 2+r.IntN(8))
		for i := range stretches {
			stretches[i] = stretch{to: float64(i + 1), seconds: 5 + 30*r.Float64(), cost: make([]float64, 6)}
			for l := range stretches[i].cost {
				stretches[i].cost[l] = 10 * r.Float64()
			}
		}
		n := 1 + r.IntN(4)
		table, _ := leastCost(stretches, n, func() bool { return false })
		count, own := len(stretches), 0.0
		for _, s := range stretches {
			least := math.Inf(1)
			for _, c := range s.cost {
				least = math.Min(least, c)
			}
			own += least
		}
		best := math.Inf(1)
		for cuts := range 1 << (count - 1) {
			if cost, k := enumerate(stretches, cuts); k == n {
				best = math.Min(best, cost-own)
			}
		}
		if got := table[n][count]; !(math.Abs(got-best) < 1e-4 || math.IsInf(got, 1) && math.IsInf(best, 1)) {
			t.Errorf("seed %d: %d stretches in %d cues cost %g, enumeration %g", seed, count, n, got, best)
		}
	}
}

// enumerate is the cost of the cues that the bits of cuts separate, +Inf if
// one is too short, and their number.
func enumerate(stretches []stretch, cuts int) (cost float64, cues int) {
	sum, seconds := make([]float64, len(stretches[0].cost)), 0.0
	for i, s := range stretches {
		seconds += s.seconds
		for l, c := range s.cost {
			sum[l] += c
		}
		if i == len(stretches)-1 || cuts>>i&1 == 1 {
			least := math.Inf(1)
			for _, c := range sum {
				least = math.Min(least, c)
			}
			if seconds < 1.1*ShortestCue {
				least = math.Inf(1)
			}
			cost, cues, seconds = cost+least, cues+1, 0
			clear(sum)
		}
	}
	return cost, cues
}
