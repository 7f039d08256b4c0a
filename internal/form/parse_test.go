package form

import (
	"strings"
	"testing"
	"unicode/utf8"

	"chainline/internal/input"
)

// typedValue is a path, what is typed, and what stands in the file or, in
// quotes or questions, what is said.
type typedValue struct {
	kind, path, typed string
	units             Units
	raw               string
}

func check(t *testing.T, cases []typedValue) {
	t.Helper()
	for _, c := range cases {
		k, ok := find(c.kind, c.path)
		if !ok {
			t.Errorf("no value %s", c.path)
			continue
		}
		got := readValue(k, c.typed, c.units)
		if got.raw != c.raw || got.wrong != "" {
			t.Errorf("%s %q in units %d: %+v, want %s", c.path, c.typed, c.units, got, c.raw)
		}
	}
}

func TestMassesAndLengths(t *testing.T) {
	const m, i = Metric, Imperial
	check(t, []typedValue{
		{Rider, "mass_kg", "70", m, "70"}, {Rider, "mass_kg", " 70,5 kg ", m, "70.5"}, {Rider, "mass_kg", "70.5kg", m, "70.5"}, {Rider, "mass_kg", "about 70 kilos", m, "70"},
		{Rider, "mass_kg", "150 lb", m, "68.038856"}, {Rider, "mass_kg", "150", i, "68.038856"}, {Rider, "mass_kg", "150lbs.", m, "68.038856"}, {Rider, "mass_kg", "70 kg", i, "70"},
		{Rider, "mass_kg", "10 st 10 lb", m, "68.038856"}, {Rider, "mass_kg", "10st10", m, "68.038856"}, {Rider, "mass_kg", "10 stone 10", m, "68.038856"}, {Rider, "mass_kg", "10 st", m, "63.502932"},
		{Rider, "mass_kg", "70\u00a0kg", m, "70"}, {Rider, "mass_kg", "70500 g", m, "70.5"},
		{Rider, "height_cm", "168", m, "168"}, {Rider, "height_cm", "168 cm", m, "168"}, {Rider, "height_cm", "1.68 m", m, "168"}, {Rider, "height_cm", "1,68m", m, "168"}, {Rider, "height_cm", "1 m 68", m, "168"},
		{Rider, "height_cm", "5 ft 7", m, "170.18"}, {Rider, "height_cm", "5'7\"", m, "170.18"}, {Rider, "height_cm", "5’ 7”", m, "170.18"}, {Rider, "height_cm", "5ft7in", m, "170.18"},
		{Rider, "height_cm", "5 feet 7 inches", i, "170.18"}, {Rider, "height_cm", "67", i, "170.18"}, {Rider, "height_cm", "6'", i, "182.88"}, {Rider, "height_cm", "5 ft 6.1 in", i, "167.894"},
		{Course, "distance_km", "21,4", m, "21.4"}, {Course, "distance_km", "21.4 km", i, "21.4"}, {Course, "distance_km", "13 mi", m, "20.921472"}, {Course, "distance_km", "13", i, "20.921472"},
		{Course, "distance_km", "21400 m", m, "21.4"}, {Course, "distance_km", "21 400 m", m, "21.4"}, {Course, "ascent_m", "1,017 ft", m, "309.9816"}, {Course, "ascent_m", "1’017 ft", m, "309.9816"},
		{Course, "ascent_m", "310", m, "310"}, {Course, "ascent_m", "1.310,5", m, "1310.5"}, {Course, "ascent_m", "1,310.5", m, "1310.5"},
		{Event, "lead_in_m", "1.2 km", m, "1200"}, {Event, "lead_in_m", "0.5", i, "804.672"}, {Rig, "room.fans.0.distance_m", "80 cm", m, "0.8"}, {Rig, "room.fans.0.distance_m", "3 ft", m, "0.9144"},
		{Rig, "trainer.wheel_circumference_mm", "2,105", m, "2105"}, {Rig, "trainer.wheel_circumference_mm", "2.105 m", m, "2105"}, {Rig, "trainer.wheel_circumference_mm", "210.5 cm", m, "2105"},
	})
}

