package evidence

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
)

func document(t *testing.T, name string) []byte {
	t.Helper()
	raw, err := os.ReadFile("../../docs/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// TestOptimumAgainstGeneralSolver: on seven courses our optimum is never more
// than 0.2 % slower than SLSQP's 40 pieces (scipy 1.10.1, computed by the
// script beside the fixtures), scored by the same integrator; the hill takes
// at most 1,500 course integrations; cues are rideable, within 0.5 % of the
// optimum where every section lasts a minute and may have a cue, and never
// slower than even power. The table in docs/evidence.md is what comes out.
func TestOptimumAgainstGeneralSolver(t *testing.T) {
	fixtures, err := Fixtures()
	if err != nil {
		t.Fatal(err)
	}
	if len(fixtures) != 7 {
		t.Fatalf("%d fixtures, want 7", len(fixtures))
	}
	var rows []Comparison
	for _, f := range fixtures {
		c, err := Compare(f)
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		rows = append(rows, c)
		if c.GeneralBalance < -0.01 || c.BalanceMin < -1e-6 || c.CuesBalanceMin < -1e-6 {
			t.Errorf("%s: balances fall to %.3f J (solver), %.3f J (optimum), %.3f J (cues)", c.Name, c.GeneralBalance, c.BalanceMin, c.CuesBalanceMin)
		}
		if c.Optimum > 1.002*c.General {
			t.Errorf("%s: %.3f s, the general solver needs %.3f s", c.Name, c.Optimum, c.General)
		}
		if c.Rides > 1500 {
			t.Errorf("%s: %d course integrations", c.Name, c.Rides)
		}
		if c.Cues > c.Even {
			t.Errorf("%s: the cues take %.2f s, even power %.2f s", c.Name, c.Cues, c.Even)
		}
		if c.Long == c.Sections && c.Allowed >= c.Sections && c.Cues > 1.005*c.Optimum {
			t.Errorf("%s: the cues take %.2f s, the optimum %.2f s", c.Name, c.Cues, c.Optimum)
		}
	}
	if got, want := SolverTable(rows), Table(document(t, "evidence.md"), "solver"); got != want {
		t.Errorf("the table in docs/evidence.md is stale (make evidence); now:\n%s", got)
	}
}

func riderRows(t *testing.T) (rows []Row, lines []string) {
	t.Helper()
	lines = strings.Split(strings.TrimSpace(string(document(t, "evidence-riders.csv"))), "\n")
	if lines[0] != RowHeader || len(lines) != 1+len(Strata)*RidersPerStratum {
		t.Fatalf("docs/evidence-riders.csv has %d lines and the header %q", len(lines), lines[0])
	}
	for i, line := range lines[1:] {
		r, err := ParseRow(line)
		if err != nil {
			t.Fatalf("docs/evidence-riders.csv:%d: %v", i+2, err)
		}
		rows = append(rows, r)
	}
	return rows, lines[1:]
}

func learntRows(t *testing.T) (rows []LearntRow, lines []string) {
	t.Helper()
	lines = strings.Split(strings.TrimSpace(string(document(t, "evidence-learnt.csv"))), "\n")
	if lines[0] != LearntHeader {
		t.Fatalf("docs/evidence-learnt.csv has the header %q", lines[0])
	}
	for i, line := range lines[1:] {
		r, err := ParseLearntRow(line)
		if err != nil {
			t.Fatalf("docs/evidence-learnt.csv:%d: %v", i+2, err)
		}
		rows = append(rows, r)
	}
	return rows, lines[1:]
}

// The rows of simulated riders are recomputed for the first riders of every
// kind and compared to the printed digit; the tables are summed from the rows
// as they stand.
func TestTablesAreFresh(t *testing.T) {
	rows, lines := riderRows(t)
	if got, want := CoverageTable(rows), Table(document(t, "evidence.md"), "coverage"); got != want {
		t.Errorf("the coverage table in docs/evidence.md is stale (make evidence); from the rows:\n%s", got)
	}
	for stratum := range Strata {
		for rider := range 2 {
			got, err := Simulate(context.Background(), stratum, rider)
			if err != nil {
				t.Fatal(err)
			}
			if want := lines[stratum*RidersPerStratum+rider]; got.String() != want {
				t.Errorf("docs/evidence-riders.csv is stale (make evidence): stratum %d, rider %d is\n%s, the file says\n%s", stratum, rider, got, want)
			}
		}
	}
	learnt, learntLines := learntRows(t)
	if got, want := LearntTable(learnt), Table(document(t, "evidence.md"), "learnt"); got != want {
		t.Errorf("the table of wrong assumptions in docs/evidence.md is stale (make evidence); from the rows:\n%s", got)
	}
	at := 0
	for i, k := range Cases {
		for rider := range 10 {
			if got, want := Learn(i, rider).String(), learntLines[at+rider]; got != want {
				t.Errorf("docs/evidence-learnt.csv is stale (make evidence): %s, rider %d is\n%s, the file says\n%s", k.Name, rider, got, want)
			}
		}
		at += k.Riders
	}
	if at != len(learnt) {
		t.Errorf("docs/evidence-learnt.csv has %d riders, want %d", len(learnt), at)
	}
}

// What the intervals promise, over the committed rows: 80 % of 1,000 riders
// within four points, each kind of 200 within ten; and not by being wide, for
// returning the prior would cover too.
func TestIntervalsCoverAndAreSharp(t *testing.T) {
	rows, _ := riderRows(t)
	within := func(what string, share, low, high float64) {
		if share < low || share > high {
			t.Errorf("%s: the 80 %% interval holds the truth in %.1f %%, want %.0f to %.0f", what, 100*share, 100*low, 100*high)
		}
	}
	all := Summarise(rows, -1)
	within("finish", all.Time, 0.76, 0.84)
	within("critical power", all.CP, 0.76, 0.84)
	within("threshold", all.Threshold, 0.76, 0.84)
	if all.Empty > all.Chance+0.04 || all.Empty < all.Chance-0.06 {
		t.Errorf("%.1f %% ran empty, forecast %.1f %%", 100*all.Empty, 100*all.Chance)
	}
	widest := map[int]float64{threshold: 0.09, tests: 0.06, bests: 0.07, mixed: 0.06}
	none := Summarise(rows, nothing)
	for stratum, name := range Strata {
		s := Summarise(rows, stratum)
		within(name+", finish", s.Time, 0.70, 0.90)
		within(name+", critical power", s.CP, 0.70, 0.90)
		within(name+", threshold", s.Threshold, 0.70, 0.90)
		if most, set := widest[stratum]; set && s.HalfWidth > most {
			t.Errorf("%s: critical power is known to ±%.1f %%, want ±%.0f %%", name, 100*s.HalfWidth, 100*most)
		}
		if stratum != nothing && s.TimeWidth > 0.9*none.TimeWidth {
			t.Errorf("%s: the finish is known to %.3f, without evidence to %.3f", name, s.TimeWidth, none.TimeWidth)
		}
	}
}

// Wrong assumptions cost coverage, not all of it; and a newcomer with a hill
// time and an easy heart rate has a threshold.
func TestWrongAssumptionsAndNewcomers(t *testing.T) {
	rows, _ := learntRows(t)
	for i, k := range Cases {
		s := SummariseLearnt(rows, i)
		least := 0.70
		if k.stratum == bests {
			least = 0.60
		}
		if s.CP < least || s.Threshold < least {
			t.Errorf("%s: inside in %.1f %% (critical power) and %.1f %% (threshold), want %.0f %%", k.Name, 100*s.CP, 100*s.Threshold, 100*least)
		}
		if k.newcomer && (s.Riders < 500 || s.Off > 0.15 || s.SD > 0.12) {
			t.Errorf("%d newcomers: the threshold is off by %.1f %% (root mean square), its sd %.1f %%", s.Riders, 100*s.Off, 100*s.SD)
		}
	}
}

func TestReplaceTable(t *testing.T) {
	doc := []byte("a\n" + begin("x") + "old\n" + end("x") + "b\n")
	got, err := Replace(doc, "x", "new\n")
	if err != nil || Table(got, "x") != "new\n" || !bytes.HasSuffix(got, []byte("b\n")) {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := Replace(doc, "y", ""); err == nil {
		t.Error("a missing place must be an error")
	}
}
