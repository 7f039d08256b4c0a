package web_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
)

// What rides taught is listed with its day as the reader writes days, and each
// of it can be left out of the next briefs and let in again.
func TestWhatRidesTaughtIsListedAndLeftOut(t *testing.T) {
	v, db := rideSiteOf(t)
	_, _, body := v.ask(t, "GET", "/riders/racer/learnt", "", nil)
	wantIn(t, body, "Rides have taught nothing yet.")
	_, at, body := v.send(t, "/import", "files", map[string]string{"one.csv": rideTable(3, 330)}, map[string]string{"rider": "racer", "rig": "racer-rig"})
	if at == "" {
		t.Fatal(body)
	}
	v.brought(t, at)
	_, _, body = v.ask(t, "GET", "/rides?rider=racer", "", nil)
	ride := regexp.MustCompile(`/rides/[a-z0-9]{16}`).FindString(body)
	for path, form := range map[string]map[string]string{"/harder": {"harder": "no"}, "/scales": {"before": "61.6", "after": "61.2", "drunk": "0.3"}} {
		if status, _, body := v.sendRig(t, ride+path, form); status != http.StatusSeeOther {
			t.Fatalf("%s: %d %.300s", path, status, body)
		}
	}
	for language, want := range map[string]string{"en-GB": ">one.csv, 17 December 2026</a>", "en-US": ">one.csv, December 17, 2026</a>"} {
		_, _, body = v.ask(t, "GET", "/riders/racer/learnt", "", func(r *http.Request) { r.Header.Set("Accept-Language", language) })
		wantIn(t, body, want, "331 W for 5:06 min", "nothing was left", "Sweat: 61.6 kg before", "Leave it out")
	}
	_, _, body = v.ask(t, "GET", "/riders/racer", "", nil)
	wantIn(t, body, `href="/riders/racer/learnt"`)
	key := "ride/" + strings.TrimPrefix(ride, "/rides/")
	if status, _, _ := v.sendRig(t, "/riders/racer/learnt", map[string]string{"key": key, "out": "yes"}); status != http.StatusSeeOther {
		t.Fatal(status)
	}
	if out, err := db.LeftOut(t.Context(), "racer"); err != nil || !out[key] || len(out) != 1 {
		t.Errorf("%v %v", out, err)
	}
	_, _, body = v.ask(t, "GET", "/riders/racer/learnt", "", nil)
	wantIn(t, body, "Left out by you.", "Let it count again", "Leave it out", "331 W for 5:06 min")
	if status, _, _ := v.sendRig(t, "/riders/racer/learnt", map[string]string{"key": key}); status != http.StatusSeeOther {
		t.Fatal(status)
	}
	if out, err := db.LeftOut(t.Context(), "racer"); err != nil || len(out) != 0 {
		t.Errorf("%v %v", out, err)
	}
	for path, form := range map[string]map[string]string{"/riders/racer/learnt": {"key": "ride/none"}, "/riders/nobody/learnt": {"key": key}} {
		if status, _, _ := v.sendRig(t, path, form); status != http.StatusNotFound {
			t.Errorf("%s %v: %d", path, form, status)
		}
	}
	if status, _, _ := v.ask(t, "GET", "/riders/nobody/learnt", "", nil); status != http.StatusNotFound {
		t.Error(status)
	}
}
