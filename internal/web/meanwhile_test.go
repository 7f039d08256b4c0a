package web_test

import (
	"encoding/base64"
	"html"
	"maps"
	"regexp"
	"strings"
	"testing"

	"chainline/internal/store"
)

// TestTwoWindows: what is sent from a window that was overtaken is not kept
// until it is sent once more; nothing typed is lost.
func TestTwoWindows(t *testing.T) {
	objects := append(briefObjects(), store.Object{ID: "s1", Kind: store.Course, Name: "Sketched", Text: "distance_km: 12\nascent_m: 100\n"})
	for _, x := range []struct {
		name, path, id string
		form           map[string]string // what another window changes of it
		mine           map[string]string // what this one changes
		typed          string
		other          string // what the page says of the other change
	}{
		{"road", "/roads/d1", "d1", map[string]string{"name": "My bike", "bike_mass_kg": "9"}, map[string]string{"bike_mass_kg": "7.5"}, `value="7.5"`, "Kept now: <b>9 kg</b>"},
		{"rider", "/riders/r1/change", "r1", map[string]string{"mass_kg": "72"}, map[string]string{"mass_kg": "71"}, `value="71"`, "Kept now: <b>72 kg</b>"},
		{"health", "/riders/r1/health", "r1", map[string]string{"screening.ill_now": "yes"}, map[string]string{"screening.pregnant": "no", "screening.symptoms": "no"}, `value="no" checked`, "Kept now: <b>Yes</b>"},
		{"rig", "/rigs/g1", "g1", map[string]string{"room.temperature_c": "25"}, map[string]string{"room.temperature_c": "17"}, `value="17"`, "Kept now: <b>25 °C</b>"},
		{"category", "/events/e1", "e1", map[string]string{"categories.0.name": "B", "categories.0.max_w_per_kg": "4"}, map[string]string{"laps": "3"}, `value="3"`, "Kept now: <b>B</b>"},
		{"event", "/events/e1", "e1", map[string]string{"name": "This night"}, map[string]string{"name": "Other night"}, `value="Other night"`, "Kept now: <b>This night</b>"},
		{"course file", "/courses/c1/edit", "c1", map[string]string{"name": "One"}, map[string]string{"name": "Two"}, `value="Two"`, "Kept now: <b>One</b>"},
		{"course sketch", "/courses/s1/edit", "s1", map[string]string{"ascent_m": "120"}, map[string]string{"ascent_m": "140"}, `value="140"`, "Kept now: <b>120 m</b>"},
	} {
		t.Run(x.name, func(t *testing.T) {
			v, db := rigSite(t, objects...)
			_, _, page := v.ask(t, "GET", x.path, "", nil)
			form := inputs(page)
			if form["_version"] == "" {
				t.Fatalf("the form does not say what it was made from: %v", form)
			}
			first := maps.Clone(form)
			maps.Copy(first, x.form)
			if status, _, body := v.sendRig(t, x.path, first); status != 303 {
				t.Fatalf("the other window: %d %s", status, body)
			}
			before, err := db.Object(t.Context(), x.id)
			if err != nil {
				t.Fatal(err)
			}
			maps.Copy(form, x.mine)
			status, _, body := v.sendRig(t, x.path, form)
			if status != 409 {
				t.Fatalf("overtaken: %d", status)
			}
			wantIn(t, body, "changed in another window", x.typed, x.other)
			if now, _ := db.Object(t.Context(), x.id); now.Text != before.Text || now.Name != before.Name {
				t.Fatal("it was kept all the same")
			}
			again := inputs(body)
			if status, _, body := v.sendRig(t, x.path, again); status != 303 {
				t.Fatalf("once more: %d %s", status, body)
			}
			if now, _ := db.Object(t.Context(), x.id); now.Text == before.Text && now.Name == before.Name {
				t.Error("sent once more, it was not kept")
			}
		})
	}
}

var (
	inputTag  = regexp.MustCompile(`<input ([^>]*)/>`)
	selectTag = regexp.MustCompile(`(?s)<select [^>]*name="([^"]+)"[^>]*>(.*?)</select>`)
	selected  = regexp.MustCompile(`<option value="([^"]*)" selected`)
	attribute = regexp.MustCompile(`([a-z]+)="([^"]*)"`)
)

