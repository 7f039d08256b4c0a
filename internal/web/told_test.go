package web

import (
	"maps"
	"strings"
	"testing"

	"chainline/internal/form"
	"chainline/internal/input"
)

// A climb is kept the same whatever units it was typed in, with the unit or
// without it.
func TestToldInEitherUnits(t *testing.T) {
	same := map[string]string{"climb-source": "meter", "climb-measures": "crank", "climb-watts": "241", "climb-time-s": "28:40", "climb-wind": "calm", "one-leg": ""}
	told := func(u form.Units, mass, doubt, ascent, length, temperature, height, flywheel string) checkAsk {
		t.Helper()
		typed := map[string]string{"climb-mass-kg": mass, "climb-mass-doubt-kg": doubt, "climb-ascent-m": ascent, "climb-length-km": length, "climb-temperature-c": temperature, "climb-height-m": height, "flywheel": flywheel}
		maps.Copy(typed, same)
		a, errs := checkAsk{}, map[string]string{}
		if a.told(typed, errs, u); len(errs) > 0 {
			t.Fatalf("%v", errs)
		}
		return a
	}
	want := told(asFiled, "185 lb", "2 lb", "1350 ft", "3.5 mi", "59 °F", "2000 ft", "26 lb")
	got := told(form.Imperial, "185", "2", "1,350", "3.5", "59", "2000", "26")
	if got.Climb != want.Climb || got.FlywheelKg != want.FlywheelKg {
		t.Errorf("typed with units %s%g, typed in them %s%g", want.Climb, want.FlywheelKg, got.Climb, got.FlywheelKg)
	}
	in := told(form.Imperial, "84.5 kg", "0,4 kg", "412 m", "5.6 km", "14 °C", "620 m", "12 kg")
	if plain := told(asFiled, "84.5", "0,4", "412", "5.6", "14", "620", "12"); plain.Climb != in.Climb || plain.FlywheelKg != in.FlywheelKg {
		t.Errorf("%s%g, %s%g", plain.Climb, plain.FlywheelKg, in.Climb, in.FlywheelKg)
	}
	c, err := input.ReadClimb("climb", strings.NewReader(got.Climb))
	if err != nil || c.Mass != 83.914588 || c.Ascent != 411.48 || c.Temperature != 15 || c.Duration != 1720 || !strings.Contains(got.Climb, "mass_kg: 83.914588\n") {
		t.Errorf("%+v %v\n%s", c, err, got.Climb)
	}
}
