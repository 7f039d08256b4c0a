package web_test

import (
	"strings"
	"testing"
	"time"

	"chainline/internal/store"
	"chainline/internal/web"
)

func TestFirstUseIsGuided(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/", "", nil)
	wantIn(t, body, "Four short steps", `class="button" href="/riders/new"`, `action="/settings/demo"`)
	_, _, body = v.ask(t, "GET", "/rigs", "", nil)
	wantIn(t, body, "Step 1 of 4", `href="/riders/new"`)
	_, _, body = v.ask(t, "GET", "/riders/new", "", nil)
	wantIn(t, body, "Step 1 of 4 to your first brief: this page")
	for i, o := range briefObjects()[:3] {
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		want := []string{"Add what you ride on", "Add a course", "Make the brief"}[i]
		_, _, body = v.ask(t, "GET", "/", "", nil)
		wantIn(t, body, want, "of 4 steps to your first brief ")
		if strings.Contains(body, "invented club") {
			t.Error("the club is offered to somebody who has begun")
		}
	}
	_, _, body = v.ask(t, "GET", "/courses/c1", "", nil)
	wantIn(t, body, "Step 4 of 4", `href="/briefs/new"`)
	v.made(t, "/briefs/new", map[string]string{"rider": "r1", "rig": "g1", "course": "c1"})
	_, _, body = v.ask(t, "GET", "/courses/c1", "", nil)
	if strings.Contains(body, "of 4 to your first brief") {
		t.Error("the guide goes on after the first brief")
	}
}

