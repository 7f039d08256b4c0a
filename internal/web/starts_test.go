package web_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"chainline/internal/service"
	"chainline/internal/store"
)

// A start list is made, printed as CSV, and changed by who came when; what that
// taught is carried over on purpose only.
func TestAHandicapAndWhatArrivalsTeach(t *testing.T) {
	v, db := racingSite(t)
	_, _, body := v.ask(t, "GET", "/starts", "", nil)
	wantIn(t, body, "There is no start list yet")
	for name, form := range map[string]map[string]string{"one": {"rides.ann": "yes", "course": "loop", "title": "x"}, "no course": {"rides.ann": "yes", "rides.bo": "yes", "title": "x"},
		"no name": {"rides.ann": "yes", "rides.bo": "yes", "course": "loop"}, "bunches": {"rides.ann": "yes", "rides.bo": "yes", "course": "loop", "title": "x", "bunches": "99"}, "carry": {"rides.ann": "yes", "rides.bo": "yes", "course": "loop", "title": "x", "carry": "none"}} {
		if status, _, _ := v.sendRig(t, "/starts/new", form); status != 422 {
			t.Errorf("%s: %d", name, status)
		}
	}
	at, body := v.worked(t, "/starts/new", map[string]string{"title": "=Tuesday", "course": "loop", "event": "race", "rides.ann": "yes", "rides.bo": "yes"})
	if !strings.HasPrefix(at, "/starts/") {
		t.Fatalf("%s\n%s", at, body)
	}
	wantIn(t, body, "limit, leaves first", "scratch, leaves last", "Ann Moss", "Bo Reed", "Never checked against a real race.", "19:30", "Europe/Dublin", `name="arrive.0"`)
	_, h, list := v.ask(t, "GET", at+"/csv", "", nil)
	rows, err := csv.NewReader(strings.NewReader(list)).ReadAll()
	if err != nil || len(rows) != 3 || rows[0][3] != "rider" || rows[1][3] != "Bo Reed" || rows[1][1] != "0" || !strings.HasPrefix(h.Get("Content-Type"), "text/csv") {
		t.Errorf("%v %v %v", rows, err, h)
	}
	for name, form := range map[string]map[string]string{"words": {"arrive.0": "soon"}, "one": {"arrive.0": "9:00"}} {
		if status, _, _ := v.sendRig(t, at+"/arrivals", form); status != 422 {
			t.Errorf("%s: %d", name, status)
		}
	}
	next, body := v.worked(t, at+"/arrivals", map[string]string{"arrive.0": "5:00", "arrive.1": "15:00"})
	wantIn(t, body, "What the arrivals changed", "capped", "the list before", "next time")
	taught := func(path string) []float64 {
		l, err := db.StartList(t.Context(), strings.TrimPrefix(path, "/starts/"))
		if err != nil {
			t.Fatal(err)
		}
		var sheet service.HandicapSheet
		if err := json.Unmarshal(l.Sheet, &sheet); err != nil {
			t.Fatal(err)
		}
		return sheet.Taught
	}
	if got := taught(next); len(got) != 2 || math.Abs(got[0]-0.02) > 1e-9 || math.Abs(got[1]+0.02) > 1e-9 {
		t.Errorf("taught %v", got)
	}
	form := map[string]string{"title": "Again", "course": "loop", "rides.bo": "yes", "rides.ann": "yes", "rides.cy": "yes", "carry": strings.TrimPrefix(next, "/starts/")}
	carried, _ := v.worked(t, "/starts/new", form)
	if got := taught(carried); len(got) != 3 || math.Abs(got[0]-0.02) > 1e-9 || got[2] != 0 {
		t.Errorf("carried over: %v", got)
	}
	o, _ := db.Object(t.Context(), "loop")
	o.Text = "name: Short loop\ndistance_km: 4\nascent_m: 10\n"
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	_, body = v.worked(t, at+"/arrivals", map[string]string{"arrive.0": "5:00", "arrive.1": "15:00"})
	wantIn(t, body, "the course has changed since this list was made")
	_, _, body = v.ask(t, "GET", at+"/delete", "", nil)
	wantIn(t, body, "really deleted")
	if status, h, _ := v.sendRig(t, at+"/delete", nil); status != 303 || h.Get("Location") != "/starts" {
		t.Errorf("%d %v", status, h)
	}
	if all, _ := db.StartLists(t.Context()); len(all) != 2 {
		t.Errorf("%d lists are left", len(all))
	}
	if err := db.Delete(t.Context(), "bo"); err != nil { // and with a rider go their lists
		t.Fatal(err)
	}
	if all, _ := db.StartLists(t.Context()); len(all) != 0 {
		t.Errorf("%d lists outlive a rider of theirs", len(all))
	}
}

func TestRidingTogetherIsPlanned(t *testing.T) {
	v, db := racingSite(t)
	if _, err := db.Put(t.Context(), store.Object{ID: "long", Kind: store.Course, Name: "Long one", Text: "distance_km: 90\nascent_m: 1200\n"}); err != nil {
		t.Fatal(err)
	}
	_, _, body := v.ask(t, "GET", "/riding-together", "", nil)
	wantIn(t, body, "Ride together", `name="rides.ann"`, `name="course.loop"`)
	_, _, body = v.ask(t, "GET", "/riding-together?rides.ann=yes&rides.bo=yes&course.loop=yes&course.long=yes&hours=1", "", nil)
	wantIn(t, body, "is the longest that suits everybody", "Long one", "does not suit everybody", "In the wheels", "takes turns", "shelters", "Never above")
	for name, query := range map[string]string{"nobody": "?course.loop=yes", "nowhere": "?rides.ann=yes", "hours": "?rides.ann=yes&course.loop=yes&hours=long", "road": "?rides.ann=yes&course.loop=yes&road=bo"} {
		if status, _, _ := v.ask(t, "GET", "/riding-together"+query, "", nil); status != 422 {
			t.Errorf("%s: %d", name, status)
		}
	}
}
