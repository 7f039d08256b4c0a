package web_test

import (
	"bytes"
	"encoding/json"
	"html"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
)

func briefObjects() []store.Object {
	return []store.Object{
		{ID: "r1", Kind: store.Rider, Name: "Maren", Text: courseRider},
		{ID: "g1", Kind: store.Rig, Name: "Box room", Text: courseRig + "room: {temperature_c: 20, fans: [\"one desk fan, high\"]}\n"},
		{ID: "c1", Kind: store.Course, Name: "Short road", Original: &store.Original{Filename: "s.csv", Media: "text/csv", Bytes: []byte(shortRoad)}},
		{ID: "d1", Kind: store.Road, Name: "My bike", Text: "bike_mass_kg: 8\n"},
		{ID: "e1", Kind: store.Event, Name: "Club night", Text: "name: Club night\nstart: 2027-01-05T19:30\ntime_zone: Europe/Dublin\nkind: group\n"},
	}
}

var asked = map[string]string{"rider": "r1", "rig": "g1", "course": "c1", "road": "d1", "event": "e1", "style": "normal"}

// changed is the page of a brief with a change, once it is reckoned.
func (v *site) changed(t *testing.T, path string) (status int, body string) {
	t.Helper()
	for range 200 { // each asking waits a while
		if status, _, body = v.ask(t, "GET", path, "", nil); !strings.Contains(body, "data-again") {
			return status, body
		}
	}
	t.Fatal("the change is never reckoned")
	return 0, ""
}

// made sends the form and follows it, through the page that waits, to a brief.
func (v *site) made(t *testing.T, path string, form map[string]string) string {
	t.Helper()
	status, h, body := v.sendRig(t, path, form)
	for range 200 { // each asking waits for up to a second
		to := h.Get("Location")
		if status != 303 && status != 200 {
			t.Fatalf("%d: %s", status, body)
		}
		if status == 303 && !strings.HasPrefix(to, "/briefs/making/") {
			return to
		}
		if status == 200 && h.Get("Refresh") == "" {
			t.Fatal("the page that waits does not go on by itself")
		}
		if status == 303 {
			path = to
		}
		status, h, body = v.ask(t, "GET", path, "", nil)
	}
	t.Fatal("it never ends")
	return ""
}

func TestBriefIsMadeReadChangedKeptAndDeleted(t *testing.T) {
	v, db := rigSite(t, briefObjects()...)
	_, _, body := v.ask(t, "GET", "/briefs", "", nil)
	wantIn(t, body, "There is no brief yet", `href="/briefs/new"`)
	_, _, body = v.ask(t, "GET", "/briefs/new?event=e1", "", nil)
	wantIn(t, body, `<option value="e1" selected>`, "An ordinary open road", `value="normal" checked`)
	at := v.made(t, "/briefs/new", asked)
	all, _ := db.Briefs(t.Context(), "")
	if len(all) != 1 || at != "/briefs/"+all[0].ID || all[0].RiderID != "r1" || all[0].EventID != "e1" || all[0].RoadID != "d1" || all[0].Demo {
		t.Fatalf("%s: %+v", at, all)
	}
	kept, _ := db.Brief(t.Context(), all[0].ID)
	if !strings.Contains(string(kept.Request), `"rider":"rider/r1"`) || !json.Valid(kept.Result) {
		t.Errorf("request %s", kept.Request)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "<h1>Club night</h1>", "Ride it like this", "Worth doing before the start", `class="strip wide"`, `value="20"`, `value="one desk fan, 1 m away, high"`, `value="70"`)
	if strings.Contains(body, "<style") || strings.Count(body, "<main") != 1 || strings.Contains(body, "What moves") {
		t.Error("the sheet brought its style, its main or a change along")
	}
	status, body := v.changed(t, at+"?temperature=30&fans=no+fan&style=careful&mass=70&airflow=")
	wantIn(t, body, "What moves", "Finish, most likely", "later", "The room at the end", `value="no fan"`, `<option value="careful" selected>`)
	if status != 200 {
		t.Errorf("changed: %d", status)
	}
	next := v.made(t, at, map[string]string{"temperature": "30", "fans": "no fan", "style": "careful", "mass": "154 lb", "airflow": ""})
	all, _ = db.Briefs(t.Context(), "")
	kept, _ = db.Brief(t.Context(), strings.TrimPrefix(next, "/briefs/"))
	if len(all) != 2 || next == at {
		t.Fatalf("%d briefs, %s", len(all), next)
	}
	for _, want := range []string{`"temperature":"30"`, `"fans":"no fan"`, `"style":"careful"`, `"mass":"69.85`} {
		if !strings.Contains(string(kept.Request), want) {
			t.Errorf("the request lacks %s: %s", want, kept.Request)
		}
	}
	_, _, body = v.ask(t, "GET", next, "", nil)
	wantIn(t, body, `value="30"`, `value="no fan"`, `<option value="careful" selected>`)
	_, _, body = v.ask(t, "GET", at+"/delete", "", nil)
	wantIn(t, body, "Delete Club night?")
	if status, _, _ := v.sendRig(t, at+"/delete", nil); status != 303 {
		t.Errorf("deleting: %d", status)
	}
	if all, _ := db.Briefs(t.Context(), ""); len(all) != 1 {
		t.Errorf("%d are left", len(all))
	}
}

