package web

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"chainline/course"
	"chainline/internal/form"
	"chainline/internal/live"
	"chainline/internal/render"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
)

// theMeeting is a group hosted here.
func (s *Server) theMeeting(r *http.Request) (*live.Meeting, error) {
	if s.live == nil {
		return nil, errNoRides
	}
	x, ok := s.live.Meeting(r.PathValue("id"))
	if !ok {
		return nil, notFound("That group is not hosted here (any more).")
	}
	return x, nil
}

// meetingState changes when the host's page has other questions to ask.
func meetingState(x *live.Meeting) string {
	_, open := x.Invited()
	return fmt.Sprintf("%t %d %t %s %t", open, len(x.Rides()), x.Sheet().Keep, x.StrengthNow(), x.Ended())
}

func (s *Server) hostPage(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theMeeting(r)
	if err != nil {
		return err
	}
	return s.showHost(w, r, x, http.StatusOK, nil, nil)
}

func (s *Server) showHost(w http.ResponseWriter, r *http.Request, x *live.Meeting, status int, values, errs map[string]string) error {
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	p := NewTogetherPage("/together/"+x.ID(), x.Title(), true)
	p.State, p.Ended = meetingState(x), x.Ended()
	p.Show(x.Course().Name, x.Profile(), x.Sheet(), u)
	p.Mine = ridersHere(x.Rides())
	var open *live.Invited
	if v, ok := x.Invited(); ok {
		open = &v
	}
	p.Ask(open, s.live.Addresses(), x.StrengthNow())
	p.Add = NewTogetherAdd(p.Path+"/ride", choices, values, errs)
	return s.show(w, r, status, p)
}

// NewTogetherPage is a page of a group.
func NewTogetherPage(path, title string, host bool) *TogetherPage {
	return &TogetherPage{Base: rideBase(title), Path: path, Host: host, Phrases: ride.Phrases,
		Most: fmt.Sprintf("%.0f\u00a0%%", 100*service.HelpTakesOff(30))}
}

// Show gives the page the course and everybody on it.
func (p *TogetherPage) Show(name string, profile course.Profile, sheet ride.GroupSheet, u form.Units) {
	p.Course, p.First = groupCourseWords(name, profile, u)
	p.Company = NewCompany(sheet, profile.Length(), u)
}

// Ask fills in what a host is asked: whether the group is open and to whom, and
// how much shelter there is.
func (p *TogetherPage) Ask(open *live.Invited, addresses []string, strength string) {
	f := NewForm(p.Path+"/do", map[string]string{"strength": strength}, nil)
	if p.Invited = open; open != nil {
		p.Chunks = strings.FieldsFunc(open.Invitation, func(r rune) bool { return r == ' ' || r == '-' })
	}
	var places []Option
	for _, a := range addresses {
		places = append(places, Option{Value: a, Label: a})
	}
	p.Tell = []Field{f.Field(Field{Name: "address", Label: "At which address of this machine?", Kind: "select", Options: places,
		Hint: "Choose the one of the network your guests are on. One that begins with 127 is for programs on this machine alone."})}
	p.Strength = f.Field(Field{Name: "strength", Label: "Shelter", Kind: "select", Options: shelterOptions()})
}

// NewTogetherAdd asks for a rider of this machine.
func NewTogetherAdd(action string, choices map[store.Kind][]Option, values, errs map[string]string) *TogetherAdd {
	if values == nil {
		values = map[string]string{}
	}
	a := &TogetherAdd{Form: NewForm(action, values, errs), Open: len(errs) > 0}
	for _, need := range []store.Kind{store.Rider, store.Rig} {
		if len(choices[need]) == 0 {
			a.Missing = append(a.Missing, Empty{Says: "There is no " + string(need) + " here yet.", Path: "/" + string(need) + "s/new", Link: "Add a " + string(need)})
		}
	}
	if len(a.Missing) == 0 {
		a.Row = togetherRow(a.Form, choices, "", "Who rides?")
		a.Row.Rider.Options = choices[store.Rider]
	}
	return a
}

// ridersHere are the rides of this machine in a group.
func ridersHere(rides []*live.Ride) []TogetherRider {
	var out []TogetherRider
	for _, x := range rides {
		out = append(out, TogetherRider{Name: x.Riding.Setup.Rider.Name, Ride: x.ID, Says: string(x.Engine.Snapshot().Stage), Brief: x.Riding.Brief != nil})
	}
	return out
}

