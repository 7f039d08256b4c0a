package browser_test

import (
	"strings"
	"testing"
	"time"

	"chainline/internal/app"
)

// badInClub are bad answers in the forms of a program with the invented club
// and one ride of it.
var badInClub = []badCase{
	{form: "post /riders/new", path: "/riders/new", button: "Keep this rider", typed: map[string]string{"name": "Somebody", "mass_kg": "heavy"}, chosen: map[string]string{"level": "club"}, wrong: []string{"mass_kg"}},
	{form: "post /riders/*/change", path: "/riders/demo-racer/change", button: "Keep the answers", typed: map[string]string{"mass_kg": "7000", "birth_year": "soon", "height_cm": "tall", "max_heart_rate_bpm": "9", "resting_heart_rate_bpm": "low"}, chosen: map[string]string{"sex": "female"},
		wrong: []string{"mass_kg", "birth_year", "height_cm", "max_heart_rate_bpm", "resting_heart_rate_bpm"}},
	{form: "post /riders/*/evidence/new", path: "/riders/demo-racer/evidence/new?kind=test", button: "Keep this", typed: map[string]string{"evidence.4.duration_s": "long", "evidence.4.watts": "-3"}, wrong: []string{"evidence.4.duration_s", "evidence.4.watts"}},
	{form: "post /riders/*/evidence/new", path: "/riders/demo-racer/evidence/new?kind=hill", button: "Keep this", typed: map[string]string{"evidence.4.duration_s": "11:10", "evidence.4.length_m": "far", "evidence.4.ascent_m": "up", "evidence.4.bike_mass_kg": "light"}, wrong: []string{"evidence.4.length_m", "evidence.4.ascent_m", "evidence.4.bike_mass_kg"}},
	{form: "post /riders/*/evidence/new", path: "/riders/demo-racer/evidence/new?kind=threshold", button: "Keep this", typed: map[string]string{"evidence.4.watts": "99999"}, wrong: []string{"evidence.4.watts"}},
	{form: "post /riders/*/evidence/new", path: "/riders/demo-racer/evidence/new?kind=talk", button: "Keep this", typed: map[string]string{"evidence.4.watts": "easy"}, wrong: []string{"evidence.4.watts"}},
	{form: "post /riders/*/evidence/new", path: "/riders/demo-racer/evidence/new?kind=heart_rate", button: "Keep this", typed: map[string]string{"evidence.4.watts": "150", "evidence.4.heart_rate_bpm": "fast", "evidence.4.duration_s": "a while"}, wrong: []string{"evidence.4.heart_rate_bpm", "evidence.4.duration_s"}},
	{form: "post /riders/*/evidence/*", path: "/riders/demo-racer/evidence/1", button: "Keep this", typed: map[string]string{"evidence.1.date": "last spring"}, wrong: []string{"evidence.1.date"}},
	{form: "post /rigs/new/details", path: "/rigs/new/details", button: "Keep this rig", typed: map[string]string{"called": strings.Repeat("ab", 101), "room.temperature_c": "hot", "room.humidity_percent": "damp", "room.volume_m3": "big"}, wrong: []string{"called", "room.temperature_c", "room.humidity_percent", "room.volume_m3"}},
	{form: "post /rigs/*", path: "/rigs/demo-racer-rig", button: "Keep this rig", typed: map[string]string{"room.temperature_c": "600"}, wrong: []string{"room.temperature_c"}},
	{form: "post /roads/new", path: "/roads/new", button: "Keep this road", typed: map[string]string{"name": "", "bike_mass_kg": "none", "cda_m2": "small", "crr": "smooth", "temperature_c": "mild"}, wrong: []string{"name", "bike_mass_kg", "cda_m2", "crr", "temperature_c"}},
	{form: "post /roads/*", path: "/roads/demo-road", button: "Keep this road", typed: map[string]string{"bike_mass_kg": "0.1"}, wrong: []string{"bike_mass_kg"}},
	{form: "post /events/new", path: "/events/new", button: "Keep this event", typed: map[string]string{"name": "", "laps": "many", "lead_in_m": "short", "pen_s": "soon", "categories.0.name": "river", "categories.0.over_s": "ages"}, wrong: []string{"name", "laps", "lead_in_m", "pen_s", "categories.0.over_s"}},
	{form: "post /events/*", path: "/events/demo-hill-race", button: "Keep this event", typed: map[string]string{"time_zone": "Nowhere/Land", "categories.1.min_w_per_kg": "lots"}, wrong: []string{"time_zone", "categories.1.min_w_per_kg"}},
	{form: "post /courses/sketch", path: "/courses/new", button: "Keep", typed: map[string]string{"name": "Guess", "distance_km": "short", "ascent_m": "high", "laps": "some"}, wrong: []string{"distance_km", "ascent_m", "laps"}},
	{form: "post /courses/file", path: "/courses/new", button: "Keep this course", typed: map[string]string{"file_name": "My way"}, file: "file: way.gpx", wrong: []string{"file"}},
	{form: "post /courses/*/edit", path: "/courses/demo-harbour-ridge/edit", button: "Keep", typed: map[string]string{"name": ""}, wrong: []string{"name"}},
	{form: "post /courses/*/edit", path: "/courses/demo-reservoir/edit", button: "Keep", typed: map[string]string{"ascent_m": "lots"}, wrong: []string{"ascent_m"}},
	{form: "post /briefs/new", path: "/briefs/new", button: "Make the brief", typed: map[string]string{"date": "1312-05-01"}, chosen: map[string]string{"rider": "demo-racer", "style": "bold"}, wrong: []string{"date"}},
	{form: "get /calendar", path: "/calendar", button: "Show", typed: map[string]string{"zone": "Nowhere/Land", "minutes": "a few"}, chosen: map[string]string{"rider": "demo-racer", "rig": "demo-racer-rig"}, wrong: []string{"zone", "minutes"}},
	{form: "get /calendar", path: "/calendar", button: "Show", typed: map[string]string{"from": "0001-01-01", "minutes": "75"}, chosen: map[string]string{"rider": "demo-racer"}, wrong: []string{"from", "rig"}},
	{form: "post /calendar", path: "/calendar", button: "Keep this calendar", file: "file: club.ics", wrong: []string{"file"}},
	{form: "post /events/*/results", path: "/events/demo-hill-race/results", button: "Keep the results", typed: map[string]string{"me": "Number 7"}, chosen: map[string]string{"course": "demo-two-mills"}, file: "file: list.csv", wrong: []string{"file"}},
	{form: "post /events/*/fields", path: "/events/demo-hill-race/fields", button: "Simulate", chosen: map[string]string{"course": "demo-harbour-ridge", "rides.demo-newcomer": "yes", "rides.demo-regular": "yes", "rides.demo-racer": "yes"}},
	{form: "post /starts/new", path: "/starts/new", button: "Make the start list", typed: map[string]string{"title": ""}, chosen: map[string]string{"bunches": "3"}, wrong: []string{"title"}},
	{form: "get /riding-together", path: "/riding-together", button: "Plan it", typed: map[string]string{"hours": "long"}, wrong: []string{"hours"}},
	{form: "post /import", path: "/import", button: "Bring them in", typed: map[string]string{"path": "not/here"}, chosen: map[string]string{"rider": "demo-regular"}, wrong: []string{"path"}},
	{form: "post /rides/copies", path: "/rides", button: "Keep this", typed: map[string]string{"folder": "/no/such/folder"}, wrong: []string{"folder"}},
	{form: "post /share/open", path: "/share/open", button: "Open it", file: "file: ride.zip", wrong: []string{"file"}},
	{form: "post /check", path: "/check?rider=demo-racer&rig=demo-racer-rig", button: "Go on", typed: map[string]string{"wheel": "21", "host": "nowhere", "flywheel": "heavy", "climb-watts": "many", "climb-mass-kg": "9000", "climb-ascent-m": "up", "climb-length-km": "far", "climb-time-s": "long"}, chosen: map[string]string{"devices": "at once"},
		wrong: []string{"wheel", "host", "flywheel", "climb-watts", "climb-mass-kg", "climb-ascent-m", "climb-length-km", "climb-time-s"}},
	{form: "post /check", path: "/check?rider=demo-racer&rig=demo-racer-rig", button: "Go on", file: "first: ride.fit", chosen: map[string]string{"what": "files", "rider": "demo-racer", "rig": "demo-racer-rig"}, wrong: []string{"first"}},
	{form: "post /ride", path: "/ride?rider=demo-racer&rig=demo-racer-rig", button: "Connect", typed: map[string]string{"own": "ride fast"}, chosen: map[string]string{"what": "own", "devices": "bench"}, wrong: []string{"own"}},
	{form: "post /group", path: "/group", button: "Connect everybody", chosen: map[string]string{"session": "easy-spin", "rig.1": "demo-racer-rig"}, wrong: []string{"rider.0"}},
	{form: "post /join", path: "/join", button: "Find the group", typed: map[string]string{"address": "192.0.2.7:7743", "invitation": "qk7f 3zpa"}, wrong: []string{"invitation"}},
	{form: "post /settings/import", path: "/settings", button: "Add what is in it", file: "archive: club.zip", wrong: []string{"archive"}},
	{form: "post /settings/passphrase", path: "/settings", button: "Keep passphrase", typed: map[string]string{"passphrase": "short"}, wrong: []string{"passphrase"}},
}