func TestFacesOfABrief(t *testing.T) {
	v, db := rigSite(t, briefObjects()...)
	at := v.made(t, "/briefs/new", asked)
	kept, _ := db.Brief(t.Context(), strings.TrimPrefix(at, "/briefs/"))
	for face, c := range map[string]struct{ media, disposition, has string }{
		"page": {"text/html; charset=utf-8", "", "Ride it like this"},
		"file": {"text/html; charset=utf-8", `attachment; filename="brief Club night.html"`, "Ride it like this"},
		"json": {"application/json", `attachment; filename="brief Club night.json"`, `"schema": "chainline-brief/1"`},
		"card": {"text/html; charset=utf-8", "", `class="hold"`},
	} {
		status, h, body := v.ask(t, "GET", at+"/"+face, "", nil)
		if status != 200 || h.Get("Content-Type") != c.media || h.Get("Content-Disposition") != c.disposition || !strings.Contains(body, c.has) {
			t.Errorf("%s: %d %q %q", face, status, h.Get("Content-Type"), h.Get("Content-Disposition"))
		}
		policy := h.Get("Content-Security-Policy")
		if alone := face == "page" || face == "card"; alone != strings.Contains(policy, "sandbox") || strings.Contains(policy, "script-src 'unsafe") {
			t.Errorf("%s has the policy %q", face, policy)
		}
		if face != "card" && face != "json" && body != string(kept.Page) {
			t.Errorf("%s is not the page as it was kept", face)
		}
	}
	_, _, card := v.ask(t, "GET", at+"/card", "", nil)
	files := map[string]string{"rider.yaml": briefObjects()[0].Text, "rig.yaml": briefObjects()[1].Text, "Short road.csv": shortRoad, "road.yaml": briefObjects()[3].Text, "event.yaml": briefObjects()[4].Text}
	b, err := service.Brief(t.Context(), service.BriefRequest{Rider: "rider.yaml", Rig: "rig.yaml", Course: "Short road.csv", Road: "road.yaml", Event: "event.yaml",
		Today: time.Now(), Seed: 1, Draws: 1000, Open: func(name string) (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(files[name])), nil }})
	if err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	if err := render.Card(&want, b); err != nil || want.String() != card {
		t.Errorf("the card read back from the kept result is not the command's: %v", err)
	}
	for _, path := range []string{"/briefs/none", "/briefs/none/page", "/briefs/r1", at + "/else"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("GET %s: %d; expected 404", path, status)
		}
	}
	// One that the program forgot, as after it was killed, leads to the others.
	if status, h, _ := v.ask(t, "GET", "/briefs/making/none", "", nil); status != 303 || h.Get("Location") != "/briefs" {
		t.Errorf("a brief that is not being made: %d to %s", status, h.Get("Location"))
	}
}

func TestBadBriefsAreKeptAndExplained(t *testing.T) {
	objects := append(briefObjects(), store.Object{ID: "bad", Kind: store.Rider, Name: "Broken", Text: "mass_kg: heavy\n"})
	v, db := rigSite(t, objects...)
	for name, c := range map[string]struct{ field, value, says string }{
		"no rider":       {"rider", "", "Choose a rider."},
		"foreign rider":  {"rider", "c1", "That rider is not there any more"},
		"no such course": {"course", "none", "That course is not there any more"},
		"event":          {"event", "d1", "That event is not there any more"},
		"date":           {"date", "soon", "That is no day"},
		"old date":       {"date", "1066-10-14", "That is no day"},
		"style":          {"style", "mad", "Choose one of these"},
		"unread rider":   {"rider", "bad", "mass_kg"},
	} {
		t.Run(name, func(t *testing.T) {
			form := map[string]string{}
			for k, v := range asked {
				form[k] = v
			}
			form[c.field] = c.value
			status, _, body := v.sendRig(t, "/briefs/new", form)
			if status != 422 {
				t.Errorf("status %d; expected 422", status)
			}
			wantIn(t, body, c.says, `role="alert"`)
			if c.field != "event" {
				wantIn(t, body, `<option value="e1" selected>`)
			}
		})
	}
	if all, _ := db.Briefs(t.Context(), ""); len(all) != 0 {
		t.Errorf("%d were kept", len(all))
	}
}

