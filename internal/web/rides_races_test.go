package web_test

import (
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// raced is a ride of 1,500 s over 10 km with speed and watts.
func raced() string {
	var b strings.Builder
	b.WriteString("timestamp,power,speed,heart_rate\n")
	begun := ridesNow.AddDate(0, 0, -1)
	for s := range 1500 {
		w := 210
		if s < 300 {
			w = 260
		}
		fmt.Fprintf(&b, "%s,%d,6.667,150\n", begun.Add(time.Duration(s)*time.Second).Format(time.RFC3339), w)
	}
	return b.String()
}

// A kept ride of the race says what its decisive stretches asked for; a list
// alone does not, and says why.
func TestAKeptRideSaysWhatTheRaceAsked(t *testing.T) {
	v := rideSite(t)
	v.sendRig(t, "/events/new", map[string]string{"name": "Mills race", "kind": "mass"})
	_, _, body := v.ask(t, "GET", "/events", "", nil)
	event := regexp.MustCompile(`href="(/events/[a-z0-9]{6,})"`).FindStringSubmatch(body)
	if event == nil {
		t.Fatal(body)
	}
	if status, _, body := v.sendTo(t, "/courses/file", "mills.csv", "distance_m,elevation_m\n0,40\n2000,40\n3000,100\n4000,60\n10000,60\n", map[string]string{"name": "Mills"}); status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	status, at, body := v.send(t, "/import", "files", map[string]string{"race.csv": raced()}, map[string]string{"rider": "racer", "rig": "racer-rig"})
	if status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	v.brought(t, at)
	results := event[1] + "/results"
	_, _, body = v.ask(t, "GET", results, "", nil)
	wantIn(t, body, "Your ride of it", ">Ilse, ")
	choice := func(name, label string) string {
		_, after, _ := strings.Cut(body, `name="`+name+`"`)
		m := regexp.MustCompile(`<option value="([^"]+)"[^>]*>[^<]*` + label).FindStringSubmatch(after)
		if m == nil {
			t.Fatalf("no %s %s", name, label)
		}
		return m[1]
	}
	form := map[string]string{"ride": choice("ride", "Ilse"), "me": "Ilse"}
	list := "name,time\nIlse,25:00\nB,25:10\n"
	if status, _, again := v.sendTo(t, results, "list.csv", list, form); status != 422 || !strings.Contains(again, "Choose the course too") {
		t.Errorf("%d", status)
	}
	form["course"] = choice("course", "Mills")
	if status, _, again := v.sendTo(t, results, "list.csv", list, form); status != 303 {
		t.Fatalf("%d %s", status, again)
	}
	_, _, body = v.ask(t, "GET", results, "", nil)
	wantIn(t, body, "What it asked of you", "the first five minutes", "climb 1", "260 W", "of what you could hold so long when fresh", "reckoned from the recorded speed")
	form["ride"] = "gone"
	if status, _, again := v.sendTo(t, results, "list.csv", list, form); status != 422 || !strings.Contains(again, "not there any more") {
		t.Errorf("%d", status)
	}
}

// The calendar knows by the rides kept how fresh the rider is, and how sure
// that is.
func TestTheCalendarKnowsTheForm(t *testing.T) {
	v := rideSite(t)
	files := map[string]string{}
	for _, days := range []int{45, 38, 31, 24, 17, 10, 3, 2, 1} {
		files[fmt.Sprintf("ride%d.csv", days)] = rideTable(days, 300)
	}
	_, at, _ := v.send(t, "/import", "files", files, map[string]string{"rider": "racer", "rig": "racer-rig"})
	v.brought(t, at)
	club := "name,date,time,minutes,zone,kind\nEvening race," + ridesNow.AddDate(0, 0, 1).Format(time.DateOnly) + ",20:00,45,UTC,mass\n"
	if status, _, body := v.sendTo(t, "/calendar", "club.csv", club, nil); status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	_, _, body := v.ask(t, "GET", "/calendar?"+url.Values{"rider": {"racer"}, "rig": {"racer-rig"}, "zone": {"UTC"}, "from": {ridesNow.Format(time.DateOnly)}}.Encode(), "", nil)
	wantIn(t, body, "fitness minus fatigue stands at", "four times out of five", "the model is rough", "Evening race")
	if !strings.Contains(body, "outweigh") {
		t.Error("nothing is said of the race")
	}
}
