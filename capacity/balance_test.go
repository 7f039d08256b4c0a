package capacity

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/optimize"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.6g, want %.6g ± %.2g", what, got, want, tolerance)
	}
}

// Sources: Skiba et al. 2012, MSSE 44:1526 (formula read in open research
// code); Bartram et al. 2018, IJSPP 13:724 (abstract only); Skiba and Clarke
// 2021, IJSPP 16:1561, eq. 12 (read in comments of open research code). The
// values are computed from the formulas.
func TestPublishedTimeConstants(t *testing.T) {
	for _, c := range []struct{ deficit, integral, elite, differential float64 }{
		{0, 862.0, math.Inf(1), math.Inf(1)},
		{50, 647.2, 155.0, 466.0},
		{100, 516.9, 96.2, 233.0},
		{150, 437.8, 72.8, 155.3},
		{200, 389.9, 59.7, 116.5},
	} {
		near(t, "2012 τ", IntegralTau(c.deficit), c.integral, 0.1)
		if c.deficit == 0 {
			for _, form := range []Recovery{Differential, Elite} {
				if rate := (Balance{CriticalPower: 393, WPrime: 23300, Form: form}).Rate(0); rate != 0 {
					t.Errorf("form %d recovers at critical power at %g a second", form, rate)
				}
			}
			continue
		}
		near(t, "elite τ", EliteTau(c.deficit), c.elite, 0.1)
		near(t, "elite τ by Rate", 1/Balance{WPrime: 23300, Form: Elite}.Rate(c.deficit), c.elite, 0.1)
		near(t, "W′/D", 1/Balance{WPrime: 23300}.Rate(c.deficit), c.differential, 0.1)
	}
}

// What the forms predict for published recoveries (percent of W′ back after
// full depletion), beside the observed shares in recovery.go. Computed from
// the formulas; sources as there and above.
func TestPublishedRecoveriesAsPredicted(t *testing.T) {
	for _, c := range []struct {
		cp, w, deficit, seconds       float64
		differential, elite, integral float64 // percent
	}{
		{212, 21600, 192, 120, 65.6, 85.8, 26.1},
		{212, 21600, 192, 360, 95.9, 99.7, 59.7},
		{212, 21600, 192, 900, 100.0, 100.0, 89.7},
		{269, 19200, 108, 30, 15.5, 28.0, 5.8},
		{269, 19200, 108, 60, 28.6, 48.2, 11.3},
		{269, 19200, 108, 300, 81.5, 96.3, 45.0},
		{269, 19200, 108, 900, 99.4, 100.0, 83.4},
		{393, 23300, 50, 60, 12.1, 32.1, 8.9},
		{393, 23300, 100, 60, 22.7, 46.4, 11.0},
		{393, 23300, 150, 60, 32.0, 56.1, 12.8},
		{393, 23300, 200, 60, 40.3, 63.4, 14.3},
		{248, 18200, 167, 120, 66.7, 83.0, 24.9},
		{248, 18200, 167, 240, 88.9, 97.1, 43.6},
		{248, 18200, 167, 360, 96.3, 99.5, 57.7},
		{248, 18200, 85, 120, 42.9, 67.2, 19.6},
		{248, 18200, 85, 240, 67.4, 89.2, 35.4},
		{248, 18200, 85, 360, 81.4, 96.5, 48.1},
		{241, 21100, 68, 30, 9.2, 21.3, 4.9},
		{241, 21100, 146, 30, 18.7, 33.3, 6.6},
		{241, 21100, 221, 30, 27.0, 41.6, 7.7},
	} {
		for form, want := range map[Recovery]float64{Differential: c.differential, Elite: c.elite, Integral: c.integral} {
			b := Balance{CriticalPower: c.cp, WPrime: c.w, Form: form, MeanDeficit: c.deficit}
			got := 100 * b.Step(0, c.cp-c.deficit, c.seconds) / c.w
			if math.Abs(got-want) > 0.1 {
				t.Errorf("form %d, CP %g, %g W below it, %g s: %.2f %% back, want %.1f", form, c.cp, c.deficit, c.seconds, got, want)
			}
		}
	}
}

// Observed: Bartram et al. 2018 give recovered shares 33, 47, 57, 64 % for 60
// s at 50 to 200 W below CP 393 W (derived from their own form; read in open
// data): the elite form has to give them back.
func TestPublishedEliteRecoveries(t *testing.T) {
	b := Balance{CriticalPower: 393, WPrime: 23300, Form: Elite}
	for i, want := range []float64{33, 47, 57, 64} {
		near(t, "percent back", 100*b.Step(0, 393-50*float64(i+1), 60)/b.WPrime, want, 1)
	}
}