func TestBadChangesAreKeptAndExplained(t *testing.T) {
	v, db := rigSite(t, briefObjects()...)
	at := v.made(t, "/briefs/new", asked)
	for name, c := range map[string]struct{ query, field, typed string }{
		"temperature": {"temperature=warm", "temperature", `value="warm"`},
		"fans":        {"fans=one+whale", "fans", `value="one whale"`},
		"airflow":     {"airflow=400", "airflow", `value="400"`},
		"mass":        {"mass=", "mass", `id="f-mass"`},
		"style":       {"style=mad", "style", `id="f-style"`},
	} {
		status, _, body := v.ask(t, "GET", at+"?"+c.query, "", nil)
		if status != 422 {
			t.Errorf("%s: %d; expected 422", name, status)
		}
		wantIn(t, body, c.typed, `id="f-`+c.field+`-error"`, "Ride it like this")
		if status, _, _ := v.ask(t, "POST", at, c.query, nil); status != 422 {
			t.Errorf("POST %s: %d; expected 422", name, status)
		}
	}
	rider, _ := db.Object(t.Context(), "r1")
	rider.Text = strings.Replace(rider.Text, "mass_kg: 70", "mass_kg: 71", 1)
	if _, err := db.Put(t.Context(), rider); err != nil {
		t.Fatal(err)
	}
	_, _, body := v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "Maren changed since this brief was made", "/briefs/new?course=c1&amp;event=e1&amp;rider=r1&amp;rig=g1&amp;road=d1&amp;style=normal", `value="71"`)
	if err := db.Delete(t.Context(), "g1"); err != nil {
		t.Fatal(err)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "not all here any more", "Ride it like this")
	if status, _, _ := v.ask(t, "POST", at, "temperature=30", nil); status != 409 {
		t.Errorf("a change without its rig: %d; expected 409", status)
	}
}

func TestBriefThatIsStopped(t *testing.T) {
	long := "distance_m,elevation_m\n"
	for i := range 400 {
		long += itoa(i*500) + "," + itoa((i%7)*30) + "\n"
	}
	v, db := rigSite(t, append(briefObjects(), store.Object{ID: "c2", Kind: store.Course, Name: "Long",
		Original: &store.Original{Filename: "l.csv", Media: "text/csv", Bytes: []byte(long)}})...)
	form := map[string]string{"rider": "r1", "rig": "g1", "course": "c2"}
	status, h, _ := v.sendRig(t, "/briefs/new", form)
	at := h.Get("Location")
	if status != 303 || !strings.HasPrefix(at, "/briefs/making/") {
		t.Fatalf("%d to %s; expected a page that waits", status, at)
	}
	status, h, body := v.ask(t, "GET", at, "", nil)
	if status == 200 {
		wantIn(t, body, "is being made", "Stop it")
		if h.Get("Refresh") == "" {
			t.Error("it does not go on by itself")
		}
	}
	if status, _, _ := v.sendRig(t, at+"/stop", nil); status != 303 {
		t.Errorf("stopping: %d", status)
	}
	if status, h, _ := v.ask(t, "GET", at, "", nil); status != 303 || h.Get("Location") != "/briefs" {
		t.Errorf("after it was stopped: %d to %s", status, h.Get("Location"))
	}
	if all, _ := db.Briefs(t.Context(), ""); len(all) != 0 {
		t.Errorf("%d were kept", len(all))
	}
}

