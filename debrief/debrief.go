// Package debrief answers what happened on a ride: its measures, how it went
// against its plan and why the forecast was off, and what it taught.
//
// Everything is reckoned from a recording, the brief it was ridden by if there
// was one, and the capacity of the rider before the ride. Watts are those the
// source displays. SI units.
package debrief

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// Debrief is what is shown and handed on of a ride. What is not known is left
// out.
type Debrief struct {
	Title       string   `json:"title,omitempty"`
	StartUnix   float64  `json:"start_unix_s"`
	ZoneSeconds int      `json:"zone_s"`
	Sport       string   `json:"sport,omitempty"`
	Source      string   `json:"power_source,omitempty"`
	Recovered   bool     `json:"recovered,omitempty"` // the recording is not whole
	Measures    Measures `json:"measures"`
	Against     *Against `json:"against_plan,omitempty"`

	Road     *RoadFit  `json:"road,omitempty"`
	Learnt   *Learning `json:"learnt,omitempty"`
	Weighed  *Weighed  `json:"weighed,omitempty"`
	Response *Calendar `json:"response,omitempty"`
}

// Request is everything a debrief is made from.
type Request struct {
	Ride MeasureRequest
	// Planned is the brief it was ridden by; nil: none. With it, the capacity,
	// recovery, mass and course that the ride's request leaves out are those of
	// the brief.
	Planned *Planned
	Actual  Actual
	// Road is what a fit of the road has to know; nil: none is fitted. Rows are
	// read from the recording if there are none. Where the road is fitted, it is
	// the actual one, unless Actual has another.
	Road *RoadRide
	// Learn is what learning from the ride has to know; nil: nothing is learnt.
	// Watts and Best are those of the recording.
	Learn *LearnRequest
	// Weighing is what the scales said before and after; nil: nobody stood on
	// them.
	Weighing *Weighing
	// Training are the loads up to the day of this ride, without this ride,
	// which is added to the last; nil: nothing is said of the response.
	Training *Training
}

// Make makes the debrief of a ride. The error says why the recording cannot
// be used, or is that of ctx.
func Make(ctx context.Context, q Request) (Debrief, error) {
	r := &q.Ride.Recording
	if err := r.Validate(); err != nil {
		return Debrief{}, fmt.Errorf("recording: %w", err)
	}
	ride := q.Ride
	if p := q.Planned; p != nil {
		ride = p.fill(ride)
	}
	s, err := read(r, ride.Source)
	if err != nil {
		return Debrief{}, err
	}
	d := Debrief{Title: r.Title, StartUnix: r.StartUnix, ZoneSeconds: r.ZoneSeconds, Sport: r.Sport, Recovered: !r.Whole, Source: powerSource(q.Ride)}
	d.Measures = measure(ride, s)
	if err := ctx.Err(); err != nil {
		return Debrief{}, err
	}
	if q.Road != nil {
		d.fitRoad(q, ride, s)
	}
	if err := d.learn(q, s); err != nil {
		return Debrief{}, err
	}
	if q.Planned != nil {
		outdoors := !strings.HasPrefix(r.Sport, "indoor")
		actual := q.Actual
		if actual.Road == nil && d.Road != nil {
			actual.Road = d.Road.fitted(q.Planned.From.Ask.World.Road)
		}
		if d.Against, err = against(ctx, *q.Planned, actual, s, outdoors); err != nil {
			return Debrief{}, err
		}
	}
	return d, nil
}

// fill takes from the brief what a request leaves out.
func (p *Planned) fill(q MeasureRequest) MeasureRequest {
	if q.Capacity == nil {
		c := p.From.Capacity
		q.Capacity, q.Recovery = &c, p.From.Ask.World.Form
	}
	if q.Rider.Mass == 0 {
		q.Rider.Mass = p.From.Ask.World.RiderMass
	}
	if w := p.From.Ask.World; q.Profile == nil && w.Sketch == nil && len(w.Profile.Distance) > 1 {
		profile := w.Profile
		q.Profile = &profile
	}
	return q
}

// fitRoad learns drag and rolling, where the course is known.
func (d *Debrief) fitRoad(q Request, ride MeasureRequest, s *seconds) {
	road := *q.Road
	if len(road.Rows) == 0 {
		p, ok := s.profile(ride.Profile)
		if !ok {
			d.Measures.unsaid("The road: cannot say, because neither a course nor altitudes are known.")
			return
		}
		road.Rows = s.roadRows(p)
	}
	f := FitRoad(road)
	d.Road = &f
}

// learn fills what the ride taught of the rider; the error is that of Weigh.
func (d *Debrief) learn(q Request, s *seconds) error {
	if q.Learn != nil && d.Measures.Best != nil {
		learn := *q.Learn
		learn.Watts, learn.Best = s.filled(), d.Measures.Best
		learnt := Learn(learn)
		d.Learnt = &learnt
	}
	if q.Weighing != nil {
		weighed, err := Weigh(*q.Weighing)
		if err != nil {
			return fmt.Errorf("weighing: %w", err)
		}
		d.Weighed = &weighed
	}
	if t := q.Training; t != nil && len(t.Loads) > 0 {
		with := *t
		with.Loads = slices.Clone(t.Loads)
		with.Loads[len(with.Loads)-1] += d.Measures.LoadTh.Mean
		calendar := with.Respond()
		d.Response = &calendar
	}
	return nil
}