// The sequence: CP 250 W, W′ 20 kJ, three times 60 s at 400 W and 60 s at 150
// W, then 60 s at 400 W. Computed from the published formulas (sources as
// above) by an independent program.
func TestPublishedFormsOnASequence(t *testing.T) {
	want := map[Recovery][]float64{
		Differential: {11000.00, 13332.64, 4332.64, 8393.33, -606.67, 4734.20, -4265.80},
		Elite:        {11000.00, 15175.49, 6175.49, 12589.28, 3589.28, 11202.92, 2202.92},
		Integral:     {11494.52, 12426.73, 4751.28, 6422.55, -594.84, 1662.37, -4833.30},
	}
	for _, form := range []Recovery{Differential, Elite} {
		b, w := Balance{CriticalPower: 250, WPrime: 20000, Form: form}, 20000.0
		for i := range 7 {
			w = b.Step(w, []float64{400, 150}[i%2], 60)
			near(t, "balance", w, want[form][i], 0.5)
		}
	}
	series := IntegralSeries(sequence(), 250, 20000, 100)
	for i := range 7 {
		near(t, "balance, integral form", series[60*i+59], want[Integral][i], 0.5)
	}
}

func sequence() []float64 {
	var watts []float64
	for i := range 420 {
		watts = append(watts, []float64{400, 150}[i/60%2])
	}
	return watts
}

// Skiba and Clarke 2021 (abstract only): with a constant time constant the
// recursion is the authors' double loop.
func TestPublishedRecursionIsTheDoubleLoop(t *testing.T) {
	watts, tau := sequence(), IntegralTau(100)
	series := IntegralSeries(watts, 250, 20000, 100)
	for i := range watts {
		spent := 0.0
		for u := range i + 1 {
			spent += math.Max(0, watts[u]-250) * math.Exp(-float64(i-u)/tau)
		}
		if math.Abs(series[i]-(20000-spent)) > 1e-9*20000 {
			t.Fatalf("after %d s: %.9f by recursion, %.9f by double loop", i+1, series[i], 20000-spent)
		}
	}
}

// Step is exact at constant power: many small steps are one large one.
func TestStepIsExact(t *testing.T) {
	for _, form := range []Recovery{Differential, Integral, Elite} {
		for _, watts := range []float64{0, 150, 249.9, 250, 310} {
			b := Balance{CriticalPower: 250, WPrime: 20000, Form: form, MeanDeficit: 80, Speed: 1.4}
			once, many := b.Step(9000, watts, 700), 9000.0
			for range 7000 {
				many = b.Step(many, watts, 0.1)
			}
			if math.Abs(once-many) > 1e-6 {
				t.Errorf("form %d at %g W: %.9f J in one step, %.9f J in 7000", form, watts, once, many)
			}
			if watts <= 250 && (once < 9000 || once > 20000) {
				t.Errorf("form %d at %g W: recovery led from 9000 to %.1f J", form, watts, once)
			}
		}
	}
	slow, fast := Balance{CriticalPower: 250, WPrime: 20000, Speed: 2}, Balance{CriticalPower: 250, WPrime: 20000}
	near(t, "half the speed for twice the time", slow.Step(0, 150, 200), fast.Step(0, 150, 100), 1e-9)
}

// The integral form's step and its one-second sum differ by the half second
// of spending that its comment states.
func TestIntegralSeriesAgainstStep(t *testing.T) {
	b, w := Balance{CriticalPower: 250, WPrime: 20000, Form: Integral, MeanDeficit: 100}, 20000.0
	for i, s := range IntegralSeries(sequence(), 250, 20000, 100) {
		w = b.Step(w, sequence()[i], 1)
		if math.Abs(s-w) > 0.6*150*4 {
			t.Fatalf("after %d s: %.1f J summed, %.1f J exact", i+1, s, w)
		}
	}
	if w == 20000 {
		t.Error("nothing was spent")
	}
}

