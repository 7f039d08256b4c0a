package gallery

import (
	_ "embed"

	"chainline/internal/web"
)

// briefPage is the body of a brief's page as the command writes it for the
// demo's racer.
//
//go:embed brief-page.html
var briefPage []byte

func briefs() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/briefs"} }
	sheet, err := web.BriefSheet(briefPage)
	if err != nil {
		panic(err)
	}
	one := []web.Option{{Value: "a", Label: "Ilse Verdonk"}}
	choices := map[web.Kind][]web.Option{"rider": one, "rig": {{Value: "b", Label: "Cool room"}}, "course": {{Value: "c", Label: "Two Mills"}},
		"road": {{Value: "d", Label: "Club road bike"}}, "event": {{Value: "e", Label: "Two Mills Tuesday"}}}
	now := map[string]string{"temperature": "18", "fans": "one pedestal fan, 0.8 m away, high", "mass": "61.5", "style": "normal"}
	typed := map[string]string{"temperature": "hot", "fans": "one whale", "mass": "61.5", "style": "normal"}
	errs := map[string]string{"temperature": "“hot” is not a number; write one from -10 to 50 °C, or leave it empty.", "fans": "The word “whale” is not known here; write it like “one pedestal fan, a metre away, high”, or “no fan”."}
	page := func(values, errs map[string]string) *web.BriefPage {
		p := web.NewBriefPage("x1", "Two Mills Tuesday", values, errs, 0)
		p.Sheet = sheet
		return p
	}
	moved := page(now, nil)
	moved.Asked = true
	moved.Moved = []web.BriefMoved{{What: "Finish, most likely", Before: "38:27", After: "38:51", By: "24 s later"}, {What: "Four times out of five", Before: "37:40 to 39:16", After: "37:55 to 40:02"},
		{What: "The room at the end", Before: "22.4 °C", After: "28.1 °C"}}
	still := page(now, nil)
	still.Asked = true
	still.Newer, still.Again = "Cool room and Ilse Verdonk", "/briefs/new?rider=a&rig=b&course=c"
	moving := page(now, nil)
	moving.Asked, moving.Moving = true, &web.BriefMoving{Job: "j1", Doing: "finding the fastest ride", Since: "3 s"}
	stays := &web.BriefPage{Base: base("Two Mills Tuesday"), ID: "x1", Sheet: sheet, Why: "What this brief was made from is not all here any more, so it stays as it is."}
	return []web.State{
		{Name: "briefs-empty", Page: &web.BriefsPage{Base: base("Briefs"), Empty: web.Empty{Says: "There is no brief yet.", Why: "A brief is the sheet you take to the start.", Path: "/briefs/new", Link: "Make a brief"}}},
		{Name: "briefs", Page: &web.BriefsPage{Base: base("Briefs"), Briefs: []web.BriefRow{{ID: "x1", Title: "Two Mills Tuesday", For: "Ilse Verdonk, Two Mills", Made: "25 November 2026", Demo: true},
			{ID: "x2", Title: "The long way round by the reservoir and over the moor", For: "Maren", Made: "3 November 2026"}}}},
		{Name: "brief-new", Page: web.NewBriefNewPage(choices, map[string]string{"style": "normal"}, nil)},
		{Name: "brief-new-missing", Page: web.NewBriefNewPage(map[web.Kind][]web.Option{"rider": one}, nil, nil)},
		{Name: "brief-new-wrong", Page: web.NewBriefNewPage(choices, map[string]string{"date": "2026-12-02", "style": "mad"}, map[string]string{"rider": "That rider is not there any more; choose another.", "date": "That is no day; write one like 2026-12-03.", "style": "Choose one of these.", "": "The course cannot be ridden."})},
		{Name: "brief-making", Page: &web.BriefMakingPage{Base: base("Your brief is being made"), ID: "j1", Doing: "finding the fastest ride", Since: "3 s"}},
		{Name: "brief", Page: page(now, nil)},
		{Name: "brief-moved", Page: moved},
		{Name: "brief-moving", Page: moving},
		{Name: "brief-moved-nothing", Page: still},
		{Name: "brief-wrong", Page: page(typed, errs)},
		{Name: "brief-stays", Page: stays},
		{Name: "brief-alone", Page: &web.BriefPage{Base: base("Two Mills Tuesday"), ID: "x1", Why: "What this brief was made from is not all here any more, so it stays as it is."}},
	}
}
