package pacing

import (
	"context"
	"math"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/physics"
)

// goingOn is a ride of 9 km of waves by a rider known within 5 % of critical
// power, at the start.
func goingOn() (*Going, []Piece) {
	p := course.Profile{Distance: []float64{0}, Elevation: []float64{0}}
	for i, g := range []float64{0, 0.04, -0.03, 0.05, -0.05, 0.02} {
		p.Distance = append(p.Distance, p.Distance[i]+1500)
		p.Elevation = append(p.Elevation, p.Elevation[i]+1500*g)
	}
	c := capacity.Capacity{CriticalPower: 250, WPrime: 18000, MaxPower: 800}
	c.Sigma[0][0], c.Sigma[1][1] = 12.5, 3000
	w := World{Capacity: c, RecoveryMedian: 1.6, RecoverySD: 0.4, Profile: p, RiderMass: 72,
		Road: physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2}}
	plan := []Piece{{From: 0, To: 1500, Watts: 245}, {From: 1500, To: 3000, Watts: 270}, {From: 3000, To: 4500, Watts: 150},
		{From: 4500, To: 6000, Watts: 270}, {From: 6000, To: 7500, Watts: 120}, {From: 7500, To: 9000, Watts: 260}}
	return w.Begin(Orders{Plan: plan, Duration: 1100}, 3, 400), plan
}

// What a ride shows moves what is believed: a rider who has spent more than
// most could is stronger than thought, and one whose legs fail with much
// reckoned to be left is weaker.
func TestRideWeighsTheDraws(t *testing.T) {
	g, _ := goingOn()
	before, full, all := g.Expected()
	if math.Abs(before-250) > 2 || math.Abs(full-18000) > 400 || math.Abs(all-400) > 1 {
		t.Fatalf("at the start %.1f W, %.0f J, %.0f draws", before, full, all)
	}
	g.Ridden(290, 600) // 24 kJ above 250 W
	stronger, _, left := g.Expected()
	if stronger < before+8 || left > 250 {
		t.Errorf("after 10 min at 290 W critical power is %.1f W by %.0f draws, was %.1f", stronger, left, before)
	}

	g, _ = goingOn()
	g.Ridden(270, 200) // 4 kJ above 250 W, 14 of 18 left
	g.Failed()
	weaker, rest, _ := g.Expected()
	if weaker > before-8 || rest > 1 {
		t.Errorf("after failing early critical power is %.1f W with %.0f J left, was %.1f", weaker, rest, before)
	}
}

// The rest is harder for a rider with more left, leaves rests and what has been
// ridden alone, is the same each time, and runs empty less often the dearer
// that is.
func TestReplanFollowsTheRide(t *testing.T) {
	solve := func(toll float64, ridden func(*Going)) ([]Piece, Outlook) {
		g, plan := goingOn()
		ridden(g)
		_, out, look, err := g.Replan(context.Background(), plan, 3200, 9, 1, 0, 800, toll, 0)
		if err != nil {
			t.Fatal(err)
		}
		return out, look
	}
	fresh, freshLook := solve(300, func(g *Going) { g.Ridden(240, 400) })
	spent, spentLook := solve(300, func(g *Going) { g.Ridden(275, 400) })
	for _, x := range []struct {
		plan []Piece
		look Outlook
	}{{fresh, freshLook}, {spent, spentLook}} {
		if !(x.look.Low80 < x.look.Median && x.look.Median < x.look.High80) {
			t.Errorf("%+v", x.look)
		}
		if x.plan[0].From != 3200 || x.plan[0].Watts != 150 || x.plan[2].Watts != 120 || x.plan[len(x.plan)-1].To != 9000 {
			t.Errorf("rests moved, or the rest does not begin here: %+v", x.plan)
		}
	}
	if fresh[1].Watts < spent[1].Watts+WattStep || freshLook.Median >= spentLook.Median {
		t.Errorf("fresh %v, %.0f s; spent %v, %.0f s", fresh, freshLook.Median, spent, spentLook.Median)
	}
	again, look := solve(300, func(g *Going) { g.Ridden(240, 400) })
	if look != freshLook || again[1] != fresh[1] {
		t.Error("not the same again")
	}
	_, dear := solve(1500, func(g *Going) { g.Ridden(240, 400) })
	_, cheap := solve(50, func(g *Going) { g.Ridden(240, 400) })
	if !(dear.ChanceEmpty < freshLook.ChanceEmpty && freshLook.ChanceEmpty < cheap.ChanceEmpty && cheap.Median < dear.Median) {
		t.Errorf("chances %.3f, %.3f, %.3f; medians %.0f and %.0f s", dear.ChanceEmpty, freshLook.ChanceEmpty, cheap.ChanceEmpty, dear.Median, cheap.Median)
	}
	g, plan := goingOn()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, _, err := g.Replan(ctx, plan, 0, 0, 1, 0, 800, 300, 0); err == nil {
		t.Error("a caller who gives up is not heard")
	}
}

// A scaling found comes back as it is when nothing has happened, and the next
// one to it is not worth a change.
func TestReplanLeavesAGoodPlanAlone(t *testing.T) {
	g, plan := goingOn()
	g.Ridden(240, 400)
	share, _, _, err := g.Replan(context.Background(), plan, 3200, 9, 1, 0, 800, 1500, 0)
	if err != nil || share == 0 {
		t.Fatal(share, err)
	}
	for _, start := range []float64{share, share - moveStep} {
		again, _, _, err := g.Replan(context.Background(), plan, 3200, 9, 1, 0, 800, 1500, start)
		if err != nil || math.Abs(again-start) > 1e-9 {
			t.Errorf("from %.2f to %.2f, %v", start, again, err)
		}
	}
}

