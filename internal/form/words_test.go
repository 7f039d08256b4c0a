package form

import "testing"

// What a mile, a pound and a foot are is defined: 1609.344 m, 0.45359237 kg,
// 0.3048 m.
func TestWords(t *testing.T) {
	for metric, want := range map[string]string{
		"The course, 21.2 km with 520 m of ascent":           "The course, 13.2 mi with 1706 ft of ascent",
		"A climb from km 2.7: 1.9 km at 6.9 %.":              "A climb from mile 1.7: 1.2 mi at 6.9 %.",
		"At 21 °C and 55 % you make 790 W of heat.":          "At 70 °F and 55 % you make 790 W of heat.",
		"18 to 25 °C, 45 to 60 %":                            "64 to 77 °F, 45 to 60 %",
		"Fan at 3 m/s or more; it ends 2 m away.":            "Fan at 6.7 mph or more; it ends 6.6 ft away.",
		"from 20–40 km/h":                                    "from 12–25 mph",
		"bike 9.0 kg, air 1.215 kg/m³, drivetrain 97.6 %":    "bike 19.8 lb, air 1.215 kg/m³, drivetrain 97.6 %",
		"Inertia 0.14 kg m², drag area 0.32 m², 3.5 W/kg":    "Inertia 0.14 kg m², drag area 0.32 m², 3.5 W/kg",
		"wrong by 1 kg: 6 s; 10 min, 5 ml, 30 mm, 2 minutes": "wrong by 2.2 lb: 6 s; 10 min, 5 ml, 30 mm, 2 minutes",
		"850 m":                                                "2789 ft",
		"a room of 30 m³":                                      "a room of 1059 ft³",
		"20\x00 \x00°C":                                        "68\x00 \x00°F",
		"sit in km 3.1–4.2, then 24 km home":                   "sit in mile 1.9–2.6, then 15 mi home",
		"1,240 m up, 168 cm tall, 0.5 l":                       "4068 ft up, 66 in tall, 0.5 l",
		"The host answers after 12 ms":                         "The host answers after 12 ms",
		"a hill of 1.9 km and 95 m up in 11:10":                "a hill of 1.2 mi and 312 ft up in 11:10",
		"elevations averaged over 70 m; ascent 459 m as found": "elevations averaged over 230 ft; ascent 1506 ft as found",
		"Climb 1\x00km 2.7, at 3:14":                           "Climb 1\x00mile 1.7, at 3:14",
		"":                                                     "",
	} {
		if got := Imperial.Words(metric); got != want {
			t.Errorf("%q\n got %q\nwant %q", metric, got, want)
		}
		if got := Metric.Words(metric); got != metric {
			t.Errorf("%q became %q in its own units", metric, got)
		}
	}
}
