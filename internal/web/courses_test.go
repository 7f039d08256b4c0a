package web_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"os"
	"strings"
	"testing"

	"chainline/internal/store"
)

const (
	courseRider = "name: Maren\nmass_kg: 70\nlevel: regular\nevidence:\n  - {kind: threshold, watts: 230, from: 20-minute test, date: 2026-11-01, source: hub}\n"
	courseRig   = "trainer: {kind: controllable}\npower_source: {name: hub, kind: trainer}\n"
	shortRoad   = "distance_m,elevation_m\n0,10\n2000,10\n3500,100\n5000,10\n"
)

// sendFile uploads a course; an empty filename sends none.
func (v *site) sendFile(t *testing.T, filename, content, name string) (int, http.Header, string) {
	t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	if filename != "" {
		f, _ := m.CreateFormFile("file", filename)
		f.Write([]byte(content))
	}
	m.WriteField("file_name", name)
	m.Close()
	return v.ask(t, "POST", "/courses/file", body.String(), func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
}

func TestCourseFromAFile(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/courses", "", nil)
	wantIn(t, body, "There is no course yet", `type="file"`, `href="/courses/new"`)
	gpx, err := os.ReadFile("../../demo/harbour-ridge.gpx")
	if err != nil {
		t.Fatal(err)
	}
	status, h, _ := v.sendFile(t, `C:\rides\harbour-ridge.gpx`, string(gpx), "")
	o := onlyOne(t, db, store.Course)
	if status != 303 || h.Get("Location") != "/courses/"+o.ID || o.Name != "Harbour ridge" || o.Original.Filename != "harbour-ridge.gpx" {
		t.Fatalf("%d to %q: %+v, %+v", status, h.Get("Location"), o, o.Original)
	}
	_, _, body = v.ask(t, "GET", "/courses/"+o.ID, "", nil)
	wantIn(t, body, "24 km with 413 m of climbing", "elevations averaged over 70 m; ascent 459 m as recorded", `<svg class="way wide"`, `<svg class="way phone"`,
		"Its highest point", `<th scope="row">1</th>`, "harbour-ridge.gpx")
	_, h, body = v.ask(t, "GET", "/courses/"+o.ID+"/file", "", nil)
	if body != string(gpx) || h.Get("Content-Disposition") != "attachment; filename=harbour-ridge.gpx" || h.Get("Content-Type") != "application/gpx+xml" || h.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the file is not as it came: %d bytes of %d, %v", len(body), len(gpx), h)
	}
	if status, _, body = v.sendRig(t, "/courses/"+o.ID+"/edit", map[string]string{"name": ""}); status != 422 {
		t.Errorf("without a name: %d", status)
	}
	wantIn(t, body, "A name is needed")
	v.sendRig(t, "/courses/"+o.ID+"/edit", map[string]string{"name": "The ridge"})
	if o = onlyOne(t, db, store.Course); o.Name != "The ridge" || o.Original == nil || o.Original.Size != int64(len(gpx)) {
		t.Errorf("called something else: %+v", o)
	}
}

func TestBadCourseFilesAreExplained(t *testing.T) {
	v, db := rigSite(t)
	for name, c := range map[string]struct{ file, content, typed, says string }{
		"none":     {"", "", "Mine", "No file came with it"},
		"empty":    {"a.gpx", "", "Mine", "a.gpx is empty"},
		"number":   {"a.csv", "distance_m,elevation_m\n0,1\nx,2\n", "Mine", "a.csv: line 3, distance_m"},
		"no track": {"a.gpx", "<gpx version=\"1.1\"></gpx>", "Mine", "a.gpx: "},
		"picture":  {"a.gpx", "\x89PNG\r\n\x1a\n\x00\x00", "Mine", "a.gpx is neither a GPX file nor a table"},
		"short":    {"a.csv", "distance_m,elevation_m\n0,1\n50,2\n", "Mine", "expected at least 200 m"},
		"sketch":   {"a.yaml", "distance_km: 12\nascent_m: many\n", "Mine", "ascent_m"},
		"name":     {"a.csv", shortRoad, strings.Repeat("long ", 50), "expected at most 200"},
	} {
		t.Run(name, func(t *testing.T) {
			status, _, body := v.sendFile(t, c.file, c.content, c.typed)
			if status != 422 {
				t.Errorf("status %d; expected 422", status)
			}
			wantIn(t, body, c.says, `aria-invalid="true"`, strings.TrimSpace(c.typed))
		})
	}
	if all, _ := db.Objects(t.Context(), store.Course); len(all) != 0 {
		t.Errorf("%d courses were kept", len(all))
	}
}

