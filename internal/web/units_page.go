package web

import (
	"context"
	"strings"

	"chainline/internal/form"
	"chainline/internal/store"
)

// Sentences of the packages that reckon are metric: what a fan must blow, where
// a climb begins, from which speed a wheel coasted. Pages that show them are
// restated whole for whoever chose other units. Pages that only ask, or that
// say everything in the chosen units anyhow, are not among them.
func spokenInMetric(p Page) bool {
	switch p.(type) {
	case *NextPage, *RiderPage, *RidersPage, *CoursePage, *CheckReportPage, *DebriefPage, *SeasonPage, *CoachPage, *LearntPage,
		*ReadyPage, *RaceResultsPage, *RacesPage, *RacingPage, *RacingRiderPage, *RaceSheetPage, *StartsPage, *StartPage, *CompanyPage, *RideBriefPage:
		return true
	case *RidePage:
		return p.(*RidePage).Sum != nil // not while it is ridden: that page moves
	}
	return false
}

// restated is a page in somebody's units. What people called things, and what
// they typed, stays.
func (s *Server) restated(ctx context.Context, body string, p Page, u form.Units) (string, error) {
	head, rest, ok := strings.Cut(body, "<main")
	main, foot, closed := strings.Cut(rest, "</main>")
	if u == asFiled || !ok || !closed || !spokenInMetric(p) {
		return body, nil
	}
	names := []string{p.base().Title}
	for _, kind := range store.Kinds {
		all, err := s.store.Objects(ctx, kind)
		if err != nil {
			return "", err
		}
		for _, o := range all {
			names = append(names, o.Name)
			if o.Original != nil {
				names = append(names, o.Original.Filename)
			}
		}
	}
	return head + inUnits("<main"+main+"</main>", u, names...) + foot, nil
}

// wheelIn is what to hold with wheel speeds in somebody's units.
func (v *RideView) wheelIn(u form.Units) {
	for _, ask := range [][2]*string{{&v.Big, &v.Unit}, {&v.ThenBig, &v.ThenUnit}} {
		if number, unit, ok := strings.Cut(u.Words(*ask[0]+" "+*ask[1]), " "); ok && strings.HasPrefix(*ask[1], "km/h") {
			*ask[0], *ask[1] = number, unit
		}
	}
	v.Now, v.Then, v.Extra = u.Words(v.Now), u.Words(v.Then), u.Words(v.Extra)
}
