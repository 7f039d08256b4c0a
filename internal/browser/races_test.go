package browser_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"
)

// An invented club of eleven, two of them new to races.
var eleven = []struct {
	name, level string
	mass, watts int
}{{"Ada Moss", "club", 62, 128}, {"Bo Reed", "new", 80, 150}, {"Cas Hill", "club", 70, 172}, {"Dee Lake", "racer", 58, 196}, {"Evan Stone", "club", 76, 215}, {"Fia Marsh", "club", 64, 205},
	{"Gus Heath", "racer", 72, 265}, {"Hal Ford", "new", 85, 190}, {"Ivy Combe", "club", 60, 150}, {"Jon Weir", "racer", 68, 240}, {"Kit Thorn", "club", 74, 168}}

const elevenRace = "name: Brook road race\nstart: 2031-12-02T19:30\ntime_zone: Europe/Dublin\nkind: mass\ncategories:\n" +
	"  - {name: brook, max_w_per_kg: 2.3, over_s: 1200}\n  - {name: river, min_w_per_kg: 2.3, max_w_per_kg: 3, over_s: 1200}\n  - {name: falls, min_w_per_kg: 3, over_s: 1200}\n"

// keep makes an object through the API, as a club's own programs would.
func (b *tab) keep(kind, name, text string) string {
	b.Helper()
	body, err := json.Marshal(map[string]string{"name": name, "text": text})
	if err != nil {
		b.Fatal(err)
	}
	r, err := http.Post(b.base+"/api/v1/"+kind, "application/json", bytes.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusCreated {
		b.Fatalf("%s %s: %s", kind, name, r.Status)
	}
	at := r.Header.Get("Location")
	return at[strings.LastIndex(at, "/")+1:]
}

// A coach with eleven riders of mixed ability, two new, puts each into the
// right field and the right start bunch, with a reason for each.
func TestACoachPutsElevenIntoFieldsAndBunches(t *testing.T) {
	t.Parallel()
	b := open(t)
	for _, r := range eleven {
		b.keep("riders", r.name, fmt.Sprintf("name: %s\nmass_kg: %d\nbirth_year: 1990\nlevel: %s\nevidence:\n  - {kind: test, duration_s: 1200, watts: %d, date: 2031-11-20, source: crank, where: indoor}\n  - {kind: test, duration_s: 240, watts: %d, date: 2031-11-22, source: crank, where: indoor}\n",
			r.name, r.mass, r.level, r.watts, int(1.22*float64(r.watts))))
	}
	b.keep("rigs", "Club room", "trainer: {kind: controllable}\npower_source: {name: crank, kind: crank, accuracy_percent: 1.5}\n")
	b.keep("courses", "The brook", "name: The brook\ndistance_km: 6\nascent_m: 30\n")
	event := b.keep("events", "Brook road race", elevenRace)
	b.visit("/races")
	b.says("nobody's races were simulated yet")
	b.visit("/events/" + event + "/fields")
	b.press("Simulate their races")
	b.until("the fields", `document.querySelectorAll(".fieldlist tbody tr").length === 11`, 5*time.Minute)
	b.sound()
	type row struct{ Name, Field, Sure, Why string }
	rows := eval[[]row](b, `[...document.querySelectorAll(".fieldlist tbody tr")].map(r => ({Name: r.cells[0].innerText, Field: r.cells[1].querySelector("strong").innerText, Sure: r.cells[3].innerText, Why: r.cells[4].innerText}))`)
	of := map[string]row{}
	for _, r := range rows {
		name, _, _ := strings.Cut(r.Name, "\n")
		of[strings.TrimSpace(name)] = r
		if r.Field == "none" || r.Sure == "" || r.Why == "" || strings.Contains(r.Sure+r.Why, "W/kg") {
			t.Errorf("%+v", r)
		}
	}
	for name, want := range map[string]string{"Ada Moss": "brook", "Bo Reed": "brook", "Hal Ford": "brook", "Dee Lake": "falls", "Gus Heath": "falls", "Evan Stone": "river", "Ivy Combe": "river"} {
		if of[name].Field != want {
			t.Errorf("%s is sent to %q, expected %s: %s", name, of[name].Field, want, of[name].Why)
		}
	}
	for _, name := range []string{"Bo Reed", "Hal Ford"} {
		if !strings.Contains(of[name].Name, "new to races") || !strings.HasPrefix(of[name].Why, "New to races") {
			t.Errorf("%+v", of[name])
		}
	}
	if n := b.sheets(); n != 1 {
		t.Errorf("the fields print on %d sheets", n)
	}
	eval[bool](b, `document.querySelector(".fieldlist tbody a").click() || true`)
	b.until("one rider", `document.querySelector(".advised")`, 20*time.Second)
	b.sound()
	b.says("Never checked against a real race.")
	eval[bool](b, `document.querySelector(".advised .button").click() || true`)
	b.until("the sheet", `document.querySelector(".racesheet")`, 20*time.Second)
	b.says("If you are dropped")
	b.says("The gun is at")
	b.sound()
	b.refuses(badInRaces[0])
	if n := b.sheets(); n != 1 {
		t.Errorf("the race prints on %d sheets", n)
	}
	b.visit("/starts/new?event=" + event)
	b.press("Make the start list")
	b.until("the start list", `document.querySelectorAll(".bunchlist tbody tr").length === 11`, 3*time.Minute)
	b.sound()
	if n := b.sheets(); n != 1 {
		t.Errorf("the start list prints on %d sheets", n)
	}
	order := eval[string](b, `[...document.querySelectorAll(".bunchlist tbody tr")].map(r => r.cells[r.cells.length - 3].innerText).join()`)
	if limit, scratch := strings.Index(order, "Bo Reed"), strings.Index(order, "Gus Heath"); limit > scratch {
		t.Errorf("the strongest leaves before the newcomer: %s", order)
	}
	b.refuses(badInRaces[1])
	b.fill("arrive.0", "14:00")
	b.fill("arrive.1", "30:00")
	b.fill("arrive.2", "15:10")
	b.press("Make the list for next time")
	b.until("the list for next time", `document.querySelector(".changes")`, 3*time.Minute)
	b.says("capped")
	b.says("did not finish: unchanged")
	b.says("next time")
}

// The race on one sheet, with a clock and without, and the start list.
func TestRacesPrintOnOneSheet(t *testing.T) {
	t.Parallel()
	oneSheet(t, "race-sheet", "race-sheet-untimed", "start", "start-next", "racing")
}
