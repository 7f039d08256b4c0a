package browser_test

import "testing"

// From an empty folder to a brief and its sheet, as somebody who has never
// seen it: with a plain trainer and no number but a mass that everybody knows, a
// hill by the watch, and a course in a file.
func TestFirstUseToFirstBrief(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/")
	b.says("Four short steps to your first brief")
	b.press("Add yourself")
	b.fill("mass_kg", "much")
	b.press("Keep this rider")
	b.says("needs another look")
	b.fill("mass_kg", "150 lb")
	b.press("Keep this rider")
	b.says("Critical power")
	b.sound()
	b.press("Add something you know")
	b.press("The time up a hill you know")
	b.fill("evidence.0.duration_s", "11:10")
	b.fill("evidence.0.length_m", "1900")
	b.fill("evidence.0.ascent_m", "95")
	b.press("Keep this")
	b.says("A hill of 1.9 km and 95 m up")
	b.press("Answer the health questions")
	b.choose("screening.ill_now", "yes")
	b.press("Keep the answers")
	b.says("You are ill: rest until you are well")

	b.visit("/rigs/new")
	b.press("Go on with this")
	b.fill("called", "Spare room")
	b.press("Keep this rig")
	b.visit("/courses/new")
	b.upload("file", "mill-loop.csv", "distance_m,elevation_m\n0,20\n3000,20\n5000,110\n9000,25\n")
	b.press("Keep this course")
	b.visit("/briefs/new")
	b.press("Make the brief")
	b.says("most likely")
	b.says("Only easy riding for now")
	b.sound()
	b.innocent()
}
