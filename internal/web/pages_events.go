package web

import "net/http"

// EventsPage is what the section opens with.
type EventsPage struct {
	Base
	Empty Empty
}

// Template names the page's template.
func (*EventsPage) Template() string { return "events.html" }

func (s *Server) eventRoutes() {
	s.get("/events", s.events)
}

func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, &EventsPage{
		Base:  Base{Title: "Events", Section: "/events"},
		Empty: Empty{Says: "There is no event yet.", Why: "An event is a start with a time."},
	})
}
