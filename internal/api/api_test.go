package api

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"

	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

func demo(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile("../../demo/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

const (
	eventText  = "name: Evening ride\nkind: time-trial\n"
	sketchText = "name: Short loop\ndistance_km: 4\nascent_m: 30\n"
	roadText   = "name: Boards\ncrr: 0.004\n"
)

// make keeps something and returns its ID.
func (c *client) make(many, name, text string) string {
	c.t.Helper()
	return c.do("POST", "/"+many, map[string]any{"name": name, "text": text}, 201).id()
}

func texts(t *testing.T) map[string]string {
	return map[string]string{"riders": demo(t, "regular.yaml"), "rigs": demo(t, "regular-rig.yaml"), "roads": roadText,
		"courses": sketchText, "events": eventText}
}

// routes are all there are; the document must list them and no others.
func routes() []string {
	all := []string{
		"POST /api/v1/courses/upload", "GET /api/v1/courses/{id}/original", "GET /api/v1/courses/{id}/glance",
		"GET /api/v1/riders/{id}/capacity", "GET /api/v1/export",
		"GET /api/v1/rides", "GET /api/v1/rides/{id}", "GET /api/v1/rides/{id}/debrief", "GET /api/v1/rides/{id}/share", "PUT /api/v1/rides/{id}/answer", "DELETE /api/v1/rides/{id}",
		"GET /api/v1/riders/{id}/season", "POST /api/v1/imports", "GET /api/v1/imports/{id}", "POST /api/v1/imports/{id}/cancel", "POST /api/v1/imports/{id}/resume",
		"GET /api/v1/checks", "POST /api/v1/checks", "GET /api/v1/checks/{id}", "DELETE /api/v1/checks/{id}",
		"GET /api/v1/checks/{id}/corrections", "POST /api/v1/checks/{id}/apply", "POST /api/v1/checks/{id}/take-back",
		"GET /api/v1/briefs", "POST /api/v1/briefs", "GET /api/v1/briefs/{id}", "GET /api/v1/briefs/{id}/page", "DELETE /api/v1/briefs/{id}",
		"POST /api/v1/races/forecast", "POST /api/v1/races/handicap", "POST /api/v1/races/together",
		"GET /api/v1/calendar", "GET /api/v1/calendar.ics", "GET /api/v1/calendars", "POST /api/v1/calendars", "DELETE /api/v1/calendars/{id}",
		"GET /api/v1/events/{id}/results", "POST /api/v1/events/{id}/results", "DELETE /api/v1/events/{id}/results/{list}",
	}
	for _, k := range []string{"riders", "rigs", "roads", "courses", "events"} {
		at := "/api/v1/" + k
		all = append(all, "GET "+at, "POST "+at, "GET "+at+"/{id}", "PUT "+at+"/{id}", "DELETE "+at+"/{id}")
	}
	slices.Sort(all)
	return all
}

func TestDocument(t *testing.T) {
	c := newClient(t)
	if v := c.doc["openapi"]; v != "3.1.0" {
		t.Errorf("version %v", v)
	}
	var listed []string
	for path, item := range c.doc["paths"].(map[string]any) {
		for method, op := range item.(map[string]any) {
			listed = append(listed, strings.ToUpper(method)+" "+path)
			if op.(map[string]any)["summary"] == "" || op.(map[string]any)["operationId"] == "" {
				t.Errorf("%s %s says nothing of itself", method, path)
			}
		}
	}
	slices.Sort(listed)
	if !slices.Equal(listed, routes()) {
		t.Errorf("the document lists\n%s\nexpected\n%s", strings.Join(listed, "\n"), strings.Join(routes(), "\n"))
	}
	whole, _ := json.Marshal(c.doc)
	for _, foreign := range []string{"http://", "https://", "$schema"} {
		if bytes.Contains(whole, []byte(foreign)) {
			t.Errorf("the document speaks of %s", foreign)
		}
	}
	for _, page := range []string{"/docs", "/schemas/Problem.json"} {
		c.do("GET", page, nil, 404)
	}
}

// Every route is walked through once, and answers as the document says.
func TestEveryRoute(t *testing.T) {
	c := newClient(t)
	ids := map[string]string{}
	for many, text := range texts(t) {
		if n := len(c.do("GET", "/"+many, nil, 200).json()["items"].([]any)); n != 0 {
			t.Errorf("%d %s at first", n, many)
		}
		made := c.do("POST", "/"+many, map[string]any{"name": "Ann's", "text": text}, 201)
		ids[many] = made.id()
		if got := c.do("GET", strings.TrimPrefix(made.Header().Get("Location"), Prefix), nil, 200); got.Body.String() != made.Body.String() {
			t.Errorf("%s: made as %s, got as %s", many, made.Body, got.Body)
		}
		if made.json()["text"] != text || made.json()["kind"] != strings.TrimSuffix(many, "s") {
			t.Errorf("%s: kept as %v", many, made.json())
		}
		put := c.do("PUT", "/"+many+"/"+ids[many], map[string]any{"name": "Other", "text": text + "# more\n"}, 200).json()
		if put["name"] != "Other" || put["text"] != text+"# more\n" {
			t.Errorf("%s: changed to %v", many, put)
		}
		if n := len(c.do("GET", "/"+many, nil, 200).json()["items"].([]any)); n != 1 {
			t.Errorf("%d %s", n, many)
		}
	}
	c.walkCourses()
	c.walkBriefs(ids)
	c.walkRides(ids)
	c.walkChecks(ids)
	c.walkRaces(ids)
	for many, id := range ids {
		c.do("DELETE", "/"+many+"/"+id, nil, 204)
		c.do("GET", "/"+many+"/"+id, nil, 404)
		c.do("DELETE", "/"+many+"/"+id, nil, 404)
		c.do("PUT", "/"+many+"/"+id, map[string]any{"name": "x", "text": texts(t)[many]}, 404)
	}
	for _, route := range routes() {
		if !slices.ContainsFunc(slices.Collect(maps.Keys(c.seen)), func(s string) bool { return strings.HasPrefix(s, route+" 2") }) {
			t.Errorf("%s was never answered", route)
		}
	}
}

func (c *client) walkCourses() {
	c.t.Helper()
	survey := demo(c.t, "two-mills.csv")
	up := c.do("POST", "/courses/upload?filename=two-mills.csv&name=Two+Mills", survey, 201)
	original := up.json()["original"].(map[string]any)
	if up.json()["name"] != "Two Mills" || original["filename"] != "two-mills.csv" || original["media"] != "text/csv" || original["size_bytes"] != float64(len(survey)) {
		c.t.Errorf("uploaded as %v", up.json())
	}
	file := c.do("GET", "/courses/"+up.id()+"/original", nil, 200)
	if file.Body.String() != survey || !strings.HasPrefix(file.Header().Get("Content-Type"), "text/csv") || file.Header().Get("Content-Disposition") != `attachment; filename=two-mills.csv` {
		c.t.Errorf("it came back as %v %.80s", file.Header(), file.Body)
	}
	if name := c.do("PUT", "/courses/"+up.id(), map[string]any{"name": "Mills", "text": ""}, 200).json()["name"]; name != "Mills" {
		c.t.Errorf("called %v", name)
	}
	if file := c.do("GET", "/courses/"+up.id()+"/original", nil, 200); file.Body.String() != survey {
		c.t.Error("the original did not survive a new name")
	}
	gpx := c.do("POST", "/courses/upload?filename=harbour-ridge.gpx", demo(c.t, "harbour-ridge.gpx"), 201)
	if gpx.json()["name"] != "harbour-ridge" {
		c.t.Errorf("called %v", gpx.json()["name"])
	}
	c.do("DELETE", "/courses/"+gpx.id(), nil, 204)
	c.do("DELETE", "/courses/"+up.id(), nil, 204)
}

func (c *client) walkBriefs(ids map[string]string) {
	c.t.Helper()
	who := "rider=" + ids["riders"] + "&rig=" + ids["rigs"]
	power := c.do("GET", "/riders/"+ids["riders"]+"/capacity?date=2026-11-20&rig="+ids["rigs"], nil, 200).json()
	if n := len(power["curve"].([]any)); n != len(curveTimes) {
		c.t.Errorf("%d points of the curve", n)
	}
	glance := c.do("GET", "/courses/"+ids["courses"]+"/glance?"+who+"&road="+ids["roads"]+"&event="+ids["events"], nil, 200).json()
	if glance["distance_m"] != 4000.0 || glance["low80_s"].(float64) >= glance["high80_s"].(float64) {
		c.t.Errorf("a glance of %v", glance)
	}
	ask := map[string]any{"rider": ids["riders"], "rig": ids["rigs"], "road": ids["roads"], "course": ids["courses"], "event": ids["events"], "draws": 50}
	made := c.do("POST", "/briefs", ask, 201)
	if got := c.do("GET", "/briefs/"+made.id(), nil, 200); got.Body.String() != made.Body.String() {
		c.t.Error("the brief that is kept is another one")
	}
	page := c.do("GET", "/briefs/"+made.id()+"/page", nil, 200)
	if !strings.Contains(page.Body.String(), "<h1") || !strings.HasPrefix(page.Header().Get("Content-Disposition"), "attachment") {
		c.t.Errorf("its page: %v %.80s", page.Header(), page.Body)
	}
	for query, n := range map[string]int{"": 1, "?rider=" + ids["riders"]: 1, "?rider=another": 0} {
		if items := c.do("GET", "/briefs"+query, nil, 200).json()["items"].([]any); len(items) != n {
			c.t.Errorf("%q lists %v", query, items)
		}
	}
	c.export("", 5, 1)
	c.export("?rider="+ids["riders"], 5, 1)
	c.do("DELETE", "/briefs/"+made.id(), nil, 204)
	c.do("GET", "/briefs/"+made.id(), nil, 404)
	c.do("GET", "/briefs/"+made.id()+"/page", nil, 404)
	c.do("DELETE", "/briefs/"+made.id(), nil, 404)
}

func (c *client) export(query string, objects, briefs int) {
	c.t.Helper()
	got := c.do("GET", "/export"+query, nil, 200).Body.Bytes()
	z, err := zip.NewReader(bytes.NewReader(got), int64(len(got)))
	if err != nil {
		c.t.Fatal(err)
	}
	f, err := z.Open("manifest.json")
	if err != nil {
		c.t.Fatal(err)
	}
	defer f.Close()
	text, _ := io.ReadAll(f)
	var m struct{ Objects, Briefs []any }
	if err := json.Unmarshal(text, &m); err != nil || len(m.Objects) != objects || len(m.Briefs) != briefs {
		c.t.Errorf("export%s: %v, %s", query, err, text)
	}
}

// The brief by the API is the brief by the service, to the byte.
func TestBriefIsTheServices(t *testing.T) {
	c := newClient(t)
	rider, rig := c.make("riders", "Regular", demo(t, "regular.yaml")), c.make("rigs", "Rig", demo(t, "regular-rig.yaml"))
	up := c.do("POST", "/courses/upload?filename=two-mills.csv", demo(t, "two-mills.csv"), 201)
	got := c.do("POST", "/briefs", map[string]any{"rider": rider, "rig": rig, "course": up.id(), "seed": 7, "draws": 60, "style": "careful"}, 201)
	b, err := service.Brief(t.Context(), service.BriefRequest{Rider: "../../demo/regular.yaml", Rig: "../../demo/regular-rig.yaml", Course: "../../demo/two-mills.csv",
		Style: "careful", Seed: 7, Draws: 60, Today: noon, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	if err := render.JSON(&want, b); err != nil {
		t.Fatal(err)
	}
	if got.Body.String() != want.String() {
		t.Error("the API's brief differs from the service's")
	}
	kept, err := c.store.Brief(t.Context(), got.id())
	if err != nil || kept.RiderID != rider || kept.CourseID != up.id() || !strings.Contains(string(kept.Request), `"rider":"rider/`+rider+`"`) || !strings.Contains(string(kept.Request), `"seed":7`) {
		t.Errorf("kept with %+v, asked as %s, %v", kept.RiderID, kept.Request, err)
	}
	other := c.do("POST", "/briefs", map[string]any{"rider": rider, "rig": rig, "course": up.id(), "seed": 8, "draws": 60, "style": "careful"}, 201)
	if other.Body.String() == got.Body.String() {
		t.Error("another seed makes the same brief")
	}
}

func TestSketchAndPlan(t *testing.T) {
	c := newClient(t)
	rider, rig := c.make("riders", "Regular", demo(t, "regular.yaml")), c.make("rigs", "Rig", demo(t, "regular-rig.yaml"))
	climb := map[string]any{"length_m": 1000, "ascent_m": 50, "from_m": 2000}
	b := c.do("POST", "/briefs", map[string]any{"rider": rider, "rig": rig, "draws": 20,
		"sketch": map[string]any{"distance_m": 5000, "ascent_m": 60, "main_climb": climb}}, 201).json()
	if course := b["course"].(map[string]any); course["known"] != "sketch" || course["distance_m"] != 5000.0 {
		t.Errorf("the course of a sketch: %v", course["name"])
	}
	flat := c.do("POST", "/courses/upload?filename=flat.csv", "distance_m,elevation_m\n0,10\n3000,10\n", 201).id()
	b = c.do("POST", "/briefs", map[string]any{"rider": rider, "rig": rig, "course": flat, "draws": 20, "plan": "from_m,to_m,watts\n0,3000,150\n"}, 201).json()
	if w := b["plan"].(map[string]any)["mean_watts"].(float64); w < 149 || w > 151 {
		t.Errorf("a plan of 150 W has %v", w)
	}
}

func TestRefusals(t *testing.T) {
	c := newClient(t)
	rider, rig := c.make("riders", "Regular", demo(t, "regular.yaml")), c.make("rigs", "Rig", demo(t, "regular-rig.yaml"))
	loop := c.make("courses", "Loop", sketchText)
	body := func(more map[string]any) map[string]any {
		b := map[string]any{"rider": rider, "rig": rig, "course": loop, "draws": 10}
		maps.Copy(b, more)
		return b
	}
	const evidence = "mass_kg: 70\nevidence:\n  - {kind: test, duration_s: 300, watts: 9000, date: 2026-11-01}\n"
	for _, no := range []struct {
		method, at string
		body       any
		status     int
		path, says string
	}{
		{"POST", "/riders", map[string]any{"name": "x", "text": "mass_kg: heavy\n"}, 422, "mass_kg", "mass_kg"},
		{"POST", "/riders", map[string]any{"name": "x", "text": evidence}, 422, "evidence[1].watts", "out of range"},
		{"POST", "/riders", map[string]any{"name": "", "text": demo(t, "regular.yaml")}, 422, "name", "name"},
		{"POST", "/riders", map[string]any{"name": "x", "text": demo(t, "regular.yaml"), "colour": "red"}, 422, "colour", "colour"},
		{"POST", "/riders", map[string]any{"text": demo(t, "regular.yaml")}, 422, "", "name"},
		{"POST", "/riders", map[string]any{"name": "x\ny", "text": demo(t, "regular.yaml")}, 422, "", "one line"},
		{"POST", "/riders", map[string]any{"name": "x", "text": strings.Repeat("# long\n", 1<<18)}, 422, "", ""},
		{"POST", "/riders", map[string]any{"name": "x", "text": strings.Repeat("x", 5<<20)}, 413, "", ""},
		{"PUT", "/riders/" + rider, map[string]any{"name": "x", "text": "mass_kg: heavy\n"}, 422, "mass_kg", "mass_kg"},
		{"PUT", "/courses/" + loop, map[string]any{"name": "x", "text": ""}, 422, "", ""},
		{"PUT", "/riders/" + rig, map[string]any{"name": "x", "text": demo(t, "regular.yaml")}, 404, "", "no rider"},
		{"GET", "/riders/" + rig, nil, 404, "", "no rider"},
		{"DELETE", "/rigs/" + rider, nil, 404, "", "no rig"},
		{"GET", "/riders/..%2f..%2fetc", nil, 422, "id", ""},
		{"GET", "/courses/" + loop + "/original", nil, 404, "", "not uploaded"},
		{"POST", "/courses/upload?filename=x.csv", "distance_m,elevation_m\n0,0\n0,0\n", 422, "", ""},
		{"POST", "/courses/upload?filename=x.gpx", "<gpx", 422, "", ""},
		{"POST", "/courses/upload?filename=x.exe", "MZ", 422, "filename", ".gpx or .csv"},
		{"POST", "/courses/upload", "x", 422, "filename", "required"},
		{"GET", "/riders/" + rider + "/capacity", nil, 422, "rig", "required"},
		{"GET", "/riders/" + rider + "/capacity?rig=none", nil, 422, "rig", "no rig"},
		{"GET", "/riders/none/capacity?rig=" + rig, nil, 404, "", "no rider"},
		{"GET", "/riders/" + rider + "/capacity?date=yesterday&rig=" + rig, nil, 422, "date", "2026-12-03"},
		{"GET", "/courses/none/glance?rider=" + rider + "&rig=" + rig, nil, 404, "", "no course"},
		{"GET", "/courses/" + loop + "/glance?rig=" + rig, nil, 422, "rider", "required"},
		{"GET", "/courses/" + loop + "/glance?laps=-1&rider=" + rider + "&rig=" + rig, nil, 422, "laps", ""},
		{"GET", "/courses/" + loop + "/glance?reverse=true&rider=" + rider + "&rig=" + rig, nil, 422, "reverse", "direction"},
		{"GET", "/export?rider=none", nil, 404, "", "no rider"},
		{"GET", "/export?ryder=none", nil, 422, "ryder", ""},
		{"POST", "/briefs", body(map[string]any{"rider": "none"}), 422, "rider", "no rider"},
		{"POST", "/briefs", body(map[string]any{"rider": rig}), 422, "rider", "no rider"},
		{"POST", "/briefs", body(map[string]any{"event": "none"}), 422, "event", "no event"},
		{"POST", "/briefs", body(map[string]any{"style": "wild"}), 422, "style", ""},
		{"POST", "/briefs", body(map[string]any{"date": "2026-02-31"}), 422, "date", ""},
		{"POST", "/briefs", body(map[string]any{"cues_per_hour": 900}), 422, "cues_per_hour", "cues_per_hour"},
		{"POST", "/briefs", body(map[string]any{"w_prime_j": 20000}), 422, "", "critical_power_w"},
		{"POST", "/briefs", body(map[string]any{"draws": 1e9}), 422, "draws", ""},
		{"POST", "/briefs", body(map[string]any{"course": ""}), 422, "", "no course"},
		{"POST", "/briefs", body(map[string]any{"sketch": map[string]any{"distance_m": 1000, "ascent_m": 0}}), 422, "course", "sketch"},
		{"POST", "/briefs", body(map[string]any{"plan": "from_m,to_m,watts\n0,10,150\n"}), 422, "plan", "sketch"},
		{"POST", "/briefs", []int{1}, 422, "", "object"},
		{"GET", "/briefs/none", nil, 404, "", "there is no brief"},
		{"GET", "/nowhere", nil, 404, "", "openapi.json"},
		{"PATCH", "/riders/" + rider, nil, 405, "", "GET, PUT, DELETE"},
		{"DELETE", "/export", nil, 405, "", "GET"},
	} {
		t.Run(fmt.Sprintf("%s %.40s %d %s", no.method, no.at, no.status, no.path), func(t *testing.T) {
			c := *c
			c.t = t
			got := c.do(no.method, no.at, no.body, no.status)
			if media := got.Header().Get("Content-Type"); media != "application/problem+json" {
				t.Errorf("media type %q", media)
			}
			var p Problem
			if err := json.Unmarshal(got.Body.Bytes(), &p); err != nil {
				t.Fatal(err)
			}
			if p.Status != no.status || p.Path != no.path || !strings.Contains(p.Detail, no.says) || p.Detail == "" || strings.Contains(p.Detail+p.Hint, "--") {
				t.Errorf("%+v", p)
			}
		})
	}
	for kind, n := range map[store.Kind]int{store.Rider: 1, store.Rig: 1, store.Course: 1} {
		if all, err := c.store.Objects(t.Context(), kind); err != nil || len(all) != n {
			t.Errorf("after refusals %d %ss, %v", len(all), kind, err)
		}
	}
	if all, err := c.store.Briefs(t.Context(), ""); err != nil || len(all) != 0 {
		t.Errorf("after refusals %d briefs, %v", len(all), err)
	}
}

// Whoever says which version they mean never writes over another.
func TestOnlyTheVersionThatWasRead(t *testing.T) {
	c := newClient(t)
	send := func(method, at, match string, body any, status int) answer {
		t.Helper()
		sent, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		q := httptest.NewRequest(method, Prefix+at, bytes.NewReader(sent))
		q.Header.Set("Content-Type", "application/json")
		q.Header.Set("If-Match", match)
		return c.send(q, status)
	}
	text := demo(t, "regular.yaml")
	for many, text := range texts(t) {
		made := c.do("POST", "/"+many, map[string]any{"name": "Ann's", "text": text}, 201)
		at, first := "/"+many+"/"+made.id(), made.Header().Get("ETag")
		if got := c.do("GET", at, nil, 200).Header().Get("ETag"); got != first || len(first) < 10 {
			t.Fatalf("%s: made as %q, got as %q", many, first, got)
		}
		second := send("PUT", at, `"another", `+first, map[string]any{"name": "Bea's", "text": text}, 200).Header().Get("ETag")
		if second == first {
			t.Errorf("%s: another name has the same version", many)
		}
		before := c.do("GET", at, nil, 200).Body.String()
		for _, match := range []string{first, "W/" + second, `"` + second, `""`} {
			send("PUT", at, match, map[string]any{"name": "Cy's", "text": text}, 412)
			send("DELETE", at, match, nil, 412)
		}
		if after := c.do("GET", at, nil, 200).Body.String(); after != before {
			t.Errorf("%s: refused, and yet\n%s\nbecame\n%s", many, before, after)
		}
		send("PUT", at, "*", map[string]any{"name": "Dee's", "text": text}, 200)
		send("DELETE", at, c.do("GET", at, nil, 200).Header().Get("ETag"), nil, 204)
	}
	// Two who read the same version: one of them is told.
	at := "/riders/" + c.make("riders", "Both", text)
	version := c.do("GET", at, nil, 200).Header().Get("ETag")
	codes := make(chan int, 8)
	for i := range 8 {
		go func() {
			sent, _ := json.Marshal(map[string]any{"name": fmt.Sprint("by ", i), "text": text})
			q := httptest.NewRequest("PUT", Prefix+at, bytes.NewReader(sent))
			q.Header.Set("Content-Type", "application/json")
			q.Header.Set("If-Match", version)
			got := httptest.NewRecorder()
			c.api.ServeHTTP(got, q)
			codes <- got.Code
		}()
	}
	wrote := 0
	for range 8 {
		switch code := <-codes; code {
		case 200:
			wrote++
		case 412:
		default:
			t.Errorf("status %d", code)
		}
	}
	if wrote != 1 {
		t.Errorf("%d of 8 wrote over one version, expected 1", wrote)
	}
}

func TestBodiesThatAreNoJSON(t *testing.T) {
	c := newClient(t)
	for body, status := range map[string]int{"": 400, "{": 400, "null": 422, `{"name":1}`: 422, "name: x": 400} {
		q := httptest.NewRequest("POST", Prefix+"/riders", strings.NewReader(body))
		q.Header.Set("Content-Type", "application/json")
		c.send(q, status)
	}
	q := httptest.NewRequest("POST", Prefix+"/riders", strings.NewReader(`name=x`))
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	c.send(q, 415)
}
