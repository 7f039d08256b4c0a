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
