package web_test

import (
	"strings"
	"testing"

	"chainline/internal/input"
	"chainline/internal/store"
	"chainline/internal/web"
)

var tuesday = map[string]string{"name": "Tuesday hill race", "start_day": "2026-12-08", "start_clock": "19:30", "time_zone": "dublin", "kind": "mass", "lead_in_m": "1.2 km", "laps": "2", "pen_s": "5 min",
	"categories.0.name": "fast", "categories.0.min_w_per_kg": "3,7", "categories.2.max_w_per_kg": "",
	"categories_csv": "name;min;max;over\nstrollers;;2,2;20 min\nsteady;2,2;2,9;20 min"}

func TestEventKept(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/events", "", nil)
	wantIn(t, body, "There is no event yet", `href="/events/new"`)
	if status, h, body := v.sendRig(t, "/events/new", tuesday); status != 303 || h.Get("Location") != "/events" {
		t.Fatalf("status %d\n%s", status, body)
	}
	o := onlyOne(t, db, store.Event)
	wantIn(t, o.Text, "start: 2026-12-08T19:30", "time_zone: Europe/Dublin", "kind: mass", "lead_in_m: 1200", "laps: 2", "pen_s: 300",
		"min_w_per_kg: 3.7", "max_w_per_kg: 2.2", "over_s: 1200", "strollers", "steady")
	_, _, body = v.ask(t, "GET", "/events/"+o.ID, "", nil)
	wantIn(t, body, `value="2026-12-08"`, `value="19:30"`, `value="Europe/Dublin"`, `value="strollers"`, `name="categories.3.name"`)
	change := map[string]string{"name": "Wednesday race", "start_day": "2026-12-09", "time_zone": "Europe/Dublin", "categories.1.name": "all"}
	v.sendRig(t, "/events/"+o.ID, change)
	if o = onlyOne(t, db, store.Event); o.Name != "Wednesday race" || strings.Contains(o.Text, "fast") || strings.Contains(o.Text, "T19:30") || !strings.Contains(o.Text, "all") {
		t.Errorf("changed: %s", o.Text)
	}
	_, _, body = v.ask(t, "GET", "/events/new", "", nil)
	wantIn(t, body, `value="Europe/Dublin"`) // most events are at home
	_, _, body = v.ask(t, "GET", "/events/"+o.ID+"/delete", "", nil)
	wantIn(t, body, "Delete Wednesday race?")
	v.sendRig(t, "/events/"+o.ID+"/delete", nil)
	if all, _ := db.Objects(t.Context(), store.Event); len(all) != 0 {
		t.Error("it is still there")
	}
}

func TestBadEventsAreKeptAndExplained(t *testing.T) {
	v, db := rigSite(t)
	for name, c := range map[string]struct {
		path, typed, at string
		shown           string
	}{
		"name":         {"name", "", "f-name-error", ""},
		"day missing":  {"start_day", "", "f-start_day-error", `value="19:30"`},
		"day":          {"start_day", "someday", "f-start_day-error", `value="someday"`},
		"clock":        {"start_clock", "half past", "f-start_clock-error", `value="half past"`},
		"zone":         {"time_zone", "Home", "f-time_zone-error", `value="Home"`},
		"kind":         {"kind", "sprint", "f-kind-error", ""},
		"laps":         {"laps", "2.5", "f-laps-error", `value="2.5"`},
		"lead-in":      {"lead_in_m", "far", "f-lead_in_m-error", `value="far"`},
		"pen":          {"pen_s", "a while", "f-pen_s-error", `value="a while"`},
		"category":     {"categories.0.min_w_per_kg", "300", "f-categories-0-min_w_per_kg-error", `value="300"`},
		"no name":      {"categories.0.name", "", "f-categories-0-name-error", `value="strollers"`},
		"pasted":       {"categories_csv", "a,1,2,3,4", "f-categories_csv-error", "a,1,2,3,4"},
		"pasted quote": {"categories_csv", "\"a,1,2", "f-categories_csv-error", "a,1,2"},
		"too many":     {"categories_csv", strings.Repeat("a,1,2\n", 51), "f-categories_csv-error", "a,1,2"},
	} {
		t.Run(name, func(t *testing.T) {
			typed := map[string]string{}
			for k, v := range tuesday {
				typed[k] = v
			}
			typed[c.path] = c.typed
			status, _, body := v.sendRig(t, "/events/new", typed)
			if status != 422 {
				t.Errorf("status %d; expected 422", status)
			}
			wantIn(t, body, `id="`+c.at+`"`, c.shown)
			for k, v := range typed {
				if k != "categories_csv" && k != "kind" && v != "" {
					wantIn(t, body, `value="`+v+`"`)
				}
			}
		})
	}
	if all, _ := db.Objects(t.Context(), store.Event); len(all) != 0 {
		t.Errorf("%d were kept", len(all))
	}
}

