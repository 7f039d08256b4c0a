package web_test

import (
	"log/slog"
	"maps"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"chainline/internal/input"
	"chainline/internal/store"
	"chainline/internal/web"
)

// rigSite is a site over a store that has the objects.
func rigSite(t *testing.T, objects ...store.Object) (*site, *store.Store) {
	t.Helper()
	return rigSiteOf(t, objects...)
}

func rigSiteOf(t testing.TB, objects ...store.Object) (*site, *store.Store) {
	t.Helper()
	db, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	for _, o := range objects {
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
	}
	v := &site{}
	h, err := web.New(web.Config{Store: db, Now: time.Now, Log: slog.New(slog.NewTextHandler(&v.log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	v.Server = httptest.NewServer(h)
	t.Cleanup(v.Close)
	v.client = v.Client()
	v.client.Jar, _ = cookiejar.New(nil)
	v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return v, db
}

func (v *site) sendRig(t *testing.T, path string, form map[string]string) (int, http.Header, string) {
	t.Helper()
	q := url.Values{}
	for name, value := range form {
		q.Set(name, value)
	}
	return v.ask(t, "POST", path, q.Encode(), nil)
}

func onlyOne(t *testing.T, db *store.Store, kind store.Kind) store.Object {
	t.Helper()
	all, err := db.Objects(t.Context(), kind)
	if err != nil || len(all) != 1 {
		t.Fatalf("%d %ss are kept, %v; expected 1", len(all), kind, err)
	}
	return all[0]
}

func wantIn(t *testing.T, body string, all ...string) {
	t.Helper()
	for _, want := range all {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestRigFromNothingKnown(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/rigs", "", nil)
	wantIn(t, body, "There is no rig yet", `href="/rigs/new"`)
	_, _, body = v.ask(t, "GET", "/rigs/new", "", nil)
	wantIn(t, body, "Does it have a mains plug?", "This is a plain trainer", "As long as it is not known", `href="/rigs/new/details"`)
	if n := strings.Count(body, "I don&#39;t know") + strings.Count(body, "<span>I don't know"); n < 4 {
		t.Errorf("%d questions can be left open; expected all 4", n)
	}
	status, h, body := v.sendRig(t, "/rigs/new/details", map[string]string{"called": "Box room"})
	if status != 303 || h.Get("Location") != "/rigs" {
		t.Fatalf("status %d to %q: %s", status, h.Get("Location"), body)
	}
	o := onlyOne(t, db, store.Rig)
	if o.Name != "Box room" || strings.TrimSpace(o.Text) != "trainer:\n  kind: plain" {
		t.Errorf("kept %q as\n%s", o.Name, o.Text)
	}
	_, _, body = v.ask(t, "GET", "/rigs", "", nil)
	wantIn(t, body, "Kept: Box room.", "This is a plain trainer", "not known yet: temperature, humidity, size, what stands open and fans", "no watts are needed")
}

// Nobody has to think of a name; what has none is told apart all the same.
func TestRigsAndRidersWithoutNames(t *testing.T) {
	v, db := rigSite(t)
	for range 2 {
		for path, typed := range map[string]map[string]string{"/rigs/new/details": {"called": " "}, "/riders/new": {"mass_kg": "70"}} {
			if status, _, body := v.sendRig(t, path, typed); status != 303 {
				t.Fatalf("%s: status %d: %s", path, status, body)
			}
		}
	}
	for kind, want := range map[store.Kind][]string{store.Rig: {"My rig", "My rig 2"}, store.Rider: {"You", "You 2"}} {
		all, err := db.Objects(t.Context(), kind)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, o := range all {
			names = append(names, o.Name)
		}
		if slices.Sort(names); !slices.Equal(names, want) {
			t.Errorf("%s: %q", kind, names)
		}
	}
}

func TestRigAnswersAreSaidBack(t *testing.T) {
	v, _ := rigSite(t)
	for query, want := range map[string]string{
		"wheel=off&plug=yes&harder=yes&watts=crank": "This is a trainer that holds watts by itself, with watts from a meter in the crank.",
		"wheel=on&plug=no&harder=no&watts=nothing":  "This is a plain trainer, without anything that shows watts.",
		"wheel=rollers&watts=table":                 "These are rollers, with watts read off a table.",
		"wheel=no_bike":                             "This is an indoor bike, taken to show its own watts.",
		"wheel=nonsense&plug=%00&watts=":            "This is a plain trainer, and nothing is known to show watts.",
	} {
		status, _, body := v.ask(t, "GET", "/rigs/new?"+query, "", nil)
		if status != 200 {
			t.Errorf("%s: status %d", query, status)
		}
		wantIn(t, body, want)
		next := regexp.MustCompile(`class="button" href="([^"]*)">Go on`).FindStringSubmatch(body)
		status, _, body = v.ask(t, "GET", strings.ReplaceAll(next[1], "&amp;", "&"), "", nil)
		if status != 200 {
			t.Errorf("%s: the details answer %d", query, status)
		}
		wantIn(t, body, want)
	}
}

var wholeRig = map[string]string{
	"called": "Garage", "ask.wheel": "on", "ask.harder": "no", "ask.watts": "crank",
	"room.temperature_c": "70 °F", "room.humidity_percent": "50", "room.volume_m3": "4 x 3 x 2.5", "room.openings": "window", "room.clothing": "shorts",
	"room.outside_temperature_c": "5", "room.outside_humidity_percent": "80",
	"room.fans.0.kind": "pedestal", "room.fans.0.distance_m": "150 cm", "room.fans.0.setting": "high",
	"room.fans.1.kind": "desk", "room.fans.1.count": "2",
	"room.fans.2.kind": "none", "room.fans.2.distance_m": "",
	"power_source.name": "left arm", "power_source.accuracy_percent": "2",
	"trainer.power_curve": "20 90\r\n30 190\r\n40 340", "trainer.power_curve_accuracy_percent": "5",
	"trainer.gears.chainrings": "50/34", "trainer.gears.cogs": "11, 13, 15", "trainer.wheel_circumference_mm": "2130", "cadence_rpm.preferred": "90",
	"sensors.heart_rate": "yes", "sensors.speed": "yes",
}

func TestRigWhole(t *testing.T) {
	v, db := rigSite(t)
	if status, _, body := v.sendRig(t, "/rigs/new/details", wholeRig); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	o := onlyOne(t, db, store.Rig)
	file, err := input.ReadRig("rig", strings.NewReader(o.Text))
	if err != nil {
		t.Fatal(err)
	}
	if f := file.Room.Fans; len(f) != 2 || f[0].Distance != 1.5 || f[1].Count != 2 {
		t.Errorf("fans %v", f)
	}
	if g := file.Rig; g.Source.Name != "left arm" || g.Source.Accuracy != 0.02 || len(g.Gears.Cogs) != 3 || !g.SpeedSensor || g.CadenceSensor || g.SensorsAssumed || g.Cadence.Preferred != 90 {
		t.Errorf("rig %+v", g)
	}
	if file.Room.Volume != 30 || !file.Room.OutsideKnown {
		t.Errorf("room %+v", file.Room)
	}
	// The form as it was shown changes nothing.
	_, _, body := v.ask(t, "GET", "/rigs/"+o.ID, "", nil)
	wantIn(t, body, "20 90\n30 190\n40 340", `value="left arm"`, "This is a plain trainer, with watts from a meter in the crank.")
	if status, _, body := v.sendRig(t, "/rigs/"+o.ID, shownAs(t, body)); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	if again := onlyOne(t, db, store.Rig); again.Text != o.Text {
		t.Errorf("kept as shown it became\n%s\nfrom\n%s", again.Text, o.Text)
	}
	// Another kind takes what does not fit with it.
	_, _, body = v.ask(t, "GET", "/rigs/"+o.ID+"?wheel=off&harder=yes&watts=nothing", "", nil)
	if status, _, body := v.sendRig(t, "/rigs/"+o.ID, shownAs(t, body)); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	text := onlyOne(t, db, store.Rig).Text
	wantIn(t, text, "kind: controllable", "kind: none", "volume_m3: 30", "cogs:")
	for _, gone := range []string{"power_curve", "left arm", "accuracy"} {
		if strings.Contains(text, gone) {
			t.Errorf("%s is still in\n%s", gone, text)
		}
	}
}

func TestRigBrakeLimits(t *testing.T) {
	v, db := rigSite(t)
	sent := map[string]string{"called": "Garage", "ask.wheel": "off", "ask.plug": "yes", "ask.harder": "yes", "ask.watts": "trainer",
		"trainer.ceiling": "15 450\r\n40 1600", "trainer.floor": "40 160", "trainer.gears.chainrings": "50, 34", "trainer.gears.cogs": "11, 13, 15, 19, 25"}
	for field, bad := range map[string]struct{ value, says string }{
		"trainer.ceiling": {"15 450\n10 500", "Wheel speed must rise"}, "trainer.floor": {"15 40\n40 x", "Row 2"},
	} {
		wrong := maps.Clone(sent)
		wrong[field] = bad.value
		status, _, body := v.sendRig(t, "/rigs/new/details", wrong)
		if status != 422 {
			t.Errorf("%s: status %d", field, status)
		}
		wantIn(t, body, bad.says)
	}
	wrong := maps.Clone(sent)
	wrong["trainer.floor"] = "40 1700"
	if status, _, body := v.sendRig(t, "/rigs/new/details", wrong); status != 422 || !strings.Contains(body, "the most watts are below the least") {
		t.Errorf("a ceiling below the floor: status %d: %s", status, body)
	}
	if status, _, body := v.sendRig(t, "/rigs/new/details", sent); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	o := onlyOne(t, db, store.Rig)
	file, err := input.ReadRig("rig", strings.NewReader(o.Text))
	if err != nil {
		t.Fatal(err)
	}
	if floor, ceiling := file.Rig.Limits(); !(floor > 0 && ceiling <= 1600) {
		t.Errorf("limits %v and %v W", floor, ceiling)
	}
	_, _, body := v.ask(t, "GET", "/rigs/"+o.ID, "", nil)
	wantIn(t, body, "15 450\n40 1600", "40 160")
	if status, _, body := v.sendRig(t, "/rigs/"+o.ID, shownAs(t, body)); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	if again := onlyOne(t, db, store.Rig); again.Text != o.Text {
		t.Errorf("kept as shown it became\n%s\nfrom\n%s", again.Text, o.Text)
	}
	// One that does not get harder by itself has no such limits.
	_, _, body = v.ask(t, "GET", "/rigs/"+o.ID+"?wheel=off&harder=no&watts=trainer", "", nil)
	if status, _, body := v.sendRig(t, "/rigs/"+o.ID, shownAs(t, body)); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	if text := onlyOne(t, db, store.Rig).Text; strings.Contains(text, "ceiling") || strings.Contains(text, "floor") {
		t.Errorf("limits are still in\n%s", text)
	}
}

// shownAs is what a browser would send of the page's form with action /rigs/…
// or /roads/…, as it is.
func shownAs(t *testing.T, body string) map[string]string {
	t.Helper()
	out := map[string]string{}
	unescape := strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&lt;", "<", "&gt;", ">", "&amp;", "&", "&#43;", "+").Replace
	_, body, _ = strings.Cut(body, `<form method="post" action="/r`)
	body, _, _ = strings.Cut(body, "</form>")
	attribute := func(tag, name string) string {
		if m := regexp.MustCompile(`\s` + name + `="([^"]*)"`).FindStringSubmatch(tag); m != nil {
			return unescape(m[1])
		}
		return ""
	}
	for _, tag := range regexp.MustCompile(`<input[^>]*>`).FindAllString(body, -1) {
		kind := attribute(tag, "type")
		if kind != "radio" && kind != "checkbox" || strings.Contains(tag, " checked") {
			out[attribute(tag, "name")] = attribute(tag, "value")
		}
	}
	for _, m := range regexp.MustCompile(`(?s)(<textarea[^>]*>)(.*?)</textarea>`).FindAllStringSubmatch(body, -1) {
		out[attribute(m[1], "name")] = unescape(m[2])
	}
	for _, m := range regexp.MustCompile(`(?s)(<select[^>]*>)(.*?)</select>`).FindAllStringSubmatch(body, -1) {
		chosen := regexp.MustCompile(`<option[^>]* selected>`).FindString(m[2])
		out[attribute(m[1], "name")] = attribute(chosen, "value")
	}
	return out
}

func TestRigBadAnswersAreKept(t *testing.T) {
	good := map[string]string{"called": "Garage", "ask.harder": "no", "ask.watts": "crank"}
	for name, bad := range map[string]struct{ field, value, says string }{
		"long name":     {"called", strings.Repeat("ab", 101), "At most 200"},
		"no number":     {"room.temperature_c", "warm <b>", ""},
		"too hot":       {"room.temperature_c", "300", ""},
		"humidity":      {"room.humidity_percent", "130", ""},
		"size":          {"room.volume_m3", "tiny", ""},
		"opening":       {"room.openings", "roof", "Choose one"},
		"clothing":      {"room.clothing", "armour", "Choose one"},
		"half outside":  {"room.outside_temperature_c", "5", ""},
		"airflow":       {"room.airflow_m_s", "breeze", ""},
		"which fan":     {"room.fans.0.distance_m", "2", "Choose which fan"},
		"strange fan":   {"room.fans.0.kind", "turbine", "Choose one"},
		"fan far away":  {"room.fans.1.distance_m", "900 m", ""},
		"accuracy":      {"power_source.accuracy_percent", "99", ""},
		"curve row":     {"trainer.power_curve", "20\n30 190", "Row 1"},
		"curve falls":   {"trainer.power_curve", "20 90\n30 80", "Row 2"},
		"curve short":   {"trainer.power_curve", "20 90", ""},
		"curve letters": {"trainer.power_curve", "20 90\n30 x", "Row 2"},
		"cogs":          {"trainer.gears.cogs", "big", ""},
		"wheel":         {"trainer.wheel_circumference_mm", "29 inch", ""},
		"cadence":       {"cadence_rpm.low", "120", ""},
		"name of power": {"power_source.name", strings.Repeat("x", 201), "At most 200"},
	} {
		t.Run(name, func(t *testing.T) {
			v, db := rigSite(t)
			sent := map[string]string{}
			for k, x := range good {
				sent[k] = x
			}
			sent["room.humidity_percent"], sent["power_source.name"] = "45", "left arm"
			sent[bad.field] = bad.value
			status, _, body := v.sendRig(t, "/rigs/new/details", sent)
			if status != 422 {
				t.Fatalf("status %d", status)
			}
			if all, _ := db.Objects(t.Context(), store.Rig); len(all) != 0 {
				t.Error("something was kept all the same")
			}
			id := "f-" + strings.ReplaceAll(bad.field, ".", "-")
			if bad.field == "room.fans.0.distance_m" {
				id = "f-room-fans-0-kind"
			}
			if bad.field == "room.outside_temperature_c" && !strings.Contains(body, id+"-error") {
				id = "f-room-outside_humidity_percent"
			}
			if bad.field == "cadence_rpm.low" {
				id = "f-cadence_rpm-preferred"
			}
			wantIn(t, body, "another look", `href="#`+id+`"`, `class="error" id="`+id+`-error"`, bad.says)
			back := shownAs(t, body)
			for k, x := range sent {
				if strings.TrimSpace(back[k]) != x && bad.field != "room.openings" && bad.field != "room.clothing" && bad.value != "turbine" {
					t.Errorf("%s was %q and came back as %q", k, x, back[k])
				}
			}
			if at := strings.Index(body, "<b>"); at >= 0 {
				t.Error("what was typed is markup")
			}
		})
	}
}

func TestRigSensorsEitherOr(t *testing.T) {
	v, db := rigSite(t)
	status, _, body := v.sendRig(t, "/rigs/new/details", map[string]string{"called": "A", "sensors.none": "yes", "sensors.speed": "yes"})
	if status != 422 {
		t.Fatalf("status %d", status)
	}
	wantIn(t, body, "Either none of these")
	if status, _, _ = v.sendRig(t, "/rigs/new/details", map[string]string{"called": "A", "sensors.none": "yes", "room.fans.0.kind": "none"}); status != 303 {
		t.Fatalf("status %d", status)
	}
	o := onlyOne(t, db, store.Rig)
	wantIn(t, o.Text, "sensors: []", "fans: []")
	_, _, body = v.ask(t, "GET", "/rigs/"+o.ID, "", nil)
	if f := shownAs(t, body); f["sensors.none"] != "yes" || f["room.fans.0.kind"] != "none" {
		t.Errorf("none is not shown: %v", f)
	}
}

// A rig as somebody wrote it by hand, with what no page asks for.
func TestRigByHand(t *testing.T) {
	const text = "trainer:\n  kind: controllable\n  floor:\n    - {wheel_speed_km_h: 10, watts: 60}\npower_source: none\nroom:\n  fans: [\"two desk fans at 80 cm on low and a floor fan\"]\n"
	v, db := rigSite(t, store.Object{ID: "hand", Kind: store.Rig, Name: "By hand", Text: text})
	_, _, body := v.ask(t, "GET", "/rigs", "", nil)
	wantIn(t, body, "holds watts by itself, without anything that shows watts", "2 desk fans 0.8\u00a0m away on low and a floor fan")
	_, _, body = v.ask(t, "GET", "/rigs/hand", "", nil)
	sent := shownAs(t, body)
	sent["room.temperature_c"] = "19"
	if status, _, body := v.sendRig(t, "/rigs/hand", sent); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	before, err := input.ReadRig("before", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	after, err := input.ReadRig("after", strings.NewReader(onlyOne(t, db, store.Rig).Text))
	if err != nil {
		t.Fatal(err)
	}
	low0, high0 := before.Rig.Limits()
	low1, high1 := after.Rig.Limits()
	if low0 != low1 || high0 != high1 || after.Rig.Source != before.Rig.Source || after.Room.Temperature != 19 {
		t.Errorf("%+v became %+v", before, after)
	}
	if len(after.Room.Fans) != 2 || after.Room.Fans[0] != before.Room.Fans[0] || after.Room.Fans[1] != before.Room.Fans[1] {
		t.Errorf("fans %v became %v", before.Room.Fans, after.Room.Fans)
	}
}

func TestRigImperial(t *testing.T) {
	v, db := rigSite(t, store.Object{ID: "hand", Kind: store.Rig, Name: "By hand",
		Text: "trainer:\n  kind: plain\n  power_curve:\n    - {wheel_speed_km_h: 20, watts: 90}\n    - {wheel_speed_km_h: 30, watts: 190}\nroom:\n  temperature_c: 20\n  fans: \"a desk fan, 80 cm away\"\n"})
	if err := db.SetSetting(t.Context(), "units", "imperial"); err != nil {
		t.Fatal(err)
	}
	_, _, body := v.ask(t, "GET", "/rigs/hand", "", nil)
	wantIn(t, body, `value="68"`, "°F")
	before := onlyOne(t, db, store.Rig)
	if status, _, body := v.sendRig(t, "/rigs/hand", shownAs(t, body)); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	file, err := input.ReadRig("after", strings.NewReader(onlyOne(t, db, store.Rig).Text))
	if err != nil {
		t.Fatal(err)
	}
	if file.Room.Temperature != 20 || file.Room.Fans[0].Distance != 0.8 || !strings.Contains(onlyOne(t, db, store.Rig).Text, "wheel_speed_km_h: 20") {
		t.Errorf("kept as shown, %s became %s", before.Text, onlyOne(t, db, store.Rig).Text)
	}
}

func TestRigsDeletedAndForeign(t *testing.T) {
	v, db := rigSite(t, store.Object{ID: "one", Kind: store.Rig, Name: "One & only", Text: "trainer: {kind: plain}\n"},
		store.Object{ID: "road", Kind: store.Road, Name: "A road", Text: "name: A road\n"},
		store.Object{ID: "odd", Kind: store.Rig, Name: "Odd", Text: "trainer: {kind: hovercraft}\n"})
	for _, path := range []string{"/rigs/road", "/rigs/road/kind", "/rigs/road/delete", "/rigs/none", "/rigs/none/delete", "/roads/one", "/roads/one/delete"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("%s: status %d; expected 404", path, status)
		}
		if strings.HasSuffix(path, "/kind") {
			continue
		}
		if status, _, _ := v.sendRig(t, path, map[string]string{"called": "X", "name": "X"}); status != 404 {
			t.Errorf("sent to %s: status %d; expected 404", path, status)
		}
	}
	_, _, body := v.ask(t, "GET", "/rigs", "", nil)
	wantIn(t, body, "One &amp; only", "cannot be read by this version", `href="/rigs/odd/delete"`)
	_, _, body = v.ask(t, "GET", "/rigs/one/delete", "", nil)
	wantIn(t, body, "Delete One &amp; only?", "no way back")
	for _, id := range []string{"one", "odd"} {
		if status, _, _ := v.sendRig(t, "/rigs/"+id+"/delete", nil); status != 303 {
			t.Errorf("status %d", status)
		}
	}
	if all, _ := db.Objects(t.Context(), store.Rig); len(all) != 0 {
		t.Errorf("%d rigs are left", len(all))
	}
	if all, _ := db.Objects(t.Context(), store.Road); len(all) != 1 {
		t.Error("the road is gone, too")
	}
}
