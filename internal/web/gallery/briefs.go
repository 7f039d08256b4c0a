package gallery

import "chainline/internal/web"

func briefs() []web.State {
	return []web.State{
		{Name: "briefs-empty", Page: &web.BriefsPage{Base: web.Base{Title: "Briefs", Section: "/briefs"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/briefs", Link: "Add one"}}},
	}
}