func TestOtherQuantities(t *testing.T) {
	const m, i = Metric, Imperial
	check(t, []typedValue{
		{Rig, "room.temperature_c", "70 F", m, "21.111111"}, {Rig, "room.temperature_c", "70", i, "21.111111"}, {Rig, "room.temperature_c", "21 °C", i, "21"}, {Rig, "room.temperature_c", "−3", m, "-3"},
		{Rig, "room.temperature_c", "21 degrees", m, "21"},
		{Rig, "room.humidity_percent", "55 %", m, "55"}, {Rig, "room.humidity_percent", "55%", m, "55"}, {Rig, "room.humidity_percent", "55 per cent", m, "55"},
		{Road, "crr", "0.4 %", m, "0.004"}, {Road, "crr", "0,004", m, "0.004"}, {Road, "drivetrain_efficiency", "97.6 %", m, "0.976"},
		{Rig, "room.volume_m3", "4 x 3 x 2.5 m", m, "30"}, {Rig, "room.volume_m3", "4x3x2,5", m, "30"}, {Rig, "room.volume_m3", "30 m3", m, "30"}, {Rig, "room.volume_m3", "1000 ft3", m, "28.316847"},
		{Rig, "room.volume_m3", "10 x 10 x 10", i, "28.317"}, {Rig, "room.volume_m3", "30 m³", i, "30"},
		{Rider, "evidence.0.watts", "230 W", m, "230"}, {Rider, "evidence.0.watts", "230 watts", m, "230"}, {Rider, "evidence.0.watts", "1,200", m, "1200"},
		{Rider, "max_heart_rate_bpm", "186 bpm", m, "186"}, {Rider, "birth_year", "1979", m, "1979"}, {Rider, "weighed.0.drunk_l", "500 ml", m, "0.5"}, {Rider, "weighed.0.drunk_l", "0,75 l", m, "0.75"},
		{Road, "descent_cap_m_s", "72 km/h", m, "20"}, {Road, "descent_cap_m_s", "72", m, "20"}, {Road, "descent_cap_m_s", "45 mph", m, "20.1168"}, {Road, "descent_cap_m_s", "20 m/s", i, "20"}, {Rig, "room.airflow_m_s", "3", i, "1.34112"}, {Rig, "room.airflow_m_s", "3 m/s", i, "3"},
		{Rig, "trainer.power_curve.0.wheel_speed_km_h", "30 kph", m, "30"}, {Rig, "trainer.power_curve.0.wheel_speed_km_h", "20 mph", m, "32.18688"},
		{Road, "pressure_hpa", "1013 mbar", m, "1013"}, {Event, "categories.0.min_w_per_kg", "2.2 W/kg", m, "2.2"}, {Event, "laps", "3", m, "3"},
		{Rig, "trainer.gears.cogs", "11, 13, 15", m, "11, 13, 15"}, {Rig, "trainer.gears.cogs", "11-13-15", m, "11, 13, 15"}, {Rig, "trainer.gears.cogs", "11 13 15 ", m, "11, 13, 15"}, {Rig, "trainer.gears.chainrings", "50/34", m, "50, 34"},
		{Rig, "sensors", "speed, heart rate", m, "speed, heart_rate"}, {Rig, "sensors", "none", m, "none"}, {Rig, "room.fans", "no fan", m, "none"},
		{Rider, "level", "Racer", m, "racer"}, {Rider, "level", "beginner", m, "new"}, {Rider, "sex", "f", m, "female"}, {Rider, "acclimatised", "Yes", m, "yes"}, {Rider, "heart_rate", "no", m, "off"},
		{Rider, "evidence.0.kind", "heart rate", m, "heart_rate"}, {Event, "kind", "time trial", m, "time-trial"}, {Course, "summit_finish", "on", m, "true"}, {Course, "summit_finish", "no", m, "false"},
		{Rig, "room.openings", "door and window", m, "door_and_window"}, {Event, "time_zone", " Europe/Dublin", m, "Europe/Dublin"},
	})
}

