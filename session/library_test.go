package session_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/session"
)

// Every starter can be read, is printed back as it stands, says what it is for
// and for whom, has a caution or is easy, and can be ridden by three different
// riders without running out of W′ where it is not meant to.
func TestLibrary(t *testing.T) {
	views := []session.View{
		{ThresholdW: 120, CriticalPowerW: 124, WPrimeJ: 9000, MaxPowerW: 450},
		{ThresholdW: 240, CriticalPowerW: 250, WPrimeJ: 17000, MaxPowerW: 850, MassKg: 70, HeartMax: 180},
		{ThresholdW: 380, CriticalPowerW: 392, WPrimeJ: 25000, MaxPowerW: 1300},
	}
	seen := map[string]bool{}
	for _, starter := range session.Library() {
		s := starter.Session()
		if text := session.Print(s); text != starter.Text {
			t.Errorf("%s is not written the canonical way:\n%s", starter.ID, text)
		}
		if seen[starter.ID] || s.Name == "" || s.Purpose == "" || s.For == "" || len(s.Cautions) == 0 {
			t.Errorf("%s: %+v", starter.ID, s)
		}
		seen[starter.ID] = true
		if s.Demand() >= session.Hard && starter.ID != "openers" && !strings.Contains(strings.Join(s.Cautions, " "), "health screening") {
			t.Errorf("%s is %s and does not ask for a health screening", starter.ID, s.Demand())
		}
		for i, v := range views {
			scaled, _, err := session.Scale(s, v)
			if err != nil || scaled.LowestBalance < -0.01 || scaled.PlanS < 20*60 || scaled.PlanS > 3*3600 {
				t.Errorf("%s for rider %d: %v, lowest balance %.2f, %.0f min", starter.ID, i, err, scaled.LowestBalance, scaled.PlanS/60)
			}
		}
	}
	for _, want := range []string{"easy-baseline", "endurance-short", "endurance-long", "tempo", "threshold-twice", "severe-even", "severe-to-the-bottom", "severe-short",
		"sprints", "openers", "easy-spin", "first-group-ride", "test-20-min", "test-8-min", "test-ramp", "test-half-hour", "test-talk", "test-hour"} {
		if _, ok := session.Find(want); !ok {
			t.Errorf("there is no %s", want)
		}
	}
	if _, ok := session.Find("nothing"); ok {
		t.Error("found what is not there")
	}
}

// The protocols keep the facts of capacity: what is computed from a test is
// what its session says.
func TestFieldTestsAgreeWithCapacity(t *testing.T) {
	for id, want := range map[string][]string{
		"test-20-min": {"95 % of it", "test 20 min all out"}, "test-8-min": {"90 % of it", "test 8 min all out"}, "test-ramp": {"75 % of the best minute", "test until you cannot go on"},
		"test-half-hour": {"86 %", "test 30 min at exertion 15"}, "test-hour": {"test 1 h all out"},
	} {
		starter, _ := session.Find(id)
		for _, w := range want {
			if !strings.Contains(starter.Text, w) {
				t.Errorf("%s does not say %q", id, w)
			}
		}
	}
	if capacity.Threshold20Min(100) != 95 || capacity.Threshold8Min(100) != 90 || capacity.ThresholdBestMinute(100) != 75 {
		t.Error("the factors of capacity are no longer those of the sessions")
	}
	if r := capacity.ReadThreshold("submaximal half hour"); r.Factor < 1/0.861 || r.Factor > 1/0.859 {
		t.Error("the half hour is no longer 86 %")
	}
}

func TestAllowed(t *testing.T) {
	passed := capacity.Screened{Passed: true}
	open := capacity.Screening{}.Outcome() // nothing answered
	ill := capacity.Screening{Ill: capacity.Yes}.Outcome()
	for id, want := range map[string][3]bool{ // passed, not answered, ill
		"easy-baseline": {true, true, true}, "endurance-long": {true, true, true}, "easy-spin": {true, true, true}, "test-easy-heart-rate": {true, true, true},
		"tempo": {true, true, false}, "first-group-ride": {true, true, false}, "test-half-hour": {true, true, false}, "test-talk": {true, true, false},
		"threshold-twice": {true, false, false}, "severe-short": {true, false, false}, "openers": {true, false, false},
		"sprints": {true, false, false}, "test-20-min": {true, false, false}, "test-ramp": {true, false, false}, "severe-to-the-bottom": {true, false, false},
	} {
		starter, _ := session.Find(id)
		demand := starter.Session().Demand()
		for i, screened := range []capacity.Screened{passed, open, ill} {
			ok, why := session.Allowed(demand, screened)
			if ok != want[i] || ok != (why == "") {
				t.Errorf("%s (%s), screening %d: %v %q", id, demand, i, ok, why)
			}
		}
	}
}

