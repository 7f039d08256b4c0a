package checksim

import (
	"math"
	"testing"

	"chainline/estimate"
	"chainline/rig"
	"chainline/session"
)

// What is simulated is what the program asks for: the parts of the guided
// check of package session, in order, as long and as hard.
func TestProtocolIsTheGuidedCheck(t *testing.T) {
	const threshold = 200.0
	read, err := session.Parse(session.RigCheck(session.RigCheckWish{Lead: session.CheckByWatts, ThresholdW: threshold, Sprint: true}))
	if err != nil {
		t.Fatal(err)
	}
	scaled, _, err := session.Scale(read, session.View{ThresholdW: threshold, CriticalPowerW: threshold, WPrimeJ: 15000, MaxPowerW: 4 * threshold})
	if err != nil {
		t.Fatal(err)
	}
	legs := scaled.Legs
	var parts []part
	for i := range 50 { // the first of them who sprints
		if parts = protocol(rider{threshold: threshold, cadence: 88}, estimate.Stream(1, i)); sprints(parts) {
			break
		}
	}
	if len(legs) < len(parts) {
		t.Fatalf("the guided check has %d parts, the simulated one %d", len(legs), len(parts))
	}
	names := session.CheckParts(legs)
	for i, p := range parts {
		l := legs[i]
		if l.PlanS != p.to-p.from {
			t.Errorf("part %d (%s) lasts %g s, simulated %g s", i+1, l.Words, l.PlanS, p.to-p.from)
		}
		if names[i] != string(p.kind) {
			t.Errorf("part %d (%s) is %q, simulated %q", i+1, l.Words, names[i], p.kind)
		}
		if p.kind != rig.Sprint && p.kind != "" && math.Abs(l.AimW-p.watts) > 0.5 {
			t.Errorf("part %d (%s) asks %g W, simulated %g W", i+1, l.Words, l.AimW, p.watts)
		}
		if p.cadence > 0 && p.kind == rig.Cadences && l.CadenceLow != p.cadence {
			t.Errorf("part %d (%s) asks %g rpm, simulated %g rpm", i+1, l.Words, l.CadenceLow, p.cadence)
		}
	}
}

func sprints(parts []part) bool {
	for _, p := range parts {
		if p.kind == rig.Sprint {
			return true
		}
	}
	return false
}
