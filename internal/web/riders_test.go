package web_test

import (
	"strings"
	"testing"

	"chainline/internal/input"
	"chainline/internal/store"
)

// From three answers to evidence, health questions and back to nothing.
func TestRiderFromThreeAnswersToDeleted(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/riders", "", nil)
	wantIn(t, body, "There is no rider yet.", `href="/riders/new"`)
	if status, _, body := v.sendRig(t, "/riders/new", map[string]string{"mass_kg": "150 lb", "level": "new"}); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	o := onlyOne(t, db, store.Rider)
	if o.Name != "You" {
		t.Errorf("a rider without a name is called %q", o.Name)
	}
	at := "/riders/" + o.ID
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "Critical power", `class="curve"`, "The most that can be held", "Nothing yet.", "No all-out test is suggested")

	_, _, body = v.ask(t, "GET", at+"/evidence/new", "", nil)
	wantIn(t, body, "Nothing here has to be a test", "kind=hill", "kind=heart_rate", "kind=talk")
	hill := map[string]string{"evidence.0.kind": "hill", "evidence.0.duration_s": "11:10", "evidence.0.length_m": "1.9 km", "evidence.0.ascent_m": "95", "evidence.0.harder": "little"}
	if status, _, body := v.sendRig(t, at+"/evidence/new", hill); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "A hill of 1.9 km and 95 m up in 11:10 min, a little left", at+"/evidence/0", `class="off"`, "how far off the watts of a hill")

	hill["evidence.0.use"] = "no"
	if status, _, _ := v.sendRig(t, at+"/evidence/0", hill); status != 303 {
		t.Errorf("leaving it out: status %d", status)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "left out by you")
	if status, _, _ := v.sendRig(t, at+"/evidence/0/remove", nil); status != 303 {
		t.Errorf("removing it: status %d", status)
	}

	if status, _, body := v.sendRig(t, at+"/health", map[string]string{"screening.pregnant": "yes", "screening.ill_now": "no"}); status != 303 {
		t.Fatalf("health: status %d: %s", status, body)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "Pregnant: ask whoever looks after you", "You answered the health questions on")
	rider, err := input.ReadRider("rider", strings.NewReader(onlyOne(t, db, store.Rider).Text))
	if err != nil || len(rider.Evidence) != 0 || rider.Screening.Value.Date == "" || rider.Screened != "" || !rider.EasyOnly {
		t.Errorf("%v, %+v", err, rider)
	}

	_, _, body = v.ask(t, "GET", at+"/delete", "", nil)
	wantIn(t, body, "no way back")
	if status, _, _ := v.sendRig(t, at+"/delete", nil); status != 303 {
		t.Errorf("status %d", status)
	}
	if all, _ := db.Objects(t.Context(), store.Rider); len(all) != 0 {
		t.Error("the rider is still there")
	}
}

// What is wrong is said beside its field, and what was typed stays.
func TestRiderBadAnswersAreKept(t *testing.T) {
	v, db := rigSite(t, store.Object{Kind: store.Rider, Name: "A", Text: "name: A\nmass_kg: 70\n"})
	at := "/riders/" + onlyOne(t, db, store.Rider).ID
	for _, c := range []struct{ path, field, value string }{
		{"/riders/new", "mass_kg", "much"}, {"/riders/new", "mass_kg", ""}, {"/riders/new", "mass_kg", "700"},
		{at + "/change", "birth_year", "1492"}, {at + "/change", "height_cm", "tall"}, {at + "/change", "max_heart_rate_bpm", "19"},
		{at + "/evidence/new", "evidence.0.watts", "lots"}, {at + "/evidence/new", "evidence.0.duration_s", ""}, {at + "/evidence/new", "evidence.0.date", "yesterday"},
	} {
		sent := map[string]string{"name": "Ilse", "mass_kg": "61.5"}
		if strings.Contains(c.path, "evidence") {
			sent = map[string]string{"evidence.0.kind": "test", "evidence.0.duration_s": "3:00 min", "evidence.0.watts": "330"}
		}
		sent[c.field] = c.value
		status, _, body := v.sendRig(t, c.path, sent)
		if status != 422 {
			t.Errorf("%s, %s=%q: status %d", c.path, c.field, c.value, status)
			continue
		}
		wantIn(t, body, "another look", `id="f-`+strings.ReplaceAll(c.field, ".", "-")+`-error"`)
		for _, x := range sent {
			if x != "" && !strings.Contains(body, `value="`+x+`"`) {
				t.Errorf("%s, %s=%q: %q is lost", c.path, c.field, c.value, x)
			}
		}
	}
	if got := onlyOne(t, db, store.Rider).Text; got != "name: A\nmass_kg: 70\n" {
		t.Errorf("bad answers changed the rider to %s", got)
	}
	for _, path := range []string{"/riders/none", "/riders/none/change", at + "/other", at + "/evidence/7", at + "/evidence/new?kind=magic"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("%s: status %d", path, status)
		}
	}
}
