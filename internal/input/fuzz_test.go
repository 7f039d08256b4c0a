package input

import (
	"strings"
	"testing"
	"unicode/utf8"

	"chainline/internal/problem"
)

// fuzz feeds a reader with every broken input of its kind, the good ones
// given, and what the fuzzer makes of them: no panic, and every refusal is
// one short line that names the file and is the person's to mend.
func fuzz(f *testing.F, kind string, good ...string) {
	for _, text := range good {
		if err := readers[kind]("f", strings.NewReader(text)); err != nil {
			f.Errorf("a good seed is refused: %v", err)
		}
		f.Add([]byte(text))
	}
	for _, c := range broken {
		if c.kind == kind {
			f.Add([]byte(c.text))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		err := readers[kind]("f", strings.NewReader(string(data)))
		if err == nil {
			return
		}
		msg, hint := problem.ForPerson(err)
		if strings.ContainsAny(msg+hint, "\r\n\t\x1b") || !utf8.ValidString(msg) || len(msg) > 1200 {
			t.Errorf("not one clean line: %q %q", msg, hint)
		}
		if problem.ExitCode(err) != 2 || !strings.HasPrefix(msg, "f:") || !strings.Contains(msg, "; expected ") {
			t.Errorf("not a refusal of the input: %q", msg)
		}
	})
}

func FuzzRider(f *testing.F) {
	fuzz(f, "rider", "mass_kg: 70\nheight_cm: 172\nbirth_year: 1989\nsex: male\nlevel: club\nheart_rate: off\nscreened: 2026-09-01\nmax_heart_rate_bpm: 180\nresting_heart_rate_bpm: 50\n"+
		"evidence:\n  - {kind: test, duration_s: 180, watts: 330, date: 2026-10-02, source: hub, where: indoor}\n  - kind: threshold\n    watts: 231\n    from: ramp test\n",
		"mass_kg: 71\nacclimatised: yes\nscreening: {date: 2026-11-02, chest_pain: no, ill_now: yes, cleared_by_doctor: no}\nevidence:\n  - {kind: best, duration_s: 1200, watts: 210, harder: much}\n"+
			"  - {kind: hill, duration_s: 780, length_m: 2600, ascent_m: 143, bike_mass_kg: 12.5, mass_kg: 73, cda_m2: 0.38, harder: little}\n"+
			"  - {kind: heart_rate, duration_s: 900, watts: 70, heart_rate_bpm: 118}\n  - {kind: talk, watts: 110}\n"+
			"weighed:\n  - {before_kg: 70.4, after_kg: 69.5, drunk_l: 0.6, urine_l: 0.2, duration_s: 4500, watts: 190, temperature_c: 18, humidity_percent: 45}\n")
}

func FuzzRig(f *testing.F) {
	fuzz(f, "rig", "trainer: {kind: plain, power_curve: [{wheel_speed_km_h: 20, watts: 90}, {wheel_speed_km_h: 40, watts: 320}], gears: {chainrings: [50], cogs: [11, 28]}}\nsensors: [speed]\n",
		"trainer:\n  kind: controllable\n  floor: [{wheel_speed_km_h: 30, watts: 60}]\n  ceiling:\n    - {wheel_speed_km_h: 10, watts: 200}\n  wheel_circumference_mm: 2100\n"+
			"power_source: {name: hub, kind: hub, accuracy_percent: 2}\nroom: {temperature_c: 21, humidity_percent: 50, airflow_m_s: 2}\ncadence_rpm: {low: 60, preferred: 80, high: 95}\n",
		"trainer: {kind: bike}\nroom:\n  volume_m3: 30\n  openings: door_and_window\n  outside_temperature_c: -4\n  outside_humidity_percent: 80\n  clothing: shorts\n"+
			"  fans:\n    - one pedestal fan, a metre away, high\n    - {kind: floor, distance_m: 1.5, setting: low, count: 2}\n",
		"trainer: {kind: bike}\nroom: {fans: no fan}\n")
}

func FuzzRoad(f *testing.F) {
	fuzz(f, "road", "name: open road\nbike_mass_kg: 8.6\ncda_m2: 0.32\ncrr: 0.004\nbearings: false\naltitude_m: 120\ntemperature_c: -2\npressure_hpa: 1002\nhumidity_percent: 70\n",
		"air_density_kg_m3: 1.19\ndescent_cap_m_s: 20\nstart_speed_m_s: 5\n")
}

func FuzzEvent(f *testing.F) {
	fuzz(f, "event", "name: Two Mills\nstart: 2026-12-03T19:30\ntime_zone: Europe/Dublin\nkind: handicap\npen_s: 300\nlead_in_m: 1200\nlaps: 2\ncategories: [{name: a, max_w_per_kg: 3}]\n")
}

func FuzzSketch(f *testing.F) {
	fuzz(f, "course", "name: Round the lake\ndistance_km: 21.4\nascent_m: 310\nmain_climb: {length_km: 3.2, gradient_percent: 5.5, start_km: 12}\n",
		"lap_length_km: 5\nlap_ascent_m: 60\nlaps: 4\nlead_in_m: 800\n", "distance_km: 12\nascent_m: 620\nsummit_finish: true\nmain_climb: {length_km: 8, ascent_m: 560}\n")
}

func FuzzPlan(f *testing.F) {
	fuzz(f, "plan", "from_m,to_m,watts\n0,500,200\n500,1000,0\n")
}
