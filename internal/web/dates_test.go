package web_test

import (
	"net/http"
	"strings"
	"testing"

	"chainline/internal/store"
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

// TestBriefsAndFitInTheirDates: a brief's own sheet, as it is shown, printed
// and saved, and the sentences of calendar and start list.
func TestBriefsAndFitInTheirDates(t *testing.T) {
	v, db := rigSite(t, append(briefObjects(), store.Object{ID: "r2", Kind: store.Rider, Name: "Tilda",
		Text: "name: Tilda\nmass_kg: 70\nlevel: regular\nevidence:\n  - {kind: test, duration_s: 360, watts: 300, date: 2026-11-01}\n"})...)
	path := v.made(t, "/briefs/new", asked)
	as := func(language, path string) string {
		t.Helper()
		status, _, body := v.ask(t, "GET", path, "", func(r *http.Request) { r.Header.Set("Accept-Language", language) })
		if status != http.StatusOK {
			t.Fatalf("%s: %d", path, status)
		}
		return body
	}
	for _, at := range []string{path, path + "/page", path + "/file"} {
		british, american := as("en-GB", at), as("en-US", at)
		wantIn(t, british, ">Tuesday 5 January 2027, 19:30</time> (Europe/Dublin)", ">1 November 2026</time>")
		wantIn(t, american, `<time datetime="2027-01-05T19:30">Tuesday, January 5, 2027, 7:30 pm</time> (Europe/Dublin)`, ">November 1, 2026</time>", ">7:30 pm</time>")
		for _, says := range datesIn(american, dayFirst, wholeDay) {
			t.Errorf("%s says to an American: %s", at, says)
		}
		for _, says := range datesIn(british, monthFirst, halfDay) {
			t.Errorf("%s says to a Briton: %s", at, says)
		}
	}
	wantIn(t, as("en-AU", path), ">Tuesday 5 January 2027, 7:30 pm</time>")
	fit := "/calendar?from=2027-01-01&rider=r2&rig=g1"
	wantIn(t, as("en-GB", fit), "was on 1 November 2026.")
	wantIn(t, as("en-US", fit), "was on November 1, 2026.")
	if _, err := db.Put(t.Context(), store.Object{Kind: store.Event, Name: "Other night", Text: "name: Other night\nstart: 2027-01-05T20:00\ntime_zone: Europe/Dublin\nkind: group\n"}); err != nil {
		t.Fatal(err)
	}
	wantIn(t, as("en-GB", fit+"&zone=dublin"), "It clashes with Other night, 20:00")
	wantIn(t, as("en-US", fit+"&zone=dublin"), "It clashes with Other night, 8:00 pm")
	made, err := db.Briefs(t.Context(), "r1")
	if err != nil || len(made) != 1 {
		t.Fatal(err)
	}
	wantIn(t, as("en-GB", "/events/e1/ready"), "made on "+made[0].Made.Format("2 January 2006"))
	wantIn(t, as("en-US", "/events/e1/ready"), "made on "+made[0].Made.Format("January 2, 2006"))
}
