package web

import "net/http"

// RoadsPage is what the section opens with.
type RoadsPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*RoadsPage) Template() string { return "roads.html" }

func (s *Server) roadRoutes() {
	s.get("/roads", s.roads)
}

func (s *Server) roads(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &RoadsPage{
		Base:  Base{Title: "Roads", Section: "/roads"},
		Empty: Empty{Says: "There is no road yet.", Why: "Courses are ridden on the open road unless you name another."},
	})
}
