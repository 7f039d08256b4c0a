package pacing

import (
	"context"
	"testing"

	"chainline/course"
)

// On level and steadily rising road one number is asked for where a whole step
// does as well as turns between two, and never more than two numbers where the
// even power lies between steps and W′ carries the difference.
func TestNoDitherWhereOneNumberWouldDo(t *testing.T) {
	for _, c := range []struct {
		name              string
		km, gradient, cp  float64
		cues              int
		slowerThanEvenOne bool
	}{
		{"flat, even at 245.13 W", 40, 0, 241, 1, true},
		{"flat, even at 244.13 W", 40, 0, 240, 2, false},
		{"flat, even at 248.15 W", 40, 0, 244, 2, false},
		{"3 %, even at 246.6 W", 20, 0.03, 241, 2, false},
		{"3 %, even at 245.1 W", 100, 0.03, 244, 1, true},
		{"flat, even at 252.3 W", 20, 0, 244, 2, false},
	} {
		p := hillProblem()
		p.Reserve, p.Ceiling, p.Balance.CriticalPower = 1800, 480, c.cp
		p.Profile = course.Profile{Distance: []float64{0, 1000 * c.km}, Elevation: []float64{0, 1000 * c.km * c.gradient}}
		ctx := context.Background()
		o, err := p.Optimum(ctx)
		if err != nil {
			t.Fatal(err)
		}
		watts, even, err := p.Even(ctx)
		if err != nil {
			t.Fatal(err)
		}
		r, err := p.Rideable(ctx, o, Allowed(o.Outcome.Time, 1, 0), watts, even)
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Plan) != c.cues {
			t.Errorf("%s: %d cues, want %d: %v", c.name, len(r.Plan), c.cues, r.Plan)
		}
		least := even.Time + 0.1
		if c.slowerThanEvenOne {
			least = even.Time + spared(even.Time)
		}
		if r.Outcome.Time > least || r.Outcome.BalanceMin < p.Reserve-1e-6 {
			t.Errorf("%s: %.2f s with %.0f J left; best even power takes %.2f s", c.name, r.Outcome.Time, r.Outcome.BalanceMin, even.Time)
		}
	}
}
