package gallery

import "chainline/internal/web"

func events() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/events"} }
	page := func(title string, values, errs map[string]string, blank int, remove string) *web.EventPage {
		p := web.NewEventPage("/events/new", values, errs, blank, 0)
		if remove != "" {
			p.Form.Action, p.Together = "/events/e1", "/together?event=e1"
		}
		p.Base, p.Delete = base(title), remove
		return p
	}
	filled := map[string]string{"name": "Tuesday hill race", "start_day": "2026-12-01", "start_clock": "19:30", "time_zone": "Europe/Dublin", "kind": "mass", "lead_in_m": "2100", "laps": "2", "pen_s": "5 min",
		"categories.0.name": "Brisk", "categories.0.min_w_per_kg": "4", "categories.0.over_s": "20 min", "categories.1.name": "Steady", "categories.1.min_w_per_kg": "3.2", "categories.1.max_w_per_kg": "4"}
	wrong := map[string]string{"start_clock": "19:30", "time_zone": "Home", "laps": "two and a half", "categories.0.min_w_per_kg": "4", "categories_csv": "B,3.2,4,20 min,and more"}
	errs := map[string]string{"name": "A name is needed to find it again.", "start_day": "A start by the clock needs its day as well.", "time_zone": "“Home” is no time zone; write one like Europe/Dublin.",
		"laps": "Write a whole number from 1 to 500.", "categories.0.name": "A category needs a name.", "categories_csv": "Line 1 has 5 parts; expected at most 4: name, from, up to, held for."}
	return []web.State{
		{Name: "events-empty", Page: &web.EventsPage{Base: base("Events"), Empty: web.Empty{Says: "There is no event yet.", Why: "An event is a start with a time.", Path: "/events/new", Link: "Add an event"}}},
		{Name: "events", Page: &web.EventsPage{Base: base("Events"), Sections: []web.EventSection{
			{ID: "coming", Title: "Coming", Events: []web.EventRow{
				{ID: "e1", Name: "Tuesday hill race", When: "Tue 1 December 2026, 19:30", Zone: "Europe/Dublin", Away: "in 6 days", Kind: "A race where all start at once", More: []string{"2 laps", "2.1 km lead-in", "3 categories"}},
				{ID: "e2", Name: "Harbour time trial", When: "Sun 13 December 2026", Away: "in 18 days", Kind: "Alone against the clock"}}},
			{ID: "open", Title: "No day yet", Events: []web.EventRow{{ID: "e3", Name: "Spring series"}}},
			{ID: "over", Title: "Over", Events: []web.EventRow{{ID: "e4", Name: "First group ride", When: "Sat 14 November 2026, 10:00", Kind: "A ride together, no race"}}},
		}}},
		{Name: "event-new", Page: page("A new event", nil, nil, 2, "")},
		{Name: "event", Page: page("Tuesday hill race", filled, nil, 1, "/events/e1/delete")},
		{Name: "event-wrong", Page: page("A new event", wrong, errs, 1, "")},
	}
}
