package gallery

import (
	"chainline/capacity"
	"chainline/estimate"
	"chainline/internal/service"
	"chainline/internal/web"
)

// curve is that of a rider known by three tests, a hill, and a best that is
// left out.
func curve(p *web.RiderPage) *web.RiderPage {
	k := service.Known{Shown: true, Rider: capacity.Rider{Mass: 61.5, Level: capacity.Racer, Evidence: []capacity.Evidence{
		{Kind: capacity.MaximalTest, Duration: 180, Watts: 334}, {Kind: capacity.MaximalTest, Duration: 420, Watts: 288},
		{Kind: capacity.MaximalTest, Duration: 900, Watts: 268}, {Kind: capacity.HillTime, Duration: 1300, Length: 6200, Ascent: 360}}},
		LeftOut: []capacity.Evidence{{Kind: capacity.BestEffort, Duration: 1200, Watts: 231}}}
	k.Learnt, k.Account = capacity.Infer(k.Rider, capacity.Source{}, estimate.Stream(1, 1))
	k.Capacity = k.Learnt.Displayed
	p.Curve, p.CurveRows = web.RiderCurve(k)
	p.Strokes = true
	return p
}

func riders() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/riders"} }
	known := &web.RiderPage{Base: base("Ilse"), ID: "r1", Facts: []web.RiderFact{{Label: "Critical power", Value: "252 W", Range: "242 to 261"}, {Label: "Threshold", Value: "237 W", Range: "226 to 248"}},
		Unplaced: []string{"heart rate at an easy effort"}, Rests: "From three maximal tests and a hill time.", Warnings: []string{"The longest test lasted 15 minutes."},
		Evidence: []web.RiderEvidence{{Place: "0", What: "3 min maximal test, 334 W", When: "4 November 2026", Used: "as the power held for 3 min"}, {Place: "1", What: "The best of a ride", Used: "left out by you", LeftOut: true}},
		Next:     "If you want to know more: an even hour.", Health: []string{"You are ill: rest until you are well."}, Asked: true, AskedOn: "2 March 2026", AskAgain: true, Offered: "For now only what the answers allow is suggested."}
	drop := web.NewEvidenceForm("r1", "Ilse", "0", "hill", map[string]string{"evidence.0.duration_s": "11:10 min"}, map[string]string{"evidence.0.length_m": "How long is it?"}, 0, false)
	kinds := &web.RiderFormPage{Base: base("What is known of Ilse"), Intro: "Choose what you know.", Leave: "/riders/r1", Form: web.NewForm("", nil, nil),
		Kinds: []web.RiderKind{{Path: "/riders/r1/evidence/new?kind=hill", Name: "The time up a hill you know", Says: "Its length and ascent."}}}
	return []web.State{
		{Name: "riders-empty", Page: &web.RidersPage{Base: base("Riders"), Empty: web.Empty{Says: "There is no rider yet.", Why: "What you weigh is enough.", Path: "/riders/new", Link: "Add yourself"}}},
		{Name: "riders", Page: &web.RidersPage{Base: base("Riders"), Riders: []web.RiderLine{{ID: "r1", Name: "Ilse", Says: "61.5 kg, races.", Demo: true}}}},
		{Name: "rider", Page: curve(known)},
		{Name: "rider-unread", Page: &web.RiderPage{Base: base("Ilse"), ID: "r1", Wrong: "rider:1: mass_kg: missing"}},
		{Name: "rider-new", Page: web.NewRiderForm("", "", "new", nil, nil, 0)},
		{Name: "rider-new-wrong", Page: web.NewRiderForm("", "", "new", map[string]string{"mass_kg": "much"}, map[string]string{"mass_kg": "Found much; expected a mass like 68 kg."}, 0)},
		{Name: "rider-change", Page: web.NewRiderForm("r1", "Ilse", "change", map[string]string{"name": "Ilse", "mass_kg": "61.5"}, nil, 0)},
		{Name: "rider-health", Page: web.NewRiderForm("r1", "Ilse", "health", nil, nil, 0)},
		{Name: "rider-evidence-kinds", Page: kinds},
		{Name: "rider-evidence", Page: drop},
	}
}
