package recording

import (
	"math"
	"testing"
)

func TestCompanyOfARide(t *testing.T) {
	b := NewBuilder("x", 1e9, 0, "indoor cycling")
	for s := 1.0; s <= 10; s++ {
		help := 1.0
		if s > 6 {
			help = 0.5
		}
		brought := 0.0
		if s >= 4 {
			brought = 300
		}
		for q, v := range map[Quantity]float64{Position: 10*s + brought, Shelter: 0.8, Help: help} {
			if err := b.Add(q, "ride", s, v); err != nil {
				t.Fatal(err)
			}
		}
		if brought > 0 {
			if err := b.Add(Brought, "ride", s, brought); err != nil {
				t.Fatal(err)
			}
		}
	}
	r := b.Recording(true)
	c, ok := r.Company()
	if want := (Company{10, 0.8, 4, 0.5, 300}); !ok || math.Abs(c.Shelter-want.Shelter) > 1e-9 || c.HelpedS != want.HelpedS || c.HelpShare != want.HelpShare || c.BroughtM != want.BroughtM || c.Seconds != want.Seconds {
		t.Errorf("%+v, want %+v", c, want)
	}
	if d := r.Totals("").DistanceM; math.Abs(d-90) > 1e-9 {
		t.Errorf("distance %.1f m, 90 m were ridden after the first second", d)
	}
	none := NewBuilder("x", 1e9, 0, "indoor cycling")
	alone := none.Recording(true)
	if _, ok := alone.Company(); ok {
		t.Error("a ride alone had company")
	}
}