// inputs is what a browser would send of the page's main form.
func inputs(page string) map[string]string {
	form := map[string]string{}
	_, page, _ = strings.Cut(page, "<main")
	page, _, _ = strings.Cut(page, "</main>")
	for _, m := range inputTag.FindAllStringSubmatch(page, -1) {
		a := map[string]string{}
		for _, x := range attribute.FindAllStringSubmatch(m[1], -1) {
			a[x[1]] = html.UnescapeString(x[2])
		}
		if (a["type"] == "radio" || a["type"] == "checkbox") && !strings.Contains(m[1], " checked") || a["type"] == "file" || a["name"] == "" {
			continue
		}
		form[a["name"]] = a["value"]
	}
	for _, m := range selectTag.FindAllStringSubmatch(page, -1) {
		if s := selected.FindStringSubmatch(m[2]); s != nil {
			form[m[1]] = html.UnescapeString(s[1])
		}
	}
	return form
}

// TestTheSameInTwoWindows: what differs in nothing is not shown as if it did,
// and a change that is not on the form stays.
func TestTheSameInTwoWindows(t *testing.T) {
	v, db := rigSite(t, briefObjects()...)
	_, _, page := v.ask(t, "GET", "/riders/r1/change", "", nil)
	form := inputs(page)
	o, err := db.Object(t.Context(), "r1")
	if err != nil {
		t.Fatal(err)
	}
	o.Text += "screened: 2026-11-01\n"
	if _, err := db.Put(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	status, _, body := v.sendRig(t, "/riders/r1/change", form)
	if status != 409 || strings.Contains(body, "Kept now") {
		t.Fatalf("%d %s", status, body)
	}
	wantIn(t, body, "or is not on this form and stays")
	if status, _, body := v.sendRig(t, "/riders/r1/change", inputs(body)); status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	if now, _ := db.Object(t.Context(), "r1"); !strings.Contains(now.Text, "screened: 2026-11-01") {
		t.Errorf("the other change is lost: %s", now.Text)
	}
}

// TestHowItWasRead: what could be read in two ways is said back.
func TestHowItWasRead(t *testing.T) {
	v, _ := rigSite(t, briefObjects()...)
	_, _, page := v.ask(t, "GET", "/riders/r1/evidence/new?kind=test", "", nil)
	form := inputs(page)
	var at string
	for name := range form {
		if strings.HasSuffix(name, ".date") {
			at = strings.TrimSuffix(name, "date")
		}
	}
	form[at+"duration_s"], form[at+"watts"], form[at+"date"] = "12:00", "250", "3.11.2026"
	status, head, body := v.sendRig(t, "/riders/r1/evidence/new", form)
	if status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	flash, _, _ := strings.Cut(strings.TrimPrefix(head.Get("Set-Cookie"), "chainline-flash="), ";")
	said, err := base64.RawURLEncoding.DecodeString(flash)
	if err != nil || string(said) != "Kept. “3.11.2026” was read as 3 November 2026." {
		t.Errorf("it says %q, %v", said, err)
	}
}

// TestRemovingFromAnotherWindow: evidence goes by its place in the list, so a
// window that was overtaken removes nothing.
func TestRemovingFromAnotherWindow(t *testing.T) {
	v, db := rigSite(t, briefObjects()...)
	before, err := db.Object(t.Context(), "r1")
	if err != nil {
		t.Fatal(err)
	}
	_, _, page := v.ask(t, "GET", "/riders/r1/evidence/0/remove", "", nil)
	form := inputs(page)
	if form["_version"] == "" {
		t.Fatalf("%v", form)
	}
	before.Text += "height_m: 1.8\n"
	if _, err := db.Put(t.Context(), before); err != nil {
		t.Fatal(err)
	}
	if status, _, _ := v.sendRig(t, "/riders/r1/evidence/0/remove", form); status != 409 {
		t.Errorf("removed from an overtaken window: %d", status)
	}
	if now, _ := db.Object(t.Context(), "r1"); now.Text != before.Text {
		t.Error("it was removed all the same")
	}
}