// badLive are bad answers where something goes on: a brief that is kept, a
// ride, groups; TestBadInputWhereSomethingGoesOn opens each page first.
var badLive = []badCase{
	{form: "post /rides/*/scales", button: "Learn how I sweat", typed: map[string]string{"before": "seventy", "after": "69", "drunk": "lots"}, wrong: []string{"before", "drunk"}},
	{form: "get /briefs/*", button: "See it move", typed: map[string]string{"temperature": "warm", "fans": "one whale", "airflow": "fast", "mass": "9000"}, chosen: map[string]string{"style": "bold"}, wrong: []string{"temperature", "fans", "airflow", "mass"}, stays: true},
	{form: "post /ride/*/key confirm", button: "Put right", typed: map[string]string{"at": "the bridge"}, wrong: []string{"at"}, stays: true},
	{form: "post /ride/*/key confirm", button: "Put right", typed: map[string]string{"at": "900"}, wrong: []string{"at"}, stays: true},
	{form: "post /ride/*/key confirm", button: "Put right", typed: map[string]string{"at": ""}, wrong: []string{"at"}, stays: true},
	{form: "post /group/*/key count", button: "Count down", typed: map[string]string{"value": "soon"}, wrong: []string{"value"}, stays: true},
	{form: "post /group/*/key say", button: "Say it", typed: map[string]string{"text": ""}, wrong: []string{"text"}, stays: true},
	{form: "post /together/*/do count", button: "Count down", typed: map[string]string{"value": "-4"}, wrong: []string{"value"}, stays: true},
	{form: "post /together/*/do say", button: "Say it", typed: map[string]string{"text": ""}, wrong: []string{"text"}, stays: true},
}

