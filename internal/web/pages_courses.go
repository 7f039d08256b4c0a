package web

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"mime"
	"net/http"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"chainline/brief"
	"chainline/internal/form"
	"chainline/internal/store"
)

// CoursesPage lists the courses, to choose one by time at hand and how hard.
type CoursesPage struct {
	Base
	Empty Empty
	None  bool // no course is kept yet
	Drop  CourseDrop

	HasRider bool
	Choices  []Field // rider, rig, time at hand, how hard
	Sort     string
	Sorts    []CourseSort
	Rows     []CourseRow
	Hidden   int    // left out by the choices
	Waiting  int    // still being reckoned
	Assumed  string // what stands in for a rig nobody gave
}

// Template names the page's template.
func (*CoursesPage) Template() string { return "courses.html" }

// CourseDrop is the form that takes a file.
type CourseDrop struct {
	Form       *Form
	File, Name Field
}

// CourseNewPage asks for a course: a file, or what a route list shows.
type CourseNewPage struct {
	Base
	Drop   CourseDrop
	Sketch CourseSketch
	Back   string
	Only   string // "sketch", "name", or empty: both ways of a new one
	First  string // "sketch": what needs another look stands first
}

// Template names the page's template.
func (*CourseNewPage) Template() string { return "course-new.html" }

// CoursePage is one course.
type CoursePage struct {
	Base
	ID       string
	Lead     string
	From     string // what is kept
	Picture  template.HTML
	Words    string
	Climbs   []CourseClimb
	NoClimbs string
	Smooth   string
	Notes    []string
	Wrong    string // why it cannot be read
	Sketch   bool
	Original string // name of the file
}

// Template names the page's template.
func (*CoursePage) Template() string { return "course.html" }

// CourseClimb is one line of the table of climbs.
type CourseClimb struct {
	Number                                int
	Start, Length, Ascent, Mean, Steepest string
}

func (s *Server) courseRoutes() {
	s.get("/courses", s.courses)
	s.get("/courses/new", s.newCourse)
	s.upload("/courses/file", s.addCourseFile)
	s.post("/courses/sketch", s.addSketch)
	s.get("/courses/{id}", s.course)
	s.get("/courses/{id}/edit", s.editCourse)
	s.post("/courses/{id}/edit", s.changeCourse)
	s.get("/courses/{id}/file", s.courseOriginal)
	s.get("/courses/{id}/delete", s.askDeleteCourse)
	s.post("/courses/{id}/delete", s.deleteCourse)
}

// kept is an object of a kind; others are not there as far as its pages go.
func (s *Server) keptCourse(r *http.Request) (store.Object, error) {
	o, err := s.store.Object(r.Context(), r.PathValue("id"))
	if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != store.Course {
		return o, notFound("There is no such course. Perhaps it was deleted.")
	}
	return o, err
}

func (s *Server) newCourse(w http.ResponseWriter, r *http.Request) error {
	return s.showNewCourse(w, r, http.StatusOK, nil, nil, nil, nil)
}

func (s *Server) showNewCourse(w http.ResponseWriter, r *http.Request, status int, file, fileErrs, sketch, sketchErrs map[string]string) error {
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	title := "A new course"
	if status != http.StatusOK {
		title = "Not kept yet: a new course"
	}
	first := ""
	if len(sketchErrs) > 0 {
		first = "sketch"
	}
	return s.show(w, r, status, &CourseNewPage{Base: Base{Title: title, Section: "/courses"}, Back: "/courses", First: first,
		Drop: NewCourseDrop(file, fileErrs), Sketch: NewCourseSketch("/courses/sketch", sketch, sketchErrs, u)})
}

// NewCourseDrop is the form that takes a file, with what was typed beside it.
func NewCourseDrop(values, errs map[string]string) CourseDrop {
	f := NewForm("/courses/file", values, errs)
	return CourseDrop{Form: f,
		File: f.Field(Field{Name: "file", Label: "GPX or CSV file", Kind: "file", Accept: ".gpx,.csv", Hint: "Drop it anywhere in this frame, or choose it. A CSV has the columns distance_m and elevation_m."}),
		Name: f.Field(Field{Name: "file_name", Label: "What you call it", Hint: "Leave it empty to call it as the file is called."})}
}

// addCourseFile keeps an uploaded course as it came, once it can be read.
func (s *Server) addCourseFile(w http.ResponseWriter, r *http.Request) error {
	typed, err := Typed(r)
	if err != nil {
		return err
	}
	again := func(field, message string) error {
		return s.showNewCourse(w, r, http.StatusUnprocessableEntity, typed, map[string]string{field: message}, nil, nil)
	}
	sent, head, err := r.FormFile("file")
	if err != nil || head.Filename == "" {
		return again("file", "No file came with it; choose a GPX or CSV file.")
	}
	defer sent.Close()
	data, err := io.ReadAll(sent)
	if err != nil {
		return err
	}
	filename := courseFilename(head.Filename)
	if len(data) == 0 {
		return again("file", filename+" is empty; choose a GPX or CSV file.")
	}
	way, err := readCourse(filename, data)
	if err != nil && noCourse(filename, data) {
		return again("file", filename+" is neither a GPX file nor a table; choose a GPX or CSV file.")
	}
	if err != nil {
		return again("file", oneLine(err))
	}
	name := typed["file_name"]
	if name == "" {
		name = way.Name
	}
	if wrong := courseNameWrong(name); wrong != "" {
		return again("file_name", wrong)
	}
	o := store.Object{Kind: store.Course, Name: name}
	if way.Sketch != nil {
		o.Text = string(data) // our own YAML of a sketch: nothing is lost by keeping it as text
	} else {
		o.Original = &store.Original{Filename: filename, Media: courseMedia(way), Bytes: data}
	}
	if o, err = s.store.Put(r.Context(), o); err != nil {
		return err
	}
	return s.see(w, r, "/courses/"+o.ID, o.Name+" is kept.")
}

