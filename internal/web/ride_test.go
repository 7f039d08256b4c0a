package web_test

import (
	"bufio"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/store"
	"chainline/internal/web"
)

// liveSite is a site whose program can ride.
func liveSite(t *testing.T) *site {
	t.Helper()
	v, _, _ := checkSite(t)
	return v
}

// views reads what a live page is sent until done says so, or for limit.
func (v *site) views(t *testing.T, path string, limit time.Duration, done func(web.RideView) bool) {
	t.Helper()
	r, err := v.client.Get(v.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if media := r.Header.Get("Content-Type"); media != "text/event-stream" {
		t.Fatalf("%d, %s", r.StatusCode, media)
	}
	end := time.AfterFunc(limit, func() { r.Body.Close() })
	defer end.Stop()
	var last string
	for lines := bufio.NewScanner(r.Body); lines.Scan(); {
		data, ok := strings.CutPrefix(lines.Text(), "data: ")
		if !ok {
			continue
		}
		last = data
		var view web.RideView
		if err := json.Unmarshal([]byte(data), &view); err != nil {
			t.Fatal(err)
		}
		if done(view) {
			return
		}
	}
	t.Fatalf("%s did not come to it within %v; last: %.600s", path, limit, last)
}

func TestRideFromChoiceToDeletion(t *testing.T) {
	t.Parallel()
	v := liveSite(t)
	_, _, body := v.ask(t, "GET", "/ride", "", nil)
	wantIn(t, body, "Who rides?", "Easy baseline", "A simulated rig", "Only listen", "Stop when you feel pain")
	form := map[string]string{"rider": "r1", "rig": "g1", "what": "own", "own": "ride fast", "devices": "bench"}
	status, _, body := v.sendRig(t, "/ride", form)
	if status != 422 {
		t.Errorf("a session nobody can read: %d", status)
	}
	wantIn(t, body, "ride fast", "another look")
	form["own"] = "ride 10 min at 120 W\n"
	status, h, body := v.sendRig(t, "/ride", form)
	at := h.Get("Location")
	if status != 303 || !strings.HasPrefix(at, "/ride/") {
		t.Fatalf("%d %s: %s", status, at, body)
	}
	v.views(t, at+"/live", 15*time.Second, func(x web.RideView) bool { return x.Stage == "riding" && x.Big == "120" && x.You != "–" })
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, `data-stage="riding"`, "What to do now", "well</span>", "Pause")
	_, _, body = v.ask(t, "GET", at+"/strip", "", nil)
	var strip web.RideStrip
	if err := json.Unmarshal([]byte(body), &strip); err != nil || strip.Kind != "session" || len(strip.Pieces) != 1 || strip.Pieces[0].Watts != 120 {
		t.Errorf("%v: %s", err, body)
	}
	_, _, body = v.ask(t, "GET", at+"/missing?kind=3", "", nil)
	wantIn(t, body, `"do":`)
	if status, _, _ := v.ask(t, "GET", at+"/file/fit", "", nil); status != 404 {
		t.Errorf("a file of a ride that goes on: %d", status)
	}
	if status, _, _ := v.ask(t, "GET", at+"/file/passwd", "", nil); status != 404 {
		t.Errorf("a file that is none of a ride's: %d", status)
	}
	v.sendRig(t, at+"/key", map[string]string{"key": "pause"})
	v.views(t, at+"/live", 5*time.Second, func(x web.RideView) bool { return x.Stage == "paused" })
	for body, want := range map[string]string{"key=shorten&value=soon": "“soon” is no number.", "key=confirm&at=": "Write where you are.", "key=count&value=": "Write how many seconds, 0 to 3600.", "key=say&text=+": "Write what to say."} {
		_, _, told := v.ask(t, "POST", at+"/key", body, func(r *http.Request) { r.Header.Set("Accept", "application/json") })
		if !strings.Contains(told, want) {
			t.Errorf("%s is answered with %s, expected %s", body, told, want)
		}
	}
	v.sendRig(t, at+"/key", map[string]string{"key": "end"})
	v.views(t, at+"/live", 15*time.Second, func(x web.RideView) bool { return x.Stage == "ended" })
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "FIT activity", "Power on average", "on a simulated rig")
	status, h, body = v.ask(t, "GET", at+"/file/fit", "", nil)
	if status != 200 || !strings.Contains(h.Get("Content-Disposition"), ".fit") || !strings.Contains(body[:20], ".FIT") {
		t.Errorf("%d %v", status, h)
	}
	_, _, body = v.ask(t, "GET", "/ride", "", nil)
	wantIn(t, body, "Ridden")
	_, _, body = v.ask(t, "GET", at+"/delete", "", nil)
	wantIn(t, body, "really deleted")
	if status, _, _ := v.sendRig(t, at+"/delete", nil); status != 303 {
		t.Errorf("deleting: %d", status)
	}
	if status, _, _ := v.ask(t, "GET", at, "", nil); status != 404 {
		t.Errorf("deleted and still there: %d", status)
	}
}