// badLogin is a wrong passphrase where the program listens on a network.
var badLogin = []badCase{
	{form: "post /login", path: "/riders", button: "Come in", typed: map[string]string{"passphrase": "three words only"}, wrong: []string{"passphrase"}},
}

// badInRaces are bad answers where races were simulated: see company_test.go.
var badInRaces = []badCase{
	{form: "get /events/*/fields/*/sheet", button: "Show", typed: map[string]string{"zone": "Nowhere/Land"}, wrong: []string{"zone"}},
	{form: "post /starts/*/arrivals", button: "Make the list for next time", typed: map[string]string{"arrive.0": "14:00", "arrive.1": "late", "arrive.2": "-3"}, wrong: []string{"arrive.1", "arrive.2"}},
}

// Every form, with answers nobody can mean.
func TestBadInputInEveryForm(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	for _, c := range badInClub {
		b.refuses(c)
	}
}

// The forms of pages on which something goes on, with answers nobody can mean.
func TestBadInputWhereSomethingGoesOn(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	pages := map[string]string{
		"post /rides/*/scales":      b.importOne(),
		"get /briefs/*":             b.oneBrief(),
		"post /ride/*/key confirm":  b.oneRide(),
		"post /group/*/key count":   b.oneGroup(),
		"post /together/*/do count": b.oneMeeting(),
	}
	at := ""
	for _, c := range badLive {
		if page := pages[c.form]; page != "" {
			at = page
		}
		b.visit(at)
		b.refuses(c)
	}
}

// On a network the program lets nobody in with a wrong passphrase; with the
// right one a person comes to the page that was asked for.
func TestWrongPassphrase(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := app.SetPassphrase(t.Context(), dir, "four words in a row"); err != nil {
		t.Fatal(err)
	}
	b := openOn(t, dir, "0.0.0.0:0")
	for _, c := range badLogin {
		b.refuses(c)
	}
	b.tabTo("Passphrase") // in the summary, which leads to the field
	b.keys("\r")
	b.until("the field to have the focus", `document.activeElement.id === "f-passphrase"`, 10*time.Second)
	b.keys("four words in a row")
	b.enter()
	b.says("There is no rider yet.")
	b.send("Log out")
	b.says("Come in")
}

// importOne brings in a ride and answers its path.
func (b *tab) importOne() string {
	b.Helper()
	b.visit("/import")
	b.choose("rider", "demo-racer")
	b.choose("rig", "demo-racer-rig")
	b.upload("files", "ride.csv", rideTable(3, 300))
	b.press("Bring them in")
	b.until("the end of the import", `document.querySelector("h1")?.textContent === "Rides are in"`, 60*time.Second)
	b.visit("/rides")
	return eval[string](b, `document.querySelector(".kept a").getAttribute("href")`)
}

// oneBrief makes a brief and answers its path.
func (b *tab) oneBrief() string {
	b.Helper()
	b.visit("/briefs/new")
	b.choose("rider", "demo-racer")
	b.choose("rig", "demo-racer-rig")
	b.choose("course", "demo-two-mills")
	b.press("Make the brief")
	b.says("most likely")
	return b.path()
}

// oneRide begins a ride whose place its rider puts right.
func (b *tab) oneRide() string {
	b.Helper()
	b.visit("/ride?rider=demo-racer&rig=demo-racer-rig&what=course&course=demo-two-mills&advance=distance&devices=bench")
	b.press("Connect")
	b.until("the rider to pedal", riding, 20*time.Second)
	return b.path()
}

// oneGroup has two riders wait for their host.
func (b *tab) oneGroup() string {
	b.Helper()
	b.visit("/group")
	b.choose("rider.0", "demo-racer")
	b.choose("rider.1", "demo-regular")
	b.press("Connect everybody")
	return b.path()
}

// oneMeeting hosts a group in which nobody is yet.
func (b *tab) oneMeeting() string {
	b.Helper()
	b.visit("/together?course=demo-two-mills")
	b.press("Make the group")
	return b.path()
}
