package brief

import (
	"context"
	"math"
	"sync"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/room"
)

// The room: what it costs, what it asks for, and what it says.

// heat is the share of a cool room's power that this room leaves, over draws
// of all that is not known about room and body.
type heat struct {
	shares []float64
	effort room.Effort
}

const (
	heatDraws  = 256
	heatStream = 1 << 41 // far from the draws of rides
	// heatCounts: the plan is made again when the room is expected to cost more
	// than this share. Our judgement.
	heatCounts = 0.004
)

// heatOf is the room's share for the even effort that the rider would hold
// over the course.
func (s *sheet) heatOf(ctx context.Context) (heat, error) {
	if s.Stated != nil {
		return heat{}, nil
	}
	g, err := GlanceAs(ctx, s.Request, s.cool)
	if err != nil {
		return heat{}, err
	}
	e := room.Effort{Watts: g.Watts / s.scale(), Seconds: g.Median}
	return heat{s.shares(s.Room, e), e}, nil
}

// scale is displayed over true watts, on average.
func (s *sheet) scale() float64 {
	if s.Stated != nil || s.byFeel() {
		return 1
	}
	return s.learnt.Scale.Mean
}

// effort is the ride as the body feels it: true watts over the forecast time.
func (s *sheet) effort() room.Effort {
	return room.Effort{Watts: s.meanWatts() / s.scale(), Seconds: s.res.Forecast.Median}
}

// body is the rider as the heat sees them.
func (q Request) body() room.Body {
	return room.Body{Mass: q.Rider.Mass, Height: q.Rider.Height, Female: q.Rider.Sex == capacity.Female, SexKnown: q.Rider.Sex != capacity.SexUnknown,
		Acclimatised: q.Acclimatised, SweatRate: q.Weighed}
}

// meanWatts is the time mean of the plan, or of the rules.
func (s *sheet) meanWatts() float64 {
	if s.Way.Sketch != nil && s.Given == nil {
		return s.res.Ruled.MeanWatts
	}
	return s.res.Plan.Outcome.MeanWatts
}

// shares are what a room leaves in every draw of the doubts; the same draws for
// every room, so that rooms can be compared.
func (q Request) shares(r room.Room, e room.Effort) []float64 {
	out := make([]float64, heatDraws)
	body, workers := q.body(), max(1, q.Workers)
	var group sync.WaitGroup
	for w := range workers {
		group.Go(func() {
			for i := w; i < len(out); i += workers {
				out[i] = room.NewCase(r, body, e, room.NewDoubt(estimate.Stream(q.Seed, heatStream+i))).Share()
			}
		})
	}
	group.Wait()
	return out
}

func (h heat) share(i int) float64 { return h.shares[i%len(h.shares)] }

func (h heat) costs() bool { return len(h.shares) > 0 && mean(h.shares) < 1-heatCounts }

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x / float64(len(v))
	}
	return sum
}

// room fills the sheet; watts become displayed ones.
func (s *sheet) room() RoomSheet {
	o := s.look
	return RoomSheet{Known: true, Temperature: o.Temperature, Humidity: o.Humidity, Assumed: o.Assumed, Airflow: o.Airflow, AirflowFrom: o.AirflowFrom,
		MetabolicHeatW: o.MetabolicHeatW, EndTemperature: o.EndTemperature, EndHumidity: o.EndHumidity, AirflowNeeded: o.AirflowNeeded,
		WattsThatWould: math.Round(o.WattsThatWould * s.scale()), HeatSteadyS: o.HeatSteadyS, Standard: o.Standard,
		SweatLPerH: o.SweatLPerH, FluidLow: o.FluidLow, FluidHigh: o.FluidHigh, LossPercent: o.LossPercent, Drink: o.Drink, Food: o.Food, Lines: o.Lines}
}
