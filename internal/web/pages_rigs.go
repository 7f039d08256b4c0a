package web

import "net/http"

// RigsPage is what the section opens with.
type RigsPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*RigsPage) Template() string { return "rigs.html" }

func (s *Server) rigRoutes() {
	s.get("/rigs", s.rigs)
}

func (s *Server) rigs(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &RigsPage{
		Base:  Base{Title: "Rigs", Section: "/rigs"},
		Empty: Empty{Says: "There is no rig yet.", Why: "A rig is what you ride on and the room it stands in."},
	})
}
