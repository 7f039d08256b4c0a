package race

import (
	"context"
	"math"
	"strings"
	"testing"

	"chainline/capacity"
)

func TestStanding(t *testing.T) {
	m := someone(3.3)
	m.Source = "crank"
	s := testClass.Stand(m, 1)
	// Known in closed form: power over 1200 s is CP + W′/1200 to better than 1 %.
	want := (m.Capacity.CriticalPower + m.Capacity.WPrime/1200) / m.Mass
	if math.Abs(s.WPerKg.Mean-want) > 0.02 {
		t.Errorf("%.3f W/kg, want %.3f", s.WPerKg.Mean, want)
	}
	sd := math.Hypot(m.Capacity.Sigma[0][0]/m.Mass, math.Hypot(m.Capacity.Sigma[1][1]/1200/m.Mass, want*m.MassSD/m.Mass))
	phi := func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
	if p := phi((3.7-want)/sd) - phi((2.9-want)/sd); math.Abs(s.Inside-p) > 0.03 {
		t.Errorf("inside %.3f, want %.3f", s.Inside, p)
	}
	if !strings.HasPrefix(s.Sentence, "inside by 0.") || !strings.Contains(s.Sentence, "sure by the watts of crank") {
		t.Error(s.Sentence)
	}
	if a := testClass.Stand(someone(3.9), 1); a.Above < 0.9 || !strings.HasPrefix(a.Sentence, "above") {
		t.Errorf("%+v", a)
	}
	if b := testClass.Stand(someone(2.5), 1); !strings.Contains(b.Sentence, "W more would reach it") || strings.Contains(b.Sentence, "kg less") {
		t.Error(b.Sentence)
	}
}

func TestStandingOfSome(t *testing.T) {
	young := someone(3.3)
	young.Age = 16
	if s := testClass.Stand(young, 1); s.WPerKg.Mean != 0 || strings.Contains(s.Sentence, "W/kg") {
		t.Errorf("a minor is shown W/kg: %+v", s)
	}
	women := Category{Name: "women", Women: true}
	man, woman := someone(3), someone(3)
	man.Sex, woman.Sex = capacity.Male, capacity.Female
	if women.Stand(man, 1).Barred == "" || women.Stand(woman, 1).Barred != "" {
		t.Error("a women's field is open to the wrong people")
	}
	old := Category{Name: "over 50", MinAge: 50}
	if old.Stand(someone(3), 1).Barred == "" {
		t.Error("35 is not 50")
	}
	floor := Category{Name: "fast", Min: 3.6, FloorW: 215, OverS: 1200}
	if s := floor.Stand(someone(3.3), 1); s.Inside < 0.9 || !strings.Contains(s.Sentence, "power floor") {
		t.Errorf("225 W are above the floor: %+v", s)
	}
}

func TestAdvice(t *testing.T) {
	classes := []Category{{Name: "easy", Max: 3, OverS: 1200}, {Name: "middle", Min: 3, Max: 3.6, OverS: 1200}, {Name: "hard", Min: 3.6, OverS: 1200}}
	outlook := func(i int, chance, inside, above float64) Outlook {
		return Outlook{Category: classes[i], Chance: chance, Standing: Standing{Category: classes[i], Inside: inside, Above: above}}
	}
	own := []Outlook{outlook(0, 0.95, 0.3, 0.45), outlook(1, 0.55, 0.5, 0.05), outlook(2, 0.05, 0, 0)}
	if a := Advise(Me{}, own); a.Enter != "middle" {
		t.Errorf("%+v", a)
	}
	if a := Advise(Me{New: true}, own); a.Enter != "easy" || a.Unproved == "" {
		t.Errorf("a newcomer in doubt belongs into the friendlier field: %+v", a)
	}
	own[0].Standing.Above = 0.9
	if a := Advise(Me{New: true}, own); a.Enter != "middle" {
		t.Errorf("nobody is sent below their limits: %+v", a)
	}
	own[1].OverLimit = 0.5
	own[0].Standing.Above = 0.2
	if a := Advise(Me{}, own); a.Enter != "easy" {
		t.Errorf("half a chance of showing too much is too much: %+v", a)
	}
}

func TestSheet(t *testing.T) {
	q := testAsk(3.7, 20)
	o, err := Forecast(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	s := NewSheet(q, o)
	if len(s.Card) == 0 || len(s.Card) > 7 || len(s.Lines) < 3 {
		t.Errorf("%+v", s)
	}
	for _, l := range s.Lines {
		t.Log(l)
		if strings.Contains(l, "NaN") || strings.Contains(l, "Inf") {
			t.Error(l)
		}
	}
}

// A gap that can be closed below critical power costs nothing, and is not said
// to cost 0.0 kJ.
func TestAGapForNothingIsSaidInWords(t *testing.T) {
	s := Sheet{Gap: Closing{Seconds: 49, Watts: 233}}
	s.say(capacity.Fixed(240, 20000, 1000), Outlook{})
	if said := strings.Join(s.Lines, "\n"); strings.Contains(said, "0.0 kJ") || !strings.Contains(said, "without going above critical power: 233 W for 49 s") {
		t.Error(said)
	}
}

// TestAnalyticAfford: at CP + W′/T all of W′ lasts T, half of it half as long.
func TestAnalyticAfford(t *testing.T) {
	c := capacity.Fixed(250, 20000, 1000)
	if got := Afford(c, 350, 0); math.Abs(got-200) > 1e-9 {
		t.Errorf("%.1f s, want 200", got)
	}
	if !math.IsInf(Afford(c, 250, 0.5), 1) {
		t.Error("critical power lasts")
	}
}

// TestAnalyticGap: without sheltered riding to weigh against, the cost of a
// gap is (P(v+g/t)−CP)·t at its best t; a finer search finds nothing cheaper.
func TestAnalyticGap(t *testing.T) {
	m, c := testRoad.Motion(70), capacity.Fixed(230, 18000, 900)
	got := CloseGap(m, c, 0.6, 50, 11, 0)
	for s := 5.0; s < 180; s += 0.1 {
		watts := m.PowerAt(11+50/s, 0, 0)
		if cost := math.Max(0, watts-230) * s; watts <= c.Power(s) && cost < got.CostJ-60 {
			t.Fatalf("in %.1f s it costs %.0f J, not %.0f", s, cost, got.CostJ)
		}
	}
	if far := CloseGap(m, c, 0.6, 100, 11, 0); far.CostJ <= got.CostJ {
		t.Errorf("100 m cost %.0f J, 50 m %.0f J", far.CostJ, got.CostJ)
	}
	if sprint := BestLaunch(m, c, 12000, 11, 0); sprint.FromM < 100 || sprint.Watts <= 230 {
		t.Errorf("%+v", sprint)
	}
	if a, b := BestLaunch(m, c, 4000, 11, 0), BestLaunch(m, c, 15000, 11, 0); a.FromM > b.FromM {
		t.Errorf("with less left the launch is not earlier: %+v %+v", a, b)
	}
}
