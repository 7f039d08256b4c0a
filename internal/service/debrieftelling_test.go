package service

import (
	"testing"

	"chainline/capacity"
)

// Efforts that say nothing beside another are not carried on, but one of equal
// ones is, and so is every answer.
func TestDebriefTelling(t *testing.T) {
	e := func(date string, seconds, watts float64, harder capacity.Harder) capacity.Evidence {
		return capacity.Evidence{Kind: capacity.RideEffort, Date: date, Duration: seconds, Watts: watts, Harder: harder}
	}
	all := []capacity.Evidence{
		e("2026-01-01", 600, 250, capacity.HarderUnknown), // stronger, but of long ago
		e("2026-03-01", 600, 200, capacity.HarderUnknown), // the same as the next
		e("2026-03-02", 600, 200, capacity.HarderUnknown),
		e("2026-03-03", 300, 190, capacity.HarderUnknown), // shorter and weaker than the last
		e("2026-03-04", 300, 180, capacity.HarderLittle),
		e("2026-03-05", 1200, 150, capacity.HarderUnknown),
	}
	got := telling(all)
	want := []int{0, 2, 4, 5}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, w := range want {
		if got[i] != all[w] {
			t.Errorf("%d: %+v, wanted %+v", i, got[i], all[w])
		}
	}
	many := make([]capacity.Evidence, 100)
	for i := range many {
		many[i] = e("2026-03-01", float64(100+i), float64(300-i), capacity.HarderUnknown)
	}
	if got := telling(many); len(got) != mostTelling || got[len(got)-1] != many[99] {
		t.Errorf("%d", len(got))
	}
}
