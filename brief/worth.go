package brief

import (
	"context"
	"fmt"
	"math"
	"slices"

	"chainline/estimate"
	"chainline/pacing"
	"chainline/rig"
	"chainline/room"
	"chainline/session"
)

// What is worth doing before the start: one list, in seconds of the finish.
// Watts become seconds by the ride's own sensitivity, everything else comes
// from the draws and the heat model.

const (
	leastWorth  = 1.0 // s; less is not worth a line
	checkError  = 0.01
	worthStream = 1 << 42
)

// perWatt is how many seconds a watt more throughout saves.
func (s *sheet) perWatt() float64 { return s.res.FiveWatts / 5 }

func (s *sheet) worth(ctx context.Context, b Brief) ([]Worth, error) {
	var all []Worth
	add := func(w Worth, ok bool) {
		if ok && (w.Seconds >= leastWorth || w.NarrowsFromS-w.NarrowsToS >= leastWorth) {
			all = append(all, w)
		}
	}
	even, ok, err := s.pacingWorth(ctx)
	if err != nil {
		return nil, err
	}
	add(even, ok)
	for _, w := range s.airWorth() {
		add(w, true)
	}
	add(s.warmUpWorth(b))
	curve, ok, err := s.curveWorth(ctx)
	if err != nil {
		return nil, err
	}
	add(curve, ok)
	add(s.checkWorth())
	add(s.testWorth(b.NextTest))
	slices.SortStableFunc(all, func(x, y Worth) int {
		return int(math.Round(100 * (max(y.Seconds, 0.3*(y.NarrowsFromS-y.NarrowsToS)) - max(x.Seconds, 0.3*(x.NarrowsFromS-x.NarrowsToS)))))
	})
	return all, nil
}

// pacingWorth rides the plan and the best even power in the same draws.
func (s *sheet) pacingWorth(ctx context.Context) (Worth, bool, error) {
	if s.Given != nil || len(s.res.Plan.Plan) < 2 && len(s.res.Rules) < 2 {
		return Worth{}, false, nil
	}
	what, profile := "ride the cues instead of one even power", s.Way.Profile
	if s.Way.Sketch != nil {
		what, profile = "ride by gradient instead of one even effort", s.res.Plausible[0]
	}
	orders := pacing.Orders{Plan: []pacing.Piece{{From: 0, To: profile.Length(), Watts: s.res.EvenWatts}}, ForCP: s.res.Orders.ForCP, Duration: s.res.Orders.Duration}
	even, err := s.world.Forecast(ctx, orders, s.Seed, s.Draws, s.Workers)
	if err != nil {
		return Worth{}, false, err
	}
	s.evenMedian = even.Median
	saved := make([]float64, len(even.ByDraw))
	for i, t := range even.ByDraw {
		saved[i] = t - s.res.Forecast.ByDraw[i]
	}
	w := seconds(what, saved)
	w.Why = fmt.Sprintf("both ridden in the same %d draws", s.Draws)
	if !s.world.ByFeel {
		w.Why += fmt.Sprintf("; even power is %.0f W", s.res.EvenWatts)
	}
	return w, true, nil
}

// seconds is a worth of so many seconds in every draw.
func seconds(what string, saved []float64) Worth {
	e := estimate.FromDraws(saved, "")
	return Worth{What: what, Seconds: e.Mean, Low80: e.Low80, High80: e.High80}
}

// airWorth compares this room with the same room without its fan or with one,
// with its door shut or open, over the same draws of what is not known.
func (s *sheet) airWorth() []Worth {
	e := s.heat.effort
	perShare := s.meanWatts() * s.perWatt()
	compare := func(what string, from, to []float64, done bool, why string) Worth {
		saved := make([]float64, len(from))
		for i := range from {
			saved[i] = (to[i] - from[i]) * perShare
		}
		w := seconds(what, saved)
		w.AlreadyDone, w.Why = done, why
		return w
	}
	now := s.heat.shares
	var out []Worth
	if len(s.Room.Fans) > 0 {
		without := s.Room
		without.Fans = nil
		out = append(out, compare("have the fan on: "+room.DescribeFans(s.Room.Fans), s.shares(without, e), now, true, "the heat model, with and without it"))
	} else if !s.Room.AirflowKnown || s.Room.Airflow < usualFanSpeed {
		with := s.Room
		with.AirflowKnown = false
		with.Fans = []room.Fan{{Count: 1, Kind: room.Pedestal, Distance: 1, Setting: room.High}}
		out = append(out, compare("put a fan in front: "+room.DescribeFans(with.Fans), now, s.shares(with, e), false, "the heat model, with and without it"))
	}
	other := s.Room
	switch s.Room.Openings {
	case room.Closed, room.OpeningsUnknown:
		other.Openings = room.DoorAndWindowOpen
		out = append(out, compare("open door and window", now, s.shares(other, e), false, "the heat model; the air outside the room is taken to be as the room's at the start"))
	case room.Hall:
	default:
		other.Openings = room.Closed
		out = append(out, compare("keep the "+s.Room.Openings.String(), s.shares(other, e), now, true, "the heat model, against a closed room"))
	}
	return out
}

