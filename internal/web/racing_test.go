package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/service"
	"chainline/internal/store"
)

const (
	flatRace   = "name: Flat race\nstart: 2031-12-02T19:30\ntime_zone: Europe/Dublin\nkind: mass\ncategories:\n  - {name: brook, max_w_per_kg: 2.6, over_s: 1200}\n  - {name: falls, min_w_per_kg: 2.6, over_s: 1200}\n"
	shortLoop  = "name: Short loop\ndistance_km: 3\nascent_m: 10\n"
	crankRig   = "trainer: {kind: controllable}\npower_source: {name: crank, kind: crank, accuracy_percent: 1.5}\n"
	youngRider = "mass_kg: 52\nbirth_year: 2016\nlevel: club\nevidence:\n  - {kind: test, duration_s: 1200, watts: 120, date: 2026-11-20, source: crank, where: indoor}\n"
)

func racer(level, watts string) string {
	return "mass_kg: 70\nbirth_year: 1990\nlevel: " + level + "\nevidence:\n  - {kind: test, duration_s: 1200, watts: " + watts + ", date: 2026-11-20, source: crank, where: indoor}\n"
}

// racingSite keeps three riders, a rig, a course and an event.
func racingSite(t *testing.T) (v *site, db *store.Store) {
	t.Helper()
	return rigSite(t, store.Object{ID: "ann", Kind: store.Rider, Name: "Ann Moss", Text: racer("club", "170")}, store.Object{ID: "bo", Kind: store.Rider, Name: "Bo Reed", Text: racer("new", "150")},
		store.Object{ID: "cy", Kind: store.Rider, Name: "Cy Young", Text: youngRider}, store.Object{ID: "trainer-rig", Kind: store.Rig, Name: "Attic", Text: "trainer: {kind: fluid}\n"},
		store.Object{ID: "crank-rig", Kind: store.Rig, Name: "Cellar", Text: crankRig}, store.Object{ID: "loop", Kind: store.Course, Name: "Short loop", Text: shortLoop}, store.Object{ID: "race", Kind: store.Event, Name: "Flat race", Text: flatRace})
}

// worked goes where work leads, as a browser does.
func (v *site) worked(t *testing.T, path string, form map[string]string) (at, body string) {
	t.Helper()
	status, h, body := v.sendRig(t, path, form)
	at = path
	for range 300 {
		switch {
		case status == http.StatusSeeOther:
			at = h.Get("Location")
		case strings.HasPrefix(at, "/working/") && status == http.StatusOK && h.Get("Refresh") != "":
			wantIn(t, body, "so far")
		default:
			return at, body
		}
		status, h, body = v.ask(t, "GET", at, "", nil)
	}
	t.Fatalf("%s never ends", path)
	return at, body
}

