package gallery

import "chainline/internal/web"

func events() []web.State {
	return []web.State{
		{Name: "events-empty", Page: &web.EventsPage{Base: web.Base{Title: "Events", Section: "/events"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/events", Link: "Add one"}}},
	}
}