// Source: Caen et al. 2021, W′ recovery kinetics after exhaustion, Med Sci
// Sports Exerc (abstract only; journal from memory): 21 men, recoveries of 30
// to 900 s. Mono-exponential τ 104 s, RMSE 6.4 %; bi-exponential τ 11 and 256
// s, RMSE 1.7 %; W′ balance model τ 524 ± 41 s, RMSE 18.6 %. The eight group
// means are another group's copy (read in open data), so this checks
// our table; the published 18.6 and 1.7 look cut off from 18.66 and 1.76.
func TestPublishedTwoPhaseRecovery(t *testing.T) {
	var seconds, percent []float64
	for _, o := range observations {
		if o.study == "Caen 2021" {
			seconds, percent = append(seconds, o.seconds), append(percent, 100*o.recovered)
		}
	}
	if len(seconds) != 8 {
		t.Fatalf("%d group means, want 8", len(seconds))
	}
	rmse := func(model func(s float64) float64) float64 {
		sum := 0.0
		for i, s := range seconds {
			e := percent[i] - model(s)
			sum += e * e
		}
		return math.Sqrt(sum / float64(len(seconds)))
	}
	fit := func(start []float64, model func(x []float64, s float64) float64) ([]float64, float64) {
		r, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
			return rmse(func(s float64) float64 { return model(x, s) })
		}}, start, &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-12, Iterations: 500}}, &optimize.NelderMead{})
		if err != nil {
			t.Fatal(err)
		}
		return r.X, r.F
	}
	rise := func(s, tau float64) float64 { return -math.Expm1(-s / tau) }

	x, e := fit([]float64{70, 200}, func(x []float64, s float64) float64 { return x[0] * rise(s, x[1]) })
	near(t, "mono-exponential τ", x[1], 104, 1.04)
	near(t, "its RMSE", e, 6.4, 0.1)

	// logarithms keep both time constants positive
	x, e = fit([]float64{30, math.Log(20), 45, math.Log(300)}, func(x []float64, s float64) float64 {
		return x[0]*rise(s, math.Exp(x[1])) + x[2]*rise(s, math.Exp(x[3]))
	})
	near(t, "bi-exponential fast τ", math.Exp(x[1]), 11.118, 0.12) // printed 11; 11.118 computed
	near(t, "bi-exponential slow τ", math.Exp(x[3]), 256, 2.56)
	near(t, "its RMSE", e, 1.7, 0.1)

	near(t, "RMSE of the balance model", rmse(func(s float64) float64 { return 100 * rise(s, 524) }), 18.6, 0.1)
	near(t, "our 2012 τ at their mean deficit", IntegralTau(108), 524, 41)
}

// The median and spread again, from numbers written out by hand: the implied
// time constants −t/ln(1−share), to 0.1 s.
func TestRecoverySpread(t *testing.T) {
	implied := [][]float64{
		{259.7, 342.9, 457.8},
		{150.3, 254.9, 294.9, 178.2, 300.6, 409.3, 220.3, 327.0, 398.3, 251.0, 510.6, 519.4},
		{89.1, 140.3, 205.7, 256.0, 299.7, 357.4, 449.3, 721.0},
		{165.3, 124.6, 107.3},
	}
	predicted := [][]float64{
		{112.5, 112.5, 112.5},
		{108.98, 108.98, 108.98, 214.12, 214.12, 214.12, 108.98, 108.98, 108.98, 214.12, 214.12, 214.12},
		{177.78, 177.78, 177.78, 177.78, 177.78, 177.78, 177.78, 177.78},
		{310.29, 144.52, 95.48},
	}
	var means []float64
	for i := range implied {
		sum := 0.0
		for j := range implied[i] {
			sum += math.Log(implied[i][j] / predicted[i][j])
		}
		means = append(means, sum/float64(len(implied[i])))
	}
	mean := (means[0] + means[1] + means[2] + means[3]) / 4
	squares := 0.0
	for _, m := range means {
		squares += (m - mean) * (m - mean)
	}
	median, sd := RecoverySpread(Differential)
	near(t, "median factor", median, math.Exp(mean), 0.002)
	near(t, "log sd", sd, math.Sqrt(squares/3), 0.002)
	if median < 1.3 || median > 2 {
		t.Errorf("median factor %.2f: the comment says about 1.6", median)
	}
	for _, form := range []Recovery{Differential, Integral, Elite} {
		m, s := RecoverySpread(form)
		t.Logf("form %d: median %.3f, log sd %.3f", form, m, s)
	}
}

// RateSlope against differences of Rate.
func TestRateSlope(t *testing.T) {
	for _, form := range []Recovery{Differential, Integral, Elite} {
		b := Balance{CriticalPower: 250, WPrime: 20000, Form: form, MeanDeficit: 90, Speed: 1.4}
		for _, deficit := range []float64{5, 60, 180} {
			const d = 1e-4
			want := (b.Rate(deficit+d) - b.Rate(deficit-d)) / (2 * d)
			if got := b.RateSlope(deficit); math.Abs(got-want) > 1e-6*math.Abs(want)+1e-15 {
				t.Errorf("form %d, %g W below: %g per s and W, differences %g", form, deficit, got, want)
			}
		}
	}
}

func TestDecayIsTheExponential(t *testing.T) {
	for x := 0.0; x < 0.06; x += 1e-5 {
		if got, want := decay(x), math.Exp(-x); math.Abs(got-want) > 3e-16 {
			t.Fatalf("decay(%g) = %.17g, want %.17g", x, got, want)
		}
	}
	if got := decay(math.Inf(1)); got != 0 {
		t.Errorf("decay of no end is %g", got)
	}
}
