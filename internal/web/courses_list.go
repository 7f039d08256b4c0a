package web

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"chainline/internal/form"
	"chainline/internal/store"
)

// CourseRow is one course of the list.
type CourseRow struct {
	ID, Name         string
	Thumb            template.HTML
	Distance, Ascent string
	Sketch           bool
	Time, Range      string // empty if not reckoned
	Load, Hard       string
	Wrong            string

	distance, ascent, seconds, late, load float64
	ready                                 bool
}

// CourseSort is one order of the list.
type CourseSort struct {
	Key, Label, Path string
	Current          bool
}

// courseHard are the words for a load, in threshold-hours: an hour at the
// power one could hold for about an hour is 1. The limits are our judgement.
var courseHard = []struct {
	Key, Label, Short string
	From, To          float64
}{
	{"light", "Light: load up to 0.5", "light", 0, 0.5},
	{"solid", "Solid: 0.5 to 1", "solid", 0.5, 1},
	{"hard", "Hard: 1 to 1.5", "hard", 1, 1.5},
	{"very-hard", "Very hard: more than 1.5", "very hard", 1.5, math.Inf(1)},
}

var courseMinutes = []int{20, 30, 45, 60, 75, 90, 120, 180, 240}

var courseOrders = []struct{ key, label string }{{"name", "name"}, {"time", "time"}, {"load", "load"}, {"distance", "distance"}, {"ascent", "ascent"}}

func (s *Server) courses(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	all, err := s.store.Objects(ctx, store.Course)
	if err != nil {
		return err
	}
	p := &CoursesPage{Base: Base{Title: "Courses", Section: "/courses"}, Drop: NewCourseDrop(nil, nil), None: len(all) == 0,
		Empty: Empty{Says: "There is no course yet.", Why: "Drop a GPX or CSV file here, or type what a route list shows."}}
	if p.None {
		return s.show(w, r, http.StatusOK, p)
	}
	u, err := s.units(ctx)
	if err != nil {
		return err
	}
	ask, err := s.courseFor(ctx, p, r.URL.Query())
	if err != nil {
		return err
	}
	s.reckon(ctx, ask, all)
	p.HasRider = ask.Rider != ""
	for _, o := range all {
		p.Rows = append(p.Rows, s.courseRow(ask, o, u))
	}
	p.choose(r.URL.Query())
	return s.show(w, r, http.StatusOK, p)
}

// courseFor is for whom the list is, as chosen; the first of each if nobody
// has chosen.
func (s *Server) courseFor(ctx context.Context, p *CoursesPage, q url.Values) (courseAsk, error) {
	ask := courseAsk{Today: s.now()}
	f := NewForm("/courses", map[string]string{}, nil)
	for _, who := range []struct {
		kind  store.Kind
		label string
		text  *string
	}{{store.Rider, "Rider", &ask.Rider}, {store.Rig, "Rig", &ask.Rig}} {
		all, err := s.store.Objects(ctx, who.kind)
		if err != nil {
			return ask, err
		}
		if len(all) == 0 {
			continue
		}
		at := max(0, slices.IndexFunc(all, func(o store.Object) bool { return o.ID == q.Get(string(who.kind)) }))
		*who.text = all[at].Text
		f.Values[string(who.kind)] = all[at].ID
		var options []Option
		for _, o := range all {
			options = append(options, Option{Value: o.ID, Label: o.Name})
		}
		p.Choices = append(p.Choices, f.Field(Field{Name: string(who.kind), Label: who.label, Kind: "select", Options: options}))
	}
	if ask.Rider == "" {
		p.Choices = nil
		return ask, nil
	}
	if ask.Rig == "" {
		ask.Rig = sameForAll
		p.Assumed = "No rig is kept yet, so this is as on a trainer that follows the course by itself."
	}
	p.Choices = append(p.Choices, courseFilters(f, q)...)
	return ask, nil
}

func courseFilters(f *Form, q url.Values) []Field {
	minutes := []Option{{Value: "", Label: "Any"}}
	for _, m := range courseMinutes {
		minutes = append(minutes, Option{Value: strconv.Itoa(m), Label: courseTime(float64(60 * m))})
	}
	hard := []Option{{Value: "", Label: "Any"}}
	for _, h := range courseHard {
		hard = append(hard, Option{Value: h.Key, Label: h.Label})
	}
	f.Values["minutes"], f.Values["hard"] = q.Get("minutes"), q.Get("hard")
	return []Field{f.Field(Field{Name: "minutes", Label: "Time at hand", Kind: "select", Options: minutes}),
		f.Field(Field{Name: "hard", Label: "How hard", Kind: "select", Options: hard})}
}