func TestDurations(t *testing.T) {
	for typed, want := range map[string]string{"1:02:30": "3750", "62 min": "3720", "62min": "3720", "1h 2m": "3720", "1 h 2": "3720", "1h02": "3720", "3720": "3720", "1 hour and 2 minutes": "3720", "1,5 h": "5400",
		"90 s": "90", "20:00": "1200", "3:20": "200", "3 min 20": "200", "3'20\"": "200", "5 s": "5", "300": "300", "half an hour": "1800", "1:30 h": "5400", "0:05": "5", "12.5 min": "750", "1:00:00.5": "3600.5", "about 20 minutes": "1200", "1 h": "3600", "2 hrs 30 secs": "7230"} {
		check(t, []typedValue{{Rider, "evidence.0.duration_s", typed, Metric, want}})
	}
	check(t, []typedValue{{Rider, "weighed.0.duration_s", "1:30", Metric, "5400"}, {Rider, "weighed.0.duration_s", "75", Metric, "4500"}, {Event, "pen_s", "0", Metric, "0"}, {Event, "pen_s", "5 min", Metric, "300"}})
	for v, want := range map[float64]string{0: "0 s", 5: "5 s", 59.5: "59.5 s", 60: "1 min", 580: "9:40", 3600: "1:00:00", 3750: "1:02:30", 36000: "10:00:00", 100.25: "100.25 s"} {
		if got := Duration(v); got != want {
			t.Errorf("%g s is %q, want %q", v, got, want)
		}
	}
	// Every second there can be is read as it is shown.
	for s := 1; s <= 36000; s += 7 {
		if v, _, wrong := seconds(Duration(float64(s)), 1, 36000); v != float64(s) || wrong != "" {
			t.Fatalf("%d s is shown as %q and read as %g: %s", s, Duration(float64(s)), v, wrong)
		}
	}
}

func TestDates(t *testing.T) {
	for typed, want := range map[string]string{"2026-12-02": "2026-12-02", "2026-12-2": "2026-12-02", "2 December 2026": "2026-12-02", "2 dec 2026": "2026-12-02", "2nd of December, 2026": "2026-12-02",
		"December 2, 2026": "2026-12-02", "Dec. 2 2026": "2026-12-02", "2.12.2026": "2026-12-02", "02.12.2026": "2026-12-02", "2. 12. 2026": "2026-12-02", "25/12/2026": "2026-12-25", "12/25/2026": "2026-12-25",
		"5/5/2026": "2026-05-05", "Wednesday 2 December 2026": "2026-12-02", "1 Sept 2026": "2026-09-01", "29 Feb 2028": "2028-02-29"} {
		check(t, []typedValue{{Rider, "screening.date", typed, Metric, want}, {Event, "start", typed, Metric, want}})
	}
	for typed, want := range map[string]string{"2026-12-03T19:30": "2026-12-03T19:30", "2026-12-03 19:30:15": "2026-12-03T19:30:15", "3 December 2026 19:30": "2026-12-03T19:30", "3 Dec 2026 at 7:30 pm": "2026-12-03T19:30",
		"3.12.2026, 19.30": "2026-12-03T19:30", "3 December 2026, 7pm": "2026-12-03T19:00", "3 December 2026 12:05 am": "2026-12-03T00:05", "Thursday 3 December 2026, 19h30": "2026-12-03T19:30"} {
		check(t, []typedValue{{Event, "start", typed, Metric, want}})
	}
	notes := Notes(Rider, map[string]string{"mass_kg": "70", "screened": "2.12.2026"}, Metric)
	if len(notes) != 1 || notes["screened"] != "read as 2 December 2026" {
		t.Errorf("notes %v", notes)
	}
}

func TestDontKnow(t *testing.T) {
	for _, s := range []string{"", "  ", "?", "unknown", "Unknown", "I don't know", "i don’t know", "don't know", "not sure", "-", "N/A", "No idea."} {
		if !unknown(s) {
			t.Errorf("%q is taken as something known", s)
		}
	}
	for _, s := range []string{"0", "no", "none", "Noa", "unknown rider"} {
		if unknown(s) {
			t.Errorf("%q is taken as not known", s)
		}
	}
}

