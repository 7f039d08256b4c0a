package web

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"chainline/internal/live"
)

// NewJoinPage asks for the address and the invitation of a group.
func NewJoinPage(values, errs map[string]string) *JoinPage {
	f := NewForm("/join", values, errs)
	return &JoinPage{Base: rideBase("Join a group"), Form: f,
		Address:    f.Field(Field{Name: "address", Label: "Address", Hint: "As the host's page shows it, such as 192.168.1.20:7743. Without a port, 7743 is meant."}),
		Invitation: f.Field(Field{Name: "invitation", Label: "Invitation", Hint: "Five groups of four letters and digits. Spaces, dashes, capitals or small letters: all the same."})}
}

func (s *Server) join(w http.ResponseWriter, r *http.Request) error {
	return s.showJoin(w, r, http.StatusOK, nil, nil)
}

func (s *Server) showJoin(w http.ResponseWriter, r *http.Request, status int, values, errs map[string]string) error {
	if s.live == nil {
		return errNoRides
	}
	p := NewJoinPage(values, errs)
	for _, g := range s.live.Guests() {
		p.Visited = append(p.Visited, TogetherLine{"/join/" + g.ID(), g.Title(), countRiders(g.Sheet())})
	}
	return s.show(w, r, status, p)
}

// plainAddress forgives what comes along when an address is copied or read
// aloud.
func plainAddress(s string) string {
	s = strings.ToLower(strings.Join(strings.Fields(s), ""))
	for _, before := range []string{"https://", "http://"} {
		s = strings.TrimPrefix(s, before)
	}
	return strings.TrimRight(s, "/.,")
}

// visitFor is how long an answer of a host is waited for.
const visitFor = 10 * time.Second

func (s *Server) visitGroup(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	errs := map[string]string{}
	address := plainAddress(typed["address"])
	if address == "" {
		errs["address"] = "Type the address that the host's page shows."
	}
	if typed["invitation"] == "" {
		errs["invitation"] = "Type the invitation that stands below the address."
	}
	var g *live.Guest
	if len(errs) == 0 {
		ctx, stop := context.WithTimeout(r.Context(), visitFor)
		defer stop()
		g, err = s.live.Visit(ctx, address, typed["invitation"])
		if says, ok := forPerson(err); ok {
			errs[visitField(says)] = says
		} else if err != nil && r.Context().Err() == nil && ctx.Err() != nil {
			errs["address"] = "Nobody answered at " + address + " within ten seconds. Is the group open, and are both on the same network?"
		} else if err != nil {
			return err
		}
	}
	if len(errs) > 0 {
		return s.showJoin(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	return s.see(w, r, "/join/"+g.ID(), "")
}

// visitField is the answer that needs another look when a group was not found.
func visitField(says string) string {
	if strings.Contains(says, "nvitation") {
		return "invitation"
	}
	return "address"
}

// theGuest is a group visited from here.
func (s *Server) theGuest(r *http.Request) (*live.Guest, error) {
	if s.live == nil {
		return nil, errNoRides
	}
	g, ok := s.live.Guest(r.PathValue("id"))
	if !ok {
		return nil, notFound("That group is not visited from here (any more). Join it again with its address and invitation.")
	}
	return g, nil
}

func (s *Server) guestPage(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGuest(r)
	if err != nil {
		return err
	}
	return s.showGuest(w, r, g, http.StatusOK, nil, nil)
}

func (s *Server) showGuest(w http.ResponseWriter, r *http.Request, g *live.Guest, status int, values, errs map[string]string) error {
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	p := NewTogetherPage("/join/"+g.ID(), g.Title(), false)
	p.State, p.Ended = guestState(g), g.Ended()
	p.Show(g.Course().Name, g.Profile(), g.Sheet(), u)
	p.Mine = ridersHere(g.Rides())
	p.Add = NewTogetherAdd(p.Path+"/ride", choices, values, errs)
	p.Add.Open = p.Add.Open || len(p.Mine) == 0
	return s.show(w, r, status, p)
}

// guestState changes when the guest's page has other questions to ask.
func guestState(g *live.Guest) string {
	return fmt.Sprintf("guest %d %t %s", len(g.Rides()), g.Ended(), g.Title())
}

func (s *Server) guestLive(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGuest(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	length := g.Profile().Length()
	return s.sendCompany(w, r, func() (companyMessage, bool) {
		if _, ok := s.live.Guest(g.ID()); !ok {
			return companyMessage{State: "left"}, false
		}
		return companyMessage{NewCompany(g.Sheet(), length, u), guestState(g)}, !s.live.Closed()
	})
}

// guestRides begins a ride of this machine in a group hosted elsewhere.
func (s *Server) guestRides(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGuest(r)
	if err != nil {
		return err
	}
	typed, errs, err := s.addTogether(r, g.Course(), g.Ride)
	if err != nil {
		return err
	}
	if len(errs) > 0 {
		return s.showGuest(w, r, g, http.StatusUnprocessableEntity, typed, errs)
	}
	return s.see(w, r, "/ride/"+typed["id"], "")
}

func (s *Server) leaveGroup(w http.ResponseWriter, r *http.Request) error {
	g, err := s.theGuest(r)
	if err != nil {
		return err
	}
	g.Leave()
	return s.see(w, r, "/join", "")
}
