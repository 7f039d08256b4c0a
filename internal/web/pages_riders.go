package web

import "net/http"

// RidersPage is what the section opens with.
type RidersPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*RidersPage) Template() string { return "riders.html" }

func (s *Server) riderRoutes() {
	s.get("/riders", s.riders)
}

func (s *Server) riders(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &RidersPage{
		Base:  Base{Title: "Riders", Section: "/riders"},
		Empty: Empty{Says: "There is no rider yet.", Why: "A name, a mass and what you know about your riding are enough to start."},
	})
}