// The way ridden once for all who last is what each would ride alone.
func TestOneWayForAll(t *testing.T) {
	g, plan := goingOn()
	g.Ridden(250, 300)
	g.Rough(12)
	chance, seconds := g.mean(plan, 2600, 9, 1.01)
	watts, alone, empties := g.shape.watts(plan), 0.0, 0.0
	for i, w := range g.weights() {
		s, empty := g.one(i, watts, 2600, 9, 1.01)
		alone += w * s
		if empty {
			empties += w
		}
	}
	if math.Abs(chance-empties) > 0.01 || math.Abs(seconds/alone-1) > 2e-4 || chance < 0.02 {
		t.Errorf("chance %.3f, alone %.3f; %.2f s, alone %.2f s", chance, empties, seconds, alone)
	}
}

// A heart that beats higher than expected at the same watts is that of a
// weaker rider, within what people differ; one at its maximum, and one that has
// only begun, say nothing.
func TestHeartWeighsTheDraws(t *testing.T) {
	ride := func(off, watts, seconds, share float64) float64 {
		g, _ := goingOn()
		h := capacity.Heart{Max: 188}
		for range int(seconds) {
			bpm := h.Step(watts/250, 1) + off
			g.Heart(bpm*share, watts, 1, 188)
		}
		cp, _, _ := g.Expected()
		return cp
	}
	g, _ := goingOn()
	prior, _, _ := g.Expected()
	as, high, low := ride(0, 215, 600, 1), ride(10, 215, 600, 1), ride(-10, 215, 600, 1)
	if !(high < as-2 && low > as+2 && math.Abs(as-prior) < 3) {
		t.Errorf("critical power %.1f W before; heart as expected %.1f, high %.1f, low %.1f", prior, as, high, low)
	}
	if high < prior-15 || low > prior+15 {
		t.Errorf("believed too much: %.1f and %.1f W of %.1f", high, low, prior)
	}
	for name, cp := range map[string]float64{"young": ride(10, 215, 110, 1), "none heard": ride(0, 215, 600, 0), "easy": ride(10, 100, 600, 1)} {
		if math.Abs(cp-prior) > 1e-9 {
			t.Errorf("%s: %.2f W, before %.2f", name, cp, prior)
		}
	}
}

// The live shape follows the optimum closely, in pieces long enough to follow.
func TestLiveShape(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 2000, 3500, 5000, 6000, 8000}, Elevation: []float64{0, 0, 75, 10, 40, 42}}
	c := capacity.Fixed(250, 18000, 800)
	w := World{Capacity: c, Profile: p, RiderMass: 72, Road: physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2}}
	r, err := Make(context.Background(), Request{World: w, ReserveShare: 0.1, ReserveJ: -1, Ceiling: 800, Draws: 50, Seed: 1, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	plan := r.Live(20)
	out, err := r.Problem.Score(plan)
	if err != nil {
		t.Fatal(err)
	}
	if len(plan) < 3 || len(plan) > 15 || plan[0].From != 0 || plan[len(plan)-1].To != p.Length() {
		t.Errorf("%v", plan)
	}
	for i, q := range plan {
		if i > 0 && q.From != plan[i-1].To || math.Mod(q.Watts, WattStep) != 0 {
			t.Errorf("piece %d: %+v after %+v", i, q, plan[max(0, i-1)])
		}
	}
	if math.Abs(out.Time/r.Optimum.Outcome.Time-1) > 0.005 {
		t.Errorf("%.1f s, the optimum takes %.1f", out.Time, r.Optimum.Outcome.Time)
	}
}

// Who is empty now holds critical power and does not run empty again before
// something is back.
func TestEmptyIsEmptyOnce(t *testing.T) {
	g, plan := goingOn()
	g.Ridden(260, 300)
	g.Failed()
	hard := []Piece{{To: plan[len(plan)-1].To, Watts: 300}}
	o := g.Rest(hard, 7600, 9, 1)
	if o.ChanceEmpty > 0 {
		t.Errorf("chance of running empty %.2f", o.ChanceEmpty)
	}
	held, _, _ := g.Expected()
	if even := g.Rest([]Piece{{To: 9000, Watts: held}}, 7600, 9, 1); math.Abs(o.Median/even.Median-1) > 0.02 {
		t.Errorf("%.0f s, at critical power %.0f s", o.Median, even.Median)
	}
}

func TestWeightedQuantile(t *testing.T) {
	all := []timed{{3, 0.1}, {1, 0.2}, {2, 0.7}}
	for q, want := range map[float64]float64{0.1: 1, 0.5: 2, 0.95: 3} {
		if got := weighted(all, q); got != want {
			t.Errorf("%.2f: %.0f, want %.0f", q, got, want)
		}
	}
}

func BenchmarkReplan(b *testing.B) {
	g, plan := goingOn()
	g.Ridden(250, 300)
	for b.Loop() {
		if _, _, _, err := g.Replan(context.Background(), plan, 2500, 9, 1, 0, 800, 300, 0); err != nil {
			b.Fatal(err)
		}
	}
}
