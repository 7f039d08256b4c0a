package gallery

import "chainline/internal/web"

func riders() []web.State {
	return []web.State{
		{Name: "riders-empty", Page: &web.RidersPage{Base: web.Base{Title: "Riders", Section: "/riders"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/riders", Link: "Add one"}}},
	}
}
