package web

import (
	"errors"
	"fmt"
	"html"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"chainline/course"
	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// CompanyPage plans a ride of a mixed group that stays together.
type CompanyPage struct {
	Base
	Missing []Empty
	Form    *Form
	Riders  []Field
	Courses []Field
	More    []Field
	Asked   bool
	Best    string
	Ways    []CompanyWay
	Notes   []string
	Live    string // path of the pages that ride it live; empty: there are none
}

// Template names the page's template.
func (*CompanyPage) Template() string { return "company.html" }

// CompanyWay is the group on one course.
type CompanyWay struct {
	ID, Name, Says, Why string
	Suits, Best         bool
	Picture             template.HTML
	Riders              []CompanyRider
	Over                []string
	Regroup             []RacingMoment
}

// CompanyRider is one rider's targets, in watts.
type CompanyRider struct{ Name, Role, Wheels, Front, Climbs, Never, Holds string }

func (s *Server) companyRoutes() { s.get("/riding-together", s.company) }

// company plans the ride that the address asks for; nothing is kept.
func (s *Server) company(w http.ResponseWriter, r *http.Request) error {
	choices, err := s.choices(r.Context())
	if err != nil {
		return err
	}
	values := queryValues(r)
	asked := len(values) > 0
	if !asked {
		for _, o := range choices[store.Rider] {
			values["rides."+o.Value] = "yes"
		}
	}
	errs := map[string]string{}
	p := &CompanyPage{Base: racesBase("Ride together")}
	status := http.StatusOK
	if asked {
		sheet, ways, wrong, err := s.companySheet(r, choices, values)
		if err != nil {
			return err
		}
		if errs = wrong; len(errs) == 0 {
			u, err := s.units(r.Context())
			if err != nil {
				return err
			}
			p.Fill(sheet, ways, u)
		} else {
			status = http.StatusUnprocessableEntity
		}
	}
	p.Ask(choices, values, errs)
	if _, pattern := s.mux.Handler(&http.Request{Method: http.MethodGet, URL: &url.URL{Path: "/together"}}); strings.HasPrefix(pattern, "GET /together") {
		p.Live = "/together"
	}
	return s.show(w, r, status, p)
}

// Ask asks who rides, where, and for how long.
func (p *CompanyPage) Ask(choices map[store.Kind][]Option, values, errs map[string]string) {
	for _, need := range []struct {
		kind       store.Kind
		says, path string
	}{{store.Rider, "Nobody is kept here yet.", "/riders/new"}, {store.Course, "Where to ride is missing: a course.", "/courses/new"}} {
		if len(choices[need.kind]) == 0 {
			p.Missing = append(p.Missing, Empty{Says: need.says, Path: need.path, Link: "Add a " + string(need.kind)})
		}
	}
	p.Form = NewForm("/riding-together", values, errs)
	for _, o := range choices[store.Rider] {
		p.Riders = append(p.Riders, p.Form.Field(Field{Name: "rides." + o.Value, Label: o.Label, Kind: "check"}))
	}
	for _, o := range choices[store.Course] {
		p.Courses = append(p.Courses, p.Form.Field(Field{Name: "course." + o.Value, Label: o.Label, Kind: "check"}))
	}
	p.More = []Field{p.Form.Field(Field{Name: "hours", Label: "Time there is", Unit: "h", Numeric: true, Hint: "Empty: no limit."}),
		p.Form.Field(Field{Name: "road", Label: "Ridden on", Kind: "select", Options: append([]Option{{Label: "An ordinary open road"}}, choices[store.Road]...)})}
}

// companySheet reckons what the address asks, with the shapes of its courses.
func (s *Server) companySheet(r *http.Request, choices map[store.Kind][]Option, values map[string]string) (sheet service.TogetherSheet, ways []course.Profile, errs map[string]string, err error) {
	errs = map[string]string{}
	files := map[string]string{}
	q := service.GroupRequest{Today: s.now(), Seed: 1, Workers: s.workers}
	ticked := func(kind store.Kind, field string) (names, labels []string) {
		for _, o := range choices[kind] {
			if values[field+o.Value] == "" || err != nil {
				continue
			}
			var x store.Object
			if x, err = s.store.Object(r.Context(), o.Value); err == nil {
				name, text := briefFile(x)
				files[name] = text
				names, labels = append(names, name), append(labels, o.Label)
			}
		}
		return names, labels
	}
	q.Riders, q.Names = ticked(store.Rider, "rides.")
	q.Courses, _ = ticked(store.Course, "course.")
	if err != nil {
		return sheet, nil, errs, err
	}
	if len(q.Riders) == 0 || len(q.Courses) == 0 {
		errs[""] = "Tick at least one rider and one course."
	} else if len(q.Riders) > service.MostRiders {
		errs[""] = fmt.Sprintf("Tick %d riders at most.", service.MostRiders)
	}
	if h := values["hours"]; h != "" {
		if q.Hours, err = strconv.ParseFloat(strings.Replace(h, ",", ".", 1), 64); err != nil || !(q.Hours > 0 && q.Hours <= 24) {
			errs["hours"] = "Write hours from 0.1 to 24, like 1.5."
		}
	}
	if id := values["road"]; id != "" {
		x, err := s.store.Object(r.Context(), id)
		if errors.Is(err, store.ErrNotFound) || err == nil && x.Kind != store.Road {
			errs["road"] = "That road is not there any more; choose another."
		} else if err != nil {
			return sheet, nil, errs, err
		}
		q.Road, files["road.yaml"] = "road.yaml", x.Text
	}
	if len(errs) > 0 {
		return sheet, nil, errs, nil
	}
	q.Open = service.Texts(files)
	sheet, err = service.Together(r.Context(), q)
	if e, ok := errors.AsType[*problem.Error](err); ok {
		return sheet, nil, map[string]string{"": oneLine(e)}, nil
	}
	for _, c := range q.Courses {
		way, err := service.Course(service.BriefRequest{Course: c, Open: q.Open, Today: q.Today})
		if err != nil {
			return sheet, nil, errs, err
		}
		ways = append(ways, courseShapes(way, 1)[0])
	}
	return sheet, ways, errs, err
}

// Fill puts a sheet on the page; ways are the shapes of its courses.
func (p *CompanyPage) Fill(sheet service.TogetherSheet, ways []course.Profile, u form.Units) {
	p.Asked, p.Notes, p.Best = true, sheet.Notes, "None of these courses suits everybody."
	if sheet.Best != "" {
		p.Best = sheet.Best + " is the longest that suits everybody."
	}
	for i, c := range sheet.Courses {
		w := CompanyWay{ID: fmt.Sprintf("w%d", i), Name: c.Course, Suits: c.Suits, Best: c.Course == sheet.Best, Why: c.Why,
			Says: fmt.Sprintf("%s in %s, at %s as one.", u.Distance(c.LengthM), lastsWords(c.Seconds), u.Speed(c.SpeedMS))}
		for _, r := range c.Riders {
			row := CompanyRider{r.Name, "shelters", wattsText(r.LevelW), "not in front", "–", wattsText(r.NeverW), u.Speed(r.HoldsMS)}
			if r.Leads {
				row.Role, row.Front = "takes turns", wattsText(r.FrontW)
			}
			if r.ClimbW > 0 {
				row.Climbs = wattsText(r.ClimbW)
			}
			w.Riders = append(w.Riders, row)
			for _, o := range r.Over {
				w.Over = append(w.Over, fmt.Sprintf("%s: %s to %s, by %.0f W.", r.Name, u.Distance(o.FromM), u.Distance(o.ToM), o.OverW))
			}
		}
		for k, g := range c.Regroup {
			w.Regroup = append(w.Regroup, RacingMoment{k + 1, "At " + u.Distance(g.AtM), fmt.Sprintf("if the climb is ridden at one's own pace: %s from the first to the last, %s", lastsWords(g.WaitS), g.Last)})
		}
		if i < len(ways) {
			w.Picture = companyPicture(c, ways[i], u)
		}
		p.Ways = append(p.Ways, w)
	}
	slices.SortStableFunc(p.Ways, func(a, b CompanyWay) int {
		return map[bool]int{true: 1}[b.Best] - map[bool]int{true: 1}[a.Best]
	})
}

func wattsText(w float64) string { return fmt.Sprintf("%.0f W", w) }

// companyPicture is the strip of a course for a group: where somebody goes over
// critical power lies as a stretch on the chainline, where to regroup as beads.
func companyPicture(c service.TogetherCourse, p course.Profile, u form.Units) template.HTML {
	words := html.EscapeString(companyWords(c, u))
	draw := func(class string, width, height float64, ticks int) string {
		f := courseFrame([]course.Profile{p}, 0, width-62, 12, height-54)
		var s strings.Builder
		fmt.Fprintf(&s, `<svg class="way %s" viewBox="0 0 %s %s" role="img" aria-label="%s">`, class, coordText(width), coordText(height), words)
		line := f.line(p, 400)
		fmt.Fprintf(&s, `<path class="ground" d="%s"/><path class="outline" d="%s"/>`, f.ground(line), line)
		courseHeights(&s, f, p, u)
		courseTicks(&s, f, u, height-6, ticks)
		y := height - 34
		fmt.Fprintf(&s, `<path class="line" d="M0 %sH%s"/>`, coordText(y), coordText(f.right))
		for _, r := range c.Riders {
			for _, o := range r.Over {
				fmt.Fprintf(&s, `<path class="stretch" d="M%s %sH%s"/>`, coordText(f.x(o.FromM)), coordText(y), coordText(f.x(o.ToM)))
			}
		}
		for i, g := range c.Regroup {
			x := min(max(f.x(g.AtM), 12), f.right-12)
			fmt.Fprintf(&s, `<circle class="bead" cx="%s" cy="%s" r="11"/><text class="number" x="%s" y="%s" text-anchor="middle">%d</text>`, coordText(x), coordText(y), coordText(x), coordText(y+4.6), i+1)
		}
		s.WriteString(`</svg>`)
		return s.String()
	}
	return template.HTML(draw("wide", 1076, 200, 8) + draw("phone", 360, 180, 4))
}

func companyWords(c service.TogetherCourse, u form.Units) string {
	over := map[string]bool{}
	for _, r := range c.Riders {
		for range r.Over {
			over[r.Name] = true
		}
	}
	said := "The course from start to finish. Nobody goes over critical power."
	if len(over) > 0 {
		said = fmt.Sprintf("The course from start to finish; %s over critical power where the chainline is thick.", map[bool]string{true: "one rider goes", false: fmt.Sprintf("%d riders go", len(over))}[len(over) == 1])
	}
	for i, g := range c.Regroup {
		said += fmt.Sprintf(" Bead %d, regroup at %s.", i+1, u.Distance(g.AtM))
	}
	return said
}