func TestCourseLargerThanItsBound(t *testing.T) {
	v, _ := rigSite(t)
	if status, _, body := v.sendFile(t, "a.csv", shortRoad+strings.Repeat("\n", 52<<20), ""); status != 413 || !strings.Contains(body, "larger than") {
		t.Errorf("%d; expected 413 in a sentence", status)
	}
}

func TestCourseFromARouteList(t *testing.T) {
	v, db := rigSite(t)
	typed := map[string]string{"distance_km": "38", "ascent_m": "520", "main_climb.length_km": "5.2", "main_climb.gradient_percent": "6.1", "lead_in_m": "1.2 km", "summit_finish": "yes"}
	if status, _, _ := v.sendRig(t, "/courses/sketch", typed); status != 303 {
		t.Fatalf("status %d", status)
	}
	o := onlyOne(t, db, store.Course)
	if o.Name != "38.0 km with 520 m of ascent" || o.Original != nil {
		t.Errorf("%+v", o)
	}
	wantIn(t, o.Text, "distance_km: 38", "lead_in_m: 1200", "summit_finish: true", "gradient_percent: 6.1")
	_, _, body := v.ask(t, "GET", "/courses/"+o.ID, "", nil)
	wantIn(t, body, "Typed from a route list", "plausible outlines", "The main climb is 5.2 km long and gains 317 m")
	_, _, body = v.ask(t, "GET", "/courses/"+o.ID+"/edit", "", nil)
	wantIn(t, body, `value="38"`, `value="1200"`, "checked", "<details class=\"more\" open>")
	delete(typed, "summit_finish")
	typed["distance_km"], typed["name"] = "40", "By the reservoir"
	v.sendRig(t, "/courses/"+o.ID+"/edit", typed)
	if o = onlyOne(t, db, store.Course); o.Name != "By the reservoir" || strings.Contains(o.Text, "summit_finish: true") || !strings.Contains(o.Text, "distance_km: 40") {
		t.Errorf("changed: %+v", o)
	}
	_, h, body := v.ask(t, "GET", "/courses/"+o.ID+"/file", "", nil)
	if body != o.Text || !strings.Contains(h.Get("Content-Disposition"), "course.yaml") {
		t.Errorf("as a file: %q, %v", body, h)
	}
}

func TestBadSketchesAreKeptAndExplained(t *testing.T) {
	v, db := rigSite(t, store.Object{ID: "c1", Kind: store.Course, Name: "Old", Text: "distance_km: 12\nascent_m: 140\n"})
	for name, c := range map[string]struct {
		typed map[string]string
		says  []string
	}{
		"words":   {map[string]string{"distance_km": "twenty", "ascent_m": "310"}, []string{`value="twenty"`, `id="f-distance_km-error"`, `value="310"`}},
		"missing": {map[string]string{"distance_km": "20"}, []string{`id="f-ascent_m-error"`, `value="20"`}},
		"climb":   {map[string]string{"distance_km": "20", "ascent_m": "310", "main_climb.gradient_percent": "6"}, []string{`id="f-main_climb-length_km-error"`, `value="6"`, `<details class="more" open>`}},
		"laps":    {map[string]string{"distance_km": "20", "ascent_m": "310", "laps": "3", "lap_length_km": "2"}, []string{`role="alert"`, "does not work out", `value="3"`}},
	} {
		for _, path := range []string{"/courses/sketch", "/courses/c1/edit"} {
			t.Run(name+path, func(t *testing.T) {
				status, _, body := v.sendRig(t, path, c.typed)
				if status != 422 {
					t.Errorf("status %d; expected 422", status)
				}
				wantIn(t, body, c.says...)
			})
		}
	}
	if o := onlyOne(t, db, store.Course); o.Text != "distance_km: 12\nascent_m: 140\n" {
		t.Errorf("it was changed to %q", o.Text)
	}
}

