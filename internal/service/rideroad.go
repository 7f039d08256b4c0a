package service

import (
	"context"
	"fmt"
	"strings"
	"time"

	"chainline/debrief"
	"chainline/internal/problem"
	"chainline/internal/store"
)

// RoadOffer is a road fitted to several rides, to be used on purpose.
type RoadOffer struct {
	Fit   debrief.RoadFit `json:"fit"`
	Rides []string        `json:"rides,omitempty"` // IDs of those it is fitted to
	Name  string          `json:"name,omitempty"`
	Text  string          `json:"text,omitempty"` // of the road's file; empty: nothing is offered
	Used  string          `json:"used,omitempty"` // ID of a road that was made of exactly this
}

// tellsRoad: indoors, on a road that somebody else's program reckoned, with
// nobody near. Our own road's rides give back what it was made of.
func (k keptRide) tellsRoad() bool { return k.said.Alone && k.facts.Indoors && k.Live == "" }

// FittedRoad is the road that a rider's rides alone come to. What cannot be
// said stands in the fit.
func (a *App) FittedRoad(ctx context.Context, riderID string) (RoadOffer, error) {
	h, err := a.learn(ctx, riderID, time.Time{}, "", nil)
	if err != nil {
		return RoadOffer{}, err
	}
	var o RoadOffer
	var fits []debrief.RoadFit
	for _, k := range h.rides {
		if k.counts() && k.tellsRoad() && k.learnt.Road != nil {
			fits = append(fits, *k.learnt.Road)
			o.Rides = append(o.Rides, k.ID)
		}
	}
	if o.Fit = debrief.JoinRoads(fits); o.Fit.CdA.Unsaid != "" {
		return o, nil
	}
	rider, err := a.c.Store.Object(ctx, riderID)
	if err != nil {
		return o, err
	}
	o.Name = fmt.Sprintf("Road of %d rides", len(fits))
	var b strings.Builder
	fmt.Fprintf(&b, "name: %q\n", o.Name+", "+problem.OneLine(rider.Name))
	fmt.Fprintf(&b, "cda_m2: %.4f\ncda_sd_m2: %.4f\n", o.Fit.CdA.Mean, max(0.0001, o.Fit.CdA.SD))
	if o.Fit.Crr.Unsaid == "" {
		fmt.Fprintf(&b, "crr: %.5f\ncrr_sd: %.5f\n", o.Fit.Crr.Mean, max(0.00001, o.Fit.Crr.SD))
	}
	o.Text = b.String()
	roads, err := a.c.Store.Objects(ctx, store.Road)
	for _, r := range roads {
		if r.Text == o.Text {
			o.Used = r.ID
		}
	}
	return o, err
}

// UseFittedRoad keeps the fitted road among the roads, so that briefs may be
// made on it; deleting that road takes it back.
func (a *App) UseFittedRoad(ctx context.Context, riderID string) (roadID string, err error) {
	o, err := a.FittedRoad(ctx, riderID)
	switch {
	case err != nil:
		return "", err
	case o.Text == "":
		return "", problem.Bad("no road can be fitted: %s", o.Fit.CdA.Unsaid)
	case o.Used != "":
		return o.Used, nil
	}
	put, err := a.c.Store.Put(ctx, store.Object{Kind: store.Road, Name: o.Name, Text: o.Text})
	return put.ID, err
}
