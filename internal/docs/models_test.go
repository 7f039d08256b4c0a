package docs_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
)

// example is the worked example of docs/models.md: labels to printed numbers.
type example struct {
	t       *testing.T
	printed map[string]string
	used    map[string]bool
}

func readExample(t *testing.T) *example {
	t.Helper()
	page, err := os.ReadFile(filepath.Join(root, "docs", "models.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(page), "\n## A worked example\n")
	if !found {
		t.Fatal("docs/models.md has no worked example")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	e := &example{t, map[string]string{}, map[string]bool{}}
	for line := range strings.Lines(section) {
		if c := cells(line); len(c) >= 2 && c[1] != "value" && !strings.HasPrefix(c[1], "-") {
			number, _, _ := strings.Cut(c[1], " ")
			e.printed[c[0]] = number
		}
	}
	return e
}

// given is a printed input.
func (e *example) given(label string) float64 {
	e.t.Helper()
	e.used[label] = true
	v, err := strconv.ParseFloat(e.printed[label], 64)
	if err != nil {
		e.t.Fatalf("docs/models.md: the example's %q: %v", label, err)
	}
	return v
}

// result compares a computed number with the printed one, digit by digit.
func (e *example) result(label string, computed float64) {
	e.t.Helper()
	e.used[label] = true
	printed, found := e.printed[label]
	_, decimals, _ := strings.Cut(printed, ".")
	if got := strconv.FormatFloat(computed, 'f', len(decimals), 64); !found || got != printed {
		e.t.Errorf("docs/models.md: the example's %q is %q; computed %s (%.8g)", label, printed, got, computed)
	}
}

func TestModelsExample(t *testing.T) {
	e := readExample(t)
	motion := e.road()
	c := e.capacity()
	e.balance(c)
	e.plan(motion, c)
	e.body(c)
	for label := range e.printed {
		if !e.used[label] {
			t.Errorf("docs/models.md: nothing recomputes the example's %q", label)
		}
	}
}

func (e *example) road() physics.Motion {
	e.t.Helper()
	air := physics.DefaultAir(e.given("altitude"))
	rho := air.Density()
	e.result("air pressure", air.Pressure)
	e.result("air density", rho)
	m := physics.Road{BikeMass: e.given("bicycle mass"), CdA: e.given("CdA"), Crr: e.given("Crr"), Efficiency: e.given("efficiency"),
		WheelRadius: e.given("wheel radius"), WheelInertia: e.given("wheel inertia"), WheelDragArea: e.given("wheel drag area"),
		Bearings: true, AirDensity: rho}.Motion(e.given("rider mass"))
	e.result("m_eff", m.Inertial)
	e.result("k", m.Drag)
	e.result("F on 5 %", m.ConstantForce(0.05))
	e.result("speed at 250 W, level", m.SpeedAt(250, 0, 0))
	e.result("speed at 250 W, 5 %", m.SpeedAt(250, 0.05, 0))
	return m
}

func (e *example) capacity() capacity.Capacity {
	e.t.Helper()
	r := capacity.Rider{Mass: e.given("rider mass"), Age: e.given("age"), Sex: capacity.Male, Level: capacity.Club}
	exact := capacity.Source{Name: "meter", SD: 1e-9}
	before, _ := capacity.Infer(r, exact, estimate.Stream(1, 0))
	e.result("prior CP", before.Mode.CriticalPower)
	e.result("prior W′", before.Mode.WPrime)
	e.result("prior Pmax", before.Mode.MaxPower)
	e.result("prior fade", before.Mode.Fade)
	for _, s := range []float64{180, 420, 900} {
		label := "test of " + strconv.Itoa(int(s)) + " s"
		r.Evidence = append(r.Evidence, capacity.Evidence{Kind: capacity.MaximalTest, Duration: s, Watts: e.given(label), Source: "meter", Date: label})
	}
	learnt, account := capacity.Infer(r, exact, estimate.Stream(1, 0))
	c := learnt.Mode
	if account.Fit == nil || account.Fit.Form != capacity.InverseTime {
		e.t.Fatalf("the example's tests are fitted otherwise: %+v", account)
	}
	e.result("fitted CP", account.Fit.CriticalPower)
	e.result("standard error of CP", account.Fit.SECriticalPower)
	e.result("fitted W′", account.Fit.WPrime)
	e.result("standard error of W′", account.Fit.SEWPrime)
	e.result("CP", c.CriticalPower)
	e.result("W′", c.WPrime)
	e.result("Pmax", c.MaxPower)
	e.result("repeat error", 100*learnt.RepeatError)
	e.result("fade", c.Fade)
	e.result("sd of CP", learnt.Displayed.SD()[0])
	e.result("sd of W′", learnt.Displayed.SD()[1])
	e.result("power for an hour", c.Threshold())
	e.result("ceiling", c.Power(60))
	return c
}

func (e *example) balance(c capacity.Capacity) {
	e.t.Helper()
	median, sd := capacity.RecoverySpread(capacity.Differential)
	e.result("recovery factor", median)
	e.result("sd of its logarithm", sd)
	b := capacity.Balance{CriticalPower: math.Round(c.CriticalPower), WPrime: 1000 * math.Round(c.WPrime/1000), Speed: e.given("recovery factor")}
	e.result("CP of the balance", b.CriticalPower)
	e.result("W′ of the balance", b.WPrime)
	w := b.Step(b.WPrime, 350, 90)
	e.result("after 90 s at 350 W", w)
	e.result("and 120 s at 150 W", b.Step(w, 150, 120))
}

func (e *example) plan(m physics.Motion, c capacity.Capacity) {
	e.t.Helper()
	p := pacing.Problem{Motion: m, Profile: course.Profile{Distance: []float64{0, 4000, 6000}, Elevation: []float64{200, 200, 300}},
		Balance: capacity.Balance{CriticalPower: e.given("CP of the balance"), WPrime: e.given("W′ of the balance"), Speed: e.given("recovery factor")},
		Reserve: 0.1 * e.given("W′ of the balance"), Ceiling: c.Power(60)}
	watts, out, err := p.Even(context.Background())
	if err != nil {
		e.t.Fatal(err)
	}
	e.result("best even power", watts)
	e.result("its time", out.Time)
	o, err := p.Optimum(context.Background())
	if err != nil {
		e.t.Fatal(err)
	}
	e.result("optimum's time", o.Outcome.Time)
}

func (e *example) body(c capacity.Capacity) {
	e.t.Helper()
	cp := e.given("CP of the balance")
	borg, _ := capacity.Feel(250/cp, 600)
	e.result("exertion after 600 s at 250 W", float64(borg))
	max, sd := capacity.PredictedMaxHeartRate(e.given("age"))
	low, high, ok := capacity.HeartBand(c, e.given("rider mass"), max, sd, 250, 600)
	if !ok {
		e.t.Fatal("no heart band")
	}
	e.result("heart rate then, from", low)
	e.result("heart rate then, to", high)
}
