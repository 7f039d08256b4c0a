package debrief

import (
	"math"
	"strings"
	"testing"

	"chainline/room"
)

// One weighing of 1.40 l/h (75 kg before, 74.1 kg after, 0.5 l drunk in an
// hour) pulls the expected rate towards it and narrows it: the normal update
// by hand; many weighings of another rate win.
func TestWeigh(t *testing.T) {
	q := Weighing{Room: room.Room{Temperature: 21, TemperatureKnown: true, Openings: room.Closed}, Body: room.Body{Mass: 75}, Next: room.Effort{Watts: 200, Seconds: 3600},
		Scales: room.SweatMeasurement{BeforeKg: 75, AfterKg: 74.1, DrinkL: 0.5, Seconds: 3600}}
	w, err := Weigh(q)
	if err != nil || math.Abs(w.RateLPerH-1.40) > 1e-9 || math.Abs(w.ChangePercent+1.2) > 1e-9 || w.Caution != "" {
		t.Fatalf("%+v, %v", w, err)
	}
	median := func(i Interval) float64 { return math.Sqrt(i.Low80 * i.High80) }
	width := func(i Interval) float64 { return math.Log(i.High80/i.Low80) / (2 * 1.2815515655446004) }
	a, b := w.Before.SweatLPerH, w.After.SweatLPerH
	prior, scales := 1/(width(a)*width(a)), 1/(0.20*0.20)
	if want := math.Exp((prior*math.Log(median(a)) + scales*math.Log(1.40)) / (prior + scales)); math.Abs(median(b)-want) > 1e-6 {
		t.Errorf("median %.4f l/h, by hand %.4f", median(b), want)
	}
	if want := 1 / math.Sqrt(prior+scales); math.Abs(width(b)-want) > 1e-6 || !(width(b) < 0.6*width(a)) {
		t.Errorf("sd of the logarithm %.4f, by hand %.4f, before %.4f", width(b), want, width(a))
	}
	if !(w.After.LossL.High80-w.After.LossL.Low80 < w.Before.LossL.High80-w.Before.LossL.Low80) || w.After.DrinkHigh > w.After.LossL.Low80 || w.After.Drink == "" {
		t.Errorf("next ride: %+v, before %+v", w.After, w.Before)
	}
	t.Log(w.Sentence)
}

func TestWeighCautions(t *testing.T) {
	q := Weighing{Room: room.Room{Temperature: 24, TemperatureKnown: true}, Body: room.Body{Mass: 70}, Next: room.Effort{Watts: 180, Seconds: 5400},
		Scales: room.SweatMeasurement{BeforeKg: 70, AfterKg: 70.6, DrinkL: 1.8, Seconds: 5400}}
	if w, err := Weigh(q); err != nil || !strings.Contains(w.Caution, "more than you lost") {
		t.Errorf("gained: %+v, %v", w, err)
	}
	q.Scales = room.SweatMeasurement{BeforeKg: 70, AfterKg: 68.1, Seconds: 5400}
	if w, err := Weigh(q); err != nil || !strings.Contains(w.Caution, "2.7 %") {
		t.Errorf("lost: %+v, %v", w, err)
	}
	q.Scales.AfterKg = 7
	if _, err := Weigh(q); err == nil {
		t.Error("7 kg after the ride")
	}
}