// Watts mean nothing before they are scaled; afterwards they are judged by
// what they are for this rider, on this brake.
func TestDemandOfWatts(t *testing.T) {
	s, err := session.Parse("ride 5 min at 200 W\neasy 5 min")
	if err != nil {
		t.Fatal(err)
	}
	if s.Demand() != session.Hard {
		t.Errorf("watts without a rider: %s", s.Demand())
	}
	for threshold, want := range map[float64]session.Demand{100: session.Hard, 220: session.Firm, 300: session.Light} {
		v := session.View{ThresholdW: threshold, CriticalPowerW: threshold, WPrimeJ: 30000, MaxPowerW: 900}
		out, _, err := session.Scale(s, v)
		if err != nil || out.Demand(v) != want {
			t.Errorf("200 W for a threshold of %g W: %s, %v", threshold, out.Demand(v), err)
		}
	}
	v := session.View{ThresholdW: 220, CriticalPowerW: 220, WPrimeJ: 15000, MaxPowerW: 900, HoldsPower: true, FloorW: 215}
	if out, _, _ := session.Scale(s, v); out.Demand(v) != session.Hard {
		t.Errorf("a brake that makes everything hard: %s", out.Demand(v))
	}
}

func TestTogether(t *testing.T) {
	s, err := session.Parse(`warm up 5 min from 50 to 70 % of threshold
twice:
  ride until 50 % is left, at least 1 min, at most 4 min, at 120 % of critical power
  easy 2 min
end
ride 2 km at 90 % of threshold
test until you cannot go on, at most 20 min, from 50 to 200 % of threshold`)
	if err != nil {
		t.Fatal(err)
	}
	views := []session.View{
		{ThresholdW: 150, CriticalPowerW: 155, WPrimeJ: 14000, MaxPowerW: 600, NoWatts: true},
		{ThresholdW: 250, CriticalPowerW: 255, WPrimeJ: 15000, MaxPowerW: 900, HoldsPower: true, CeilingW: 290},
		{ThresholdW: 350, CriticalPowerW: 360, WPrimeJ: 22000, MaxPowerW: 1200},
	}
	j, err := session.Together(s, views)
	if err != nil {
		t.Fatal(err)
	}
	if len(j.Rows) != 7 || len(j.Riders) != 3 || len(j.Notes) != 3 {
		t.Fatalf("%d rows, %d riders, notes %q", len(j.Rows), len(j.Riders), j.Notes)
	}
	for i, row := range j.Rows {
		longest := 0.0
		for k, l := range row.Riders {
			longest = max(longest, l.PlanS)
			if last := i == len(j.Rows)-1; !last && l.PlanS != row.CommonS {
				t.Errorf("row %d: rider %d is done after %g of %g s", i, k, l.PlanS, row.CommonS)
			}
		}
		if longest != row.CommonS {
			t.Errorf("row %d lasts %g s, the longest rider %g", i, row.CommonS, longest)
		}
		if i > 0 && row.StartS != j.Rows[i-1].StartS+j.Rows[i-1].CommonS {
			t.Errorf("row %d begins at %g", i, row.StartS)
		}
	}
	hard := j.Rows[1]
	if hard.Riders[0].AimW != 186 || hard.Riders[1].AimW != 306 || hard.Riders[2].AimW != 432 || hard.Riders[1].HeldW != 290 || hard.Riders[0].Lead != session.ByFeel {
		t.Errorf("the hard row: %+v", hard.Riders)
	}
	if s.Blocks[1].Blocks[0].Stage.End.Kind != session.AtBalance {
		t.Error("the session given was changed")
	}
	if j.Rows[1].CommonS < 60 || j.Rows[1].CommonS > 240 || j.Session.Check() != nil {
		t.Errorf("common time %g s", j.Rows[1].CommonS)
	}
	if !strings.Contains(strings.Join(j.Notes, "\n"), "“ride 2 km at 90 % of threshold” would end for each rider at another moment: together it lasts") {
		t.Errorf("notes %q", j.Notes)
	}
	var alone []float64 // of the hard stage, both turns of three riders
	for _, v := range views {
		one, _, err := session.Scale(s, v)
		if err != nil {
			t.Fatal(err)
		}
		alone = append(alone, one.Legs[1].PlanS, one.Legs[3].PlanS)
	}
	slices.Sort(alone)
	if median := (alone[2] + alone[3]) / 2; math.Abs(j.Rows[1].CommonS-median) > 2.5 || alone[0] > median-5 {
		t.Errorf("together %g s, alone %v", j.Rows[1].CommonS, alone)
	}
	if _, err := session.Together(s, nil); err == nil {
		t.Error("a group of nobody")
	}
	if _, err := session.Together(s, []session.View{views[0], {}}); err == nil || !strings.Contains(err.Error(), "rider 2: ") {
		t.Errorf("an impossible rider: %v", err)
	}
}
