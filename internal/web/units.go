package web

import (
	"context"
	"math"
	"strings"

	"chainline/internal/form"
)

// settingUnits is the key of the units that are shown: imperial, or empty.
const settingUnits = "units"

// asFiled are the units of files.
const asFiled form.Units = 0

// units are those that the person chose.
func (s *Server) units(ctx context.Context) (form.Units, error) {
	chosen, err := s.store.Setting(ctx, settingUnits)
	if err != nil || chosen != "imperial" {
		return asFiled, err
	}
	return form.Imperial, nil
}

// readAs says how values that were typed were read where that may be doubted:
// a date with the day first, a time that could be two. What was there before
// is not said again. It begins with a space, or is empty.
func readAs(kind, old string, typed map[string]string, units form.Units) string {
	before, err := form.ValuesIn(kind, old, units)
	if old == "" || err != nil {
		before = nil
	}
	fresh := map[string]string{}
	for path, v := range typed {
		if v != "" && v != before[path] {
			fresh[path] = v
		}
	}
	notes := form.Notes(kind, fresh, units)
	var out strings.Builder
	for _, path := range sortedKeys(notes) {
		if v, ok := fresh[path]; ok {
			out.WriteString(" “" + v + "” was " + notes[path] + ".")
		}
	}
	return out.String()
}

// keyField is the question for a value of a kind of file, with its unit and
// choice of keyboard.
func keyField(f *Form, kind string, units form.Units, q Field) Field {
	about, ok := form.About(kind, q.Name, units)
	if ok && (about.Form == "number" || about.Form == "whole") {
		q.Numeric, q.Unit = true, about.Unit
	}
	return f.Field(q)
}

// lastsWords is a time to whole seconds.
func lastsWords(seconds float64) string { return form.Duration(math.Round(seconds)) }