func (s *Server) courseRow(ask courseAsk, o store.Object, u form.Units) CourseRow {
	facts, hasFacts, quick, hasQuick := s.courseCache.known(ask, o)
	row := CourseRow{ID: o.ID, Name: o.Name, ready: hasFacts && hasQuick}
	if hasFacts {
		row.Thumb, row.Sketch, row.Wrong = facts.Thumb, facts.Sketch, facts.Wrong
		row.distance, row.ascent = facts.Distance, facts.Ascent
		if row.Wrong == "" {
			row.Distance, row.Ascent = u.Distance(facts.Distance), u.Elevation(facts.Ascent)
		}
	}
	if !row.ready || ask.Rider == "" || row.Wrong != "" {
		return row
	}
	if row.Wrong = quick.Wrong; row.Wrong != "" {
		return row
	}
	row.seconds, row.late, row.load = quick.Median, quick.High80, quick.Load
	row.Time = courseTime(quick.Median)
	row.Range = courseTime(quick.Low80) + " to " + courseTime(quick.High80)
	row.Load = fmt.Sprintf("%.2f", quick.Load)
	for _, h := range courseHard {
		if quick.Load > h.From && quick.Load <= h.To {
			row.Hard = h.Short
		}
	}
	return row
}

// courseTime is a predicted time as people say it, to the minute.
func courseTime(seconds float64) string {
	m := int(math.Round(seconds / 60))
	switch {
	case m < 1:
		return "1 min"
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %02d", m/60, m%60)
}

// choose leaves out what does not fit and puts the rest in order. What is not
// reckoned yet stays, at the end.
func (p *CoursesPage) choose(q url.Values) {
	minutes, _ := strconv.Atoi(q.Get("minutes"))
	low, high := 0.0, math.Inf(1)
	for _, h := range courseHard {
		if h.Key == q.Get("hard") {
			low, high = h.From, h.To
		}
	}
	whole := len(p.Rows)
	if p.HasRider {
		p.Rows = slices.DeleteFunc(p.Rows, func(c CourseRow) bool {
			return c.Time != "" && (minutes > 0 && c.late > float64(60*minutes) || c.load <= low && low > 0 || c.load > high)
		})
	}
	p.Hidden = whole - len(p.Rows)
	for _, c := range p.Rows {
		if !c.ready {
			p.Waiting++
		}
	}
	p.Sort = q.Get("sort")
	if !slices.ContainsFunc(courseOrders, func(o struct{ key, label string }) bool { return o.key == p.Sort }) {
		p.Sort = "name"
	}
	value := map[string]func(CourseRow) float64{
		"time": func(c CourseRow) float64 { return c.seconds }, "load": func(c CourseRow) float64 { return c.load },
		"distance": func(c CourseRow) float64 { return c.distance }, "ascent": func(c CourseRow) float64 { return c.ascent }}[p.Sort]
	if value != nil {
		slices.SortStableFunc(p.Rows, func(a, b CourseRow) int {
			if unknown := cmp.Compare(b2i(value(a) == 0 && p.Sort != "ascent"), b2i(value(b) == 0 && p.Sort != "ascent")); unknown != 0 {
				return unknown
			}
			return cmp.Compare(value(a), value(b))
		})
	}
	p.sorts(q)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// sorts are links to the same list in another order.
func (p *CoursesPage) sorts(q url.Values) {
	for _, o := range courseOrders {
		if !p.HasRider && (o.key == "time" || o.key == "load") {
			continue
		}
		to := url.Values{}
		for _, k := range []string{"rider", "rig", "minutes", "hard"} {
			if v := strings.TrimSpace(q.Get(k)); v != "" {
				to.Set(k, v)
			}
		}
		to.Set("sort", o.key)
		p.Sorts = append(p.Sorts, CourseSort{Key: o.key, Label: o.label, Path: "/courses?" + to.Encode(), Current: o.key == p.Sort})
	}
}
