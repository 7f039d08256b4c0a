package capacity

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/estimate"
)

func tests(pairs ...float64) (out []Evidence) {
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, Evidence{Duration: pairs[i], Watts: pairs[i+1], Source: "hub"})
	}
	return out
}

// Source: Weigend et al. 2022, arXiv 2207.14295, participant 3 (see
// fit_test.go; read in the data files). A good fit must not be bent by the
// prior: within 0.5 W when nothing but the participants' mean mass is known,
// within 1.5 W for any level a rider may claim.
func TestPublishedFitSurvivesThePrior(t *testing.T) {
	r := Rider{Mass: 73.6, Evidence: tests(155, 307, 266, 280, 410, 265, 708, 252)}
	for _, level := range []Level{LevelUnknown, New, Regular, Club, Racer} {
		r.Level = level
		c, a := Infer(r)
		if level == LevelUnknown {
			near(t, level.String()+": critical power", c.CriticalPower, 237.9621, 0.5)
		}
		near(t, level.String()+": critical power", c.CriticalPower, 237.9621, 1.5)
		near(t, level.String()+": W′", c.WPrime, 10819.70, 300)
		// SE 1.57 W with 2 degrees of freedom: 1.886/1.2816 as wide, times 1.15
		if sd := c.SD()[0]; sd < 1.4*1.5695 || sd > 1.7*1.5695 {
			t.Errorf("%v: sd of critical power %.2f W", level, sd)
		}
		if a.Fit == nil || a.Fit.Form != InverseTime || a.Source != "hub" {
			t.Errorf("%v: account %+v", level, a)
		}
	}
}

func TestWiden(t *testing.T) {
	// Student's t quantiles of 0.9, from any table
	for dof, want := range map[int]float64{1: 3.078, 2: 1.886, 3: 1.638, 10: 1.372} {
		near(t, "t", widen(dof)*estimate.Z80, want, 0.001)
	}
}

// With a diffuse prior and no widening a scalar and a pair of measurements
// give what a textbook gives.
func TestUpdateAgainstClosedForm(t *testing.T) {
	b := belief{mean: [4]float64{200, 15000, 800, 20}}
	for i, sd := range []float64{40, 4000, 150, 8} {
		b.cov[i][i] = sd * sd
	}
	got := b.updated(measurement{gradient: [4]float64{1}, value: 250, sd: 30})
	near(t, "mean", got.mean[0], 200+50*1600./2500, 1e-9) // precision-weighted
	near(t, "variance", got.cov[0][0], 1600*900./2500, 1e-9)
	near(t, "untouched", got.cov[1][1], 4000*4000, 1e-6)

	f := Fit{CriticalPower: 250, WPrime: 18000}
	c := [3]float64{9, -2500, 1e6}
	wide := belief{mean: b.mean}
	for i := range wide.cov {
		wide.cov[i][i] = 1e14
	}
	for _, m := range fitMeasurements(f, c, 0) {
		wide = wide.updated(m)
	}
	near(t, "CP", wide.mean[0], 250, 1e-3)
	near(t, "W′", wide.mean[1], 18000, 1)
	near(t, "var CP", wide.cov[0][0], 9, 1e-2)
	near(t, "cov", wide.cov[0][1], -2500, 5)
	near(t, "var W′", wide.cov[1][1], 1e6, 1e3)
}

func TestSigmaIsTheFactorOfTheCovariance(t *testing.T) {
	b := priorFor(Rider{Level: Club, Sex: Female, Age: 44})
	l := b.factor()
	for i := range 4 {
		for j := range 4 {
			sum := 0.0
			for k := range 4 {
				sum += l[i][k] * l[j][k]
			}
			scale := math.Sqrt(b.cov[i][i] * b.cov[j][j])
			if math.Abs(sum-b.cov[i][j]) > 1e-9*scale {
				t.Errorf("L·Lᵀ at %d,%d: %g, want %g", i, j, sum, b.cov[i][j])
			}
			if j > i && l[i][j] != 0 {
				t.Errorf("not lower triangular at %d,%d", i, j)
			}
		}
	}
	flat := b // an exactly singular covariance still has a factor
	for i := range 4 {
		for j := range 4 {
			flat.cov[i][j] = math.Sqrt(b.cov[i][i] * b.cov[j][j])
		}
	}
	for _, row := range flat.factor() {
		for _, x := range row {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatal("the factor of a singular covariance is not finite")
			}
		}
	}
}

