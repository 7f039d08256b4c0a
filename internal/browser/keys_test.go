package browser_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// hand has files chosen in the field of a name that has the focus: the system's
// own window, which does the choosing, is no part of the page.
func (b *tab) hand(name, filename, content string) {
	b.Helper()
	at := filepath.Join(b.TempDir(), filename)
	if err := os.WriteFile(at, []byte(content), 0o600); err != nil {
		b.Fatal(err)
	}
	if got := eval[string](b, `document.activeElement.name`); got != name {
		b.Errorf("%s: the focus is on %q, expected %s", b.path(), got, name)
	}
	b.do(chromedp.SetUploadFiles(`[name="`+name+`"]`, []string{at}))
}

// oneEvent is a calendar with a single event.
const oneEvent = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:1@club\r\nDTSTAMP:20260101T000000Z\r\nDTSTART:20311203T193000Z\r\nSUMMARY:Brook night\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

// What a person keeps and looks at, without a mouse: courses, evidence, health
// questions, rides and what they taught, a calendar, the archive, and deleting.
func TestKeepingThingsFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.send("Load the invented club")
	b.sketchAndChoose()
	b.tellOfARider()
	b.bringInARide()
	b.visit("/calendar")
	b.skip()
	b.tabTo("iCalendar or CSV file")
	b.hand("file", "club.ics", oneEvent)
	b.send("Keep this calendar")
	b.says("club.ics is kept: 1 events")
	b.saveEverything()
	b.visit("/riders/demo-regular")
	b.skip()
	b.send("Delete")
	b.says("no way back")
	b.send("Delete Bram Castelein")
	b.says("Ilse Verdonk")
	if b.visit("/riders"); strings.Contains(b.text(), "Bram") {
		t.Error("the rider is still there")
	}
}

// sketchAndChoose keeps a course from what a route list shows, and finds one
// by the time at hand.
func (b *tab) sketchAndChoose() {
	b.Helper()
	b.visit("/courses/new")
	b.skip()
	b.tabTo("Distance")
	b.keys("21 km")
	b.tabTo("Ascent")
	b.keys("180 m")
	b.enter()
	b.says("is kept")
	b.visit("/courses")
	b.skip()
	b.pick("Rider", "Ilse")
	b.pick("Time at hand", "1 h")
	b.until("courses for this rider", `location.search.includes("rider=demo-racer") && !document.querySelector("[aria-busy]")`, 20*time.Second)
	b.send("distance")
	b.send("Two Mills")
	b.says("Make a brief for it")
}

// tellOfARider adds a piece of evidence and answers a health question.
func (b *tab) tellOfARider() {
	b.Helper()
	b.visit("/riders/demo-racer")
	b.skip()
	b.send("Add something you know")
	b.skip()
	b.send("A threshold you were told")
	b.skip()
	b.tabTo("Watts")
	b.keys("251")
	b.enter()
	b.says("251 W")
	b.skip()
	const health = `document.querySelector("[aria-labelledby=h-health]").innerText`
	was := eval[string](b, health)
	b.send("Answer them again")
	b.skip()
	b.take("Yes")
	b.send("Keep the answers")
	b.says("Kept: Ilse Verdonk.")
	if is := eval[string](b, health); is == was {
		b.Errorf("pain in the chest changes nothing: %s", is)
	}
}

// bringInARide imports a recording, opens it from the list and answers what is
// asked of it.
func (b *tab) bringInARide() {
	b.Helper()
	b.visit("/import")
	b.skip()
	b.pick("Whose are they?", "Ilse")
	b.pick("Those ridden indoors", "Ilse")
	b.tabTo("Files")
	b.hand("files", "ride.csv", rideTable(2, 300))
	b.send("Bring them in")
	b.until("the end of the import", `document.querySelector("h1")?.textContent === "Rides are in"`, 60*time.Second)
	b.skip()
	b.send("The rides")
	b.skip()
	b.reach("the ride", `!!e.closest(".kept")`)
	b.enter()
	b.says("Could you have gone harder?")
	b.skip()
	b.take("A little")
	b.send("Say so")
	b.says("Kept. What you can do is reckoned with it from now on.")
}

// saveEverything takes the archive out.
func (b *tab) saveEverything() {
	b.Helper()
	came := make(chan string, 1)
	if err := chromedp.Listen(b.ctx, func(event any) {
		if e, ok := event.(*network.EventResponseReceived); ok && strings.HasSuffix(e.Response.URL, "/settings/export") {
			select {
			case came <- e.Response.MimeType:
			default:
			}
		}
	}); err != nil {
		b.Fatal(err)
	}
	b.visit("/settings")
	b.skip()
	b.tabTo("Save everything")
	b.keys("\r")
	select {
	case kind := <-came:
		if kind != "application/zip" {
			b.Errorf("the archive comes as %s", kind)
		}
	case <-time.After(20 * time.Second):
		b.Error("the archive does not come")
	}
}

// What is done on the day, without a mouse: the field for a race, a start list,
// a ride begun, paused and ended, and a check begun and ended.
func TestTheDayFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.send("Load the invented club")
	b.visit("/events/demo-hill-race/fields")
	b.skip()
	for _, who := range []string{"Aoife Tallon", "Bram Castelein"} {
		b.tabTo(who)
		b.keys(" ")
	}
	b.send("Simulate their races")
	b.until("the field", `document.querySelectorAll(".fieldlist tbody tr").length === 1`, 2*time.Minute)
	b.skip()
	b.send("Ilse Verdonk")
	b.until("the field advised", `document.querySelector(".advised")`, 20*time.Second)
	b.visit("/starts/new")
	b.skip()
	b.tabTo("What the list is called")
	b.keys("Brook handicap")
	b.tabTo("Aoife Tallon")
	b.keys(" ")
	b.send("Make the start list")
	b.until("the start list", `document.querySelectorAll(".bunchlist tbody tr").length === 2`, 2*time.Minute)
	b.says("Brook handicap")
	b.rideByKey()
	b.checkByKey()
}

func (b *tab) rideByKey() {
	b.Helper()
	b.visit("/ride")
	b.skip()
	b.pick("Who rides?", "Ilse")
	b.pick("On what?", "Ilse")
	b.pick("Which session?", "Easy spin")
	b.send("Connect")
	b.until("the rider to pedal", riding, 20*time.Second)
	b.tabTo("Pause")
	b.keys("\r")
	b.until("a pause", `document.querySelector("[data-ride]").dataset.stage === "paused"`, 5*time.Second)
	b.tabTo("Go on")
	b.keys(" ")
	b.until("the ride to go on", riding, 5*time.Second)
	b.tabTo("Next")
	b.keys("\r")
	b.endByKey()
	b.tabTo("FIT activity")
}

func (b *tab) checkByKey() {
	b.Helper()
	b.visit("/check?rider=demo-racer&rig=demo-racer-rig")
	b.skip()
	b.take("A simulated rig To")
	b.send("Go on")
	b.until("the check to begin", `document.querySelector("[data-check]")?.dataset.stage === "riding"`, 20*time.Second)
	b.tabTo("This step is done")
	b.keys("\r")
	b.send("End the check")
	b.skip()
	b.send("End")
	b.says("Check of Ilse's cool room")
}