func TestFieldsAreKeptUntilSomethingChanges(t *testing.T) {
	v, db := racingSite(t)
	_, _, body := v.ask(t, "GET", "/events/race/fields", "", nil)
	wantIn(t, body, "Who rides in which field? Flat race", `name="rides.ann"`, "Simulate their races")
	for name, form := range map[string]map[string]string{"nobody": {"course": "loop"}, "no course": {"rides.ann": "yes", "rig.ann": "crank-rig"}, "no rig": {"rides.ann": "yes", "course": "loop"}, "gone": {"rides.ann": "yes", "rig.ann": "crank-rig", "course": "bo"}} {
		if status, _, body := v.sendRig(t, "/events/race/fields", form); status != 422 || !strings.Contains(body, "another look") {
			t.Errorf("%s: %d", name, status)
		}
	}
	form := map[string]string{"course": "loop", "rides.ann": "yes", "rig.ann": "crank-rig", "rides.bo": "yes", "rig.bo": "crank-rig", "rides.cy": "yes", "rig.cy": "crank-rig"}
	at, body := v.worked(t, "/events/race/fields", form)
	if at != "/events/race/fields" {
		t.Fatalf("it leads to %s\n%s", at, body)
	}
	wantIn(t, body, "3 riders in", "Ann Moss", "New to races", "Never checked against a real race.", `href="/events/race/fields/bo"`, "W/kg of others are not shown")
	if strings.Contains(body, "W/kg,") || strings.Contains(body, "simulate again") {
		t.Errorf("%s", body)
	}
	kept, err := db.Forecasts(t.Context(), "race")
	if err != nil || len(kept) != 3 {
		t.Fatalf("%d, %v", len(kept), err)
	}
	v.worked(t, "/events/race/fields", form) // nothing has changed
	if again, _ := db.Forecasts(t.Context(), "race"); !again[0].Made.Equal(kept[0].Made) {
		t.Error("it was simulated again although nothing had changed")
	}
	_, _, body = v.ask(t, "GET", "/events/race/fields/ann", "", nil)
	wantIn(t, body, "Enter", "falls", "W/kg", "% sure by the watts of crank", "The picture in numbers", "still being with the front group", "First five minutes", "The race on one sheet")
	_, _, body = v.ask(t, "GET", "/events/race/fields/cy", "", nil)
	if _, after, _ := strings.Cut(body, "Enter"); strings.Contains(strings.ReplaceAll(after, "2.6 W/kg over 20 min", ""), "W/kg") {
		t.Errorf("a minor is shown W/kg:\n%s", after)
	}
	o, _ := db.Object(t.Context(), "ann")
	o.Text = racer("club", "175")
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	_, _, body = v.ask(t, "GET", "/events/race/fields", "", nil)
	if n := strings.Count(body, "simulate again"); n != 1 {
		t.Errorf("%d are said to have changed", n)
	}
	if err := db.Delete(t.Context(), "bo"); err != nil {
		t.Fatal(err)
	}
	if left, _ := db.Forecasts(t.Context(), "race"); len(left) != 2 {
		t.Errorf("%d forecasts are left", len(left))
	}
}

func TestTheRaceOnOneSheetIsByTheRidersClock(t *testing.T) {
	v, _ := racingSite(t)
	if status, h, _ := v.ask(t, "GET", "/events/race/fields/ann/sheet", "", nil); status != 303 || h.Get("Location") != "/events/race/fields/ann" {
		t.Errorf("before the races: %d %v", status, h)
	}
	if at, body := v.worked(t, "/events/race/fields/ann", map[string]string{"course": "loop", "rig": "crank-rig"}); at != "/events/race/fields/ann" {
		t.Fatalf("%s\n%s", at, body)
	}
	for zone, want := range map[string][]string{"dublin": {"Europe/Dublin", "19:30"}, "Europe/Zurich": {"Europe/Zurich", "20:30"}, "America/New_York": {"14:30"}} {
		_, _, body := v.ask(t, "GET", "/events/race/fields/ann/sheet?zone="+zone, "", nil)
		wantIn(t, body, append(want, "The gun is at", "If you are dropped", "Before the gun", "Closing a gap")...)
	}
	if status, _, body := v.ask(t, "GET", "/events/race/fields/ann/sheet?zone=Home", "", nil); status != 422 || !strings.Contains(body, "is no time zone") {
		t.Errorf("%d", status)
	}
	_, h, card := v.ask(t, "GET", "/events/race/fields/ann/card", "", nil)
	if n := strings.Count(card, "<li>"); n < 2 || n > 7 || !strings.Contains(h.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("%d lines, %v", n, h)
	}
	wantIn(t, card, "start", "dropped", "wait for wheels")
}

func TestWhatIsNoBunchRaceSaysSo(t *testing.T) {
	v, db := racingSite(t)
	for kind, want := range map[string]string{"time-trial": "ridden alone", "handicap": "slower riders start first", "group": "has no fields"} {
		o, err := db.Put(t.Context(), store.Object{Kind: store.Event, Name: "Another", Text: "kind: " + kind + "\n"})
		if err != nil {
			t.Fatal(err)
		}
		_, _, body := v.ask(t, "GET", "/events/"+o.ID+"/fields", "", nil)
		wantIn(t, body, want)
		if status, h, _ := v.ask(t, "GET", "/events/"+o.ID+"/fields/ann", "", nil); status != 303 || h.Get("Location") != "/events/"+o.ID+"/fields" {
			t.Errorf("%s: %d %v", kind, status, h)
		}
	}
	for _, path := range []string{"/events/ann/fields", "/events/race/fields/race", "/events/race/fields/nobody", "/starts/none", "/starts/none/csv", "/working/none"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("%s: %d", path, status)
		}
	}
	_, _, body := v.ask(t, "GET", "/races", "", nil)
	wantIn(t, body, "Flat race", `href="/events/race/fields"`, `href="/calendar"`, `href="/starts"`, `href="/riding-together"`)
}