func TestNextRideSaysWhatIsMissing(t *testing.T) {
	objects := briefObjects()[:3]
	objects[1].Text = courseRig + "room: {fans: no fan}\n"
	v, db := rigSite(t, objects...)
	v.made(t, "/briefs/new", map[string]string{"rider": "r1", "rig": "g1", "course": "c1"})
	_, _, body := v.ask(t, "GET", "/", "", nil)
	wantIn(t, body, "The one thing to do now", "The health questions are not answered.", "There is no fan in the room.", "No event is planned", "Worth doing", `href="/riders/r1/health"`, `href="/rigs/g1"`)
	put := func(id, text string) string {
		t.Helper()
		o, err := db.Object(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		o.Text = text
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		_, _, body := v.ask(t, "GET", "/", "", nil)
		return body
	}
	if body := put("g1", courseRig); !strings.Contains(body, "Whether a fan blows at you is not known") {
		t.Error("an unknown fan is not asked for")
	}
	if body := put("g1", courseRig+"room: {fans: [\"one desk fan\"]}\n"); strings.Contains(body, "href=\"/rigs/g1\"") {
		t.Error("a fan is asked for where there is one")
	}
	if body := put("r1", "name: Maren\nmass_kg: 70\nscreened: 2026-10-01\n"); !strings.Contains(body, "Little is known of your power") || strings.Contains(body, "health questions") {
		t.Error("thin evidence is not named, or answered questions are")
	}
}

func TestNearestEventComesFirst(t *testing.T) {
	now := time.Now()
	event := func(id string, day time.Time) store.Object {
		return store.Object{ID: id, Kind: store.Event, Name: "Night " + id, Text: "name: Night " + id + "\nstart: " + day.Format("2006-01-02") + "\nkind: mass\n"}
	}
	v, _ := rigSite(t, append(briefObjects()[:3], event("far", now.AddDate(0, 0, 30)), event("near", now.AddDate(0, 0, 9)), event("past", now.AddDate(0, 0, -9)))...)
	_, _, body := v.ask(t, "GET", "/", "", nil)
	wantIn(t, body, "Night near", "in 9 days", "/briefs/new?event=near&amp;rider=r1")
	if strings.Contains(body, "Night far") || strings.Contains(body, "Night past") {
		t.Error("another event is named")
	}
	at := v.made(t, "/briefs/new", map[string]string{"rider": "r1", "rig": "g1", "course": "c1", "event": "near"})
	_, _, body = v.ask(t, "GET", "/", "", nil)
	wantIn(t, body, `href="`+at+`"`, "Read its brief")
}

func TestFirstRidesMoveWithWhatHappened(t *testing.T) {
	objects := briefObjects()[:3]
	objects[0].Text = "name: Maren\nmass_kg: 70\nlevel: new\n"
	v, db := rigSite(t, objects...)
	path := func(evidence string) string {
		t.Helper()
		o, _ := db.Object(t.Context(), "r1")
		o.Text = "name: Maren\nmass_kg: 70\nlevel: new\n" + evidence
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		_, _, body := v.ask(t, "GET", "/", "", nil)
		_, body, ok := strings.Cut(body, "Your first rides")
		if !ok {
			t.Fatal("a newcomer has no path")
		}
		return body
	}
	day := func(days int) string { return time.Now().AddDate(0, 0, days).Format("Monday 2 January") }
	iso := func(days int) string { return time.Now().AddDate(0, 0, days).Format("2006-01-02") }
	wantIn(t, path(""), "today, or when you feel like it", "A check of the rig", "half an hour of easy riding, one instruction at a time", "from "+day(3)+" on", "from "+day(7)+" on")
	easy := "evidence:\n  - {kind: heart_rate, watts: 80, heart_rate_bpm: 120, duration_s: 600, source: hub, date: " + iso(-1) + "}\n"
	wantIn(t, path(easy), "done on ", "from "+day(2)+" on", "from "+day(6)+" on")
	old := strings.Replace(easy, iso(-1), iso(-40), 1)
	wantIn(t, path(old), "today, or when you feel like it", "from "+day(4)+" on")
	ill := path("screening: {date: " + iso(0) + ", ill_now: yes}\n")
	wantIn(t, ill, "only easy riding is right for now")
	if strings.Contains(ill, "from "+day(3)) {
		t.Error("somebody ill is given a day for a test")
	}
	o, _ := db.Object(t.Context(), "r1")
	o.Text = courseRider
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	if _, _, body := v.ask(t, "GET", "/", "", nil); strings.Contains(body, "Your first rides") {
		t.Error("a regular rider has a newcomer's path")
	}
}

// What was ridden without a recording can be said, and taken back.
func TestFirstRidesSaidByHand(t *testing.T) {
	objects := briefObjects()[:3]
	objects[0].Text = "name: Maren\nmass_kg: 70\nlevel: new\n"
	objects[1].Text = "trainer:\n  kind: plain\nsensors: []\n"
	v, db := rigSite(t, objects...)
	path := func() string {
		t.Helper()
		_, _, body := v.ask(t, "GET", "/", "", nil)
		_, body, _ = strings.Cut(body, "Your first rides")
		return body
	}
	say := func(status int, form map[string]string) {
		t.Helper()
		if got, _, body := v.sendRig(t, "/riders/r1/first-rides", form); got != status {
			t.Fatalf("%v: status %d: %s", form, got, body)
		}
	}
	before := path()
	if strings.Contains(before, "A check of the rig") || strings.Count(before, ">I rode it<") != 1 {
		t.Errorf("a rig without numbers is to be checked, or not one ride can be said: %s", before)
	}
	wantIn(t, before, `name="ride" value="easy"`, "I rode it")
	say(303, map[string]string{"ride": "easy"})
	wantIn(t, path(), "I did not ride it", `name="ride" value="test"`, "done on "+time.Now().Format("2 January 2006"), "from "+time.Now().AddDate(0, 0, 3).Format("Monday 2 January")+" on")
	say(303, map[string]string{"ride": "test"})
	say(303, map[string]string{"ride": "group"})
	if o := onlyOne(t, db, store.Rider); strings.Count(o.Text, time.Now().Format(time.DateOnly)) != 3 {
		t.Errorf("kept as\n%s", o.Text)
	}
	if after := path(); strings.Contains(after, ">I rode it<") || strings.Count(after, "I did not ride it") != 3 {
		t.Errorf("after all three: %s", after)
	}
	for _, ride := range []string{"easy", "test", "group"} {
		say(303, map[string]string{"ride": ride, "not": "yes"})
	}
	if o := onlyOne(t, db, store.Rider); strings.Contains(o.Text, "first_rides") {
		t.Errorf("taken back it is\n%s", o.Text)
	}
	if got := path(); got != before {
		t.Errorf("taken back the path is\n%s\nbefore\n%s", got, before)
	}
	say(404, map[string]string{"ride": "far"})
	if status, _, _ := v.sendRig(t, "/riders/g1/first-rides", map[string]string{"ride": "easy"}); status != 404 {
		t.Errorf("a rig rode: status %d", status)
	}
}

// Whose rig shows no watts is sent to ride, never to a form that asks for them.
func TestFirstRidesAskForNoWattsThatNothingShows(t *testing.T) {
	objects := briefObjects()[:3]
	objects[0].Text = "name: Maren\nmass_kg: 70\nlevel: new\n"
	objects[1].Text = "trainer:\n  kind: plain\n"
	v, db := rigSite(t, objects...)
	v.made(t, "/briefs/new", map[string]string{"rider": "r1", "rig": "g1", "course": "c1"})
	ask := func() string {
		t.Helper()
		_, _, body := v.ask(t, "GET", "/", "", nil)
		_, now, _ := strings.Cut(body, "The one thing to do now")
		now, _, _ = strings.Cut(now, "</section>")
		wantIn(t, now, "An easy ride", "session=easy-baseline", "Ride it")
		_, path, _ := strings.Cut(body, "Your first rides")
		return path
	}
	if path := ask(); strings.Contains(path, "watts") || strings.Contains(path, "evidence/new") {
		t.Errorf("asks for watts: %s", path)
	}
	objects[1].Text = courseRig
	o, err := db.Object(t.Context(), "g1")
	if err != nil {
		t.Fatal(err)
	}
	o.Text = courseRig
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	wantIn(t, ask(), "Enter what came of it", "Note the watts")
}

// Every demo object can be read, makes a brief, and goes again without a
// trace; what is one's own stays.
func TestDemoClubComesAndGoes(t *testing.T) {
	own := briefObjects()[0]
	v, db := rigSite(t, own)
	for range 2 { // twice is once
		if status, h, _ := v.sendRig(t, "/settings/demo", nil); status != 303 || h.Get("Location") != "/" {
			t.Fatalf("%d to %s", status, h.Get("Location"))
		}
	}
	want := map[store.Kind]int{store.Rider: 4, store.Rig: 3, store.Road: 1, store.Course: 3, store.Event: 3}
	for kind, n := range want {
		if all, err := db.Objects(t.Context(), kind); err != nil || len(all) != n {
			t.Errorf("%d %ss, %v; expected %d", len(all), kind, err, n)
		}
	}
	_, _, body := v.ask(t, "GET", "/settings", "", nil)
	wantIn(t, body, "Remove the invented club")
	v.made(t, "/briefs/new", map[string]string{"rider": "demo-racer", "rig": "demo-racer-rig", "road": "demo-road", "course": "demo-two-mills", "event": "demo-hill-race"})
	v.made(t, "/briefs/new", map[string]string{"rider": "r1", "rig": "demo-regular-rig", "course": "demo-two-mills"})
	if all, _ := db.Briefs(t.Context(), ""); len(all) != 2 {
		t.Fatalf("%d briefs", len(all))
	}
	v.sendRig(t, "/settings/demo", nil)
	if all, _ := db.Briefs(t.Context(), ""); len(all) == 2 {
		if _, _, body := v.ask(t, "GET", "/briefs/"+all[0].ID, "", nil); strings.Contains(body, "changed since") {
			t.Error("the club looks changed by being loaded once more")
		}
	}
	v.sendRig(t, "/settings/demo/remove", nil)
	if o := onlyOne(t, db, store.Rider); o.ID != "r1" {
		t.Errorf("left: %s", o.ID)
	}
	if all, _ := db.Briefs(t.Context(), ""); len(all) != 1 || all[0].RiderID != "r1" {
		t.Errorf("briefs left: %+v", all)
	}
	_, _, body = v.ask(t, "GET", "/settings", "", nil)
	wantIn(t, body, "Load the invented club")
}

func TestPathPictureOfNothing(t *testing.T) {
	if got := web.PathPicture(nil); got != "" {
		t.Errorf("drawn: %s", got)
	}
}
