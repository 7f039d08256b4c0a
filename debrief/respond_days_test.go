package debrief

import (
	"math"
	"strings"
	"testing"
)

// weeks of a usual rhythm: hard, easy, steady, hard, easy, steady, rest.
func rhythm(weeks int) (loads []float64) {
	for range weeks {
		loads = append(loads, 1.2, 0.4, 0.7, 1.2, 0.4, 0.7, 0)
	}
	return loads
}

func TestCalendar(t *testing.T) {
	c := Training{First: 100, Loads: rhythm(10), Seed: 1}.Respond()
	if len(c.Days) != 70 || c.Days[69].Day != 169 || len(c.Weeks) != 10 || math.Abs(c.Weeks[9].Load-4.6) > 1e-9 || c.Weeks[0].FirstDay != 100 || c.Caution != "" || c.Basis == "" {
		t.Errorf("%d days, weeks %+v, caution %q", len(c.Days), c.Weeks, c.Caution)
	}
	last := c.Days[69]
	if !(last.Fitness.Low80 < last.Fitness.Mean && last.Fitness.Mean < last.Fitness.High80) || math.Abs(last.Fitness.Mean-4.6/7) > 0.1 {
		t.Errorf("%+v", last)
	}
	if len(c.Next) != aheadDays {
		t.Errorf("%d suggestions", len(c.Next))
	}
	if empty := (Training{}).Respond(); len(empty.Days) != 0 || len(empty.Next) != 0 {
		t.Errorf("%+v", empty)
	}
	one := Training{Loads: []float64{0.5}}.Respond()
	if len(one.Days) != 1 || len(one.Next) != aheadDays {
		t.Errorf("one day: %+v", one)
	}
}

// A week well above the four before brings a caution and easy days; one a
// little above does not.
func TestWeeklyRise(t *testing.T) {
	fast := append(rhythm(6), 1.6, 1.1, 1.2, 1.6, 1.1, 1.2, 0)
	c := Training{Loads: fast}.Respond()
	if !strings.Contains(c.Caution, "70 % more") || !strings.Contains(c.Caution, "No limit is known") {
		t.Error(c.Caution)
	}
	if c.Next[0].Kind != "easy" {
		t.Errorf("%+v", c.Next[0])
	}
	slow := append(rhythm(6), 1.3, 0.5, 0.8, 1.3, 0.5, 0.8, 0)
	if c := (Training{Loads: slow}).Respond(); c.Caution != "" {
		t.Error(c.Caution)
	}
}

// Suggestions fit what lies ahead and what lies behind, with their reason.
func TestSuggestions(t *testing.T) {
	week := func(loads []float64, events ...Event) (kinds []string, all []Suggestion) {
		all = Training{Loads: loads, Events: events}.Respond().Next
		for _, s := range all {
			kinds = append(kinds, s.Kind)
			if s.Reason == "" || s.Load < 0 || s.Load > 4 {
				t.Errorf("%+v", s)
			}
		}
		return kinds, all
	}
	loads := rhythm(8) // today is day 55
	kinds, all := week(loads, Event{Day: 59, Name: "Autumn hill climb", Load: 1.8})
	if kinds[3] != "event" || kinds[2] != "easy" || kinds[1] != "rest" || kinds[4] != "rest" || all[3].Load != 1.8 || !strings.Contains(all[0].Reason, "Autumn hill climb is in 3 days") {
		t.Errorf("before and after an event: %+v", all)
	}
	calm, _ := week(loads)
	for i := 1; i < len(calm); i++ {
		if calm[i] == "hard" && calm[i-1] == "hard" {
			t.Errorf("two hard days in a row: %v", calm)
		}
	}
	if !strings.Contains(strings.Join(calm, " "), "hard") {
		t.Errorf("a usual week without a hard day: %v", calm)
	}
	_, far := week(loads, Event{Day: 66, Name: "Autumn hundred", Load: 4})
	tapers := 0
	for _, s := range far {
		if strings.Contains(s.Reason, "about half the load") {
			tapers++
		}
	}
	if tapers < 4 {
		t.Errorf("ten days before a big event: %+v", far)
	}
	rested := append(rhythm(6), make([]float64, 10)...)
	if back, all := week(rested); back[0] != "easy" || !strings.Contains(all[0].Reason, "11 days without") || all[0].Load < 0.25 || strings.Contains(strings.Join(back, " "), "hard") {
		t.Errorf("after a break: %+v", all)
	}
	daily := append(rhythm(6), 0.6, 0.6, 0.6, 0.6, 0.6, 0.6)
	if k, _ := week(daily); k[0] != "rest" {
		t.Errorf("after six days in a row: %v", k)
	}
}
