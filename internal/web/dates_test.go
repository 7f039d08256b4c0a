package web_test

import (
	"net/http"
	"strings"
	"testing"
)

// TestDatesAsTheBrowserHasThem: the day or the month first, the clock of half
// days or of whole ones; months are words.
func TestDatesAsTheBrowserHasThem(t *testing.T) {
	v, _ := rigSite(t, briefObjects()...)
	for language, want := range map[string]string{"": "Tue 5 January 2027, 19:30", "de-CH,de;q=0.9": "Tue 5 January 2027, 19:30", "en-US,en;q=0.8": "Tue, January 5, 2027, 7:30 pm", "en-AU": "Tue 5 January 2027, 7:30 pm"} {
		_, _, body := v.ask(t, "GET", "/events", "", func(r *http.Request) { r.Header.Set("Accept-Language", language) })
		if !strings.Contains(body, want) {
			t.Errorf("%q: the page lacks %q", language, want)
		}
	}
	for language, want := range map[string]string{"en-GB": "27 September 2026", "en-US": "September 27, 2026"} {
		_, _, _ = v.sendRig(t, "/settings/demo", nil)
		_, _, body := v.ask(t, "GET", "/riders/demo-newcomer", "", func(r *http.Request) { r.Header.Set("Accept-Language", language) })
		if !strings.Contains(body, want) {
			t.Errorf("%q: the page of a rider lacks %q", language, want)
		}
	}
}

// TestDatesOnTheSeasonsPictures: so do the pictures' own words.
func TestDatesOnTheSeasonsPictures(t *testing.T) {
	v := rideSite(t)
	files := map[string]string{"a.csv": rideTable(3, 320), "b.csv": rideTable(12, 300)}
	status, at, body := v.send(t, "/import", "files", files, map[string]string{"rider": "racer", "rig": "racer-rig"})
	if status != http.StatusSeeOther {
		t.Fatal(status, body)
	}
	v.brought(t, at)
	for language, want := range map[string][2]string{"en-GB": {">17 Dec<", ">Dec 17<"}, "en-US": {">Dec 17<", ">17 Dec<"}} {
		_, _, body := v.ask(t, "GET", "/season/racer", "", func(r *http.Request) { r.Header.Set("Accept-Language", language) })
		if !strings.Contains(body, want[0]) || strings.Contains(body, want[1]) {
			t.Errorf("%s: the pictures of a season lack %q or have %q", language, want[0], want[1])
		}
	}
}