// Every sentence about what is typed, and every question.
func TestSentences(t *testing.T) {
	for _, c := range []struct {
		kind, path, typed string
		units             Units
		want              string
	}{
		{Rider, "mass_kg", "heavy", Metric, "“heavy” is not a number; write one from 20 to 250 kg."},
		{Rider, "mass_kg", "heavy", Imperial, "“heavy” is not a number; write one from 45 to 551 lb."},
		{Rider, "height_cm", "tall", Metric, "“tall” is not a number; write one from 100 to 230 cm, or leave it empty."},
		{Rider, "mass_kg", "320", Metric, "320 kg is more than the most possible here, 250 kg; did you mean 320 lb? Then write the unit too."},
		{Rider, "mass_kg", "320 kg", Metric, "320 kg is more than the most possible here, 250 kg."},
		{Rider, "mass_kg", "-70", Metric, "-70 kg is less than the least possible here, 20 kg."},
		{Rider, "mass_kg", "10 st 20 lb", Metric, "“10 st 20 lb” is not a number; write one from 20 to 250 kg."},
		{Rider, "mass_kg", "70 m", Metric, "The unit “m” does not fit here; write the number with kg, lb, st, g."},
		{Rider, "mass_kg", "70-75", Metric, "One number, please: the likeliest."},
		{Rider, "height_cm", "1.68", Metric, "1.68 cm is less than the least possible here, 100 cm; did you mean 1.68 m? Then write the unit too."},
		{Rider, "birth_year", "79", Metric, "Write the year of birth with four digits, from 1900 to 2020."},
		{Event, "laps", "2.5", Metric, "A whole number, please."},
		{Event, "laps", "2 rounds", Metric, "Write the number alone here, without “rounds”."},
		{Course, "ascent_m", "1,200", Metric, "Is “1,200” 1.2 or 1200? Write it without the mark."},
		{Rider, "evidence.0.watts", "1.200", Metric, "“1.200” reads as 1.2 W; did you mean 1200 W? Then write it without the mark."},
		{Rig, "room.temperature_c", "70", Metric, "70 °C is more than the most possible here, 50 °C; did you mean 70 °F? Then write the unit too."},
		{Rider, "weighed.0.drunk_l", "2 bottles", Metric, "How much a bottle, cup, pint or ounce holds differs; how many millilitres is it?"},
		{Rider, "evidence.0.duration_s", "20", Metric, "Are these 20 seconds or 20 minutes? Write 20 s or 20 min."},
		{Rider, "evidence.0.duration_s", "soon", Metric, "“soon” is not a time; write a time like 1:02:30, 62 min or 90 s."},
		{Rider, "evidence.0.duration_s", "1:75", Metric, "Behind a colon stand at most 59 minutes or seconds; write a time like 1:02:30, 62 min or 90 s."},
		{Rider, "evidence.0.duration_s", "11 h", Metric, "11:00:00 is more than the most possible here, 10:00:00."},
		{Rider, "evidence.0.duration_s", "3 s 2 min", Metric, "“3 s 2 min” is not a time; write a time like 1:02:30, 62 min or 90 s."},
		{Rider, "weighed.0.duration_s", "2 min", Metric, "2 min is less than the least possible here, 10 min."},
		{Rider, "evidence.0.duration_s", "1,200 s", Metric, "Is “1,200 s” 1.2 s or 1200 s? Write it without the mark."},
		{Rider, "screened", "2/12/2026", Metric, "Is this 2 December 2026 or 12 February 2026? Write the month as a word."},
		{Rider, "screened", "2.12.26", Metric, "Write the year with four digits, please."},
		{Rider, "screened", "2 December", Metric, "Of which year? Write it like 2 December 2026 or 2026-12-02."},
		{Rider, "screened", "31.2.2026", Metric, "“31.2.2026” is not in the calendar."},
		{Rider, "screened", "2 December 1926", Metric, "Only dates from 1990 to 2099 are possible here."},
		{Rider, "screened", "yesterday", Metric, "“yesterday” is not a date; write it like 2 December 2026 or 2026-12-02."},
		{Event, "start", "3 December 2026 25:00", Metric, "“3 December 2026 25:00” has no such time of day."},
		{Event, "start", "3 December 2026 13 pm", Metric, "“3 December 2026 13 pm” has no such time of day."},
		{Rider, "sex", "other", Metric, "Choose one of these: female, male."},
		{Rig, "room.openings", "roof", Metric, "Choose one of these: closed, door, window, door and window, hall."},
		{Course, "summit_finish", "maybe", Metric, "Choose one of these: yes, no."},
		{Rider, "name", strings.Repeat("x", 201), Metric, "At most 200 characters fit here."},
		{Rider, "name", "a\x1bb", Metric, "Only one line of ordinary characters fits here."},
		{Rig, "trainer.gears.cogs", "11-28", Metric, "Those between are missing: write every cog, such as 11, 13, 15."},
		{Rig, "trainer.gears.chainrings", "50, 40, 30, 20, 10", Metric, "At most 4 fit here."},
		{Rig, "trainer.gears.cogs", "11, x", Metric, "“x” is not a number; write one from 8 to 70 teeth."},
		{Rig, "trainer.gears", "11", Metric, "This is made of several values; fill those in."},
		{Rider, "evidence", "fast", Metric, "Fill in the entries of this list."},
	} {
		k, ok := find(c.kind, c.path)
		if got := readValue(k, c.typed, c.units); !ok || got.wrong != c.want || got.raw != "" {
			t.Errorf("%s %q: %+v, want %q", c.path, c.typed, got, c.want)
		}
	}
}

