package browser_test

import "testing"

// The answers are said back while one gives them, and nothing but a name is
// needed for a rig.
func TestRigBySight(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/rigs")
	b.press("Add a rig")
	b.says("This is a plain trainer, and nothing is known to show watts.")
	b.choose("wheel", "rollers")
	b.says("These are rollers")
	b.choose("wheel", "off")
	b.choose("harder", "yes")
	b.choose("watts", "pedal")
	b.says("This is a trainer that holds watts by itself, with watts from the pedals.")
	b.says("What gets harder by itself is controllable.")
	b.press("Go on with this")
	b.says("with watts from the pedals")
	b.fits()
	b.fill("room.volume_m3", "large")
	b.press("Keep this rig")
	b.says("needs another look")
	b.fill("called", "Box room")
	b.fill("room.volume_m3", "4 x 3 x 2.5")
	b.choose("room.fans.0.kind", "pedestal")
	b.choose("room.fans.0.setting", "high")
	b.press("Keep this rig")
	b.says("Kept: Box room.")
	b.says("a pedestal fan on high")
	b.visit(eval[string](b, `document.querySelector("a[href$='/delete']").getAttribute("href")`))
	b.says("no way back")
	b.press("Delete Box room")
	b.says("There is no rig yet.")
}

func TestRigFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/rigs")
	b.tabTo("Add a rig")
	b.enter()
	b.says("Look at it and say what you see.")
	b.tabTo("Go on with this")
	b.enter()
	b.says("Nothing here is needed.")
	b.tabTo("Name")
	b.keys("Garage")
	b.keys("\r")
	b.says("Kept: Garage.")
}
