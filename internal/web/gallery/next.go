package gallery

import "chainline/internal/web"

func next() []web.State {
	return []web.State{
		{Name: "next-empty", Page: &web.NextPage{Base: web.Base{Title: "Next ride", Section: "/"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/", Link: "Add one"}}},
	}
}