func (s *Server) hostLive(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theMeeting(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	length := x.Profile().Length()
	return s.sendCompany(w, r, func() (companyMessage, bool) {
		if _, ok := s.live.Meeting(x.ID()); !ok {
			return companyMessage{State: "ended"}, false
		}
		return companyMessage{NewCompany(x.Sheet(), length, u), meetingState(x)}, !s.live.Closed()
	})
}

// hostWishes are what a host can ask of a group, by the name of the wish; each
// answers what was done.
var hostWishes = map[string]func(x *live.Meeting, typed map[string]string) (done string, err error){
	"count": func(x *live.Meeting, typed map[string]string) (string, error) {
		seconds, err := strconv.ParseFloat(strings.ReplaceAll(typed["value"], ",", "."), 64)
		if err != nil || !(seconds >= 0 && seconds <= 3600) {
			return "", refuse(http.StatusBadRequest, "Write how many seconds until the gun, 0 to 3600.")
		}
		return "The gun goes in " + rideTime(seconds) + ".", x.Count(seconds)
	},
	"say": func(x *live.Meeting, typed map[string]string) (string, error) {
		if typed["text"] == "" {
			return "", refuse(http.StatusBadRequest, "Write what to say.")
		}
		return "Said.", x.Say(typed["text"])
	},
	"keep": func(x *live.Meeting, typed map[string]string) (string, error) {
		return "", x.Keep(typed["value"] == "on")
	},
	"strength": func(x *live.Meeting, typed map[string]string) (string, error) {
		return "", x.Strength(typed["strength"])
	},
	"bring": func(x *live.Meeting, typed map[string]string) (string, error) {
		return "Brought up. Their recording says so.", x.BringUp(typed["to"])
	},
	"open": func(x *live.Meeting, typed map[string]string) (string, error) {
		if typed["address"] == "" {
			return "", refuse(http.StatusBadRequest, "Choose the address at which guests find the group.")
		}
		_, err := x.Open(typed["address"])
		return "", err
	},
	"shut": func(x *live.Meeting, _ map[string]string) (string, error) {
		x.Shut()
		return "", nil
	},
}

// hostDo does what a host asks. A form is led back to the page; the script is
// answered with what came of it.
func (s *Server) hostDo(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theMeeting(r)
	if err != nil {
		return err
	}
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	wish, ok := hostWishes[typed["do"]]
	if !ok {
		return refuse(http.StatusBadRequest, "A host cannot ask for that.")
	}
	done, err := wish(x, typed)
	why, told := "", false
	if err != nil {
		if why, told = forPerson(err); !told {
			return err
		}
		done = ""
	}
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		return answerJSON(w, map[string]string{"why": why, "done": done})
	}
	return s.see(w, r, "/together/"+x.ID(), why+done)
}

// hostRides begins a ride of this machine in a group hosted here.
func (s *Server) hostRides(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theMeeting(r)
	if err != nil {
		return err
	}
	typed, errs, err := s.addTogether(r, x.Course(), x.Ride)
	if err != nil {
		return err
	}
	if len(errs) > 0 {
		return s.showHost(w, r, x, http.StatusUnprocessableEntity, typed, errs)
	}
	return s.see(w, r, "/ride/"+typed["id"], "")
}

// addTogether plans and begins one ride of this machine in a group; errs are for
// the form. The ride's ID is in typed["id"].
func (s *Server) addTogether(r *http.Request, g service.GroupCourse, begin func(context.Context, service.Riding, live.Choice) (*live.Ride, error)) (typed, errs map[string]string, err error) {
	if typed, err = Typed(r); err != nil {
		return nil, nil, err
	}
	errs = map[string]string{}
	for _, need := range []string{"rider", "rig"} {
		if typed[need] == "" {
			errs[need] = "Choose a " + need + "."
		}
	}
	if len(errs) > 0 {
		return typed, errs, nil
	}
	one, err := s.prepareTogether(r.Context(), g, togetherAsk{"", typed["rider"], typed["rig"], typed["devices"]}, 0, datesOf(r))
	if says, ok := forPerson(err); ok {
		errs["rider"] = says
		return typed, errs, nil
	} else if err != nil {
		return nil, nil, err
	}
	x, err := begin(context.WithoutCancel(r.Context()), one.riding, one.choice)
	if says, ok := forPerson(err); ok {
		errs["devices"] = says
		return typed, errs, nil
	} else if err != nil {
		return nil, nil, err
	}
	typed["id"] = x.ID
	return typed, errs, nil
}

func (s *Server) askEndTogether(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theMeeting(r)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: rideBase("End " + x.Title() + "?"), Action: "/together/" + x.ID() + "/end", Keep: "/together/" + x.ID(),
		Button: "End the group", Stay: "Keep it going", Says: "Nobody sees the others any more. Whoever rides goes on riding alone, and their recordings go on."})
}

func (s *Server) endTogether(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theMeeting(r)
	if err != nil {
		return err
	}
	if err := x.End(); err != nil {
		return err
	}
	return s.see(w, r, "/ride", x.Title()+" has ended as a group.")
}

// RideBriefPage is the brief a ride that goes on was planned by.
type RideBriefPage struct {
	Base
	Back  string
	Sheet template.HTML
}

// Template names the page's template.
func (*RideBriefPage) Template() string { return "together-brief.html" }

func (s *Server) rideBrief(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	if x.Riding.Brief == nil {
		return notFound("There is no brief of that ride: it was planned before the program was started again, or it follows no course.")
	}
	var page bytes.Buffer
	if err := render.HTML(&page, *x.Riding.Brief); err != nil {
		return err
	}
	sheet, err := BriefSheet([]byte(inDates(page.String(), datesOf(r))))
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &RideBriefPage{Base: rideBase(x.Riding.Setup.Title + ": " + x.Riding.Setup.Rider.Name), Back: "/ride/" + x.ID, Sheet: sheet})
}
