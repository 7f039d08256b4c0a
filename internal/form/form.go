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
	"strings"

	"chainline/internal/input"
	"chainline/internal/problem"
)

// Kinds of file, as internal/store names them. A course here is a sketch; a
// climb is told to a rig check and kept with it alone.
const (
	Rider  = "rider"
	Rig    = "rig"
	Road   = "road"
	Course = "course"
	Event  = "event"
	Climb  = "climb"
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
	raw, err := input.Flatten(kind, text)
	if err != nil {
		return nil, err
	}
	out := make(map[string]string, len(raw))
	for path, value := range raw {
		out[path] = shown(kind, path, value, units)
	}
	return out, nil
}

func shown(kind, path, raw string, units Units) string {
	if k, ok := find(kind, path); ok {
		return showValue(k, raw, units)
	}
	return raw
}

// YAML is the file that the typed values make: canonical, without comments,
// read by internal/input without complaint. If errs is not empty there is no
// text; it has one plain sentence for each path that cannot be taken, as many
// as can be found at once, and those about the whole under "". typed itself
// is left as it is.
func YAML(kind string, typed map[string]string, units Units) (text string, errs map[string]string) {
	text, errs, _ = compose(kind, typed, nil, units)
	return text, errs
}

// Change is YAML for a page that shows a part of a file: typed has the paths
// it shows, everything else stays exactly as it is in the file's text, and so
// does what was typed as it was shown. An empty value is taken out.
func Change(kind, text string, typed map[string]string, units Units) (changed string, errs map[string]string) {
	raw, err := input.Flatten(kind, text)
	if err != nil {
		message, _ := problem.ForPerson(err)
		return "", map[string]string{"": message}
	}
	values, kept := map[string]string{}, map[string]string{}
	for path, value := range raw {
		values[path], kept[path] = shown(kind, path, value, units), value
	}
	for path, value := range typed {
		if list, _, ok := strings.Cut(path, ".0"); ok && values[list] == "none" {
			delete(values, list) // it was an empty list, which now has entries
			delete(kept, list)
		}
		if strings.TrimSpace(value) != values[path] {
			delete(kept, path)
		}
		values[path] = value
	}
	changed, errs, _ = compose(kind, values, kept, units)
	return changed, errs
}

// Notes say how typed values were read where that may be doubted, by path: a
// date with the day first, a number without a unit.
func Notes(kind string, typed map[string]string, units Units) map[string]string {
	_, _, notes := compose(kind, typed, nil, units)
	return notes
}

// reading is what typed values have become so far.
type reading struct {
	kind  string
	units Units
	good  map[string]string // as the file has them, entries without gaps
	typed map[string]string // path as typed, by path without gaps
	errs  map[string]string // by path as typed
	notes map[string]string
}

func compose(kind string, typed, kept map[string]string, units Units) (text string, errs, notes map[string]string) {
	r := reading{kind: kind, units: units, good: map[string]string{}, typed: map[string]string{}, errs: map[string]string{}, notes: map[string]string{}}
	if tables[kind] == nil {
		return "", map[string]string{"": "There is no such kind of file."}, nil
	}
	r.take(expand(kind, typed, r.errs), kept)
	r.needed(tables[kind], "")
	text = r.check()
	if len(r.errs) > 0 {
		return "", r.errs, r.notes
	}
	return text, nil, r.notes
}

// take reads every typed value by itself.
func (r *reading) take(typed, kept map[string]string) {
	dense := closeGaps(typed)
	for _, path := range sorted(dense) {
		said := typed[dense[path]]
		r.typed[path] = dense[path]
		k, ok := find(r.kind, path)
		switch {
		case !ok:
			r.errs[dense[path]] = "There is no such value here."
		case kept[dense[path]] != "":
			r.good[path] = kept[dense[path]]
		default:
			v := readValue(k, said, r.units)
			if v.wrong != "" {
				r.errs[dense[path]] = v.wrong
				continue
			}
			r.good[path] = v.raw
			if v.note != "" {
				r.notes[dense[path]] = v.note
			}
		}
	}
}

// needed finds what must be known and is not, in every group and entry that
// something is known of or that must be there.
func (r *reading) needed(keys []input.Key, at string) {
	for _, k := range keys {
		path := at + k.Name
		switch {
		case len(k.Keys) > 0 && k.Form == "list":
			for i := range entriesOf(r.typed, path) {
				entry := path + "." + itoa(i)
				if _, sentence := r.typed[entry]; !sentence {
					r.needed(k.Keys, entry+".")
				}
			}
		case len(k.Keys) > 0:
			if k.Needed || any(r.typed, path+".") {
				r.needed(k.Keys, path+".")
			}
		case k.Needed:
			if _, ok := r.typed[path]; !ok {
				r.errs[behind(r.typed, path)] = isNeeded(k, r.units)
			}
		}
	}
}

// mostRounds of asking the reader what is wrong next.
const mostRounds = 60

// check asks the reader. What it refuses is noted and taken out, so that it
// can go on to what else is wrong.
func (r *reading) check() (text string) {
	for range mostRounds {
		dense := closeGaps(r.good) // entries may have been taken out
		values := make(map[string]string, len(dense))
		for path, good := range dense {
			values[path] = r.good[good]
		}
		text = input.Compose(r.kind, values)
		err := input.Check(r.kind, text)
		if err == nil {
			return text
		}
		e, ok := errors.AsType[*problem.Error](err)
		if !ok {
			r.errs[""] = "This cannot be read."
			return ""
		}
		path := behind(dense, fromReader(e.Path))
		if typed := behind(r.typed, path); !r.follows(typed) {
			r.errs[typed] = plainly(e)
		}
		if path == "" || !r.without(path) {
			return ""
		}
	}
	return ""
}

// follows tells whether an error can come from another one: something at this
// path or below it is wrong already.
func (r *reading) follows(path string) bool {
	return r.errs[path] != "" || any(r.errs, path+".") || path == "" && len(r.errs) > 0
}

// without takes out what the reader cannot go on with: the value, or if that
// must be known the entry or group it is in; at the top something possible
// stands in. It tells whether anything changed.
func (r *reading) without(path string) bool {
	k, ok := find(r.kind, path)
	value := ok && len(k.Keys) == 0
	_, there := r.good[path]
	if there && !(value && k.Needed) {
		delete(r.good, path)
		return true
	}
	if in, ok := standIn[r.kind+" "+path]; ok && r.good[in.path] != in.value {
		for _, also := range in.drops {
			drop(r.good, also)
		}
		r.good[in.path] = in.value
		return true
	}
	group := path
	if value {
		group = path[:max(0, strings.LastIndexByte(path, '.'))]
	}
	return drop(r.good, group)
}

// drop takes out a value, group or entry; it tells whether there was one.
func drop(values map[string]string, path string) bool {
	before := len(values)
	for p := range values {
		if p == path || path != "" && strings.HasPrefix(p, path+".") {
			delete(values, p)
		}
	}
	return len(values) < before
}

// standIn are possible values for what must be known at the top of a file and
// is not right yet, and what else then has to wait for it.
var standIn = map[string]struct {
	path, value string
	drops       []string
}{
	"rider mass_kg":    {"mass_kg", "70", []string{"weighed"}},
	"rig trainer.kind": {"trainer.kind", "plain", []string{"trainer", "power_source"}},
	"rig trainer":      {"trainer.kind", "plain", []string{"trainer", "power_source"}},
}
