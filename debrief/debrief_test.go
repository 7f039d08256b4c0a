package debrief

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"chainline/recording"
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
