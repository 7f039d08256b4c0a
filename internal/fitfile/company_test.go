package fitfile

import (
	"bytes"
	"math"
	"testing"

	"chainline/recording"
)

// TestActivityInAGroup: that a ride had shelter and help stands in the file and
// is read back, and its distance is what was ridden.
func TestActivityInAGroup(t *testing.T) {
	b := recording.NewBuilder("Together", 1_764_000_000, 0, "indoor cycling")
	for s := 1.0; s <= 600; s++ {
		brought := 0.0
		if s >= 300 {
			brought = 700
		}
		for q, v := range map[recording.Quantity]float64{recording.Power: 200, recording.Speed: 9, recording.Position: 9*s + brought, recording.Shelter: 0.72, recording.Help: 0.5 + 0.5*float64(int(s)%2)} {
			if err := b.Add(q, "ride", s, v); err != nil {
				t.Fatal(err)
			}
		}
		if brought > 0 {
			if err := b.Add(recording.Brought, "ride", s, brought); err != nil {
				t.Fatal(err)
			}
		}
	}
	r := b.Recording(true)
	rides, losses, err := ReadActivity(bytes.NewReader(write(t, &r, Options{})), "x.fit")
	if err != nil || len(rides) != 1 || len(losses) > 0 {
		t.Fatalf("%d rides, %v, %v", len(rides), losses, err)
	}
	got, want := rides[0].Recording, r
	c, ok := got.Company()
	w, _ := want.Company()
	if !ok || math.Abs(c.Shelter-w.Shelter) > 0.006 || math.Abs(c.HelpShare-w.HelpShare) > 0.006 || math.Abs(c.HelpedS-w.HelpedS) > 2 {
		t.Errorf("read back %+v, %v; written %+v", c, ok, w)
	}
	if a, b := got.Totals("").DistanceM, want.Totals("").DistanceM; math.Abs(a-b) > 10 || math.Abs(b-599*9) > 10 {
		t.Errorf("distance %.0f m in the file, %.0f m in the recording, %d m ridden", a, b, 599*9)
	}
}
