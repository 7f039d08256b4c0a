package render

import (
	"math"
	"testing"
)

// luminance and contrast are those of WCAG 2.2 ('relative luminance',
// 'contrast ratio'); the formulas are from memory.
func luminance(hex string) float64 {
	c := rgb(hex)
	var l [3]float64
	for i, v := range c {
		v /= 255
		if v <= 0.04045 {
			l[i] = v / 12.92
		} else {
			l[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
}

func contrast(a, b string) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func TestTextContrast(t *testing.T) {
	if c := contrast("#000000", "#ffffff"); math.Abs(c-21) > 1e-9 {
		t.Fatalf("black on white is %v, want 21", c)
	}
	paper := tokens[0]
	for _, k := range tokens {
		if !k.text {
			continue
		}
		for what, c := range map[string]float64{"light": contrast(k.light, paper.light), "dark": contrast(k.dark, paper.dark),
			"print": contrast(k.light, "#ffffff")} {
			if c < 4.5 {
				t.Errorf("%s, %s: contrast %.2f, want 4.5", k.name, what, c)
			}
		}
	}
}

func TestIntensityLightnessIsMonotone(t *testing.T) {
	for i := 1; i < levels; i++ {
		if luminance(intensity(intensityLight, i)) >= luminance(intensity(intensityLight, i-1)) {
			t.Errorf("light: step %d is not darker than %d", i, i-1)
		}
		if luminance(intensity(intensityDark, i)) <= luminance(intensity(intensityDark, i-1)) {
			t.Errorf("dark: step %d is not lighter than %d", i, i-1)
		}
	}
	if level(0) != 0 || level(9) != levels-1 || level(math.NaN()) != 0 || level(1.2) <= level(1) {
		t.Error("levels do not rise with the share of critical power")
	}
}
