package debrief

import (
	"context"
	"errors"
	"math"

	"chainline/capacity"
	"chainline/pacing"
)

// BestRide is the fastest ride of the course with the capacity that was shown.
type BestRide struct {
	// Share is the capacity shown over the one before the ride: the least
	// critical power and W′, in their proportion, with which these watts could
	// be ridden. It says what was done, not what could have been.
	Share         float64 `json:"share_of_capacity"`
	CriticalPower float64 `json:"critical_power_w"`
	WPrime        float64 `json:"w_prime_j"`

	RiddenS float64 `json:"ridden_s"` // the ridden watts, reckoned on the same road
	TimeS   float64 `json:"time_s"`   // the best
	SavedS  float64 `json:"saved_s"`
	EvenW   float64 `json:"even_w"` // the best even effort
	EvenS   float64 `json:"even_s"`

	Plan []pacing.Piece `json:"-"` // of the best
}

// shownFrom and shownTo are where the share is sought.
const shownFrom, shownTo = 0.2, 3.0

// shown is the least share of the balance's CP and W′ with which the watts,
// one a second, do not overdraw it, to a ten-thousandth.
func shown(b capacity.Balance, watts []float64) (capacity.Balance, float64) {
	at := func(share float64) capacity.Balance {
		c := b
		c.CriticalPower, c.WPrime = share*b.CriticalPower, share*b.WPrime
		return c
	}
	lasts := func(share float64) bool {
		c := at(share)
		left := c.WPrime
		for _, w := range watts {
			if left = c.Step(left, w, 1); left < 0 {
				return false
			}
		}
		return true
	}
	low, high := shownFrom, shownTo
	for high-low > 1e-4 {
		if middle := (low + high) / 2; lasts(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return at(high), high
}

// best finds it; nil: the ridden watts do not say, or nothing keeps a bicycle
// moving on this course.
func (g *game) best(ctx context.Context) (*BestRide, error) {
	problem := g.p.From.Result.Problem
	watts := make([]float64, len(g.t.watts))
	for i, w := range g.t.watts {
		if !math.IsNaN(w) {
			watts[i] = w
		}
	}
	balance := bookKeeping(g.p.From.Capacity, problem.Balance.Form, watts, problem.Balance.Speed)
	b := &BestRide{}
	problem.Balance, b.Share = shown(balance, watts)
	if b.Share <= shownFrom+1e-3 || b.Share >= shownTo-1e-3 {
		return nil, nil
	}
	b.CriticalPower, b.WPrime = problem.Balance.CriticalPower, problem.Balance.WPrime
	all := g.worldOf(1<<len(g.names) - 1)
	problem.Motion, problem.Profile, problem.StartSpeed = all.road.Motion(all.mass), all.profile, all.speed
	problem.Reserve = 0
	problem.Ceiling = math.Max(problem.Ceiling, problem.Balance.CriticalPower*1.2)
	all.late, all.gain, all.watts = 0, 1, g.ridden.watts // shown watts, ridden and best alike
	b.RiddenS = all.time()
	even, out, err := problem.Even(ctx)
	if err != nil {
		return nil, unlessStalled(err)
	}
	b.EvenW, b.EvenS = even, out.Time
	optimum, err := problem.Optimum(ctx)
	if err != nil {
		return nil, unlessStalled(err)
	}
	b.TimeS, b.Plan = optimum.Outcome.Time, optimum.Plan
	b.SavedS = b.RiddenS - b.TimeS
	if b.SavedS < 0 { // the search did not find what was ridden: that is the best known
		b.TimeS, b.SavedS, b.Plan = b.RiddenS, 0, nil
	}
	return b, nil
}

func unlessStalled(err error) error {
	if errors.Is(err, pacing.ErrStall) {
		return nil
	}
	return err
}
