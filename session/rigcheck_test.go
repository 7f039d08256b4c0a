package session_test

import (
	"math"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/session"
)

// The check can be read and is easy, or firm for half a minute at a time, for
// three different riders however it is led; its parts are all there and in
// order. The gentle one is easy throughout.
func TestRigCheck(t *testing.T) {
	for name, wish := range map[string]session.RigCheckWish{
		"watts": {}, "gentle": {Gentle: true}, "feel": {Lead: session.CheckByFeel},
		"speed": {Lead: session.CheckBySpeed, ThresholdW: 200, WheelMS: func(w float64) float64 { return 30 / 3.6 * math.Sqrt(w/200) }},
	} {
		s, err := session.Parse(session.RigCheck(wish))
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, session.RigCheck(wish))
		}
		if !session.IsRigCheck(s) {
			t.Errorf("%s is not known again", name)
		}
		for _, threshold := range []float64{120, 240, 380} {
			v := session.View{ThresholdW: threshold, CriticalPowerW: threshold, WPrimeJ: 15000, MaxPowerW: 4 * threshold}
			scaled, _, err := session.Scale(s, v)
			if err != nil {
				t.Fatal(err)
			}
			if d := scaled.Demand(v); d > session.Firm || d > session.Light && name != "watts" {
				t.Errorf("%s for %g W is %s", name, threshold, d)
			}
			if scaled.PlanS < 28*60 || scaled.PlanS > 35*60 {
				t.Errorf("%s takes %.1f min", name, scaled.PlanS/60)
			}
			coasts := 4 // a plain trainer's wheel runs down several times
			if strings.HasPrefix(name, "watts") || name == "gentle" {
				coasts = 1
			}
			got := strings.Join(session.CheckParts(scaled.Legs), ",")
			want := strings.Repeat("easy,", 20) + "zero,zero" + strings.Repeat(",steps", 18) + strings.Repeat(",cadences", 4) + strings.Repeat(",,coast-down", coasts) + ",quiet rest,"
			if got != want {
				t.Errorf("%s: %s", name, got)
			}
		}
	}
}

// Watts are named in no step of a rig that shows none, and its words say what
// to look at instead.
func TestRigCheckBySpeed(t *testing.T) {
	text := session.RigCheck(session.RigCheckWish{Lead: session.CheckBySpeed, ThresholdW: 200, WheelMS: func(w float64) float64 { return w / 20 }})
	if !strings.Contains(text, "near 27 km/h") || strings.Contains(text, "% of threshold") { // 150 W are 7.5 m/s
		t.Error(text)
	}
}

// The sprint makes the check maximal, which only those may ride who passed the
// health questions.
func TestRigCheckSprint(t *testing.T) {
	s, err := session.Parse(session.RigCheck(session.RigCheckWish{Sprint: true}))
	if err != nil {
		t.Fatal(err)
	}
	if s.Demand() != session.Maximal {
		t.Errorf("with its sprint it is %s", s.Demand())
	}
	for i, want := range []bool{true, false, false} {
		screened := []capacity.Screened{{Passed: true}, {}, {EasyOnly: true}}[i]
		if ok, _ := session.SprintAllowed(screened); ok != want {
			t.Errorf("%+v: %v", screened, ok)
		}
	}
}
