package pacing

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"chainline/capacity"
	"chainline/course"
)

// For a sketch nothing that is given is slower than one even effort, and the
// optimum is slower than neither; where rules cannot win there is one rule.
func TestSketchIsNeverSlowerThanOneEvenEffort(t *testing.T) {
	ones := 0
	for _, c := range []struct {
		name   string
		sketch course.Sketch
		byFeel bool
		cp     float64
	}{
		{"hilly, by feel", course.Sketch{Distance: 21400, Ascent: 310}, true, 97},
		{"summit finish, by feel", course.Sketch{Distance: 12000, Ascent: 700, SummitFinish: true}, true, 92},
		{"summit finish", course.Sketch{Distance: 12000, Ascent: 700, SummitFinish: true}, false, 240},
		{"nearly level", course.Sketch{Distance: 8000, Ascent: 20}, true, 94},
	} {
		w := sampleWorld()
		w.Capacity = capacity.Fixed(c.cp, 13000, 600)
		w.ByFeel = c.byFeel
		w.Profile, w.Sketch = course.Profile{}, c.sketch.Draw
		q := sampleRequest(w, 0)
		q.Draws, q.Ceiling = 20, 600
		r, err := Make(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		if r.Ruled.Time > r.EvenTime+1e-9 {
			t.Errorf("%s: the rules %+v take %.1f s, one even effort of %.1f W %.1f s", c.name, r.Rules, r.Ruled.Time, r.EvenWatts, r.EvenTime)
		}
		if r.OptimumTime > math.Min(r.EvenTime, r.Ruled.Time) {
			t.Errorf("%s: the optimum takes %.1f s, even %.1f s, rules %.1f s", c.name, r.OptimumTime, r.EvenTime, r.Ruled.Time)
		}
		if r.EvenRules != (len(r.Rules) == 1) {
			t.Errorf("%s: EvenRules is %v of %+v", c.name, r.EvenRules, r.Rules)
		}
		if r.EvenRules {
			ones++
		}
	}
	if ones == 0 {
		t.Error("none of the courses tries the one even effort")
	}
}

func TestEqualRulesAreOne(t *testing.T) {
	got := joinRules([]Rule{{math.Inf(-1), 0, 245}, {0, 0.04, 245}, {0.04, math.Inf(1), 245}})
	if len(got) != 1 || !math.IsInf(got[0].To, 1) {
		t.Errorf("got %+v", got)
	}
	for seed := range uint64(4) {
		p := hillProblem()
		p.Reserve, p.Ceiling = 1800, 450
		sketch := course.Sketch{Distance: 12000, Ascent: 100 * float64(seed+1), SummitFinish: true}
		rules, err := p.Rules(context.Background(), []course.Profile{sketch.Draw(rand.New(rand.NewPCG(seed, 4)))})
		if err != nil {
			t.Fatal(err)
		}
		for k := 1; k < len(rules); k++ {
			if rules[k].Watts == rules[k-1].Watts {
				t.Errorf("seed %d: rules %d and %d both ask for %g W", seed, k, k+1, rules[k].Watts)
			}
		}
	}
}