// Every kind of evidence moves the belief the way it should, and narrows it.
func TestEvidenceNarrows(t *testing.T) {
	base := Rider{Mass: 70, Sex: Male, Level: Regular}
	nothing, account := Infer(base)
	near(t, "prior critical power", nothing.CriticalPower, 189, 1e-9)
	if account.Fit != nil || account.Source != "" || !strings.Contains(account.Model, "No usable evidence") {
		t.Errorf("account of nothing: %+v", account)
	}
	with := func(e ...Evidence) (Capacity, Account) {
		r := base
		r.Evidence = e
		return Infer(r)
	}
	one, _ := with(tests(1200, 250)...)
	if !(one.SD()[0] < nothing.SD()[0]/3) {
		t.Errorf("a 20-min test narrows critical power only from %.1f to %.1f W", nothing.SD()[0], one.SD()[0])
	}
	near(t, "power for 20 min after a test of it", one.Power(1200), 250, 4)
	two, _ := with(tests(180, 320, 1200, 250)...)
	if !(two.SD()[1] < one.SD()[1]*0.6) {
		t.Errorf("a second test narrows W′ only from %.0f to %.0f J", one.SD()[1], two.SD()[1])
	}
	cp, w, _ := TwoPoint(Test{180, 320}, Test{1200, 250})
	near(t, "critical power of two tests", two.CriticalPower, cp, 4)
	near(t, "W′ of two tests", two.WPrime, w, 0.12*w)

	threshold, _ := with(Evidence{Kind: StatedThreshold, Watts: 231, From: "20-minute test"})
	near(t, "critical power from a stated threshold", threshold.CriticalPower, 231*256./249, 6)
	vague, _ := with(Evidence{Kind: StatedThreshold, Watts: 231, From: "a friend"})
	if !(vague.SD()[0] > 1.5*threshold.SD()[0]) {
		t.Errorf("unknown origin gives ±%.1f W, a 20-min test ±%.1f W", vague.SD()[0], threshold.SD()[0])
	}
	hour, _ := with(Evidence{Kind: StatedThreshold, Watts: 231, From: "an all-out hour"})
	near(t, "an hour's power", hour.Threshold(), 231, 6)
	if !(hour.CriticalPower > hour.Threshold()) {
		t.Error("critical power is not above what is held for an hour")
	}
	long, _ := with(append(tests(180, 320, 600, 270, 1200, 250), tests(7200, 200)...)...)
	short, _ := with(tests(180, 320, 600, 270, 1200, 250)...)
	if !(long.SD()[3] < short.SD()[3]) || !(long.Fade > short.Fade) {
		t.Errorf("two hours at 200 W leave the fade at %.1f ± %.1f W, from %.1f ± %.1f", long.Fade, long.SD()[3], short.Fade, short.SD()[3])
	}
	sprint, _ := with(tests(5, 1000)...)
	if !(sprint.SD()[2] < nothing.SD()[2]) || !(sprint.MaxPower > nothing.MaxPower+100) {
		t.Errorf("5 s at 1000 W: maximal power %.0f ± %.0f W, before %.0f ± %.0f", sprint.MaxPower, sprint.SD()[2], nothing.MaxPower, nothing.SD()[2])
	}
	if p := sprint.Power(5); p < nothing.Power(5)+100 || p > 1000 {
		t.Errorf("5 s after a test of 1000 W: %.0f W, before %.0f W", p, nothing.Power(5))
	}
}

