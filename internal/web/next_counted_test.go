package web

import (
	"testing"
	"time"

	"chainline/internal/service"
)

// Only rides that were really ridden, once, and that the rider lets count, are
// a newcomer's first ones.
func TestWhichRidesAreFirst(t *testing.T) {
	at := time.Date(2026, 12, 14, 18, 30, 0, 0, time.FixedZone("", 3600))
	day := time.Date(2026, 12, 14, 0, 0, 0, 0, time.UTC)
	good := map[string]service.RideRow{
		"easy":  {Title: "Evening", Start: at, Dated: true, Seconds: 1800, Share: 0.6},
		"test":  {Title: "Talk test", Start: at, Dated: true, Seconds: 1440, Share: 0.9},
		"group": {Title: "Harbour Ridge", Start: at, Dated: true, Seconds: 1800, Share: 0.9, GroupS: 1200},
	}
	done := firstDone{true, day}
	want := map[string]riddenFirst{"easy": {easy: done}, "test": {test: done}, "group": {group: done}}
	for what, row := range good {
		if got := riddenFirstOf([]service.RideRow{row}); got != want[what] {
			t.Fatalf("a good %s ride: %+v", what, got)
		}
		for why, not := range map[string]func(*service.RideRow){
			"left out on purpose":            func(r *service.RideRow) { r.Left = true },
			"ridden on a simulated rig":      func(r *service.RideRow) { r.Bench = true },
			"recorded by another device too": func(r *service.RideRow) { r.Repeats = "abc" },
		} {
			out := row
			not(&out)
			if got := riddenFirstOf([]service.RideRow{out}); got != (riddenFirst{}) {
				t.Errorf("a %s ride that was %s counts: %+v", what, why, got)
			}
			// nor does it move the day of one that counts
			out.Start = at.AddDate(0, 0, -5)
			if got := riddenFirstOf([]service.RideRow{out, row}); got != want[what] {
				t.Errorf("a %s ride that was %s moves the day: %+v", what, why, got)
			}
		}
	}
	// what is no such ride, just so
	for what, change := range map[string]func(*service.RideRow){
		"too short for an easy ride": func(r *service.RideRow) { r.Seconds = easyLeastS - 1 },
		"too hard for an easy ride":  func(r *service.RideRow) { r.Share = easyShare + 0.01 },
	} {
		row := good["easy"]
		if change(&row); riddenFirstOf([]service.RideRow{row}).easy.did {
			t.Errorf("%s: %+v", what, row)
		}
	}
	short, alone := good["test"], good["group"]
	short.Seconds, alone.GroupS = testLeastS-1, groupLeastS-1
	if got := riddenFirstOf([]service.RideRow{short, alone}); got != (riddenFirst{}) {
		t.Errorf("a test cut short and a ride with minutes among others: %+v", got)
	}
	// by what the rider said, where no watts were shown
	said := service.RideRow{Title: "Evening", Seconds: 1800, Answer: "much"}
	if got := riddenFirstOf([]service.RideRow{said}); !got.easy.did || !got.easy.day.IsZero() {
		t.Errorf("much was left, on a day that nobody knows: %+v", got)
	}
	said.Title, said.Answer = "Easy baseline", "no"
	if riddenFirstOf([]service.RideRow{said}).easy.did {
		t.Error("an easy session ridden as hard as it went is easy")
	}
	// the first of several counts, and a day that is known before one that is not
	first := good["easy"]
	first.Start = at.AddDate(0, 0, -3)
	undated := good["easy"]
	undated.Dated, undated.Start = false, at.AddDate(0, 0, -10)
	if got := riddenFirstOf([]service.RideRow{undated, good["easy"]}); !got.easy.day.Equal(day) {
		t.Errorf("a day that is known: %+v", got.easy)
	}
	if got := riddenFirstOf([]service.RideRow{good["easy"], undated, first}); !got.easy.day.Equal(day.AddDate(0, 0, -3)) {
		t.Errorf("the first: %+v", got.easy)
	}
}
