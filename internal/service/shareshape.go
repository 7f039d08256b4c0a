package service

import (
	"context"
	"math"

	"chainline/recording"
)

// RideShape is the watts of a ride as it is looked at, means of equal pieces of
// it, gaps as nothing; empty if it has no power.
func (a *App) RideShape(ctx context.Context, rideID string, pieces int) ([]float64, error) {
	k, err := a.ride(ctx, rideID)
	if err != nil {
		return nil, err
	}
	got, err := a.recording(k)
	if err != nil {
		return nil, err
	}
	rec, _ := cleanedBut(&got.Recording, k.said.Undone)
	return Shape(rec, pieces), nil
}

// Shape is the watts of a recording, means of equal pieces of it, gaps as
// nothing; empty if it has no power.
func Shape(rec *recording.Recording, pieces int) []float64 {
	if rec == nil {
		return nil
	}
	c, ok := rec.Signal(recording.Power, "")
	end := rec.End()
	if !ok || !(end > 0) || pieces < 1 || len(c.Seconds) < 2 {
		return nil
	}
	sum, n := make([]float64, pieces), make([]float64, pieces)
	for i, s := range c.Seconds {
		if v := c.Values[i]; s >= 0 && !math.IsNaN(v) {
			at := min(pieces-1, int(s/end*float64(pieces)))
			sum[at], n[at] = sum[at]+v, n[at]+1
		}
	}
	for i := range sum {
		if n[i] > 0 {
			sum[i] /= n[i]
		}
	}
	return sum
}
