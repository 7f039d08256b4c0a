package web

import (
	"html/template"
	"net/http"
	"strings"
)

// Option is one choice of a field.
type Option struct {
	Value, Label string
	Hint         string
	Picture      template.HTML // an SVG of ours, hidden from readers of the screen: Label says the same
}

// Field is one question of a form. Its name is the path of what it sets in
// the file of the object, like "evidence.2.watts".
type Field struct {
	Name    string
	Label   string
	Hint    string // one line on how to answer
	Value   string // as it was typed
	Error   string // beside the field
	Kept    string // what is kept now, where another window kept something else; in words
	Kind    string // text, area, select, radio, check, file, date, time, secret, hidden
	Unit    string // behind the answer, like "kg"
	Options []Option
	Numeric bool   // offer the keyboard of numbers
	Unknown bool   // offer 'I don't know'
	Unsure  bool   // 'I don't know' is the answer
	Accept  string // endings of files, like ".gpx,.csv"
	Fill    string // autocomplete token; empty: off
}

// ID is the field's id on the page.
func (f Field) ID() string { return "f-" + strings.ReplaceAll(f.Name, ".", "-") }

// Described lists the ids of what describes the field.
func (f Field) Described() string {
	var ids []string
	if f.Hint != "" {
		ids = append(ids, f.ID()+"-hint")
	}
	if f.Error != "" {
		ids = append(ids, f.ID()+"-error")
	}
	if f.Kept != "" {
		ids = append(ids, f.ID()+"-kept")
	}
	return strings.Join(ids, " ")
}

// Autocomplete is the browser's hint on what to offer.
func (f Field) Autocomplete() string {
	if f.Fill == "" {
		return "off"
	}
	return f.Fill
}

// Single is whether the field is one element with a label rather than a group.
func (f Field) Single() bool { return f.Kind != "radio" }

// Form is what was typed and what is wrong with it, by path.
type Form struct {
	Action  string
	Version string // of the object it was filled from, see meanwhile.go; empty for a new one
	Values  map[string]string
	Errors  map[string]string
	Order   []string // names of fields, as built: the order of the summary
	labels  map[string]string
}

// NewForm is a form for values and errors; both may be nil.
func NewForm(action string, values, errs map[string]string) *Form {
	return &Form{Action: action, Values: values, Errors: errs, labels: map[string]string{}}
}

// Field is the question with what was typed and what is wrong with it.
func (f *Form) Field(q Field) Field {
	q.Value, q.Error = f.Values[q.Name], f.Errors[q.Name]
	if q.Kind == "" {
		q.Kind = "text"
	}
	if kept, other := f.Values[keptMark+q.Name]; other {
		q.Kept = saidAs(q, kept)
	}
	q.Unsure = q.Unknown && f.Values[unknownMark+q.Name] != ""
	f.Order = append(f.Order, q.Name)
	f.labels[q.Name] = q.Label
	return q
}

// saidAs is a value of a field as its page says it.
func saidAs(q Field, value string) string {
	for _, o := range q.Options {
		if o.Value == value {
			return o.Label
		}
	}
	switch {
	case value == "" && q.Unknown:
		return "not known"
	case value == "" && q.Kind == "check":
		return "not ticked"
	case value == "":
		return "left empty"
	case q.Kind == "check":
		return "ticked"
	case q.Unit != "" && q.Numeric:
		return value + " " + q.Unit
	}
	return value
}

// Wrong is one line of the summary above a form.
type Wrong struct{ ID, Label, Error string }

// Summary lists what is wrong, in the order of the fields, then what belongs
// to no field.
func (f *Form) Summary() []Wrong {
	var all []Wrong
	for _, name := range f.Order {
		if e := f.Errors[name]; e != "" {
			all = append(all, Wrong{Field{Name: name}.ID(), f.labels[name], e})
		}
	}
	for _, name := range sortedKeys(f.Errors) {
		if _, shown := f.labels[name]; !shown {
			all = append(all, Wrong{"", name, f.Errors[name]})
		}
	}
	return all
}

// unknownMark before a field's name is the box 'I don't know'.
const unknownMark = "unknown."

// maxFields of one form; more is no person.
const maxFields = 2000

// Typed is what a form sent, by field. The marks of 'I don't know' stay in it
// (unknown.NAME), for the form to be shown again as it was.
func Typed(r *http.Request) (map[string]string, error) {
	if err := r.ParseForm(); err != nil {
		return nil, err
	}
	if len(r.PostForm) > maxFields {
		return nil, refuse(http.StatusRequestEntityTooLarge, "That form has more fields than any page of this program.")
	}
	values := map[string]string{}
	for name, v := range r.PostForm {
		if name == versionField {
			continue
		}
		values[name] = strings.TrimSpace(v[len(v)-1])
	}
	return values, nil
}

// Answers are the values without those a person does not know, and without
// the marks.
func Answers(values map[string]string) map[string]string {
	known := map[string]string{}
	for name, v := range values {
		if strings.HasPrefix(name, unknownMark) || values[unknownMark+name] != "" {
			continue
		}
		known[name] = v
	}
	return known
}

// Empty is what stands where there is nothing yet: what is missing, why one
// would want it, and the way to it.
type Empty struct {
	Says, Why  string
	Path, Link string // may be empty
}
