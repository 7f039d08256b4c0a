package service

import (
	"math"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/race"
)

// A newcomer is steered to the friendlier field where others like them would be
// sent into the harder one; the line says so, without W/kg.
func TestNewcomersAreSteeredAndTold(t *testing.T) {
	ebb, tide, swell := race.Category{Name: "ebb", Max: 2.6}, race.Category{Name: "tide", Min: 2.1, Max: 3.1}, race.Category{Name: "swell", Min: 3.1}
	m := race.Me{Name: "Bo", Capacity: capacity.Fixed(165, 14000, 800), Mass: 70, MassSD: 0.5, Source: "crank"}
	at := func(c race.Category, chance float64) race.Outlook {
		return race.Outlook{Category: c, Standing: c.Stand(m, 1), Races: 180, Chance: chance, ByShelter: [3]float64{chance - 0.1, chance, chance + 0.1}}
	}
	outlooks := []race.Outlook{at(ebb, 0.82), at(tide, 0.61), at(swell, 0.02)}
	for _, isNew := range []bool{false, true} {
		m.New = isNew
		advice := race.Advise(m, outlooks)
		var s RaceSheet
		s.Enter = advice.Enter
		s.inOneLine(m, advice, outlooks)
		want := map[bool]string{false: "tide", true: "ebb"}[isNew]
		if s.Enter != want || s.Steered != isNew || s.Newcomer != isNew {
			t.Errorf("new %v: enters %s, steered %v", isNew, s.Enter, s.Steered)
		}
		if isNew && !strings.HasPrefix(s.Reason, "New to races, so the friendlier field") || !strings.Contains(s.Reason, "82 %") && isNew {
			t.Errorf("new %v: %s", isNew, s.Reason)
		}
		if s.Sure == "" || strings.Contains(s.Sure+s.Reason, "W/kg") {
			t.Errorf("new %v: %q %q", isNew, s.Sure, s.Reason)
		}
	}
}

func TestNobodyIsToldMoreThanIsKnown(t *testing.T) {
	var s RaceSheet
	s.inOneLine(race.Me{}, race.Advice{Index: -1}, nil)
	if !strings.Contains(s.Reason, "No field") {
		t.Error(s.Reason)
	}
	for _, x := range []struct {
		s    race.Standing
		want string
	}{{race.Standing{MarginW: math.Inf(1)}, "no limits"}, {race.Standing{MarginW: 9, Inside: 0.84}, "9 W inside its limits, 84 % sure"},
		{race.Standing{MarginW: -12, Above: 0.9}, "12 W above its limit, 90 % sure"}, {race.Standing{MarginW: -12, Inside: 0.8}, "power floor"}, {race.Standing{MarginW: -12}, "12 W below"}} {
		if got := sureOf(x.s); !strings.Contains(got, x.want) {
			t.Errorf("%q lacks %q", got, x.want)
		}
	}
}
