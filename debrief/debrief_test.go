package debrief

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/physics"
	"chainline/recording"
	"chainline/room"
)

func TestMake(t *testing.T) {
	p := planned(t)
	r := ridden(t, p, p.From.Ask.World.Road, asPlanned(p, 1.02), p.From.Ask.World.Profile.Length())
	d, err := Make(context.Background(), Request{Ride: MeasureRequest{Recording: r, Seed: 1}, Planned: &p})
	if err != nil {
		t.Fatal(err)
	}
	if d.Title != "a ride" || d.Source != "source" || d.Against == nil || d.Measures.Balance == nil || len(d.Measures.Climbs) != 2 || d.Measures.Whole.WPerKg == 0 {
		t.Errorf("%+v", d)
	}
	text, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"w_balance"`, `"climbs"`, `"cues"`, `"split"`, `"could_be_s"`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %s in the file", want)
		}
	}
	var back Debrief
	if err := json.Unmarshal(text, &back); err != nil {
		t.Error(err)
	}
	near(t, "there and back", back.Against.OffS, d.Against.OffS, 0)
	again, _ := Make(context.Background(), Request{Ride: MeasureRequest{Recording: r, Seed: 1}, Planned: &p})
	if same, _ := json.Marshal(again); string(same) != string(text) {
		t.Error("the same ride has two debriefs")
	}
}

func TestMakeRefuses(t *testing.T) {
	r := record(t, map[recording.Quantity][]float64{recording.Power: blocks(60, 200)})
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Make(gone, Request{Ride: MeasureRequest{Recording: r}}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	r.StartUnix = math.NaN()
	if _, err := Make(context.Background(), Request{Ride: MeasureRequest{Recording: r}}); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("a start that is no time: %v", err)
	}
}

// FuzzMake makes debriefs of recordings of any numbers: they may be refused,
// but nothing panics, and what is made can be written down.
func FuzzMake(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8})
	f.Add([]byte("any text that is long enough to be a ride of some seconds with several channels"))
	f.Add([]byte{0, 255, 0, 255, 128, 7, 0, 0, 0, 1, 1, 1, 255, 255, 255, 255})
	p, err := hill()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b := recording.NewBuilder("", 1, 0, "road cycling")
		quantities := []recording.Quantity{recording.Power, recording.Position, recording.HeartRate, recording.Altitude, recording.Cadence, recording.Target}
		at := 0.0
		for i := 0; i+2 < len(data) && i < 600; i += 3 {
			at += float64(data[i]) / 16
			v := float64(data[i+1])
			if v > 250 {
				v = math.Pow(10, float64(data[i+1]-250)*60) // absurd
			}
			if data[i+2]&0x80 != 0 {
				v = -v
			}
			q := quantities[int(data[i+2]&0x7f)%len(quantities)]
			if q == recording.Position {
				v *= 100
			}
			if data[i+2] == 77 {
				_ = b.Mark(recording.Mark{Seconds: at, Kind: []recording.MarkKind{recording.Lap, recording.Pause, recording.Resume}[data[i]%3]})
			}
			_ = b.Add(q, "any", at, v)
		}
		d, err := Make(context.Background(), Request{Ride: MeasureRequest{Recording: b.Recording(false), RestHeart: 50, Seed: 3}, Planned: &p})
		if err != nil {
			return
		}
		if _, err := json.Marshal(d); err != nil {
			t.Error(err)
		}
	})
}

func TestMakeLearns(t *testing.T) {
	p := planned(t)
	road := p.From.Ask.World.Road
	r := ridden(t, p, road, asPlanned(p, 1), p.From.Ask.World.Profile.Length())
	rider := capacity.Rider{Mass: 70, Age: 36, Evidence: []capacity.Evidence{{Kind: capacity.StatedThreshold, Watts: 231, Source: "hub"}}}
	d, err := Make(context.Background(), Request{Ride: MeasureRequest{Recording: r, Seed: 1}, Planned: &p,
		Training: &Training{Loads: make([]float64, 42), Seed: 1},
		Weighing: &Weighing{Room: room.Room{}, Body: room.Body{Mass: 70}, Scales: room.SweatMeasurement{BeforeKg: 70, AfterKg: 69.6, DrinkL: 0.2, Seconds: 700}, Next: room.Effort{Watts: 220, Seconds: 1800}},
		Learn:    &LearnRequest{Rider: rider, Source: capacity.Source{Name: "hub", SD: 0.02}, Answer: capacity.HarderNo, Seed: 1},
		Road:     &RoadRide{Road: road, RiderMass: 70, MassSD: 0.5, CrrSD: 0.0003, DensitySD: 0.01, TimeTrial: true, StillAir: true}})
	if err != nil {
		t.Fatal(err)
	}
	if d.Learnt == nil || len(d.Learnt.Numbers) == 0 || d.Learnt.Sentence == "" {
		t.Errorf("nothing is learnt: %+v", d.Learnt)
	}
	if d.Road == nil || d.Road.Seconds == 0 {
		t.Errorf("no stretch of the road was looked at: %+v", d.Road)
	}
	if d.Weighed == nil || d.Weighed.RateLPerH <= 0 {
		t.Errorf("the scales taught nothing: %+v", d.Weighed)
	}
	if d.Response == nil || len(d.Response.Days) == 0 || d.Response.Days[41].Load != d.Measures.LoadTh.Mean {
		t.Errorf("the ride is not in the calendar: %+v", d.Response)
	}
	held := d.Against.Held()
	if s := LearnStrays([][]Held{held}); s.Rides != 1 || len(held) == 0 || held[len(held)-1].Into > 1 {
		t.Errorf("of %d cues held: %+v", len(held), s)
	}
	if f, ok := d.Against.Foretold(); !ok || f.Actual != d.Against.RiddenS || f.Predicted.Low80 >= f.Predicted.High80 {
		t.Errorf("%+v", f)
	}
	if _, err := json.Marshal(d); err != nil {
		t.Error(err)
	}
}

func TestRowsByTheCourse(t *testing.T) {
	p := course.Profile{Distance: []float64{0, 100, 200}, Elevation: []float64{0, 0, 10}}
	r := record(t, map[recording.Quantity][]float64{recording.Power: blocks(20, 200), recording.Position: {10, 20, 30, 40, 50, 60, 70, 80, 90, 105, 115, 125, 135, 145, 155, 165, 175, 185, 195, 195}})
	s, err := read(&r, "")
	if err != nil {
		t.Fatal(err)
	}
	rows := s.roadRows(p)
	near(t, "speed", rows[5].Speed, 10, 1e-9)
	near(t, "level", rows[5].Gradient, 0, 1e-9)
	near(t, "over the foot", rows[9].Gradient, 0.5/15, 1e-9)
	near(t, "up", rows[14].Gradient, 0.1, 1e-9)
	near(t, "standing", rows[19].Gradient, 0.1, 1e-9)
	was := physics.Road{CdA: 0.3, Crr: 0.004}
	if (RoadFit{CdA: Fitted{Unsaid: "so"}}).fitted(was) != nil {
		t.Error("a road from what cannot be said")
	}
	fit := RoadFit{CdA: Fitted{Estimate: estimate.Exact(0.28, "")}, Crr: Fitted{Unsaid: "so"}}
	if now := fit.fitted(was); now.CdA != 0.28 || now.Crr != 0.004 {
		t.Errorf("%+v", now)
	}
}

// BenchmarkMeasure is every measure of a five-hour ride with power, heart rate
// and cadence, of a rider whose capacity is in doubt.
func BenchmarkMeasure(b *testing.B) {
	c := capacity.Capacity{CriticalPower: 250, WPrime: 18000, MaxPower: 900, Fade: 5}
	c.Sigma[0][0], c.Sigma[1][1], c.Sigma[2][2] = 10, 3000, 50
	watts := powersOf(18000)["varied"]
	build := recording.NewBuilder("", 1.7e9, 0, "road cycling")
	for i, w := range watts {
		at := float64(i)
		for q, v := range map[recording.Quantity]float64{recording.Power: w, recording.HeartRate: 100 + w/5, recording.Cadence: 88,
			recording.Position: 8 * at, recording.Altitude: 100 + 60*math.Sin(at/900)} {
			if err := build.Add(q, "any", at, v); err != nil {
				b.Fatal(err)
			}
		}
	}
	q := MeasureRequest{Recording: build.Recording(true), Capacity: &c, Rider: capacity.Rider{Mass: 70, Sex: capacity.Male, MaxHeartRate: 190}, RestHeart: 50}
	for b.Loop() {
		if _, err := Measure(q); err != nil {
			b.Fatal(err)
		}
	}
}
