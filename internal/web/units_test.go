package web_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"chainline/internal/form"
	"chainline/internal/ride"
	"chainline/internal/store"
	"chainline/internal/web"
	"chainline/internal/web/gallery"
)

var (
	// Hints that show both ways of typing something on purpose.
	bothWays = regexp.MustCompile(`(?i)68 kg or 150 lb|70 kg or 154 lb|1\.75 m or 5 ft 9|Kilometres, kilograms, °C|Miles, pounds, °F`)
	// W/kg, m² (drag areas), kg m² (inertias), kg/m³ and hPa are said so by
	// riders everywhere.
	metricSaid   = regexp.MustCompile(`\d\s?(?:km/h|km|kg|°C|m/s|m³|cm|m)(?:[^\w²³/’]|$)|\bkm \d`)
	imperialSaid = regexp.MustCompile(`\d\s?(?:mph|mi|lb|°F|ft³|ft|in\.)(?:[^\w²³/]|$)|\bmile \d`)
	metricHead   = regexp.MustCompile(`(?:<th[^>]*>|class="unit">)\s*(?:wheel )?(?:km/h|km|kg|°C|m/s|m³|cm|m)\s*<`)
	imperialHead = regexp.MustCompile(`(?:<th[^>]*>|class="unit">)\s*(?:wheel )?(?:mph|mi|lb|°F|ft³|ft|in)\s*<`)
	anyTag       = regexp.MustCompile(`(?s)<style.*?</style>|<title>.*?</title>|<[^>]*>`)
	inertia      = regexp.MustCompile(`kg\s?m²`)
)

// The live page's numbers, which come as data, too.
func TestLiveViewInUnits(t *testing.T) {
	snap := ride.Snapshot{Stage: ride.Riding, Way: ride.Showing, Now: ride.Instruction{WheelKmh: 32.2, Watts: 200, Words: "Climb of 2 km"}}
	v := web.NewRideView(ride.Setup{}, snap, form.Imperial)
	if v.Big != "20.0" || v.Unit != "mph at the wheel" || v.Now != "Climb of 1.2 mi" {
		t.Errorf("%q %q %q", v.Big, v.Unit, v.Now)
	}
	if v := web.NewRideView(ride.Setup{}, snap, form.Units(0)); v.Big != "32.2" || v.Unit != "km/h at the wheel" {
		t.Errorf("%q %q", v.Big, v.Unit)
	}
}

// saidIn are the quantities on a page that a pattern finds, with what stands
// around them.
func saidIn(page string, said, head *regexp.Regexp) (found []string) {
	_, main, _ := strings.Cut(page, "<body")
	for _, m := range regexp.MustCompile(`aria-label="([^"]*)"`).FindAllStringSubmatch(main, -1) {
		main += "<p>" + m[1] + "</p>"
	}
	text := html.UnescapeString(anyTag.ReplaceAllString(main, " "))
	text = strings.Join(strings.Fields(strings.ReplaceAll(text, "\u00a0", " ")), " ")
	text = inertia.ReplaceAllString(bothWays.ReplaceAllString(text, ""), "")
	for _, at := range said.FindAllStringIndex(text, -1) {
		found = append(found, text[max(0, at[0]-30):min(len(text), at[1]+8)])
	}
	for _, h := range head.FindAllString(main, -1) {
		found = append(found, h)
	}
	return found
}

// everyPage is every page that links lead to, but for downloads, as asked for
// by whoever change makes of the one who asks.
func (v *site) everyPage(t *testing.T, change func(*http.Request)) map[string]string {
	t.Helper()
	pages, queue := map[string]string{}, []string{"/"}
	for i := 0; i < len(queue); i++ {
		status, _, body := v.ask(t, "GET", queue[i], "", change)
		if status != 200 && status != 404 { // a section that this program was built without
			t.Errorf("%s: %d", queue[i], status)
		}
		pages[queue[i]] = body
		for _, m := range link.FindAllStringSubmatch(body, -1) {
			p := html.UnescapeString(m[1])
			if strings.Contains(p, "/assets/") || strings.Contains(p, "export") || strings.HasPrefix(p, "/api/") || strings.HasSuffix(p, "/file") || strings.HasSuffix(p, "/json") || strings.HasSuffix(p, ".ics") || slices.Contains(queue, p) {
				continue
			}
			queue = append(queue, p)
		}
	}
	return pages
}