// noCourse is whether a file that cannot be read is of another kind
// altogether, so that a line and a column in it would only puzzle.
func noCourse(filename string, data []byte) bool {
	begin := bytes.TrimLeft(bytes.TrimPrefix(data[:min(512, len(data))], []byte("\uFEFF")), " \t\r\n")
	return !bytes.HasPrefix(begin, []byte("<")) && (strings.EqualFold(filepath.Ext(filename), ".gpx") || bytes.IndexByte(begin, 0) >= 0)
}

func courseMedia(w brief.Way) string {
	if w.Known == "survey" {
		return "text/csv"
	}
	return "application/gpx+xml"
}

// courseFilename is an uploaded file's name, without folders of whatever
// system and without what no name has.
func courseFilename(sent string) string {
	name := filepath.Base(strings.ReplaceAll(sent, `\`, "/"))
	name = strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f || c == utf8.RuneError {
			return -1
		}
		return c
	}, name)
	if r := []rune(name); len(r) > 120 {
		name = string(r[:100]) + filepath.Ext(name)
	}
	if name == "" || name == "." || name == "/" {
		return "course"
	}
	return name
}

const courseNameMost = 200

func courseNameWrong(name string) string {
	switch {
	case strings.TrimSpace(name) == "":
		return "A name is needed to find it again."
	case utf8.RuneCountInString(name) > courseNameMost:
		return fmt.Sprintf("That name has %d characters; expected at most %d.", utf8.RuneCountInString(name), courseNameMost)
	case strings.ContainsFunc(name, func(c rune) bool { return c < ' ' || c == 0x7f }):
		return "A name is one line of text."
	}
	return ""
}

func (s *Server) course(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptCourse(r)
	if err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, courseShown(o, u))
}

func courseShown(o store.Object, u form.Units) *CoursePage {
	name, data := courseFile(o)
	return NewCoursePage(o.ID, o.Name, name, data, o.Original != nil, u)
}

// NewCoursePage says what is to be said of a course, read from its file, which
// was uploaded or is the text of a sketch.
func NewCoursePage(id, name, filename string, file []byte, uploaded bool, u form.Units) *CoursePage {
	p := &CoursePage{Base: Base{Title: name, Section: "/courses"}, ID: id}
	if uploaded {
		p.Original = filename
	}
	w, err := readCourse(filename, file)
	if err != nil {
		p.Wrong = oneLine(err)
		return p
	}
	p.fill(w, u)
	return p
}

func (p *CoursePage) fill(w brief.Way, u form.Units) {
	distance, ascent := courseTotals(w)
	p.Lead = fmt.Sprintf("%s with %s of climbing.", u.Distance(distance), u.Elevation(ascent))
	if ascent < 0.5 {
		p.Lead = u.Distance(distance) + ", level."
	}
	p.Picture, p.Words, p.Sketch = coursePicture(w, u), courseWords(w, u), w.Sketch != nil
	switch w.Known {
	case "track":
		p.From = "From a track"
	case "survey":
		p.From = "From a survey, taken as it stands"
	default:
		p.From = "Typed from a route list"
	}
	for i, c := range courseClimbs(w) {
		p.Climbs = append(p.Climbs, CourseClimb{i + 1, u.Distance(c.Start), u.Distance(c.Length), u.Elevation(c.Ascent),
			fmt.Sprintf("%.1f %%", 100*c.Mean), fmt.Sprintf("%.1f %%", 100*c.Steepest)})
	}
	if w.Sketch != nil {
		p.NoClimbs = sketchClimbWords(w, u)
	} else if len(p.Climbs) == 0 {
		p.NoClimbs = "Nothing on it is long and steep enough to be called a climb: 20 m gained at 2.5 % or more."
	}
	if w.Smoothing != "" {
		p.Smooth = "Recorded elevations are noisy, so they were smoothed: " + w.Smoothing + "."
	}
	for _, note := range w.Notes {
		p.Notes = append(p.Notes, u.Words(note))
	}
}

func sketchClimbWords(w brief.Way, u form.Units) string {
	c := w.Sketch.Climb
	if c == nil {
		return "Where it climbs is not known."
	}
	said := "The main climb is " + u.Distance(c.Length) + " long"
	if c.Ascent > 0 {
		said += " and gains " + u.Elevation(c.Ascent)
	}
	if c.Start >= 0 {
		said += ", from " + u.Distance(c.Start)
	}
	return said + ". The rest is not known."
}

// courseOriginal gives the file back as it came.
func (s *Server) courseOriginal(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptCourse(r)
	if err != nil {
		return err
	}
	name, data := courseFile(o)
	media := "application/yaml"
	if o.Original != nil {
		media = o.Original.Media
	}
	h := w.Header()
	h.Set("Content-Type", media)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	w.Write(data)
	return nil
}

func (s *Server) askDeleteCourse(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptCourse(r)
	if err != nil {
		return err
	}
	with := ""
	if o.Original != nil {
		with = ", with the file as it came"
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: Base{Title: "Delete " + o.Name + "?", Section: "/courses"}, Action: "/courses/" + o.ID + "/delete", Keep: "/courses/" + o.ID,
		Button: "Delete it", Says: o.Name + " is really deleted" + with + ". Briefs already made stay as they are."})
}

func (s *Server) deleteCourse(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptCourse(r)
	if err != nil {
		return err
	}
	if err := s.store.Delete(r.Context(), o.ID); err != nil {
		return err
	}
	return s.see(w, r, "/courses", o.Name+" is deleted.")
}
