package web

import "net/http"

// BriefsPage is what the section opens with.
type BriefsPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*BriefsPage) Template() string { return "briefs.html" }

func (s *Server) briefRoutes() {
	s.get("/briefs", s.briefs)
}

func (s *Server) briefs(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &BriefsPage{
		Base:  Base{Title: "Briefs", Section: "/briefs"},
		Empty: Empty{Says: "There is no brief yet.", Why: "A brief is the sheet you take to the start."},
	})
}
