package web_test

import (
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
	}{
		{"road", "/roads/d1", "d1", map[string]string{"name": "My bike", "bike_mass_kg": "9"}, map[string]string{"bike_mass_kg": "7.5"}, `value="7.5"`},
		{"rider", "/riders/r1/change", "r1", map[string]string{"mass_kg": "72"}, map[string]string{"mass_kg": "71"}, `value="71"`},
		{"event", "/events/e1", "e1", map[string]string{"name": "This night"}, map[string]string{"name": "Other night"}, `value="Other night"`},
		{"course file", "/courses/c1/edit", "c1", map[string]string{"name": "One"}, map[string]string{"name": "Two"}, `value="Two"`},
		{"course sketch", "/courses/s1/edit", "s1", map[string]string{"ascent_m": "120"}, map[string]string{"ascent_m": "140"}, `value="140"`},
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
			wantIn(t, body, "changed in another window", x.typed)
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