func TestAnotherRowKeepsWhatWasTyped(t *testing.T) {
	v, db := rigSite(t)
	status, _, body := v.sendRig(t, "/events/new", map[string]string{"another": "yes", "laps": "many", "categories.0.name": "fast"})
	if status != 200 {
		t.Errorf("status %d", status)
	}
	wantIn(t, body, `value="many"`, `value="fast"`, `name="categories.2.name"`)
	if all, _ := db.Objects(t.Context(), store.Event); len(all) != 0 {
		t.Error("it was kept")
	}
}

func TestEventsComingFirst(t *testing.T) {
	v := start(t, web.Config{}) // at noon on 25 November 2026
	for id, day := range map[string]string{"a-last-month": "2026-10-26", "b-last-week": "2026-11-18", "c-in-20-days": "2026-12-15", "d-tomorrow": "2026-11-26", "e-open": "", "f-today": "2026-11-25"} {
		v.sendRig(t, "/events/new", map[string]string{"name": id, "start_day": day, "kind": "group"})
	}
	// By the clock there: noon has come in Dublin, not yet in New York.
	v.sendRig(t, "/events/new", map[string]string{"name": "b-this-morning", "start_day": "2026-11-25", "start_clock": "11:30", "time_zone": "Dublin"})
	v.sendRig(t, "/events/new", map[string]string{"name": "g-this-morning", "start_day": "2026-11-25", "start_clock": "11:30", "time_zone": "New York"})
	v.ask(t, "GET", "/events", "", nil) // says that the last one is kept
	_, _, body := v.ask(t, "GET", "/events", "", nil)
	last := 0
	for _, id := range []string{"f-today", "g-this-morning", "d-tomorrow", "c-in-20-days", "e-open", "b-this-morning", "b-last-week", "a-last-month"} {
		at := strings.Index(body, id)
		if at < last {
			t.Errorf("%s is not where it belongs", id)
		}
		last = at
	}
	wantIn(t, body, "in 20 days", "A ride together, no race")
}

func TestForeignEventsAreNotThere(t *testing.T) {
	v, db := rigSite(t, store.Object{ID: "r1", Kind: store.Rider, Name: "Maren", Text: courseRider})
	for _, path := range []string{"/events/r1", "/events/none", "/events/r1/delete"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("GET %s: %d; expected 404", path, status)
		}
		if status, _, _ := v.sendRig(t, path, map[string]string{"name": "x"}); status != 404 {
			t.Errorf("POST %s: %d; expected 404", path, status)
		}
	}
	onlyOne(t, db, store.Rider)
}

// Cells copied from a spreadsheet are parted by tabs, and some are empty.
func TestEmptyCellsBetweenTabsStayEmpty(t *testing.T) {
	v, db := rigSite(t)
	form := map[string]string{"name": "Race", "categories_csv": "ebb\t\t2.3\t20 min\nsurge\t3.6\t\t20 min"}
	if status, _, body := v.sendRig(t, "/events/new", form); status != 303 {
		t.Fatalf("status %d\n%s", status, body)
	}
	e, err := input.ReadEvent("event", strings.NewReader(onlyOne(t, db, store.Event).Text))
	if err != nil || len(e.Categories) != 2 {
		t.Fatalf("%v %v", e, err)
	}
	ebb, surge := e.Categories[0], e.Categories[1]
	if ebb.Min.Known || ebb.Max.Value != 2.3 || surge.Min.Value != 3.6 || surge.Max.Known || surge.Over.Value != 1200 {
		t.Errorf("%+v", e.Categories)
	}
}
