package browser_test

import (
	"context"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

const ownGPX = "../../demo/harbour-ridge.gpx"

// send tabs to something and presses return on it.
func (b *tab) send(name string) {
	b.Helper()
	b.tabTo(name)
	b.enter()
}

// The whole way from an empty folder to a sheet that can be printed, for an
// own GPX file, with the keyboard alone. Only the choice of the file in the
// system's own window is done for the person.
func TestFirstBriefFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/")
	b.send("Add yourself")
	b.tabTo("What do you weigh?")
	b.keys("10 st 8 lb")
	b.enter()
	b.says("Critical power")
	b.send("Add something you know")
	b.send("The time up a hill you know")
	b.tabTo("How long did it t")
	b.keys("11:10")
	b.tabTo("Length of the hill")
	b.keys("1900")
	b.tabTo("What it rises")
	b.keys("95")
	b.enter()
	b.says("A hill of 1.9 km and 95 m up")
	b.send("Add what you ride on")
	b.send("Go on with this")
	b.tabTo("Name")
	b.keys("Spare room")
	b.enter()
	b.says("Kept: Spare room.")
	b.send("Add a course")
	b.tabTo("GPX or CSV file")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.send("Keep this course")
	b.says("is kept")
	b.send("Make the brief")
	b.send("Make the brief")
	b.says("most likely")
	b.send("The sheet to print")
	b.says("most likely")
}

func own(t *testing.T) string {
	t.Helper()
	at, err := filepath.Abs(ownGPX)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// A GPX file of one's own, dropped onto the page or chosen.
func TestOwnGPX(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(ownGPX)
	if err != nil {
		t.Fatal(err)
	}
	b := open(t)
	b.visit("/courses/new")
	_, err = chromedp.RunResponse(b.ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const bytes = Uint8Array.from(atob(%q), c => c.charCodeAt(0));
		const data = new DataTransfer();
		data.items.add(new File([bytes], "my loop.gpx"));
		document.querySelector("form[data-drop]").dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
	})()`, base64.StdEncoding.EncodeToString(data))))
	if err != nil {
		t.Fatal(err)
	}
	b.says("is kept")
	b.says("24 km")
	b.sound()
	b.visit("/courses/new")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.fill("file_name", "Chosen")
	b.press("Keep this course")
	b.says("Chosen is kept")
	b.visit("/courses/new")
	b.upload("file", "broken.gpx", string(data[:len(data)/2]))
	b.press("Keep this course")
	b.says("needs another look")
	b.amiss("file", "broken.gpx")
}

// With scripts off every form still works, from the empty folder to a brief.
func TestFirstBriefWithoutScript(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	}))
	b.visit("/riders/new")
	b.fill("mass_kg", "70")
	b.press("Keep this rider")
	b.says("Critical power")
	b.visit("/rigs/new")
	b.press("Go on with this")
	b.fill("called", "Spare room")
	b.press("Keep this rig")
	b.visit("/courses/new")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.press("Keep this course")
	b.says("is kept")
	b.visit("/briefs/new")
	b.press("Make the brief")
	b.says("most likely")
}

// First use, timed: with nothing but what anybody knows, and well within three
// minutes of a person's time.
func TestFirstUseAsksForNothingUnknown(t *testing.T) {
	t.Parallel()
	b := open(t)
	began := time.Now()
	asked, steps := 0, 0
	needed := func() {
		b.Helper()
		steps++
		for _, label := range eval[[]string](b, `[...document.querySelectorAll("main input:not([type=hidden]):not([type=radio]):not([type=checkbox]):not([type=file]), main select, main textarea")].filter(e => e.offsetParent).map(e => e.labels && e.labels[0] ? e.labels[0].innerText.trim() : e.name)`) {
			asked++
			_ = label
		}
	}
	b.visit("/")
	b.press("Add yourself")
	needed()
	b.fill("mass_kg", "70")
	b.press("Keep this rider")
	b.visit("/rigs/new")
	needed()
	b.press("Go on with this") // a plain trainer, nothing known
	needed()
	b.fill("called", "Garage")
	b.press("Keep this rig") // everything else is left empty
	b.says("Kept: Garage.")
	b.visit("/courses/new")
	needed()
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.press("Keep this course")
	b.visit("/briefs/new")
	needed()
	b.press("Make the brief")
	b.says("most likely")
	took := time.Since(began)
	t.Logf("%d pages, %d questions that are typed or chosen, two of them answered; %v", steps, asked, took)
	if took > time.Minute {
		t.Errorf("the program alone took %v of a person's three minutes", took)
	}
}

// What people do most, without a mouse: an event, a road, another weight for a
// brief that is there, and the units.
func TestEverydayFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/events/new")
	b.tabTo("What it is called")
	b.keys("Club night")
	b.enter()
	b.says("Club night is kept.")
	b.visit("/roads/new")
	b.tabTo("Name")
	b.keys("Rough lane")
	b.tabTo("Mass of the bike")
	b.keys("11")
	b.enter()
	b.says("Kept: Rough lane.")
	b.visit("/settings")
	b.tabTo("Kilometres")
	b.keys(kb.ArrowDown)
	b.enter()
	b.says("The units are changed.")
	b.visit("/roads")
	b.says("A bike of 24.3")
}
