package debrief

import (
	"math"

	"chainline/recording"
)

// RoadRows lays a recording out for FitRoad: its power, speed and gradient in
// use, one row a second; pauses and what was not measured are NaN. Where no
// gradient was recorded it is what altitude changed over the way of ten
// seconds. company tells of a second of the recording whether anybody was near;
// nil: not known. The error is that of Recording.Rows.
//
// A ride on our own road goes by our own physics, so that its fit gives the
// road's numbers back: a check, not news.
func RoadRows(r *recording.Recording, company func(second float64) Company) ([]RoadRow, error) {
	t, err := r.Rows(1)
	if err != nil {
		return nil, err
	}
	watts, speed, gradient := t.Column(recording.Power), t.Column(recording.Speed), t.Column(recording.Gradient)
	if gradient == nil {
		gradient = byAltitude(t.Column(recording.Altitude), speed)
	}
	at := func(v []float64, k int) float64 {
		if v == nil || t.Paused[k] {
			return math.NaN()
		}
		return v[k]
	}
	rows := make([]RoadRow, len(t.Seconds))
	for k, s := range t.Seconds {
		rows[k] = RoadRow{Watts: at(watts, k), Speed: at(speed, k), Gradient: at(gradient, k)}
		if company != nil {
			rows[k].Company = company(s)
		}
	}
	return rows, nil
}

// byAltitude is the gradient over the five seconds before and after each row.
func byAltitude(altitude, speed []float64) []float64 {
	if altitude == nil || speed == nil {
		return nil
	}
	const reach = 5
	out := make([]float64, len(altitude))
	for k := range out {
		out[k] = math.NaN()
		if k < reach || k+reach >= len(out) {
			continue
		}
		way := 0.0
		for _, v := range speed[k-reach+1 : k+reach+1] {
			way += v
		}
		if way > 0 {
			out[k] = (altitude[k+reach] - altitude[k-reach]) / way
		}
	}
	return out
}
