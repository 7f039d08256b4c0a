package gallery

import "chainline/internal/web"

func rigs() []web.State {
	return []web.State{
		{Name: "rigs-empty", Page: &web.RigsPage{Base: web.Base{Title: "Rigs", Section: "/rigs"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/rigs", Link: "Add one"}}},
	}
}