func TestContradictionsWidenAndWarn(t *testing.T) {
	agree := Rider{Mass: 70, Level: Club, Evidence: []Evidence{
		{Kind: StatedThreshold, Watts: 240, From: "20-minute test"}, {Kind: StatedThreshold, Watts: 245, From: "20-minute test"}}}
	differ := agree
	differ.Evidence = []Evidence{
		{Kind: StatedThreshold, Watts: 180, From: "20-minute test"}, {Kind: StatedThreshold, Watts: 300, From: "20-minute test"}}
	a, quiet := Infer(agree)
	d, loud := Infer(differ)
	if !(d.SD()[0] > 1.5*a.SD()[0]) {
		t.Errorf("contradictory thresholds give ±%.1f W, agreeing ones ±%.1f W", d.SD()[0], a.SD()[0])
	}
	if len(quiet.Warnings) != 0 || !anyHas(loud.Warnings, "contradicts itself") {
		t.Errorf("warnings %q and %q", quiet.Warnings, loud.Warnings)
	}
	_, far := Infer(Rider{Mass: 60, Level: New, Sex: Female, Evidence: tests(1200, 380)})
	if !anyHas(far.Warnings, "far from what is likely") {
		t.Errorf("380 W for 20 min by a new rider of 60 kg: %q", far.Warnings)
	}
	_, rising := Infer(Rider{Mass: 70, Evidence: tests(180, 240, 400, 260, 900, 290)})
	if rising.Fit != nil || !anyHas(rising.Warnings, "one by one") {
		t.Errorf("tests that rise with duration: %+v", rising)
	}
	day := tests(180, 330, 420, 285, 900, 262)
	plain, _ := Infer(Rider{Mass: 70, Evidence: day})
	for i := range day {
		day[i].Date = "2026-10-02"
	}
	tired, warned := Infer(Rider{Mass: 70, Evidence: day})
	if !(tired.SD()[0] > plain.SD()[0]) || !anyHas(warned.Warnings, "one day") {
		t.Errorf("same day: ±%.1f W instead of ±%.1f W, %q", tired.SD()[0], plain.SD()[0], warned.Warnings)
	}
}

func anyHas(list []string, part string) bool {
	for _, s := range list {
		if strings.Contains(s, part) {
			return true
		}
	}
	return false
}

func TestAccount(t *testing.T) {
	evidence := append(tests(5, 900, 60, 450, 180, 330, 420, 285, 900, 262, 3600, 230, 30000, 150, -4, 200, 300, math.NaN()),
		Evidence{Kind: StatedThreshold, Watts: 245, From: "ramp", Date: "2026-10-10", Source: "pedals", Where: "indoor"})
	_, a := Infer(Rider{Mass: 70, Evidence: evidence})
	want := []string{"for maximal power", "left out: between", "in the fit", "in the fit", "in the fit", "as the power held for 60 min",
		"left out: longer", "left out: its duration", "left out: its watts", "as critical power of 234 W ±6 % (ramp test)"}
	if len(a.Lines) != len(want) {
		t.Fatalf("%d lines for %d pieces", len(a.Lines), len(want))
	}
	for i, l := range a.Lines {
		if !strings.HasPrefix(l.Used, want[i]) {
			t.Errorf("line %d: %q, want %q…", i, l.Used, want[i])
		}
	}
	if last := a.Lines[9]; last.What != "threshold of 245 W from ramp, pedals, indoor" || last.When != "2026-10-10" {
		t.Errorf("last line %+v", last)
	}
	if a.Source != "" || !anyHas(a.Warnings, "several power sources") {
		t.Errorf("two sources: %q, %q", a.Source, a.Warnings)
	}
}

