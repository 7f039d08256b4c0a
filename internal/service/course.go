package service

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"chainline/brief"
	"chainline/course"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/pacing"
)

type profile = course.Profile

// shortest course in metres that a plan is made for.
const shortestCourse = 200

// OpenFile opens a file that a person named.
func OpenFile(name string) (io.ReadCloser, error) {
	f, err := os.Open(name)
	if err == nil {
		if info, e := f.Stat(); e == nil && info.IsDir() {
			_ = f.Close()
			return nil, problem.Bad("%s: is a folder; expected a file", name)
		}
		return f, nil
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, problem.Bad("%s: there is no such file; expected a file that can be read", name)
	case errors.Is(err, fs.ErrPermission):
		return nil, problem.Bad("%s: may not be read; expected a file that you are allowed to read", name)
	}
	return nil, &problem.Error{Kind: problem.Misuse, Message: name + ": cannot be opened; expected a file that can be read", Err: err}
}

// open opens what a request names.
func (q BriefRequest) open(name string) (io.ReadCloser, error) {
	if q.Open != nil {
		return q.Open(name)
	}
	return OpenFile(name)
}

// read opens a file and reads it with one of input's readers.
func read[T any](q BriefRequest, name string, reader func(string, io.Reader) (T, error)) (T, error) {
	f, err := q.open(name)
	if err != nil {
		var none T
		return none, err
	}
	defer f.Close()
	return reader(name, f)
}

// way is the course: a file, or a sketch from what was typed.
func (q BriefRequest) way(event input.EventFile) (brief.Way, error) {
	s := q.Sketch
	sketched := s.Distance != nil || s.Ascent != nil
	switch {
	case q.Course != "" && (sketched || s.MainClimb != nil || s.SummitFinish || s.LapLength > 0 || s.LapAscent > 0):
		return brief.Way{}, problem.Bad("--course: found beside a sketch; expected either a course file or --distance and --ascent")
	case q.Course == "" && !sketched:
		return brief.Way{}, problem.Bad("no course given; expected --course FILE, or --distance and --ascent").WithHint("For example --distance 21.4km --ascent 310m.")
	case q.Course == "" && (s.Distance == nil || s.Ascent == nil):
		return brief.Way{}, problem.Bad("a sketch needs both numbers; expected --distance and --ascent together").WithHint("A flat course is --ascent 0m.")
	case sketched:
		return q.sketched(event)
	case q.Laps < 0:
		return brief.Way{}, problem.Bad("--laps: found %d; expected 1 or more, or 0 for as many as the event says", q.Laps)
	}
	laps := max(1, event.Laps.Or(1))
	if q.Laps > 0 {
		laps = q.Laps
	}
	leadIn := event.LeadIn.Or(0)
	if s.LeadIn > 0 {
		leadIn = s.LeadIn
	}
	w, err := q.fromFile()
	if err != nil {
		return w, err
	}
	if w.Sketch != nil {
		return q.asSketch(w, laps, leadIn)
	}
	if q.Reverse {
		w.Profile = course.Reversed(w.Profile)
		w.Name += ", the other way round"
	}
	if laps > 1 {
		if note := course.LapNote(w.Profile); note != "" {
			w.Notes = append(w.Notes, note)
		}
		if w.Profile, err = course.Repeat(w.Profile, laps); err != nil {
			return w, problem.Bad("%s: %s", q.Course, err)
		}
		w.RawAscent *= float64(laps)
		w.Laps = laps
	}
	if leadIn > 0 {
		w.Profile = course.WithLeadIn(w.Profile, leadIn)
		w.Notes = append(w.Notes, fmt.Sprintf("The lead-in of %.1f km was taken as level.", leadIn/1000))
	}
	if length := w.Profile.Length(); length < shortestCourse {
		return w, problem.Bad("%s: the course is %.0f m long; expected at least %d m", q.Course, length, shortestCourse)
	}
	return w, nil
}

// asSketch is the sketch of a file with the laps and lead-in asked for.
func (q BriefRequest) asSketch(w brief.Way, laps int, leadIn float64) (brief.Way, error) {
	if q.Reverse {
		return w, problem.Bad("--reverse: a sketch has no direction; expected a course file with a track")
	}
	if laps > 1 {
		w.Sketch.Laps = laps
	}
	if leadIn > 0 {
		w.Sketch.LeadIn = leadIn
	}
	if err := w.Sketch.Check(); err != nil {
		return w, problem.Bad("%s: the sketch does not work out: %s", q.Course, err)
	}
	w.Laps = max(1, w.Sketch.Laps)
	return w, nil
}

// looksLikeYAML tells a sketch from a CSV by its first line that says
// something: a key and a colon, and no comma.
func looksLikeYAML(r *bufio.Reader) bool {
	head, _ := r.Peek(4096)
	for line := range bytes.Lines(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))) {
		if line = bytes.TrimSpace(line); len(line) > 0 && line[0] != '#' {
			before, _, colon := bytes.Cut(line, []byte(":"))
			return colon && !bytes.ContainsAny(before, ",;\t")
		}
	}
	return false
}