func TestRidesOfOthersAndOfNobody(t *testing.T) {
	t.Parallel()
	v := liveSite(t)
	for _, path := range []string{"/ride/nothing", "/ride/nothing/live", "/ride/nothing/strip", "/ride/nothing/file/fit", "/ride/..%2f..%2fetc", "/group/nothing", "/group/nothing/live"} {
		if status, _, body := v.ask(t, "GET", path, "", nil); status != 404 && status != 400 {
			t.Errorf("%s: %d %.200s", path, status, body)
		}
	}
	for _, form := range []map[string]string{{}, {"rider": "r1"}, {"rider": "r1", "rig": "g1", "what": "course"}, {"rider": "r1", "rig": "g1", "what": "session", "session": "none"},
		{"rider": "gone", "rig": "g1", "what": "free"}, {"rider": "r1", "rig": "g1", "what": "free", "devices": "radar"}} {
		if status, _, body := v.sendRig(t, "/ride", form); status != 422 {
			t.Errorf("%v: %d %.200s", form, status, body)
		}
	}
	w, _ := rigSite(t, briefObjects()...)
	if _, _, body := w.ask(t, "GET", "/ride", "", nil); !strings.Contains(body, "started without rides") {
		t.Error("a program without rides does not say so")
	}
}

// What would end for each rider at another moment ends for all at one, and it
// is said.
func TestGroupStaysTogether(t *testing.T) {
	t.Parallel()
	v := liveSite(t)
	form := map[string]string{"session": "severe-to-the-bottom", "rider.0": "r1", "rig.0": "g1", "devices.0": "bench", "rider.1": "r1", "rig.1": "g1", "devices.1": "bench"}
	status, h, body := v.sendRig(t, "/group", form)
	at := h.Get("Location")
	if status != 303 {
		t.Fatalf("%d: %s", status, body)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "together it lasts", "Maren")
	v.sendRig(t, at+"/key", map[string]string{"key": "end"})
}

// Who is there rides what is in the room; nobody sits on an invented bike.
func TestDevicesThatAreUsual(t *testing.T) {
	v, db, _ := checkSite(t)
	usual := func(path, want string) {
		t.Helper()
		_, _, body := v.ask(t, "GET", path, "", nil)
		if !strings.Contains(body, `name="devices" value="`+want+`" checked`) {
			t.Errorf("%s: %s is not chosen", path, want)
		}
	}
	usual("/ride", "radio")
	rider, err := db.Object(t.Context(), "r1")
	if err != nil {
		t.Fatal(err)
	}
	rider.Demo = true
	if _, err := db.Put(t.Context(), rider); err != nil {
		t.Fatal(err)
	}
	usual("/ride", "bench")
	if _, err := db.Put(t.Context(), store.Object{ID: "own", Kind: store.Rider, Name: "Ann", Text: "mass_kg: 70\n"}); err != nil {
		t.Fatal(err)
	}
	usual("/ride", "radio")
	usual("/ride?rider=r1", "bench")
	usual("/ride?rider=own", "radio")
	usual("/ride?rider=own&devices=bench", "bench")
}
