package browser_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// A change that takes long says so, is gone on with by itself, and stops when
// one asks it to, with the keyboard too.
func TestChangeThatTakesLong(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/riders/new")
	b.fill("mass_kg", "70")
	b.press("Keep this rider")
	b.visit("/rigs/new/details")
	b.fill("called", "Shed")
	b.press("Keep this rig")
	var course strings.Builder
	course.WriteString("distance_m,elevation_m\n")
	for i := range 150 {
		fmt.Fprintf(&course, "%d,%d\n", 500*i, 100+i%9*12)
	}
	b.visit("/courses/new")
	b.upload("file", "long.csv", course.String())
	b.press("Keep this course")
	b.visit("/briefs/new")
	b.press("Make the brief")
	b.says("most likely")
	at := b.path()
	b.visit(at + "?temperature=31")
	b.says("The change is being reckoned")
	b.says("What moves") // by itself
	eval[bool](b, `(document.querySelector("details.change").open = true)`)
	b.fill("temperature", "33")
	b.says("The change is being reckoned")
	b.tabTo("Stop it")
	b.enter()
	b.says("Stopped. The brief is as it was.")
	if b.path() != at {
		t.Errorf("stopping leads to %s, expected %s", b.path(), at)
	}
}

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

// Who prints a brief from its page in the app gets the sheet, not the page.
func TestBriefInTheAppPrintsOnOneSheet(t *testing.T) {
	t.Parallel()
	oneSheet(t, "brief", "brief-stays")
}

// Fifty cues by feel and all that a long ride asks for still print on one
// sheet, from the page in the app and from the sheet by itself.
func TestLongCoursePrintsOnOneSheet(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/riders/new")
	b.fill("mass_kg", "81")
	b.choose("level", "new")
	b.press("Keep this rider")
	b.visit("/rigs/new/details")
	b.press("Keep this rig")
	b.says("Kept: My rig.")
	table := "distance_m,elevation_m\n"
	for m := 0.0; m <= 58000; m += 20 {
		table += fmt.Sprintf("%.0f,%.1f\n", m, 300+220*math.Sin(m/6000)+40*math.Sin(m/900))
	}
	b.visit("/courses/new")
	b.upload("file", "long way.csv", table)
	b.press("Keep this course")
	b.press("Make the brief")
	b.press("Make the brief")
	b.says("most likely")
	if n := eval[int](b, `document.querySelectorAll(".cues tbody tr").length`); n < 41 {
		t.Errorf("%d cues are too few to try the sheet", n)
	}
	if n := b.sheets(); n != 1 {
		t.Errorf("from its page it prints on %d sheets", n)
	}
	b.press("The sheet to print")
	b.says("most likely")
	if n := b.sheets(); n != 1 {
		t.Errorf("by itself it prints on %d sheets", n)
	}
}
