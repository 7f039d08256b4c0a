// Package form stands between what people type into a page and the files that
// internal/input reads: it turns a file's YAML into values by path, and values
// by path, in whatever way a person writes a number, a time or a date, into
// the canonical YAML of that file. A path names a key through groups and lists,
// entries counted from 0: evidence.2.watts, trainer.gears.cogs, room.fans.0.
//
// What is typed is read forgivingly, but never guessed: what can mean two
// things is answered by a question. Every value may be "I don't know".
package form

import (
	"errors"

	"chainline/internal/input"
	"chainline/internal/problem"
)

// Kinds of file, as internal/store names them. A course here is a sketch.
const (
	Rider  = "rider"
	Rig    = "rig"
	Road   = "road"
	Course = "course"
	Event  = "event"
)

// Units are those that values are shown in, and that a number typed without a
// unit is taken to be in.
type Units int

const (
	Metric Units = iota
	Imperial
)

// Values are the values of a file by path, as a person would type them in
// metric units. What is unknown is not among them.
func Values(kind, text string) (map[string]string, error) { return ValuesIn(kind, text, Metric) }

// ValuesIn are Values in the units given.
func ValuesIn(kind, text string, units Units) (map[string]string, error) {
	return input.Flatten(kind, text)
}

// YAML is the file that the typed values make: canonical, without comments,
// read by internal/input without complaint. If errs is not empty there is no
// text; it has one plain sentence for each path that cannot be taken, as many
// as can be found at once, and those about the whole under "".
func YAML(kind string, typed map[string]string, units Units) (text string, errs map[string]string) {
	text = input.Compose(kind, typed)
	if err := input.Check(kind, text); err != nil {
		e, _ := errors.AsType[*problem.Error](err)
		return "", map[string]string{e.Path: e.Message}
	}
	return text, nil
}

// Change is YAML for a page that shows a part of a file: typed has the paths
// it shows, everything else stays as it is in the file's text.
func Change(kind, text string, typed map[string]string, units Units) (changed string, errs map[string]string) {
	values, err := ValuesIn(kind, text, units)
	if err != nil {
		message, _ := problem.ForPerson(err)
		return "", map[string]string{"": message}
	}
	for path, value := range typed {
		values[path] = value
	}
	return YAML(kind, values, units)
}
