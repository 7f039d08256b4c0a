package browser_test

import (
	"strings"
	"testing"
)

// Somebody who looks around first: the invented club, a brief for one of it,
// the brief moving while one types, and the club gone again.
func TestDemoClubToABriefThatMoves(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/")
	b.says("Four short steps to your first brief")
	b.press("Load the invented club")
	b.says("The invented club is here")
	b.visit("/briefs/new")
	b.choose("rider", "demo-racer")
	b.choose("rig", "demo-racer-rig")
	b.choose("course", "demo-two-mills")
	b.choose("event", "demo-hill-race")
	b.press("Make the brief")
	b.says("Ride it like this")
	b.sound()
	at := b.path()
	eval[bool](b, `(document.querySelector("details.change").open = true)`)
	b.fill("temperature", "30")
	b.says("What moves")
	b.says("The room at the end")
	if focus := eval[string](b, `document.activeElement.name || ""`); focus != "" && focus != "temperature" {
		t.Errorf("the focus went to %q", focus)
	}
	b.fill("fans", "one whale")
	b.says("is not known here")
	b.fill("fans", "no fan")
	b.says("Power on average")
	b.press("Keep this as another brief")
	b.says("Ride it like this")
	if next := b.path(); next == at || !strings.HasPrefix(next, "/briefs/") {
		t.Errorf("the changed brief is at %s", next)
	}
	b.visit("/")
	b.says("Read its brief")
	b.fits()
	b.visit("/settings")
	b.press("Remove the invented club")
	b.says("The invented club is gone")
	b.visit("/briefs")
	b.says("There is no brief yet.")
}
