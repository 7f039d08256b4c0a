package web

import (
	"net/http"
	"strings"

	"chainline/internal/form"
	"chainline/internal/store"
)

// CourseSketch asks for what a route list shows.
type CourseSketch struct {
	Form         *Form
	Name         Field
	Known        []Field // distance and ascent
	More         []Field // laps, lead-in
	Climb        []Field
	SummitFinish Field
	MoreOpen     bool
}

// NewCourseSketch is the form with what was typed and what is wrong with it.
func NewCourseSketch(action string, values, errs map[string]string, u form.Units) CourseSketch {
	f := NewForm(action, values, errs)
	ask := func(name, label, hint string) Field {
		return keyField(f, form.Course, u, Field{Name: name, Label: label, Hint: hint})
	}
	c := CourseSketch{Form: f,
		Name:  ask("name", "What you call it", "Leave it empty to call it by its length and ascent."),
		Known: []Field{ask("distance_km", "Distance", "All of it, laps and lead-in included."), ask("ascent_m", "Ascent", "All of it; 0 if it is flat.")},
		More: []Field{ask("laps", "Laps", ""), ask("lap_length_km", "Length of a lap", "Instead of the whole distance, or beside it."),
			ask("lap_ascent_m", "Ascent of a lap", "Instead of the whole ascent, or beside it."), ask("lead_in_m", "Lead-in", "Level road before the first lap, ridden once.")},
		Climb: []Field{ask("main_climb.length_km", "Length of the main climb", "From foot to top."), ask("main_climb.gradient_percent", "How steep, on average", "Or say what it gains."),
			ask("main_climb.ascent_m", "What the climb gains", ""), ask("main_climb.start_km", "Where the climb begins", "From the start of the course.")},
		SummitFinish: f.Field(Field{Name: "summit_finish", Label: "It ends at the top of its last climb", Kind: "check"}),
	}
	for _, q := range append(append([]Field{c.SummitFinish}, c.More...), c.Climb...) {
		c.MoreOpen = c.MoreOpen || q.Value != "" || q.Error != ""
	}
	return c
}

// NewCourseName asks only for the name of a course that came as a file.
func NewCourseName(action string, values, errs map[string]string) CourseSketch {
	f := NewForm(action, values, errs)
	return CourseSketch{Form: f, Name: f.Field(Field{Name: "name", Label: "What you call it", Hint: "The file itself stays as it came."})}
}

var sketchPaths = []string{"name", "distance_km", "ascent_m", "laps", "lap_length_km", "lap_ascent_m", "lead_in_m",
	"main_climb.length_km", "main_climb.gradient_percent", "main_climb.ascent_m", "main_climb.start_km", "summit_finish"}

// typedSketch are the answers, every one of them: what is empty is unknown.
func typedSketch(r *http.Request) (map[string]string, error) {
	typed, err := Typed(r)
	if err != nil {
		return nil, err
	}
	values := map[string]string{}
	for _, path := range sketchPaths {
		values[path] = typed[path]
	}
	return values, nil
}

// sketchErrors puts what is wrong with the climb as a whole beside its first
// question.
func sketchErrors(errs map[string]string) map[string]string {
	if e, ok := errs["main_climb"]; ok {
		delete(errs, "main_climb")
		errs["main_climb.length_km"] = e
	}
	return errs
}

// nameOfSketch is what was typed, or the length and ascent in words.
func nameOfSketch(typed, text string) (string, error) {
	if typed != "" {
		return typed, nil
	}
	way, err := readCourse("course.yaml", []byte(text))
	return way.Name, err
}

func filled(values map[string]string) map[string]string {
	out := map[string]string{}
	for k, v := range values {
		if v != "" {
			out[k] = v
		}
	}
	return out
}

func (s *Server) addSketch(w http.ResponseWriter, r *http.Request) error {
	typed, err := typedSketch(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	text, errs := form.YAML(form.Course, filled(typed), u)
	if len(errs) > 0 {
		return s.showNewCourse(w, r, http.StatusUnprocessableEntity, nil, nil, typed, sketchErrors(errs))
	}
	name, err := nameOfSketch(typed["name"], text)
	if err != nil {
		return err
	}
	o, err := s.store.Put(r.Context(), store.Object{Kind: store.Course, Name: name, Text: text})
	if err != nil {
		return err
	}
	return s.see(w, r, "/courses/"+o.ID, o.Name+" is kept.")
}

func (s *Server) editCourse(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptCourse(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	values, err := sketchValues(o, u)
	if err != nil {
		return err
	}
	return s.showEditCourse(w, r, http.StatusOK, o, values, nil, u)
}

// sketchValues are what the form of a course that is kept shows.
func sketchValues(o store.Object, u form.Units) (map[string]string, error) {
	if o.Original != nil {
		return map[string]string{"name": o.Name}, nil
	}
	values, err := form.ValuesIn(form.Course, o.Text, u)
	if v := values["summit_finish"]; v == "no" || v == "false" {
		delete(values, "summit_finish") // a box that is not ticked
	}
	return values, err
}

func (s *Server) showEditCourse(w http.ResponseWriter, r *http.Request, status int, o store.Object, values, errs map[string]string, u form.Units) error {
	p := &CourseNewPage{Base: Base{Title: "Change " + o.Name, Section: "/courses"}, Back: "/courses/" + o.ID, Only: "sketch"}
	p.Sketch = NewCourseSketch("/courses/"+o.ID+"/edit", values, errs, u)
	if o.Original != nil {
		p.Only = "name"
		p.Sketch = NewCourseName("/courses/"+o.ID+"/edit", values, errs)
	}
	p.Sketch.Form.Version = version(o)
	return s.show(w, r, status, p)
}

func (s *Server) changeCourse(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptCourse(r)
	if err != nil {
		return err
	}
	typed, err := typedSketch(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	old, errs, late := o, map[string]string{}, meanwhile(r, o)
	if o.Original != nil {
		o.Name = strings.TrimSpace(typed["name"])
		if wrong := courseNameWrong(o.Name); wrong != "" {
			errs["name"] = wrong
		}
	} else if o.Text, errs = form.Change(form.Course, o.Text, typed, u); len(errs) == 0 {
		if o.Name, err = nameOfSketch(typed["name"], o.Text); err != nil {
			return err
		}
	}
	if len(errs) > 0 || late {
		kept, err := s.keptCourse(r)
		if err != nil {
			return err
		}
		if late {
			now, err := sketchValues(kept, u)
			if err != nil {
				return err
			}
			values, wrong := overtaken(typed, now, sketchErrors(errs))
			return s.showEditCourse(w, r, http.StatusConflict, kept, values, wrong, u)
		}
		return s.showEditCourse(w, r, http.StatusUnprocessableEntity, kept, typed, sketchErrors(errs), u)
	}
	o.Original = nil // keeps the one that is there
	if _, done, err := s.put(r.Context(), o, old, func(store.Object) error { return s.changeCourse(w, r) }); !done {
		return err
	}
	return s.see(w, r, "/courses/"+o.ID, o.Name+" is changed."+readAs(form.Course, old.Text, typed, u))
}
