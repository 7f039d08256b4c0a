package web

import "net/http"

// CoursesPage is what the section opens with.
type CoursesPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*CoursesPage) Template() string { return "courses.html" }

func (s *Server) courseRoutes() {
	s.get("/courses", s.courses)
}

func (s *Server) courses(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &CoursesPage{
		Base:  Base{Title: "Courses", Section: "/courses"},
		Empty: Empty{Says: "There is no course yet.", Why: "Drop a GPX or CSV file here, or type what a route list shows."},
	})
}
