package gallery

import "chainline/internal/web"

func courses() []web.State {
	return []web.State{
		{Name: "courses-empty", Page: &web.CoursesPage{Base: web.Base{Title: "Courses", Section: "/courses"}, Empty: web.Empty{Says: "There is nothing yet.", Why: "Why one would want it.", Path: "/courses", Link: "Add one"}}},
	}
}
