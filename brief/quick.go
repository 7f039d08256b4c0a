package brief

import (
	"context"
	"math"

	"chainline/capacity"
	"chainline/pacing"
)

// Quick is what a course would be like for a rider, at a glance.
type Quick struct {
	Distance, Ascent      float64 // m
	Watts                 float64 // W, the best even effort
	Median, Low80, High80 float64 // s
	Load                  float64 // threshold-hours, of that effort
}

// quickDraws are enough to sort by. Our judgement.
const quickDraws = 60

// Learn is what the evidence says, in displayed watts of the rig's source (true
// ones where the rig shows none), and its account.
func Learn(q Request) (capacity.Capacity, capacity.Account, capacity.Learnt) {
	learnt, account := q.learn()
	if q.Stated == nil && q.byFeel() {
		return learnt.True, account, learnt
	}
	return learnt.Displayed, account, learnt
}

// ShowsWatts tells whether the rig shows watts that mean something.
func (q Request) ShowsWatts() bool { return q.Stated != nil || !q.byFeel() }

// Glance is the best even effort over the way, without heat, for lists.
func Glance(ctx context.Context, q Request) (Quick, error) {
	c, _, _ := Learn(q)
	return GlanceAs(ctx, q, c)
}

// GlanceAs is Glance for a capacity that is known already.
func GlanceAs(ctx context.Context, q Request, c capacity.Capacity) (Quick, error) {
	floor, ceiling := q.Rig.Limits()
	g, err := pacing.Glance(ctx, pacing.Request{World: q.world(c), ReserveShare: ReserveShare, ReserveJ: -1, Floor: floor,
		Ceiling: math.Min(ceiling, c.MaxPower), Draws: quickDraws, Seed: q.Seed, Workers: max(1, q.Workers)})
	if err != nil {
		return Quick{}, err
	}
	out := Quick{Watts: g.Watts, Median: g.Forecast.Median, Low80: g.Forecast.Low80, High80: g.Forecast.High80}
	if q.Way.Sketch != nil {
		out.Distance, out.Ascent = q.Way.Sketch.Totals()
	} else {
		out.Distance, out.Ascent = q.Way.Profile.Length(), q.Way.Profile.Ascent()
	}
	out.Load = capacity.Load(out.Median, g.Watts, c.Threshold())
	return out, nil
}
