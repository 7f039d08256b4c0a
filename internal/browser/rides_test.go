package browser_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// rideTable is half an hour with five harder minutes, some days ago.
func rideTable(daysAgo, hard int) string {
	var b strings.Builder
	b.WriteString("timestamp,power,heart_rate,cadence\n")
	begun := time.Now().UTC().AddDate(0, 0, -daysAgo)
	for s := range 1800 {
		w := 150 + s%7
		if s > 1200 && s <= 1500 {
			w = hard + s%5
		}
		fmt.Fprintf(&b, "%s,%d,%d,%d\n", begun.Add(time.Duration(s)*time.Second).Format(time.RFC3339), w, 130+s%4, 90+s%3)
	}
	return b.String()
}

// Several files dropped on the page, the import watched to its end, a ride
// opened and answered, and what came of it in the season.
func TestRidesInTheBrowser(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	b.visit("/import")
	b.choose("rider", "demo-racer")
	b.choose("rig", "demo-racer-rig")
	_, err := chromedp.RunResponse(b.ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const data = new DataTransfer();
		data.items.add(new File([%q], "first.csv"));
		data.items.add(new File([%q], "second.csv"));
		data.items.add(new File(["no ride"], "notes.fit"));
		document.querySelector("form[data-drop]").dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
	})()`, rideTable(40, 300), rideTable(2, 335))))
	if err != nil {
		t.Fatal(err)
	}
	b.until("the end of the import", `document.querySelector("h1")?.textContent === "Rides are in"`, 60*time.Second)
	b.says("2 new rides from 3 files, 1 refused")
	b.says("notes.fit")
	b.visit("/rides")
	b.sound()
	eval[bool](b, `document.querySelector(".kept a").click() || true`)
	b.until("the debrief", `document.querySelector(".debrief")`, 60*time.Second)
	b.says("What it taught")
	b.choose("harder", "no")
	b.press("Say so")
	b.says("Kept. What you can do is reckoned with it from now on.")
	b.sound()
	b.visit("/season/demo-racer")
	b.says("Most held")
	b.says("The next days")
	b.sound()
	b.visit("/coach")
	b.says("Who needs attention, and why.")
	b.sound()
}

// A debrief prints on one sheet, with and without a plan.
func TestDebriefPrintsOnOneSheet(t *testing.T) {
	t.Parallel()
	oneSheet(t, "debrief", "debrief-no-plan", "debrief-cleaned", "debrief-nobody")
}
