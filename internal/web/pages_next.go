package web

import "net/http"

// NextPage is what the section opens with.
type NextPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*NextPage) Template() string { return "next.html" }

func (s *Server) nextRoutes() {
	s.get("/{$}", s.nextRide)
}

func (s *Server) nextRide(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &NextPage{
		Base:  Base{Title: "Next ride", Section: "/"},
		Empty: Empty{Says: "Nothing is planned yet.", Why: "Add a rider to begin.", Path: "/riders", Link: "Add a rider"},
	})
}
