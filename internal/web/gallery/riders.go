package gallery

import "chainline/internal/web"

func riders() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/riders"} }
	known := &web.RiderPage{Base: base("Ilse"), ID: "r1", Facts: []web.RiderFact{{Label: "Critical power", Value: "252 W", Range: "242 to 261"}, {Label: "Threshold", Value: "237 W", Range: "226 to 248"}},
		CurveRows: []web.CurveRow{{Time: "5 min", Watts: "301 W", Low: "290", High: "312"}, {Time: "20 min", Watts: "265 W", Low: "255", High: "275"}}, Unplaced: []string{"heart rate at an easy effort"}, Rests: "From 3 maximal tests.", Warnings: []string{"The longest test lasted 8 minutes."},
		Evidence: []web.RiderEvidence{{Place: "0", What: "3 min maximal test, 334 W", When: "4 November 2026", Used: "as the power held for 3 min"}, {Place: "1", What: "The best of a ride", Used: "left out by you", LeftOut: true}},
		Next:     "If you want to know more: an even hour.", Health: []string{"You are ill: rest until you are well."}, Asked: true, AskedOn: "2 March 2026", AskAgain: true, Offered: "For now only what the answers allow is suggested."}
	drop := web.NewEvidenceForm("r1", "Ilse", "0", "hill", map[string]string{"evidence.0.duration_s": "11:10 min"}, map[string]string{"evidence.0.length_m": "How long is it?"}, 0, false)
	kinds := &web.RiderFormPage{Base: base("What is known of Ilse"), Intro: "Choose what you know.", Leave: "/riders/r1", Form: web.NewForm("", nil, nil),
		Kinds: []web.RiderKind{{Path: "/riders/r1/evidence/new?kind=hill", Name: "The time up a hill you know", Says: "Its length and ascent."}}}
	return []web.State{
		{Name: "riders-empty", Page: &web.RidersPage{Base: base("Riders"), Empty: web.Empty{Says: "There is no rider yet.", Why: "What you weigh is enough.", Path: "/riders/new", Link: "Add yourself"}}},
		{Name: "riders", Page: &web.RidersPage{Base: base("Riders"), Riders: []web.RiderLine{{ID: "r1", Name: "Ilse", Says: "61.5 kg, races.", Demo: true}}}},
		{Name: "rider", Page: known},
		{Name: "rider-unread", Page: &web.RiderPage{Base: base("Ilse"), ID: "r1", Wrong: "rider:1: mass_kg: missing"}},
		{Name: "rider-new", Page: web.NewRiderForm("", "", "new", nil, nil, 0)},
		{Name: "rider-new-wrong", Page: web.NewRiderForm("", "", "new", map[string]string{"mass_kg": "much"}, map[string]string{"mass_kg": "Found much; expected a mass like 68 kg."}, 0)},
		{Name: "rider-change", Page: web.NewRiderForm("r1", "Ilse", "change", map[string]string{"name": "Ilse", "mass_kg": "61.5"}, nil, 0)},
		{Name: "rider-health", Page: web.NewRiderForm("r1", "Ilse", "health", nil, nil, 0)},
		{Name: "rider-evidence-kinds", Page: kinds},
		{Name: "rider-evidence", Page: drop},
	}
}
