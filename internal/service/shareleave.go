package service

import (
	"regexp"
	"slices"
	"strings"

	"chainline/internal/input"
)

// leaveOut takes out of a share file what is left out on purpose. A rider's
// file that cannot be freed of it is not put in, and the share file is then
// not Whole.
func (s *sharing) leaveOut() error {
	o := &s.out
	o.Whole = true
	if len(s.q.Without) == 0 {
		return nil
	}
	has := func(what string) bool { return slices.Contains(s.q.Without, what) }
	name := s.riderName()
	for _, kind := range []string{"rider", "rig", "road", "event"} {
		ref := o.ref(kind)
		if *ref == "" {
			continue
		}
		text := withoutComments(string(s.files[*ref]))
		if kind == "rider" && has("name") {
			text = withoutKeys(text, "name")
		}
		if kind == "rider" && has("heart_rate") {
			text = withoutKeys(text, "max_heart_rate_bpm", "resting_heart_rate_bpm")
		}
		told := kind == "rider" && (has("mass") || has("heart_rate") && strings.Contains(text, "bpm")) || has("name") && namesIn(text, name)
		if told {
			o.Whole = false
			*ref = ""
			continue
		}
		if kind == "rider" {
			if _, err := input.ReadRider(kind, strings.NewReader(text)); err != nil {
				o.Whole, *ref = false, ""
				continue
			}
		}
		as := "files/" + kind + "-shared.yaml"
		s.files[as], *ref = []byte(text), as
	}
	if has("heart_rate") {
		o.Efforts = slices.Clone(o.Efforts)
		for i := range o.Efforts {
			o.Efforts[i].HeartRate = 0
		}
	}
	if has("mass") {
		o.Weighed, o.Sweat = nil, nil
		o.Efforts = slices.Clone(o.Efforts)
		for i := range o.Efforts {
			o.Efforts[i].RiderMass, o.Efforts[i].BikeMass = 0, 0
		}
	}
	if o.Rider == "" && !o.Whole { // nothing else means something without a rider
		o.Rig, o.Road, o.Course, o.Event, o.Harder, o.Weighed = "", "", "", "", "", nil
	}
	return nil
}

func (s *sharing) riderName() string {
	f, err := input.ReadRider("rider", strings.NewReader(string(s.files[s.out.Rider])))
	if err != nil {
		return ""
	}
	return f.Name
}

// namesIn is whether a part of a name stands in a text.
func namesIn(text, name string) bool {
	for _, part := range strings.Fields(strings.ToLower(name)) {
		if len([]rune(part)) >= 3 && strings.Contains(strings.ToLower(text), part) {
			return true
		}
	}
	return false
}

var comment = regexp.MustCompile(`(^|\s)#.*$`)

// withoutComments is the text of a YAML file without what was noted beside it.
// A line with quotes keeps all, for a # may be meant in it.
func withoutComments(text string) string {
	var out []string
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\r\n")
		if !strings.ContainsAny(line, `"'`) || strings.HasPrefix(strings.TrimSpace(line), "#") {
			line = comment.ReplaceAllString(line, "")
		}
		if strings.TrimSpace(line) != "" {
			out = append(out, line)
		}
	}
	return strings.Join(out, "\n") + "\n"
}

// withoutKeys is the text of a YAML file without some of its outermost keys.
func withoutKeys(text string, keys ...string) string {
	var out strings.Builder
	gone := false
	for line := range strings.Lines(text) {
		if outer := strings.TrimLeft(line, " \t-") == line; outer {
			key, _, _ := strings.Cut(line, ":")
			gone = slices.Contains(keys, strings.TrimSpace(key))
		}
		if !gone {
			out.WriteString(line)
		}
	}
	return out.String()
}
