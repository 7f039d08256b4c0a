package room

import (
	"reflect"
	"strings"
	"testing"
)

func TestParseFan(t *testing.T) {
	for sentence, want := range map[string][]Fan{
		"one pedestal fan, a metre away, high":             {{1, Pedestal, 1, High}},
		"Two desk fans at 80 cm on low and a floor fan":    {{2, Desk, 0.8, Low}, {1, Floor, 1, Medium}},
		"high-velocity fan, a metre and a half away, full": {{1, Floor, 1.5, High}},
		"a high velocity floor fan":                        {{1, Floor, 1, Medium}},
		"desk floor low low high":                          nil,
		"half a metre in front of me a table fan":          {{1, Desk, 0.5, Medium}},
		"industrial":         {{1, Industrial, 1, Medium}},
		"drum fan 1,5m high": {{1, Industrial, 1.5, High}},
		"one and a half metres away, a stand fan, medium":          {{1, Pedestal, 1.5, Medium}},
		"3 pedestal fans 2 m away high; desk fan, 0.5 m away, low": {{3, Pedestal, 2, High}, {1, Desk, 0.5, Low}},
		"a pedestal fan 3 feet away on high":                       {{1, Pedestal, 0.91, High}},
		"pedestal fan, low, high":                                  nil,
		"no fan":                                                   {},
		"none":                                                     {},
		"":                                                         nil,
		"a fan":                                                    nil,
		"one turbine fan":                                          nil,
		"pedestal fan, metre":                                      nil,
		"2.5 pedestal fans":                                        nil,
		"pedestal fan 50 m away":                                   nil,
		"pedestal fan NaN m away":                                  nil,
		"99999999999999999999 desk":                                nil,
		"a pedestal fan seven":                                     nil,
		"no pedestal":                                              nil,
		strings.Repeat("desk floor ", 6):                           nil,
		strings.Repeat("x", 301):                                   nil,
		"one desk fan, 1 m away, high, and one desk fan, 1 m away, high": {{1, Desk, 1, High}, {1, Desk, 1, High}},
	} {
		got, err := ParseFan(sentence)
		if want == nil {
			if err == nil || !strings.Contains(err.Error(), "expected") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q: got %v, %v, want one line that says what was expected", sentence, got, err)
			}
			continue
		}
		if err != nil || len(got) != len(want) || len(want) > 0 && !reflect.DeepEqual(got, want) {
			t.Errorf("%q: got %v, %v, want %v", sentence, got, err, want)
		}
	}
}

func FuzzParseFan(f *testing.F) {
	for _, s := range []string{"one pedestal fan, a metre away, high", "two desk fans at 80 cm on low and a floor fan", "no fan", "½ m desk", "a metre and a half", "1e9 desk", "-1 m floor", "9 m 9 m desk high low industrial"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		fans, err := ParseFan(s)
		if err != nil {
			if !strings.Contains(err.Error(), "expected") {
				t.Fatalf("%q: %v does not say what was expected", s, err)
			}
			return
		}
		again, err := ParseFan(DescribeFans(fans))
		if err != nil || len(again) != len(fans) || len(fans) > 0 && !reflect.DeepEqual(again, fans) {
			if len(DescribeFans(fans)) <= longestFanSentence {
				t.Fatalf("%q said back as %q reads as %v, %v, not %v", s, DescribeFans(fans), again, err, fans)
			}
		}
		if v := FanSpeed(fans); !(v.Mean >= 0 && v.Mean < 60 && v.Low80 <= v.Mean && v.Mean <= v.High80) {
			t.Fatalf("%q: %v m/s", s, v)
		}
	})
}

// A jet keeps its momentum: ½π·u²·b² at any distance is ¼π·D²·u₀², so four
// times the flow at seven diameters is K = 3.5 (own derivation).
func TestAnalyticFanJet(t *testing.T) {
	const d = 0.4
	for _, x := range []float64{1, 2, 5} {
		f := Fan{1, Pedestal, x, High}
		if far := (Fan{1, Pedestal, x * 1.1, High}); far.speed() >= f.speed() {
			t.Errorf("%g m: no slower further away", x)
		}
	}
	// Far away the disc is all in the core: u₀·K·D/x.
	near(t, "far", Fan{1, Pedestal, 9, High}.speed(), fanTypes[Pedestal].outlet*3.5*d/9, 0.02)
	// Flow on the axis law: Q/Q₀ = 2x/(K·D) at x = 7 D.
	near(t, "entrainment", 2*7/jetDecay, 4, 1e-12)
	one, two := FanSpeed([]Fan{{1, Desk, 1, High}}), FanSpeed([]Fan{{2, Desk, 1, High}})
	near(t, "two fans", two.Mean*two.Mean, 2*one.Mean*one.Mean, 1e-9)
	order := []Fan{{1, Desk, 1, High}, {1, Pedestal, 1, High}, {1, Floor, 1, High}, {1, Industrial, 1, High}}
	for i := range order {
		t.Logf("%s: %.2f m/s", order[i], order[i].speed())
		if i > 0 && order[i].speed() <= order[i-1].speed() {
			t.Errorf("%s blows no harder than %s", order[i], order[i-1])
		}
	}
}
