package gallery

import "chainline/internal/web"

func roads() []web.State {
	return []web.State{
		{Name: "roads-empty", Page: &web.RoadsPage{Base: web.Base{Title: "Roads", Section: "/roads"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/roads", Link: "Add one"}}},
	}
}
