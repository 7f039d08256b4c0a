package web

import (
	"context"
	"math"

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