// Who may not ride hard is left out with a sentence, and the others are raced.
func TestWhoMayNotRaceIsSaid(t *testing.T) {
	v, db := racingSite(t)
	o, _ := db.Object(t.Context(), "bo")
	o.Text = "level: new\n"
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	_, body := v.worked(t, "/events/race/fields", map[string]string{"course": "loop", "rides.ann": "yes", "rig.ann": "crank-rig", "rides.bo": "yes", "rig.bo": "crank-rig"})
	wantIn(t, body, "Could not be raced", "Bo Reed: ", "mass_kg: missing", "1 rider in one field")
}

// Races of forty others take a while; whoever stops them gets what is done.
func TestRacesCanBeStopped(t *testing.T) {
	v, db := racingSite(t)
	if _, err := db.Put(t.Context(), store.Object{ID: "long", Kind: store.Course, Name: "Long", Text: "distance_km: 60\nascent_m: 600\n"}); err != nil {
		t.Fatal(err)
	}
	status, h, _ := v.sendRig(t, "/events/race/fields", map[string]string{"course": "long", "rides.ann": "yes", "rig.ann": "crank-rig"})
	at := h.Get("Location")
	if status != 303 || !strings.HasPrefix(at, "/working/") {
		t.Fatalf("%d %s", status, at)
	}
	if _, h, _ := v.sendRig(t, "/events/race/fields", map[string]string{"course": "loop", "rides.ann": "yes", "rig.ann": "crank-rig"}); h.Get("Location") != "/events/race/fields" {
		t.Errorf("a second one about the same leads to %s", h.Get("Location"))
	}
	_, _, body := v.ask(t, "GET", "/events/race/fields", "", nil)
	wantIn(t, body, "Watch it")
	if status, h, _ := v.sendRig(t, at+"/stop", nil); status != 303 || h.Get("Location") != "/events/race/fields" {
		t.Errorf("%d %v", status, h)
	}
	end := time.Now().Add(20 * time.Second)
	for strings.Contains(body, "Watch it") && time.Now().Before(end) {
		_, _, body = v.ask(t, "GET", "/events/race/fields", "", nil)
	}
	if kept, _ := db.Forecasts(t.Context(), "race"); len(kept) != 0 || strings.Contains(body, "Watch it") {
		t.Errorf("%d kept after it was stopped", len(kept))
	}
}

// A result list teaches the next forecast on its course, and only that.
func TestResultsTeachTheNextForecast(t *testing.T) {
	v, db := racingSite(t)
	form := map[string]string{"course": "loop", "rides.ann": "yes", "rig.ann": "crank-rig"}
	v.worked(t, "/events/race/fields", form)
	list := "name,category,time\nAnn Moss,falls,5:30\nSam Secret,falls,5:31\nB,falls,5:33\nC,falls,5:35\nD,falls,5:40\nE,falls,5:52\n"
	if status, _, body := v.sendTo(t, "/events/race/results", "race.csv", list, map[string]string{"me": "Ann Moss", "course": "loop"}); status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	_, _, body := v.ask(t, "GET", "/events/race/results", "", nil)
	wantIn(t, body, "You came 1st of 6", "The next forecast on Short loop draws its fields from these times.", "cannot be told from a list")
	if strings.Contains(body, "Sam Secret") {
		t.Error("the name of another is kept")
	}
	_, _, body = v.ask(t, "GET", "/events/race/fields", "", nil)
	wantIn(t, body, "simulate again")
	_, body = v.worked(t, "/events/race/fields", form)
	wantIn(t, body, "learnt from 6 results")
	kept, err := db.Forecasts(t.Context(), "race")
	if err != nil {
		t.Fatal(err)
	}
	var sheet service.RaceSheet
	if err := json.Unmarshal(kept[0].Sheet, &sheet); err != nil {
		t.Fatal(err)
	}
	for _, c := range sheet.Categories {
		if (c.Learnt == 6) != (c.Name == "falls") {
			t.Errorf("%s learnt from %d", c.Name, c.Learnt)
		}
	}
}