// TestEverybodySeesTheirUnits: over every page of a club that has a brief, an
// imperial visitor reads no metric quantity, and the other way round. What
// people called things stays as they typed it.
func TestEverybodySeesTheirUnits(t *testing.T) {
	v, db := rigSite(t, append(briefObjects(), store.Object{ID: "s1", Kind: store.Course, Name: "Sketched", Text: "distance_km: 12\nascent_m: 100\n"},
		store.Object{ID: "g2", Kind: store.Rig, Name: "Wheel on rollers", Text: "trainer: {kind: plain, power_curve: [{wheel_speed_km_h: 20, watts: 90}, {wheel_speed_km_h: 30, watts: 190}, {wheel_speed_km_h: 40, watts: 330}]}\nsensors: [speed]\nroom: {temperature_c: 20, volume_m3: 30, airflow_m_s: 2, fans: [\"one desk fan, 1 m away, high\"]}\n"})...)
	if status, _, body := v.sendRig(t, "/settings/demo", nil); status != 303 {
		t.Fatal(status, body)
	}
	var briefs []string
	for _, form := range []map[string]string{asked, {"rider": "r1", "rig": "g2", "course": "c1"}, {"rider": "r1", "rig": "g2", "course": "s1"}} {
		briefs = append(briefs, v.made(t, "/briefs/new", form))
	}
	if all, err := db.Briefs(t.Context(), ""); err != nil || len(all) != len(briefs) {
		t.Fatal(len(all), err)
	}
	v.keepToDates(t, 50, 40)
	v.keepToUnits(t, 100)
}

// TestRidesInTheirUnits is the same for rides that are kept, their debriefs and
// the season.
func TestRidesInTheirUnits(t *testing.T) {
	v := rideSite(t)
	status, at, body := v.send(t, "/import", "files", map[string]string{"one.csv": rideTable(3, 330), "two.csv": rideTable(9, 300)}, map[string]string{"rider": "racer", "rig": "racer-rig"})
	if status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	v.brought(t, at)
	v.keepToDates(t, 20, 3)
	v.keepToUnits(t, 10)
}

// keepToUnits reads every page in metric and in imperial units.
func (v *site) keepToUnits(t *testing.T, least int) {
	t.Helper()
	metric := v.everyPage(t, nil)
	for path, page := range metric {
		for _, says := range saidIn(page, imperialSaid, imperialHead) {
			t.Errorf("%s says to a metric visitor: %s", path, says)
		}
	}
	if status, _, _ := v.ask(t, "POST", "/settings/units", url.Values{"units": {"imperial"}}.Encode(), nil); status != 303 {
		t.Fatal(status)
	}
	imperial := v.everyPage(t, nil)
	saw := 0
	for path, page := range imperial { // names of cues are no quantities
		if strings.HasPrefix(path, "/briefs/") && strings.Contains(page, "Ride it like this") && regexp.MustCompile(`Climb \d\.`).MatchString(page) {
			t.Errorf("%s calls a climb by a number of miles", path)
		}
	}
	for path, page := range imperial {
		saw += len(saidIn(page, imperialSaid, imperialHead))
		for _, says := range saidIn(page, metricSaid, metricHead) {
			t.Errorf("%s says to an imperial visitor: %s", path, says)
		}
	}
	t.Logf("%d pages, %d imperial quantities", len(imperial), saw)
	if saw < least || len(imperial) != len(metric) {
		t.Errorf("%d imperial quantities on %d pages, %d metric pages: this test showed nothing", saw, len(imperial), len(metric))
	}
}

// Over the gallery: its canned states are metric, and those whose sentences
// come from the packages that reckon are restated without a rest.
func TestGalleryKeepsToItsUnits(t *testing.T) {
	templates := load(t)
	restated, saw := 0, 0
	for _, st := range gallery.States() {
		body, err := templates.Execute(st.Page)
		if err != nil {
			t.Fatal(err)
		}
		for _, says := range saidIn(string(body), imperialSaid, imperialHead) {
			t.Errorf("%s says in metric: %s", st.Name, says)
		}
		page, ok := web.InImperial(st.Page, string(body))
		if !ok {
			continue
		}
		restated++
		saw += len(saidIn(page, imperialSaid, imperialHead))
		page = strings.ReplaceAll(page, `class="unit"`, "") // questions are made in the units, see TestEverybodySeesTheirUnits
		for _, says := range saidIn(page, metricSaid, metricHead) {
			t.Errorf("%s says in imperial: %s", st.Name, says)
		}
	}
	if restated < 15 || saw < 50 {
		t.Errorf("%d states with %d quantities: this test showed nothing", restated, saw)
	}
}