// A change that takes long says how far it is, asks again by itself, and can be
// stopped; whoever hangs up stops it too.
func TestChangeThatTakesLong(t *testing.T) {
	long := "distance_m,elevation_m\n"
	for i := range 400 {
		long += itoa(i*500) + "," + itoa((i%7)*30) + "\n"
	}
	v, db := rigSite(t, append(briefObjects(), store.Object{ID: "c2", Kind: store.Course, Name: "Long",
		Original: &store.Original{Filename: "l.csv", Media: "text/csv", Bytes: []byte(long)}})...)
	at := v.made(t, "/briefs/new", asked)
	kept, err := db.Brief(t.Context(), strings.TrimPrefix(at, "/briefs/"))
	if err != nil {
		t.Fatal(err)
	}
	kept.ID, kept.CourseID, kept.Request = "", "c2", []byte(strings.ReplaceAll(string(kept.Request), "course/c1", "course/c2"))
	if kept, err = db.PutBrief(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	at = "/briefs/" + kept.ID
	status, _, body := v.ask(t, "GET", at+"?temperature=31", "", nil)
	if status != 200 {
		t.Fatal(status, body)
	}
	wantIn(t, body, "is being reckoned", "data-again", `<noscript><meta http-equiv="refresh" content="0"/></noscript>`, "Ride it like this", "Stop it")
	job := regexp.MustCompile(`name="job" value="([a-z0-9]+)"`).FindStringSubmatch(body)
	if job == nil {
		t.Fatal("it does not say what is to be stopped")
	}
	// Asked again it is the same one.
	_, _, body = v.ask(t, "GET", at+"?temperature=31", "", nil)
	wantIn(t, body, job[1])
	if status, h, _ := v.sendRig(t, at+"/stop", map[string]string{"job": job[1]}); status != 303 || h.Get("Location") != at {
		t.Errorf("stopping: %d to %s", status, h.Get("Location"))
	}
	_, _, body = v.ask(t, "GET", at+"?temperature=31", "", nil)
	other := regexp.MustCompile(`name="job" value="([a-z0-9]+)"`).FindStringSubmatch(body)
	if other == nil || other[1] == job[1] {
		t.Fatal("it was stopped and goes on")
	}
	v.sendRig(t, at+"/stop", map[string]string{"job": other[1]})
}

func itoa(n int) string { return strconv.Itoa(n) }

// A sketch has its name where it is kept, and so has its brief.
func TestBriefOfASketchIsCalledAfterIt(t *testing.T) {
	v, db := rigSite(t, append(briefObjects()[:2], store.Object{ID: "k1", Kind: store.Course, Name: "By the reservoir", Text: "distance_km: 3\nascent_m: 40\n"})...)
	v.made(t, "/briefs/new", map[string]string{"rider": "r1", "rig": "g1", "course": "k1"})
	if all, _ := db.Briefs(t.Context(), ""); len(all) != 1 || all[0].Title != "By the reservoir" {
		t.Errorf("%+v", all)
	}
}

// A page from somebody's archive brings nothing along that could lead
// anywhere.
func TestForeignSheetIsHarmless(t *testing.T) {
	page := `<html><body class="x"><main><h1>Title</h1><p onclick="x()" style="color:red" class="small">Text &amp; more<script>alert(1)</script></p>` +
		`<form action="/settings/demo" method="post"><button>Press</button></form><a href="https://example.org">away</a><img src="https://example.org/x.png"/>` +
		`<svg viewBox="0 0 1 1"><path d="M0 0" fill="url(https://example.org)" stroke="var(--k1)"/><foreignObject><iframe src="x"></iframe></foreignObject></svg></main></body></html>`
	got, err := web.BriefSheet([]byte(page))
	want := `<div class="x"><div><p class="paperhead">Title</p><p class="small">Text &amp; more</p><svg viewBox="0 0 1 1"><path d="M0 0" stroke="var(--k1)"></path></svg></div></div>`
	if err != nil || string(got) != want {
		t.Errorf("%v\n got %s\nwant %s", err, got, want)
	}
	for _, bad := range []string{"", "<p>no body</p>", "<body><div></body>", "<body></div></main></body>", "<body><p>&nonsense;</p></body>"} {
		if got, err := web.BriefSheet([]byte(bad)); err == nil {
			t.Errorf("%q was taken as %q", bad, got)
		}
	}
}

// The sheet in the app says what the page by itself says, word for word.
func TestSheetSaysWhatThePageSays(t *testing.T) {
	v, db := rigSite(t, briefObjects()...)
	at := v.made(t, "/briefs/new", asked)
	kept, _ := db.Brief(t.Context(), strings.TrimPrefix(at, "/briefs/"))
	sheet, err := web.BriefSheet(kept.Page)
	if err != nil {
		t.Fatal(err)
	}
	_, body, _ := strings.Cut(string(kept.Page), "<body")
	_, body, _ = strings.Cut(body, ">")
	tags := regexp.MustCompile(`<[^>]*>`)
	plain := func(s string) string {
		return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(s, " "))), " ")
	}
	if a, b := plain(body), plain(string(sheet)); a != b {
		t.Error("the sheet says something else than the page")
	}
}
