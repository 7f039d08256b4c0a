package render

import (
	"math"
	"strings"
	"testing"
)

func spaces(s string) string { return strings.ReplaceAll(s, nb, " ") }

func TestClock(t *testing.T) {
	for s, want := range map[float64]string{0: "0:00", 14: "0:14", 1312: "21:52", 3599.6: "1:00:00", 3731: "1:02:11", -1: "–"} {
		if got := clock(s); got != want {
			t.Errorf("clock(%v) = %q, want %q", s, got, want)
		}
	}
}

func TestForecastClock(t *testing.T) {
	for _, c := range []struct {
		low, median, high float64
		want              string
	}{
		{1280, 1312, 1351, "21:20 21:52 22:31"}, {3590, 3731, 3900, "59:50 1:02:10 1:05:00"},
		{3290, 3640, 4180, "55 min 1 h 01 min 1 h 10 min"}, {36500, 39000, 42100, "10 h 08 min 10 h 50 min 11 h 42 min"},
	} {
		l, m, h := forecastClock(c.low, c.median, c.high)
		if got := spaces(l + " " + m + " " + h); got != c.want {
			t.Errorf("forecastClock(%v, %v, %v) = %q, want %q", c.low, c.median, c.high, got, c.want)
		}
	}
}

func TestOdds(t *testing.T) {
	for p, want := range map[float64]string{0: "hardly ever", .01: "1 in 100", .048: "1 in 21", .11: "1 in 9", .15: "1 in 7", .33: "1 in 3",
		.5: "1 in 2", .66: "2 in 3", .75: "3 in 4", .9: "9 in 10", .96: "19 in 20", 1: "almost surely"} {
		if got := odds(p); got != want {
			t.Errorf("odds(%v) = %q, want %q", p, got, want)
		}
	}
}

func TestWords(t *testing.T) {
	inf := math.Inf(1)
	for got, want := range map[string]string{
		lapse(49): "49 s", lapse(-80): "80 s", lapse(130): "2 min 10 s", lapse(720): "12 min", lapse(.2): "under 1 s",
		distance(2): "2 m", distance(10000): "10.0 km", distance(300000): "300.0 km", slope(.05, inf): "over 5 %", slope(-inf, -.02): "under −2 %",
		slope(.02, .055): "2.0 to 5.5 %", slope(-inf, inf): "everywhere", plural(9, "cue"): "nine cues", plural(1, "cue"): "one cue",
		plural(30, "cue"): "30 cues", dateWords("2026-12-02"): "2 December 2026", dateWords("soon"): "soon", thousands(1000): "1,000",
		decimals(-.04, 1): "0.0", decimals(math.NaN(), 1): "–", between(231.4, 248.6, 0): "231–249", sentence("it agrees"): "It agrees.",
	} {
		if spaces(got) != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
