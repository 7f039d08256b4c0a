package service

import (
	"fmt"
	"math"

	"chainline/estimate"
	"chainline/race"
)

// What a list of riders says of each in one line. W/kg of others are not shown
// there, so all of it is in watts.

// inOneLine says why this category, and how sure it is that it is the rider's.
func (s *RaceSheet) inOneLine(m race.Me, a race.Advice, outlooks []race.Outlook) {
	s.Newcomer, s.Source = m.New, m.Source
	if a.Index < 0 {
		s.Reason = "No field of this event is open by what is known."
		return
	}
	o := outlooks[a.Index]
	s.Sure = sureOf(o.Standing)
	others := m
	others.New = false
	bold := race.Advise(others, outlooks)
	s.Steered = m.New && bold.Index != a.Index
	held := fmt.Sprintf("with the front group in %s of the races", estimate.Chance(o.Chance))
	next, easier := -1, -1
	for i, other := range outlooks {
		switch {
		case i == a.Index || other.Standing.Barred != "":
		case other.Standing.Above > 0.5:
			if easier < 0 || asksMore(other.Category, outlooks[easier].Category) {
				easier = i
			}
		case other.Races > 0 && asksMore(other.Category, o.Category) && (next < 0 || asksMore(outlooks[next].Category, other.Category)):
			next = i
		}
	}
	switch {
	case s.Steered:
		s.Reason = fmt.Sprintf("New to races, so the friendlier field: %s; in '%s' in %s.", held, bold.Enter, estimate.Chance(outlooks[bold.Index].Chance))
	case m.New && next >= 0:
		s.Reason = fmt.Sprintf("New to races: %s; in '%s' only in %s.", held, outlooks[next].Category.Name, estimate.Chance(outlooks[next].Chance))
	case easier >= 0 && next >= 0:
		s.Reason = fmt.Sprintf("Above the limit of '%s'; here %s, in '%s' in %s.", outlooks[easier].Category.Name, held, outlooks[next].Category.Name, estimate.Chance(outlooks[next].Chance))
	case easier >= 0:
		s.Reason = fmt.Sprintf("Above the limit of '%s'; here %s.", outlooks[easier].Category.Name, held)
	case next >= 0:
		s.Reason = fmt.Sprintf("Here %s, in '%s' in %s.", held, outlooks[next].Category.Name, estimate.Chance(outlooks[next].Chance))
	default:
		s.Reason = fmt.Sprintf("Here %s; nothing harder is open.", held)
	}
}

// sureOf is a standing in a few words, in watts.
func sureOf(s race.Standing) string {
	w := math.Abs(s.MarginW)
	switch {
	case math.IsInf(s.MarginW, 0):
		return "it has no limits"
	case s.MarginW >= 0:
		return fmt.Sprintf("%.0f W inside its limits, %s sure", w, estimate.Chance(s.Inside))
	case s.Inside > s.Above && s.Inside > 0.5:
		return fmt.Sprintf("inside by its power floor, %s sure", estimate.Chance(s.Inside))
	case s.Above > 0.5:
		return fmt.Sprintf("%.0f W above its limit, %s sure", w, estimate.Chance(s.Above))
	}
	return fmt.Sprintf("%.0f W below its limits, %s sure; riding up is usually allowed", w, estimate.Chance(1-s.Above-s.Inside))
}

// asksMore tells whether a category is for stronger riders than another.
func asksMore(a, b race.Category) bool {
	top := func(c race.Category) float64 {
		if c.Max <= 0 {
			return math.Inf(1)
		}
		return c.Max
	}
	if top(a) != top(b) {
		return top(a) > top(b)
	}
	return a.Min > b.Min
}