const usualFanSpeed = 2.0 // m/s; above it nobody is told to buy a fan

// warmUpWorth turns the joules of a warm-up into seconds.
func (s *sheet) warmUpWorth(b Brief) (Worth, bool) {
	if len(s.before.Steps) == 0 || s.before.Gain.Mean <= 0 {
		return Worth{}, false
	}
	ride, saved := b.Forecast.Median, make([]float64, heatDraws)
	for i := range saved {
		r := estimate.Stream(s.Seed, worthStream+i)
		c := s.c.Draw(r)
		saved[i] = session.GainAt(r.NormFloat64(), s.before.Prior, c, ride, s.before.WaitS) / ride * s.perWatt()
	}
	w := seconds("ride the warm-up", saved)
	w.Why = s.before.Gain.Origin
	return w, true
}

// heldBack is what is gained by knowing better: a plan that stands z standard
// deviations below the mean stands less far below once those are smaller. It
// also narrows the time that can be ridden at all.
func (s *sheet) heldBack(what string, now, then float64) Worth {
	perShare := s.meanWatts() * s.perWatt()
	gain := math.Max(0, s.res.ForZ) * (now - then) * perShare
	width := 2 * estimate.Z80 * perShare
	return Worth{What: what, Seconds: gain, Low80: gain, High80: gain, NarrowsFromS: now * width, NarrowsToS: then * width}
}

// curveWorth is a maker's table of watts by wheel speed for a trainer of which
// nothing is known: the same orders in the same draws, with less doubt.
func (s *sheet) curveWorth(ctx context.Context) (Worth, bool, error) {
	if !s.world.ByFeel || s.world.SourceSD <= rig.TableSD {
		return Worth{}, false, nil
	}
	known := s.world
	known.SourceSD = rig.TableSD
	f, err := known.Forecast(ctx, s.res.Orders, s.Seed, s.Draws, s.Workers)
	if err != nil {
		return Worth{}, false, err
	}
	now := s.res.Forecast
	return Worth{What: "type in the maker's table of watts by speed", NarrowsFromS: now.High80 - now.Low80, NarrowsToS: f.High80 - f.Low80,
		Why: fmt.Sprintf("the same rides with the trainer's watts known to %.0f %%", 100*rig.TableSD)}, true, nil
}

// checkWorth is a rig check that tells the source's scale to 1 %.
func (s *sheet) checkWorth() (Worth, bool) {
	if s.world.ByFeel || s.learnt.Scale.SD == 0 {
		return Worth{}, false
	}
	now, then := s.learnt.Checked(s.res.Duration, checkError)
	w := s.heldBack("check the rig against a second power source", now, then)
	w.Why = fmt.Sprintf("if it tells the scale of the watts shown to %.0f %%: less has to be held back", 100*checkError)
	return w, true
}

func (s *sheet) testWorth(n NextTest) (Worth, bool) {
	if n.What == "" || s.world.ByFeel {
		return Worth{}, false
	}
	w := s.heldBack("find out more: "+n.What, s.next.RideNow, s.next.RideThen)
	w.Why = "what the test would leave of the doubt, expected over the draws: less has to be held back"
	return w, true
}

// nextTest is the most useful test this rider may do.
func (s *sheet) nextTest() NextTest {
	s.next = s.learnt.Next(s.Rider, s.res.Duration, !s.world.ByFeel)
	n := s.next
	out := NextTest{What: n.What, Maximal: n.Maximal, Recommended: n.Recommended, SDNow: n.Now, SDThen: n.Then, Sentence: n.Sentence}
	if n.What != "" {
		out.Seconds = 2 * estimate.Z80 * (n.RideNow - n.RideThen) * s.meanWatts() * s.perWatt()
	}
	return out
}

// sameSource tells whether ride and evidence share their source's error.
func (s *sheet) sameSource() bool {
	return s.Stated != nil || s.account.Source != "" && s.account.Source == s.Rig.Source.Name
}
