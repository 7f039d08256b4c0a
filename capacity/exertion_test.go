package capacity

import (
	"math"
	"testing"
)

// Sources: Scherr et al. 2013, EJAP 113:147 (10.8 at lactate threshold, 13.6
// at individual anaerobic threshold, sd 1.8); Perceptual and Motor Skills
// 2023, doi 10.1177/00315125231180383 (30 min at 101, 143 and 167 W, the last
// being critical power, end at 12.1, 15.0, 19.0). Abstracts only.
func TestPublishedExertion(t *testing.T) {
	for _, c := range []struct{ share, seconds, want float64 }{
		{0.60, 0, 10.8}, {1, 0, 13.6}, {101. / 167, 1800, 12.1}, {143. / 167, 1800, 15.0}, {1, 1800, 19.0},
	} {
		if borg, _ := Feel(c.share, c.seconds); math.Abs(float64(borg)-c.want) > 0.5 {
			t.Errorf("%.2f of critical power for %g s: %d, want %.1f", c.share, c.seconds, borg, c.want)
		}
	}
}

func TestFeelIsOrdered(t *testing.T) {
	for _, seconds := range []float64{0, 60, 300, 1200, 3600} {
		last := 0
		for share := 0.0; share < 2; share += 0.01 {
			borg, words := Feel(share, seconds)
			later, _ := Feel(share, seconds+300)
			if borg < last || borg < 6 || borg > 20 || words == "" || later < borg {
				t.Fatalf("%.2f for %g s: %d %q after %d; %d five minutes later", share, seconds, borg, words, last, later)
			}
			last = borg
		}
		if last != 20 {
			t.Errorf("twice critical power for %g s feels like %d", seconds, last)
		}
	}
}

// Source: Swain et al. 1994, MSSE 26:112 (abstract only): 63, 76, 89, 92 % of
// maximal heart rate at 40, 60, 80, 85 % of maximal oxygen uptake.
func TestPublishedHeartRateShares(t *testing.T) {
	for oxygen, want := range map[float64]float64{0.40: 63, 0.60: 76, 0.80: 89, 0.85: 92} {
		near(t, "percent of maximal heart rate", 100*heartShare(oxygen), want, 0.5) // printed whole
	}
}

// Source: the American College of Sports Medicine's equation (read in a
// hand-out that prints it): 62 kg at 450 kg·m/min, that is 75 W, 20 mL/kg/min.
// The other two are computed.
func TestPublishedOxygenUptake(t *testing.T) {
	near(t, "62 kg, 75 W", OxygenUptake(75, 62), 20, 0.1)
	near(t, "70 kg, 150 W", OxygenUptake(150, 70), 30.143, 0.001)
	near(t, "75 kg, 200 W", OxygenUptake(200, 75), 35.8, 0.001)
}

// Source: Tanaka, Monahan, Seals 2001 (equation read in texts that quote it).
func TestPublishedMaximalHeartRate(t *testing.T) {
	bpm, sd := PredictedMaxHeartRate(40)
	near(t, "at 40 years", bpm, 180, 1e-9)
	near(t, "sd", sd, 10, 0)
}

func TestMaxHeart(t *testing.T) {
	for _, c := range []struct {
		r   Rider
		bpm float64
		ok  bool
	}{{Rider{}, 0, false}, {Rider{Age: 40}, 180, true}, {Rider{Age: 40, MaxHeartRate: 191}, 191, true}, {Rider{Age: 40, MaxHeartRate: 191, HeartRateOff: true}, 0, false}} {
		if bpm, _, from, ok := c.r.MaxHeart(); bpm != c.bpm || ok != c.ok || ok == (from == "") {
			t.Errorf("%+v: %g %q %v", c.r, bpm, from, ok)
		}
	}
}

func TestHeartBand(t *testing.T) {
	c := Capacity{CriticalPower: 230, WPrime: 15000, MaxPower: 800, Fade: 23}
	low, high, ok := HeartBand(c, 70, 190, 0, 180, 600)
	// (10.8·180/70+7)/(10.8·280/70+7) = 0.6925; 0.37+0.65·0.6925 = 0.8201
	if !ok || math.Abs((low+high)/2-0.8201*190) > 0.1 || math.Abs(high-low-19) > 1e-9 {
		t.Errorf("180 W: %.1f to %.1f, %v", low, high, ok)
	}
	wideLow, wideHigh, _ := HeartBand(c, 70, 190, 10, 180, 600)
	if !(wideHigh-wideLow > high-low+5) {
		t.Errorf("an unmeasured maximum gives %.1f to %.1f", wideLow, wideHigh)
	}
	last := 0.0
	for watts := 0.0; watts < 600; watts += 10 {
		low, high, ok := HeartBand(c, 70, 190, 10, watts, 200)
		if !ok || high > 190 || low >= high || (low+high)/2 < last-1e-9 {
			t.Fatalf("%g W: %.1f to %.1f, %v", watts, low, high, ok)
		}
		if last = (low + high) / 2; high == 190 {
			last = 0 // the cap bends the middle
		}
	}
	for name, band := range map[string]func() (float64, float64, bool){
		"short":      func() (float64, float64, bool) { return HeartBand(c, 70, 190, 0, 180, 179) },
		"no mass":    func() (float64, float64, bool) { return HeartBand(c, 0, 190, 0, 180, 600) },
		"no maximum": func() (float64, float64, bool) { return HeartBand(c, 70, 0, 0, 180, 600) },
	} {
		if low, high, ok := band(); ok || low != 0 || high != 0 {
			t.Errorf("%s: %.1f to %.1f", name, low, high)
		}
	}
}
