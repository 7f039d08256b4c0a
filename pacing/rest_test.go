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

// The rest keeps its limit, is harder for a rider with more left, leaves rests
// and what has been ridden alone, and is the same each time.
func TestReplanKeepsItsLimit(t *testing.T) {
	const limit = 0.10
	band := Band{Lower: limit, Raise: limit}
	solve := func(ridden func(*Going)) ([]Piece, Outlook) {
		g, plan := goingOn()
		ridden(g)
		out, look, err := g.Replan(context.Background(), plan, 3200, 9, 1, 0, 800, band)
		if err != nil {
			t.Fatal(err)
		}
		return out, look
	}
	fresh, freshLook := solve(func(g *Going) { g.Ridden(240, 400) })
	spent, spentLook := solve(func(g *Going) { g.Ridden(275, 400) })
	for _, x := range []struct {
		plan []Piece
		look Outlook
	}{{fresh, freshLook}, {spent, spentLook}} {
		if x.look.ChanceEmpty > limit || !(x.look.Low80 < x.look.Median && x.look.Median < x.look.High80) {
			t.Errorf("%+v", x.look)
		}
		if x.plan[0].From != 3200 || x.plan[0].Watts != 150 || x.plan[2].Watts != 120 || x.plan[len(x.plan)-1].To != 9000 {
			t.Errorf("rests moved, or the rest does not begin here: %+v", x.plan)
		}
	}
	if fresh[1].Watts < spent[1].Watts+WattStep || freshLook.Median >= spentLook.Median {
		t.Errorf("fresh %v, %.0f s; spent %v, %.0f s", fresh, freshLook.Median, spent, spentLook.Median)
	}
	again, look := solve(func(g *Going) { g.Ridden(240, 400) })
	if look != freshLook || again[1] != fresh[1] {
		t.Error("not the same again")
	}
	g, plan := goingOn()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := g.Replan(ctx, plan, 0, 0, 1, 0, 800, band); err == nil {
		t.Error("a caller who gives up is not heard")
	}
}

// A plan whose chance is within the band is given back as it stands.
func TestReplanLeavesAGoodPlanAlone(t *testing.T) {
	g, plan := goingOn()
	g.Ridden(240, 400)
	now := g.Rest(plan, 3200, 9, 1).ChanceEmpty
	for band, changes := range map[Band]bool{{Lower: now + 0.05, Raise: math.Max(0, now-0.05)}: false, {Lower: now + 0.3, Raise: now + 0.2}: true} {
		out, _, err := g.Replan(context.Background(), plan, 3200, 9, 1, 0, 800, band)
		if err != nil {
			t.Fatal(err)
		}
		moved := false
		for _, p := range out {
			for _, q := range plan {
				if q.To == p.To {
					moved = moved || q.Watts != p.Watts
				}
			}
		}
		if moved != changes {
			t.Errorf("chance %.2f, band %+v: moved %v", now, band, moved)
		}
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
		if _, _, err := g.Replan(context.Background(), plan, 2500, 9, 1, 0, 800, Band{0.1, 0.1}); err != nil {
			b.Fatal(err)
		}
	}
}
