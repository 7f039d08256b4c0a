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
}

// Request is everything a debrief is made from.
type Request struct {
	Ride MeasureRequest
	// Planned is the brief it was ridden by; nil: none. With it, the capacity,
	// recovery, mass and course that the ride's request leaves out are those of
	// the brief.
	Planned *Planned
	Actual  Actual
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
	if q.Planned != nil {
		outdoors := !strings.HasPrefix(r.Sport, "indoor")
		if d.Against, err = against(ctx, *q.Planned, q.Actual, s, outdoors); err != nil {
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
