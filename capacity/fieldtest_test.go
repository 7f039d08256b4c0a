package capacity

import (
	"math"
	"strings"
	"testing"
)

// The arithmetic of the field tests. 0.95 of 20 min: Karsten et al. 2021,
// Front Physiol 11:613151 (abstract only); 0.90 of 8 min: from memory; 0.75 of
// the best minute: coaching practice, no study found.
func TestPublishedFieldTestFactors(t *testing.T) {
	near(t, "20 min at 263.158 W", Threshold20Min(263.158), 250, 0.001)
	near(t, "8 min at 277.8 W", Threshold8Min(277.8), 250, 0.05)
	near(t, "best minute of 333.3 W", ThresholdBestMinute(333.3), 250, 0.05)
	near(t, "an hour at 251 W", Threshold60Min(251), 251, 0)
}

// Source: Karsten et al. 2021 (abstract only): 0.95 of 20 min 249 W, critical
// power 256 W, bias 7 ± 13 W, 95 % limits of agreement −19 to 33 W, 17 riders.
// Our reading of a 20-min threshold has to give bias and limits back.
func TestPublishedTwentyMinuteThreshold(t *testing.T) {
	r := ReadThreshold("20-minute test")
	bias, sd := 249*r.Factor-249, 249*r.Factor*r.SD
	near(t, "bias", bias, 7, 0.1)
	near(t, "sd", sd, 13, 0.5)
	near(t, "lower limit", bias-1.96*sd, -19, 1)
	near(t, "upper limit", bias+1.96*sd, 33, 1)
}

// The same against other thresholds: Borszcz, Tramontin, Costa 2019, IJSPP
// 14:1029, limits 1.4 ± 9.2 % of maximal lactate steady state; Valenzuela et
// al. 2018, IJSPP 13:1293, −2.4 ± 11.5 % of lactate threshold (abstracts
// only). Our spread has to be of that size.
func TestPublishedSpreadOfTwentyMinuteThreshold(t *testing.T) {
	limits := 100 * 1.96 * ReadThreshold("20 min").SD
	if limits < 9.2 || limits > 11.5 {
		t.Errorf("limits of agreement ±%.1f %%, published ±9.2 and ±11.5 %%", limits)
	}
}

// Source: Weigend et al. 2022 (ramps and fits read in the open data; ratios
// computed): 0.75 of the best minute of five ramps against critical power of
// the 1/t fit: +6.1, +2.4, −0.6, +5.5, +9.4 %.
func TestPublishedRampThresholds(t *testing.T) {
	bestMinute := [5]float64{298.3, 398.3, 315.5, 279.3, 253.5} // W, ±0.5
	want := [5]float64{6.1, 2.4, -0.6, 5.5, 9.4}
	mean, r := 0.0, ReadThreshold("ramp test")
	for p, watts := range bestMinute {
		f, err := FitInverse(weigendTests[p])
		if err != nil {
			t.Fatal(err)
		}
		over := 100 * (ThresholdBestMinute(watts)/f.CriticalPower - 1)
		near(t, "percent over critical power", over, want[p], 0.2)
		mean += over / 5
		if off := math.Abs(ThresholdBestMinute(watts)*r.Factor/f.CriticalPower - 1); off > 1.96*r.SD {
			t.Errorf("participant %d: our reading is off by %.1f %%, beyond its own limits", p+1, 100*off)
		}
	}
	near(t, "mean", mean, 100*(1/r.Factor-1), 0.1)
}

func TestReadThreshold(t *testing.T) {
	for from, want := range map[string]string{
		"20-minute test": "20-minute test", "20 min": "20-minute test", "best 20min x 0.95": "20-minute test", "Twenty minutes": "20-minute test",
		"8-minute test": "8-minute test", "2 x 8 min": "8-minute test", "ramp": "ramp test", "Ramp test": "ramp test", "best minute": "ramp test",
		"60 min": "hour", "an all-out hour": "hour", "1 h": "hour", "lactate test": "laboratory threshold", "lab": "laboratory threshold",
		"critical power": "critical power", "CP": "critical power", "3-minute all-out test": "3-minute all-out test",
		"submaximal half hour": "submaximal half hour", "": "unknown origin", "a friend": "unknown origin", "unknown": "unknown origin",
		"120 min": "unknown origin", "18 min": "unknown origin",
	} {
		r := ReadThreshold(from)
		if r.Name != want {
			t.Errorf("%q read as %s, want %s", from, r.Name, want)
		}
	}
	unknown := ReadThreshold("?").SD
	for _, r := range readings {
		if r.SD <= 0 || r.SD > unknown || r.Factor < 0.9 || r.Factor > 1.2 || !strings.HasSuffix(r.Source, ".") {
			t.Errorf("%s: factor %.3f sd %.3f source %q", r.Name, r.Factor, r.SD, r.Source)
		}
	}
}