// Whatever is suggested, a maximal test comes only after a screening, and who
// may be untrained is not sent to one first.
func TestNextIsSafe(t *testing.T) {
	for _, level := range []Level{LevelUnknown, New, Regular, Club, Racer} {
		for _, e := range [][]Evidence{nil, tests(180, 300), tests(900, 250), tests(180, 300, 1000, 250), tests(180, 300, 400, 270, 600, 255),
			tests(180, 300, 400, 270, 900, 250), tests(180, 300, 400, 270, 700, 256, 1000, 249), {{Kind: StatedThreshold, Watts: 240}}} {
			_, a := Infer(Rider{Mass: 70, Level: level, Evidence: e})
			if !strings.HasSuffix(a.Next, "a maximal test only after a health screening.") {
				t.Errorf("%v, %d pieces: %q", level, len(e), a.Next)
			}
			if e == nil && (level == New || level == LevelUnknown) && !strings.Contains(a.Next, "not flat out") {
				t.Errorf("%v without evidence is told %q", level, a.Next)
			}
		}
	}
}

// Nothing that can be typed makes a rider that cannot be reckoned with.
func TestInferNeverBreaks(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	odd := []float64{0, -1, 1e-9, 3, 14, 130, 500, 3600, 1e5, 1e12, math.NaN(), math.Inf(1)}
	for range 3000 {
		rider := Rider{Mass: odd[r.IntN(8)], Age: odd[r.IntN(8)], Sex: Sex(r.IntN(3)), Level: Level(r.IntN(5))}
		if rider.Mass < 30 || rider.Mass > 300 {
			rider.Mass = 0
		}
		for range r.IntN(7) {
			rider.Evidence = append(rider.Evidence, Evidence{Kind: Kind(r.IntN(2)), Duration: odd[r.IntN(len(odd))] * (1 + r.Float64()), Watts: odd[r.IntN(9)] * (1 + r.Float64()), From: []string{"", "ramp", "20 min", "hour"}[r.IntN(4)]})
		}
		c, _ := Infer(rider)
		ok := c.CriticalPower > 0 && c.WPrime > 0 && c.MaxPower > c.CriticalPower && c.Fade >= 0
		for i, sd := range c.SD() {
			ok = ok && sd > 0 && !math.IsInf(sd, 0) && c.Sigma[i][i] > 0
		}
		if !ok {
			t.Fatalf("%+v\ngave %+v", rider, c)
		}
	}
}

// Simulated riders out of the prior, tested at three or five durations with
// an error of 3 %: how often the 80 % interval of critical power holds the
// truth, and how wide it is against the prior's.
func TestCoverageAndSharpness(t *testing.T) {
	for _, durations := range [][]float64{{180, 400, 900}, {150, 240, 420, 720, 1100}, {1200}, {240, 1000}} {
		inside, width, n := 0, 0.0, 600
		for i := range n {
			random := estimate.Stream(11, i)
			base := Rider{Mass: 72, Sex: Male, Level: Regular}
			prior, _ := Infer(base)
			truth := prior.Draw(random)
			for _, d := range durations {
				watts := (truth.CriticalPower + truth.WPrime/d) * (1 + testRepeat*random.NormFloat64())
				base.Evidence = append(base.Evidence, Evidence{Duration: d, Watts: watts})
			}
			c, _ := Infer(base)
			sd := c.SD()[0]
			if math.Abs(c.CriticalPower-truth.CriticalPower) < estimate.Z80*sd {
				inside++
			}
			width += sd / prior.SD()[0] / float64(n)
		}
		share := float64(inside) / float64(n)
		t.Logf("%d tests: 80 %% interval holds the truth in %.0f %%, %.2f as wide as the prior", len(durations), 100*share, width)
		if share < 0.72 || share > 0.90 {
			t.Errorf("%d tests: coverage %.2f, want 0.80, known to be 0.74 to 0.83", len(durations), share)
		}
		if width > 0.5 {
			t.Errorf("%d tests: %.2f as wide as the prior", len(durations), width)
		}
	}
}
