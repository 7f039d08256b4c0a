package render

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"chainline/brief"
)

func jsonOf(t *testing.T, b brief.Brief) []byte {
	t.Helper()
	var s bytes.Buffer
	if err := JSON(&s, b); err != nil {
		t.Fatal(err)
	}
	return s.Bytes()
}

func TestJSONIsAlwaysValid(t *testing.T) {
	for name, b := range everyBrief() {
		out := jsonOf(t, b)
		if !json.Valid(out) {
			t.Errorf("%s: not valid JSON", name)
		}
		if bytes.Contains(out, []byte("NaN")) || bytes.Contains(out, []byte("Inf")) {
			t.Errorf("%s: a number that is not finite", name)
		}
	}
}

// lookup follows a path such as plan.cues.0.watts.
func lookup(t *testing.T, doc any, path string) any {
	t.Helper()
	for _, key := range strings.Split(path, ".") {
		switch v := doc.(type) {
		case map[string]any:
			next, ok := v[key]
			if !ok {
				t.Fatalf("no key %s in %s", key, path)
			}
			doc = next
		case []any:
			i := int(key[0] - '0')
			if i >= len(v) {
				t.Fatalf("no element %s in %s", key, path)
			}
			doc = v[i]
		default:
			t.Fatalf("%s ends before %s", path, key)
		}
	}
	return doc
}

func TestJSONKeysOthersRelyOn(t *testing.T) {
	b := racer()
	b.Forecast.Median = 1312.123456789012
	var doc any
	if err := json.Unmarshal(jsonOf(t, b), &doc); err != nil {
		t.Fatal(err)
	}
	cp := b.Rider.CriticalPower
	for path, want := range map[string]any{
		"schema": "chainline-brief/1", "rider.capacity.critical_power_w.mean": cp.Mean, "rider.capacity.critical_power_w.sd": cp.SD,
		"rider.capacity.critical_power_w.low80": cp.Low80, "rider.capacity.critical_power_w.high80": cp.High80,
		"rider.capacity.w_prime_j.mean": 18000.0, "rider.capacity.max_power_w.mean": 910.0, "rider.capacity.threshold_w.mean": 234.0,
		"road.air_density_kg_m3": 1.19, "course.distance_m": 10000.0, "course.ascent_m": 160.0,
		"course.climbs.1.start_m": 8000.0, "course.climbs.1.length_m": 1000.0, "course.climbs.1.ascent_m": 60.0,
		"course.climbs.1.mean_gradient": .06, "course.climbs.1.steepest_gradient": .094,
		"plan.cues.2.from_m": 1900.0, "plan.cues.2.to_m": 4000.0, "plan.cues.2.watts": 305.0,
		"plan.time_s": 1312.0, "plan.optimum_time_s": 1306.0, "plan.even_watts": 252.0, "plan.even_time_s": 1361.0,
		"plan.w_balance_min_j": 1800.0, "forecast.median_s": 1312.123456789012, "forecast.low80_s": 1280.0,
		"forecast.high80_s": 1351.0, "forecast.chance_empty": .11,
		"plan.equivalent_watts": 268.0, "plan.share_of_threshold": b.Plan.ShareOfThreshold, "plan.load_threshold_hours": b.Plan.Load,
		"room.known": true, "room.temperature_c": 21.0, "room.humidity_percent": 100 * b.Room.Humidity, "room.metabolic_heat_w": 790.0,
		"room.end_temperature_c.mean": 24.2, "room.end_humidity_percent.mean": 66.0, "room.end_humidity_percent.sd": 5.0,
		"room.airflow_needed_m_s": 2.4, "room.sweat_l_per_h.mean": 1.1, "room.fluid_l.low": .15, "room.fluid_l.high": .4,
		"warm_up.0.start_s": -1440.0, "warm_up.0.duration_s": 360.0, "warm_up.0.watts": 110.0, "warm_up_balance_at_gun_fraction": .97,
		"warm_up_last_hard_s": 420.0, "warm_up_timeline.1.clock": "19:16", "warm_up_cool_down.0.watts": 95.0,
		"worth.0.seconds": 49.0, "worth.0.already_done": true, "worth.3.narrows_from_s": 71.0, "worth.3.narrows_to_s": 48.0,
		"next_test.maximal": true, "next_test.sd_then_w": 5.8, "next_test.narrows_s": 23.0, "warnings.0": b.Warnings[0], "cautions.0": b.Cautions[0],
	} {
		if got := lookup(t, doc, path); got != want {
			t.Errorf("%s = %v, want %v", path, got, want)
		}
	}
	if err := json.Unmarshal(jsonOf(t, newcomer()), &doc); err != nil {
		t.Fatal(err)
	}
	if got := lookup(t, doc, "plan.rules.0.to_gradient"); got != nil {
		t.Errorf("open end of a rule = %v, want null", got)
	}
	if got := lookup(t, doc, "room.airflow_needed_m_s"); got != nil {
		t.Errorf("no airflow suffices = %v, want null", got)
	}
	if got := lookup(t, doc, "plan.rules.0.from_gradient"); got != .05 {
		t.Errorf("from_gradient = %v, want 0.05", got)
	}
	if n := len(lookup(t, doc, "plan.cues").([]any)); n != 0 {
		t.Errorf("a sketch has %d cues, want none", n)
	}
}