// fuzzKeys are values of every form and measure.
func fuzzKeys() (keys []input.Key) {
	var walk func(k []input.Key)
	walk = func(all []input.Key) {
		for _, k := range all {
			if len(k.Keys) == 0 {
				keys = append(keys, k)
			}
			walk(k.Keys)
		}
	}
	for _, kind := range []string{Rider, Rig, Road, Course, Event} {
		walk(input.Keys(kind))
	}
	return keys
}

// Whatever is typed: no panic, either a value or one clean sentence; a number
// is one that the file takes; and what a file shows is read as it was.
func FuzzValue(f *testing.F) {
	for _, s := range []string{"1:02:30", "62 min", "150 lb", "10 st 10 lb", "5'7\"", "5 ft 7", "1.68 m", "21,4 km", "1,200", "1.200,5", "70 F", "97 %", "2.12.2026", "2/12/2026", "3 Dec 2026 at 7 pm", "11, 13, 15",
		"4 x 3 x 2.5 m", "-3", "1e99", "9999999999999999999999", "½", "\xff", "5''", "0x46", ".5", "1h02m3s", "'", "1 000 000", "December 2, 2026", "I don't know", "m", "1e-9 km"} {
		f.Add(s)
	}
	keys := fuzzKeys()
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) > 300 {
			return
		}
		for _, k := range keys {
			for _, u := range []Units{Metric, Imperial} {
				r := readValue(k, s, u)
				if r.wrong != "" {
					if r.raw != "" && k.Form != "list" || !utf8.ValidString(r.wrong) || strings.ContainsAny(r.wrong, "\n\r\t\x1b") || !strings.ContainsAny(r.wrong[len(r.wrong)-1:], ".?") {
						t.Fatalf("%s %q: %+v", k.Name, s, r)
					}
					continue
				}
				if k.Form != "number" && k.Form != "whole" {
					continue
				}
				again := readValue(k, showValue(k, r.raw, Metric), Metric)
				if again.wrong != "" && k.Unit != "m/s" || again.raw != r.raw && k.Unit != "m/s" {
					t.Fatalf("%s %q: %q is shown as %q and read as %+v", k.Name, s, r.raw, showValue(k, r.raw, Metric), again)
				}
			}
		}
	})
}
