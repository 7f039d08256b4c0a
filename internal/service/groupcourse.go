package service

import (
	"bufio"
	"io"
	"path"
	"strings"
	"unicode"

	"chainline/course"
	"chainline/internal/problem"
)

// GroupCourse is all that a guest of a live group course needs to plan and to
// ride it: the files as kept, and how often round. A brief is made by each
// program for its own rider and rig.
type GroupCourse struct {
	Name       string `json:"name"`
	CourseFile string `json:"course_file"` // its name says what it is: .gpx or .csv
	CourseText string `json:"course"`
	RoadText   string `json:"road,omitempty"`  // empty: the open road
	EventText  string `json:"event,omitempty"` // rules and laps, where there is an event
	Laps       int    `json:"laps,omitempty"`  // 0: as the event says, or once
	Reverse    bool   `json:"reverse,omitempty"`
}

// Most that a course of a group may hold, in bytes.
const mostGroupCourse = 8 << 20

// groupFolder begins the names under which a request finds a group's files.
const groupFolder = "group/"

// Check says what is wrong with a course, in a sentence.
func (g GroupCourse) Check() error {
	switch {
	case g.CourseFile == "" || g.CourseFile != path.Base(g.CourseFile) || strings.ContainsAny(g.CourseFile, `\/`) || len(g.CourseFile) > 200 || strings.ContainsFunc(g.CourseFile, unicode.IsControl):
		return problem.Bad("the group's course has no file name")
	case g.CourseText == "":
		return problem.Bad("the group's course is empty")
	case len(g.CourseText)+len(g.RoadText)+len(g.EventText) > mostGroupCourse:
		return problem.Bad("the group's course is longer than %d MB", mostGroupCourse>>20)
	}
	return nil
}

// Bare is the course as guests get it: a track that somebody recorded holds
// when, and often heart and watts, which nobody else is shown. Of a file that
// cannot be read nothing is left out; Profile says what is wrong with it.
func (g GroupCourse) Bare() GroupCourse {
	if !looksLikeXML(bufio.NewReader(strings.NewReader(g.CourseText))) {
		return g
	}
	if b, err := course.BareGPX(strings.NewReader(g.CourseText)); err == nil {
		g.CourseText = string(b)
	}
	return g
}

// For is a request for a rider and a rig, on the group's course and road.
func (g GroupCourse) For(q RideRequest) RideRequest {
	files := map[string]string{groupFolder + g.CourseFile: g.CourseText}
	q.Brief.Course, q.Brief.Event, q.Brief.Road = groupFolder+g.CourseFile, "", ""
	q.Brief.Laps, q.Brief.Reverse = g.Laps, g.Reverse
	if g.RoadText != "" {
		q.Brief.Road = groupFolder + "road.yaml"
		files[q.Brief.Road] = g.RoadText
	}
	if g.EventText != "" {
		q.Brief.Event = groupFolder + "event.yaml"
		files[q.Brief.Event] = g.EventText
	}
	open, own := q.Brief.Open, Texts(files)
	q.Brief.Open = func(name string) (io.ReadCloser, error) {
		if strings.HasPrefix(name, groupFolder) {
			return own(name)
		}
		if open == nil {
			return OpenFile(name)
		}
		return open(name)
	}
	q.Session, q.Advance, q.WaitForKey = "", "", true
	return q
}

// Profile is the course's as it is ridden, laps and all. Errors are
// *problem.Error.
func (g GroupCourse) Profile() (course.Profile, error) {
	if err := g.Check(); err != nil {
		return course.Profile{}, err
	}
	q := g.For(RideRequest{}).Brief
	event, err := q.event()
	if err != nil {
		return course.Profile{}, err
	}
	w, err := q.way(event)
	if err != nil {
		return course.Profile{}, err
	}
	if w.Sketch != nil {
		return course.Profile{}, problem.Bad("a sketch cannot be ridden: where its climbs stand is not known; expected a course file")
	}
	return w.Profile, nil
}