// fromFile reads a course: GPX, CSV or the YAML of a sketch; which of them is
// seen from its beginning, whatever the file is called.
func (q BriefRequest) fromFile() (brief.Way, error) {
	f, err := q.open(q.Course)
	if err != nil {
		return brief.Way{}, err
	}
	defer f.Close()
	name := strings.TrimSuffix(filepath.Base(q.Course), filepath.Ext(q.Course))
	name = strings.Join(strings.FieldsFunc(name, func(r rune) bool { return r == '-' || r == '_' }), " ")
	if first, size := utf8.DecodeRuneInString(name); size > 0 {
		name = string(unicode.ToUpper(first)) + name[size:]
	}
	w := brief.Way{Name: name}
	r := bufio.NewReader(f)
	if !looksLikeXML(r) && looksLikeYAML(r) {
		file, err := input.ReadSketch(q.Course, r)
		if err != nil {
			return w, err
		}
		d, a := file.Sketch.Totals()
		if w.Name = file.Name; w.Name == "" {
			w.Name = fmt.Sprintf("%.1f km with %.0f m of ascent", d/1000, a)
		}
		w.Known, w.Sketch = "sketch", &file.Sketch
		return w, nil
	}
	if !looksLikeXML(r) {
		w.Known = "survey"
		if w.Profile, err = course.ReadCSV(r); err != nil {
			return w, problem.Bad("%s: %s", q.Course, err)
		}
		return w, nil
	}
	track, err := course.ReadGPX(r)
	if err != nil {
		return w, problem.Bad("%s: %s", q.Course, err)
	}
	var smoothing course.Smoothing
	if w.Profile, smoothing, err = track.Profile(); err != nil {
		return w, problem.Bad("%s: %s", q.Course, err)
	}
	w.Known, w.RawAscent, w.Smoothing = "track", smoothing.RawAscent, smoothing.String()
	w.Notes = track.Notes()
	if warning := smoothing.Warning(); warning != "" {
		w.Notes = append(w.Notes, warning)
	}
	return w, nil
}

func looksLikeXML(r *bufio.Reader) bool {
	head, _ := r.Peek(256)
	head = bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))
	return bytes.HasPrefix(bytes.TrimSpace(head), []byte("<"))
}

// sketched builds a sketch; laps and lead-in come from the event where the
// command line is silent.
func (q BriefRequest) sketched(event input.EventFile) (brief.Way, error) {
	s := q.Sketch
	if q.Reverse {
		return brief.Way{}, problem.Bad("--reverse: a sketch has no direction; expected a course file")
	}
	sk := course.Sketch{Distance: *s.Distance, Ascent: *s.Ascent, Laps: q.Laps, LapLength: s.LapLength, LapAscent: s.LapAscent, LeadIn: s.LeadIn, SummitFinish: s.SummitFinish}
	if sk.Laps == 0 {
		sk.Laps = event.Laps.Or(0)
	}
	if sk.LeadIn == 0 {
		sk.LeadIn = event.LeadIn.Or(0)
	}
	if c := s.MainClimb; c != nil {
		sk.Climb = &course.SketchClimb{Length: c.Length, Ascent: c.Ascent, Start: c.From.Or(course.UnknownStart)}
	}
	if err := sk.Check(); err != nil {
		return brief.Way{}, problem.Bad("the sketch does not work out: %s", err)
	}
	d, a := sk.Totals()
	return brief.Way{Name: fmt.Sprintf("%.1f km with %.0f m of ascent", d/1000, a), Known: "sketch", Sketch: &sk, Laps: max(1, sk.Laps)}, nil
}

// given reads a plan and holds it against the course.
func (q BriefRequest) given(w brief.Way) ([]pacing.Piece, error) {
	if w.Sketch != nil {
		return nil, problem.Bad("--plan: a sketch has no places to hold watts from; expected a course file")
	}
	rows, err := read(q, q.Plan, input.ReadPlan)
	if err != nil {
		return nil, err
	}
	plan := make([]pacing.Piece, len(rows))
	for i, r := range rows {
		plan[i] = pacing.Piece{From: r.FromM, To: r.ToM, Watts: r.Watts}
	}
	last := &plan[len(plan)-1]
	total := w.Profile.Length()
	if off := last.To - total; off > 1 || off < -1 {
		return nil, problem.Bad("%s: the plan ends at %.1f m; expected the end of the course at %.1f m", q.Plan, last.To, total)
	}
	if last.From >= total {
		return nil, problem.Bad("%s: the last piece begins at %.1f m; expected it to begin before the end of the course at %.1f m", q.Plan, last.From, total)
	}
	last.To = total
	return plan, nil
}

// meanElevation of a profile in metres, weighted by distance; 0 for a sketch.
func meanElevation(p profile) float64 {
	if len(p.Distance) < 2 {
		return 0
	}
	sum := 0.0
	for i := 1; i < len(p.Distance); i++ {
		sum += 0.5 * (p.Elevation[i] + p.Elevation[i-1]) * (p.Distance[i] - p.Distance[i-1])
	}
	return sum / p.Length()
}