func TestCoursesToChooseFrom(t *testing.T) {
	v, db := rigSite(t, store.Object{ID: "r1", Kind: store.Rider, Name: "Maren", Text: courseRider}, store.Object{ID: "g1", Kind: store.Rig, Name: "Box room", Text: courseRig},
		store.Object{ID: "long", Kind: store.Course, Name: "A long one", Text: "distance_km: 60\nascent_m: 100\n"},
		store.Object{ID: "short", Kind: store.Course, Name: "Z short one", Original: &store.Original{Filename: "s.csv", Media: "text/csv", Bytes: []byte(shortRoad)}})
	list := func(query string) string {
		t.Helper()
		for range 600 { // until all is reckoned: each asking waits for its time box
			status, _, body := v.ask(t, "GET", "/courses?"+query, "", nil)
			if status != 200 {
				t.Fatalf("%s: %d", query, status)
			}
			if !strings.Contains(body, "being reckoned") {
				return body
			}
		}
		t.Fatal("it never ends")
		return ""
	}
	body := list("")
	wantIn(t, body, "Maren", "Box room", "<small>load</small>", "60 km", "from a route list", `aria-current="true">name`)
	at := func(body, what string) int { return strings.Index(body, what) }
	if at(body, "A long one") > at(body, "Z short one") {
		t.Error("not in order of name")
	}
	for _, by := range []string{"time", "load", "distance"} {
		if body := list("sort=" + by); at(body, "A long one") < at(body, "Z short one") {
			t.Errorf("not in order of %s", by)
		}
	}
	if body := list("minutes=30"); strings.Contains(body, "A long one") || !strings.Contains(body, "Z short one") || !strings.Contains(body, "One course does not fit") || !strings.Contains(body, `minutes=30&amp;sort=time`) {
		t.Error("half an hour at hand: expected the short one alone, and links that keep the choice")
	}
	if body := list("hard=light"); strings.Contains(body, "A long one") {
		t.Error("two hours are light")
	}
	wantIn(t, list("minutes=20&hard=very-hard"), "No course fits that")
	list("rider=../../etc&rig=%00&minutes=-1&hard=x&sort=drop")
	if err := db.Delete(t.Context(), "r1"); err != nil {
		t.Fatal(err)
	}
	if body := list(""); strings.Contains(body, "<small>load</small>") || !strings.Contains(body, `href="/riders"`) {
		t.Error("without a rider there is no load, but the way to riders")
	}
}

func TestCoursesAreDeletedAfterAsking(t *testing.T) {
	v, db := rigSite(t, store.Object{ID: "c1", Kind: store.Course, Name: "Old", Text: "distance_km: 12\nascent_m: 140\n"},
		store.Object{ID: "r1", Kind: store.Rider, Name: "Maren", Text: courseRider})
	for _, path := range []string{"/courses/r1", "/courses/r1/edit", "/courses/r1/file", "/courses/r1/delete", "/courses/none", "/courses/none/delete"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("GET %s: %d; expected 404", path, status)
		}
	}
	for _, path := range []string{"/courses/r1/delete", "/courses/r1/edit", "/courses/none/delete"} {
		if status, _, _ := v.sendRig(t, path, map[string]string{"name": "x"}); status != 404 {
			t.Errorf("POST %s: %d; expected 404", path, status)
		}
	}
	onlyOne(t, db, store.Rider)
	_, _, body := v.ask(t, "GET", "/courses/c1/delete", "", nil)
	wantIn(t, body, "Delete Old?", `action="/courses/c1/delete"`)
	onlyOne(t, db, store.Course)
	if status, _, _ := v.sendRig(t, "/courses/c1/delete", nil); status != 303 {
		t.Errorf("status %d", status)
	}
	if all, _ := db.Objects(t.Context(), store.Course); len(all) != 0 {
		t.Error("it is still there")
	}
}
