package web_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"chainline/internal/store"
)

func (v *site) raced(t *testing.T, riders ...string) {
	t.Helper()
	form := map[string]string{"course": "loop"}
	for _, r := range riders {
		form["rides."+r], form["rig."+r] = "yes", "crank-rig"
	}
	v.worked(t, "/events/race/fields", form)
}

func rewrite(t *testing.T, db *store.Store, id string, change func(text string) string) {
	t.Helper()
	o, err := db.Object(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	o.Text = change(o.Text)
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
}

// What was advised before the rider fell ill, or before it was known that they
// are under 18, is not shown any more, on no page.
func TestAKeptForecastIsWithheld(t *testing.T) {
	for what, x := range map[string]struct{ more, old, says string }{
		"ill":   {"screening: {date: 2026-11-25, ill_now: yes}\n", "", "No field is advised: by the health questions"},
		"young": {"birth_year: 2016\n", "birth_year: 1990\n", "the rider is under 18. Simulate again"},
	} {
		t.Run(what, func(t *testing.T) {
			v, db := racingSite(t)
			v.raced(t, "ann")
			rewrite(t, db, "ann", func(text string) string { return x.more + strings.Replace(text, x.old, "", 1) })
			for _, path := range []string{"/events/race/fields", "/events/race/fields/ann"} {
				_, _, body := v.ask(t, "GET", path, "", nil)
				wantIn(t, body, x.says)
				if path == "/events/race/fields" {
					wantIn(t, body, "0 riders in no field. For 1 no field is advised.")
				}
				if strings.Contains(body, "falls") || strings.Contains(body, "% sure") || strings.Contains(body, "/ann/sheet") {
					t.Errorf("%s still shows the forecast:\n%s", path, body)
				}
			}
			for _, path := range []string{"/sheet", "/card"} {
				if status, h, _ := v.ask(t, "GET", "/events/race/fields/ann"+path, "", nil); status != 303 || h.Get("Location") != "/events/race/fields/ann" {
					t.Errorf("%s: %d", path, status)
				}
			}
			v.raced(t, "ann")
			_, _, body := v.ask(t, "GET", "/events/race/fields/ann", "", nil)
			if shown := strings.Contains(body, "falls"); shown != (what == "young") || strings.Contains(body, "W/kg") {
				t.Errorf("simulated again:\n%s", body)
			}
		})
	}
}

// The sheet that is printed says as well that it rests on what has changed.
func TestTheSheetSaysWhenItIsStale(t *testing.T) {
	v, db := racingSite(t)
	v.raced(t, "ann", "bo")
	_, _, body := v.ask(t, "GET", "/events/race/fields/ann/sheet", "", nil)
	if strings.Contains(body, "has changed since") {
		t.Error("a fresh sheet is said to be stale")
	}
	rewrite(t, db, "ann", func(text string) string { return strings.Replace(text, "mass_kg: 70", "mass_kg: 71", 1) })
	_, _, body = v.ask(t, "GET", "/events/race/fields/ann/sheet", "", nil)
	wantIn(t, body, "Something this rests on has changed since")
	rewrite(t, db, "race", func(text string) string { return strings.Replace(text, "kind: mass", "kind: time-trial", 1) })
	if status, _, _ := v.ask(t, "GET", "/events/race/fields/ann/sheet", "", nil); status != 303 {
		t.Errorf("a time trial has a race sheet: %d", status)
	}
}

// Somebody who was deleted is not named among those who could not be raced.
func TestFaultsGoWithTheirRider(t *testing.T) {
	v, db := racingSite(t)
	rewrite(t, db, "bo", func(string) string { return "level: new\n" })
	v.raced(t, "ann", "bo")
	_, _, body := v.ask(t, "GET", "/events/race/fields", "", nil)
	wantIn(t, body, "Bo Reed: ")
	if err := db.Delete(t.Context(), "bo"); err != nil {
		t.Fatal(err)
	}
	if _, _, body = v.ask(t, "GET", "/events/race/fields", "", nil); strings.Contains(body, "Bo Reed") {
		t.Error("Bo Reed is still named")
	}
}

// Nobody under 18 is shown W/kg of a result list either; the others' stay out
// of it as before.
func TestResultsOfAMinorHaveNoWattsPerKilogram(t *testing.T) {
	v, db := racingSite(t)
	list := "name,time,w/kg\ncy young,5:30,3.11\nA,5:31,3.22\nB,5:33,3.33\nC,5:35,3.44\nD,5:40,3.55\nE,5:52,3.66\n"
	for me, want := range map[string]bool{"Cy Young": false, "A": true} {
		if status, _, body := v.sendTo(t, "/events/race/results", "race.csv", list, map[string]string{"me": me}); status != 303 {
			t.Fatalf("%d %s", status, body)
		}
		kept, err := db.RaceResults(t.Context(), "race")
		if err != nil || len(kept) != 1 {
			t.Fatalf("%d, %v", len(kept), err)
		}
		if got := strings.Contains(string(kept[0].Sheet), "You showed"); got != want || !want && strings.Contains(string(kept[0].Sheet), "3.11") {
			t.Errorf("%s: %s", me, kept[0].Sheet)
		}
		if err := db.DeleteRaceResults(t.Context(), kept[0].ID); err != nil {
			t.Fatal(err)
		}
	}
}

// Arrivals are read against the list that was ridden, so it is reckoned for the
// day it was made for, however much later they come.
func TestArrivalsAreReadAgainstTheListThatWasRidden(t *testing.T) {
	v, db := racingSite(t)
	at, _ := v.worked(t, "/starts/new", map[string]string{"title": "Tuesday", "course": "loop", "rides.ann": "yes", "rides.bo": "yes"})
	l, err := db.StartList(t.Context(), strings.TrimPrefix(at, "/starts/"))
	if err != nil {
		t.Fatal(err)
	}
	day := func(l store.StartList) string {
		var a struct {
			Day string `json:"day"`
		}
		if err := json.Unmarshal(l.Request, &a); err != nil {
			t.Fatal(err)
		}
		return a.Day
	}
	if got := day(l); got != time.Now().Format(time.DateOnly) {
		t.Errorf("it is kept as of %q", got)
	}
	l.Request = []byte(strings.Replace(string(l.Request), day(l), "2026-11-21", 1))
	old, err := db.PutStartList(t.Context(), l)
	if err != nil {
		t.Fatal(err)
	}
	next, _ := v.worked(t, "/starts/"+old.ID+"/arrivals", map[string]string{"arrive.0": "5:00", "arrive.1": "15:00"})
	if l, err = db.StartList(t.Context(), strings.TrimPrefix(next, "/starts/")); err != nil || day(l) != "2026-11-21" {
		t.Errorf("the next list is of %q, %v", day(l), err)
	}
}

// A club larger than a group may be is told so on the page, and keeps what it
// typed.
func TestTooManyForOneGroupIsSaid(t *testing.T) {
	v, db := racingSite(t)
	form, query := map[string]string{"title": "All of us", "course": "loop"}, "?course.loop=yes"
	for range 61 {
		o, err := db.Put(t.Context(), store.Object{Kind: store.Rider, Name: "One of many", Text: racer("club", "170")})
		if err != nil {
			t.Fatal(err)
		}
		form["rides."+o.ID] = "yes"
		query += "&rides." + o.ID + "=yes"
	}
	status, _, body := v.sendRig(t, "/starts/new", form)
	wantIn(t, body, "Tick two riders at least and 60 at most.", "All of us")
	if status != 422 {
		t.Errorf("%d", status)
	}
	status, _, body = v.ask(t, "GET", "/riding-together"+query, "", nil)
	wantIn(t, body, "Tick 60 riders at most.")
	if status != 422 || strings.Contains(body, "--rider") {
		t.Errorf("%d", status)
	}
}