// keys are the paths of a struct's JSON, lists as name[].
func keys(v reflect.Type, prefix string, add func(string)) {
	switch v.Kind() {
	case reflect.Slice:
		add(prefix + "[]")
		keys(v.Elem(), prefix+"[]", func(s string) {
			if s != prefix+"[]" {
				add(s)
			}
		})
	case reflect.Struct:
		for i := range v.NumField() {
			name := v.Field(i).Tag.Get("json")
			if prefix != "" {
				name = prefix + "." + name
			}
			keys(v.Field(i).Type, name, add)
		}
	default:
		add(prefix)
	}
}

// TestFormatsListsEveryKey holds docs/formats.md to the keys that are written.
func TestFormatsListsEveryKey(t *testing.T) {
	doc, err := os.ReadFile("../../docs/formats.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(doc), "\n## Brief as JSON\n")
	if !ok {
		t.Fatal("docs/formats.md has no section '## Brief as JSON'")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	seen := map[string]bool{}
	keys(reflect.TypeFor[briefJSON](), "", func(path string) {
		// An estimate is described once, with its own four keys and origin.
		for _, leaf := range []string{"mean", "sd", "low80", "high80", "origin"} {
			path = strings.TrimSuffix(path, "."+leaf)
		}
		path = strings.Replace(path, "course.plausible[].", "course.profile.", 1)
		seen[path] = true
	})
	for path := range seen {
		if !strings.Contains(section, "`"+path+"`") {
			t.Errorf("docs/formats.md does not list `%s`", path)
		}
	}
	for _, line := range strings.Split(section, "\n") {
		if !strings.HasPrefix(line, "| `") {
			continue
		}
		if path := strings.Split(line, "`")[1]; !seen[path] {
			t.Errorf("docs/formats.md lists `%s`, which is not written", path)
		}
	}
}

func TestNumIsExact(t *testing.T) {
	for _, x := range []float64{0, 1, -2.5, 1e6, 0.1 + 0.2, math.Pi, 1e-9, 1e300, math.MaxFloat64, 5e-324} {
		out, err := num(x).MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		var back float64
		if err := json.Unmarshal(out, &back); err != nil || back != x {
			t.Errorf("%v written as %s reads back as %v (%v)", x, out, back, err)
		}
	}
}

// TestJSONHasEveryField guards against a field added to the brief and
// forgotten here: the JSON has as many values as the brief.
func TestJSONHasEveryField(t *testing.T) {
	count := func(v reflect.Type) int {
		n := 0
		var walk func(reflect.Type)
		walk = func(v reflect.Type) {
			switch v.Kind() {
			case reflect.Slice:
				n++
				if v.Elem().Kind() == reflect.Struct {
					walk(v.Elem())
				}
			case reflect.Struct:
				for i := range v.NumField() {
					walk(v.Field(i).Type)
				}
			default:
				n++
			}
		}
		walk(v)
		return n
	}
	// plus one for the schema
	if got, want := count(reflect.TypeFor[briefJSON]()), count(reflect.TypeFor[brief.Brief]())+1; got != want {
		t.Errorf("the JSON has %d values, the brief %d and the schema", got, want-1)
	}
}
