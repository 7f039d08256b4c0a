package web_test

import (
	"bufio"
	"encoding/json"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
)

// groupOf is a group of riders front to back at places in m, each some seconds
// behind the one who is 'you'.
func groupOf(you int, places ...float64) ride.GroupSheet {
	s := ride.GroupSheet{Link: ride.LinkWell, GunSet: true, ClockS: 600, Shelter: 1, Extra: 1}
	names := []string{"Bram", "Tilde", "Joos", "Ilse", "Maren"}
	for i, m := range places {
		at := 0.0
		if you >= 0 {
			at = places[you]
		}
		s.Riders = append(s.Riders, ride.GroupDot{Key: names[i], Name: names[i], You: i == you, AtM: m, SpeedMS: 10, BehindS: (at - m) / 10, Known: true, State: ride.DotRiding})
	}
	return s
}

func TestShelterInWords(t *testing.T) {
	for _, c := range []struct {
		name    string
		you     int
		shelter float64
		places  []float64
		want    string
	}{
		{"alone", 0, 1, []float64{1000}, "in the wind"},
		{"two wheels ahead", 2, 0.69, []float64{1014, 1007, 1000}, "in the shelter of two, 31 % less air drag"},
		{"one wheel, then a gap over the reach", 2, 0.8, []float64{1030, 1008, 1000}, "in the shelter of one, 20 % less air drag"},
		{"a gap of exactly the reach shelters nobody", 1, 1, []float64{1000 + service.ShelterReachM(), 1000}, "in the wind"},
		{"first of a line", 0, 0.97, []float64{1003, 1000}, "in the wind, 3 % less air drag by who is behind you"},
	} {
		s := groupOf(c.you, c.places...)
		s.Shelter = c.shelter
		if got := web.NewCompany(s, 10000, 0).Shelter; got != c.want {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
	silent := groupOf(1, 1004, 1000)
	silent.Riders[0].State = ride.DotSilent
	if got := web.NewCompany(silent, 10000, 0).Shelter; got != "in the wind" {
		t.Errorf("behind somebody who is not heard: %q", got)
	}
}

func TestCompanyInWords(t *testing.T) {
	s := groupOf(2, 1200, 1010, 1000, 880, 300)
	s.Riders[3].Known, s.Riders[4].LateS = false, 65
	s.Riders[2].Extra, s.Extra = true, 0.7
	c := web.NewCompany(s, 10000, 0)
	for what, pair := range map[string][2]string{
		"ahead": {c.Ahead + " " + c.AheadWho, "1 s ahead, Tilde"}, "behind, while the seconds are not known": {c.Behind + " " + c.BehindWho, "120 m behind, Ilse"},
		"the first": {c.Dots[0].Gap, "20 s ahead"}, "who left late": {c.Dots[4].Says, "at 0.3 km, left the line 1:05 after the gun"}, "how that is drawn": {c.Dots[4].Mark, "late"},
		"oneself": {c.Dots[2].Gap, ""}, "between the first two": {c.Dots[1].Since, "19 s"}, "help": {c.Helped, "Helped by the host: 30 % less air drag until you are back. Your recording says so."},
	} {
		if pair[0] != pair[1] {
			t.Errorf("%s: %q; want %q", what, pair[0], pair[1])
		}
	}
	host := groupOf(-1, 1200, 1195, 1000)
	host.Host, host.Link, host.Riders[2].LateS = true, ride.LinkHere, 40
	host.Riders = append(host.Riders, ride.GroupDot{Key: "x", Name: "Odd", AtM: 500, State: ride.DotGone})
	h := web.NewCompany(host, 10000, 0)
	if len(h.Dots) != 3 || len(h.Left) != 1 || h.Left[0].Says != "ended at 0.5 km" {
		t.Errorf("riding %v, gone %v", h.Dots, h.Left)
	}
	if h.Dots[0].Bring || h.Dots[1].Bring || !h.Dots[2].Bring {
		t.Error("only who left late can be brought up")
	}
	if h.Dots[1].Since != "" || h.Dots[2].Since != "20 s" {
		t.Errorf("seconds between: %q, %q; side by side has none", h.Dots[1].Since, h.Dots[2].Since)
	}
	if n := len(h.Lines()); n != 4 {
		t.Errorf("%d lines in words for 4 riders", n)
	}
}

func TestLinkInWords(t *testing.T) {
	for _, c := range []struct {
		link    string
		silentS float64
		you     int
		want    string
		silent  bool
	}{
		{ride.LinkWell, 0.2, 0, "The host is heard well.", false},
		{ride.LinkSlow, 2, 0, "The host is heard late: the others may be a little further than drawn.", false},
		{ride.LinkHere, 0, 0, "Hosted by this machine.", false},
		{ride.LinkSilent, 0, -1, "The host has not been heard yet.", false},
		{ride.LinkSilent, 8, 0, "The host has not been heard for 8 s. Your ride and its recording go on.", true},
		{ride.LinkSilent, 130, 0, "The host has not been heard for 2:10. Your ride and its recording go on. The others are drawn pale, where last reckoned.", true},
		{ride.LinkSilent, 8, -1, "The host has not been heard for 8 s.", true},
	} {
		s := groupOf(c.you, 1000, 900)
		s.Link, s.SilentS = c.link, c.silentS
		if got := web.NewCompany(s, 10000, 0); got.Link != c.want || got.Silent != c.silent {
			t.Errorf("%s for %.0f s: %q, %t; want %q, %t", c.link, c.silentS, got.Link, got.Silent, c.want, c.silent)
		}
	}
}

// The words on the host's page are those of what the engine does.
func TestHelpIsAsThePageSays(t *testing.T) {
	if service.HelpTakesOff(3) != 0 || service.HelpTakesOff(3.5) <= 0 || service.HelpTakesOff(30) != service.HelpTakesOff(300) || service.HelpTakesOff(29) >= service.HelpTakesOff(30) {
		t.Error("the page says: none at 3 s, growing to 30 s")
	}
	for _, strength := range []string{"low", "middle", "high"} {
		if second, best := service.ShelterTakesOff(strength); !(0 < second && second < best && best < 0.6) {
			t.Errorf("%s: the second is spared %.2f, the best placed %.2f", strength, second, best)
		}
	}
}

func TestTogetherAskedBadly(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	if _, err := db.Put(t.Context(), store.Object{ID: "c2", Kind: store.Course, Name: "From a list", Text: "distance_km: 10\nascent_m: 100\n"}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		form map[string]string
		says string
	}{
		{map[string]string{}, "Choose a course."},
		{map[string]string{"course": "gone"}, "is not there any more"},
		{map[string]string{"course": "r1"}, "is not there any more"},
		{map[string]string{"course": "c2"}, "is a sketch"},
		{map[string]string{"course": "c1", "strength": "gale"}, "low, middle or high"},
		{map[string]string{"course": "c1", "rider.0": "r1", "rig.0": "gone"}, "not there any more"},
		{map[string]string{"course": "c1", "rider.0": "r1", "rig.0": "g1", "devices.0": "radar"}, "bench, plain bench, radio or replay"},
		{map[string]string{"course": "c1", "rider.0": "r1", "rig.0": "g1", "devices.0": "radio"}, "no radio"},
	} {
		if status, _, body := v.sendRig(t, "/together", c.form); status != 422 || !strings.Contains(body, c.says) || !strings.Contains(body, "another look") {
			t.Errorf("%v: %d, without %q: %.3000s", c.form, status, c.says, body)
		}
	}
	if _, _, body := v.ask(t, "GET", "/ride", "", nil); strings.Contains(body, "a course ridden together") {
		t.Error("a group that could not begin goes on")
	}
	for _, path := range []string{"/together/none", "/together/none/live", "/together/none/end", "/join/none", "/join/none/live", "/ride/none/brief"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("%s: %d", path, status)
		}
	}
	for _, c := range []struct{ address, invitation, says string }{
		{"", "", "Type the address"},
		{"127.0.0.1:1", "", "Type the invitation"},
		{"127.0.0.1:1", "qk7f 3zpa", "20 letters and digits; found 8"},
		{"127.0.0.1:1", "QK7F-3ZPA-M2XD-6TRB-WY5!", "letters and the digits 2 to 7 only"},
		{"127.0.0.1:1", "QK7F-3ZPA-M2XD-6TRB-WY5N", "cannot be reached"},
		{"not an address", "QK7F-3ZPA-M2XD-6TRB-WY5N", ""},
	} {
		status, _, body := v.sendRig(t, "/join", map[string]string{"address": c.address, "invitation": c.invitation})
		if status != 422 || !strings.Contains(body, c.says) {
			t.Errorf("%q, %q: %d, without %q: %.3000s", c.address, c.invitation, status, c.says, body)
		}
	}
	w, _ := rigSite(t, briefObjects()...)
	for _, path := range []string{"/together", "/join"} {
		if status, _, body := w.ask(t, "GET", path, "", nil); status != 404 || !strings.Contains(body, "started without rides") {
			t.Errorf("%s in a program without rides: %d", path, status)
		}
	}
}

// companies reads what a group's page is sent until done says so.
func (v *site) companies(t *testing.T, path string, limit time.Duration, done func(web.Company) bool) {
	t.Helper()
	r, err := v.client.Get(v.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	end := time.AfterFunc(limit, func() { r.Body.Close() })
	defer end.Stop()
	var last string
	for lines := bufio.NewScanner(r.Body); lines.Scan(); {
		data, ok := strings.CutPrefix(lines.Text(), "data: ")
		if !ok {
			continue
		}
		last = data
		var m struct {
			Company web.Company `json:"company"`
		}
		if err := json.Unmarshal([]byte(data), &m); err != nil {
			t.Fatal(err)
		}
		if done(m.Company) {
			return
		}
	}
	t.Fatalf("%s did not come to it within %v; last: %.600s", path, limit, last)
}

var (
	shownAddress = regexp.MustCompile(`<dt>Address</dt><dd>([^<]+)</dd>`)
	shownChunk   = regexp.MustCompile(`<span>([A-Z2-7]{4})</span>`)
)

func asJSON(r *http.Request) { r.Header.Set("Accept", "application/json") }

// hostSite is a site that hosts a group.
type hostSite struct {
	*site
	at string // path of the host's page
}

func hostOf(t *testing.T) hostSite {
	t.Helper()
	v := liveSite(t)
	status, h, body := v.sendRig(t, "/together", map[string]string{"course": "c1", "title": "Two rooms", "strength": "high"})
	at := h.Get("Location")
	if status != 303 || !strings.HasPrefix(at, "/together/") {
		t.Fatalf("%d %s: %.2000s", status, at, body)
	}
	return hostSite{v, at}
}

// wish asks for something as the page's script does, and answers why not.
func (v hostSite) wish(t *testing.T, form map[string]string) string {
	t.Helper()
	q := url.Values{}
	for k, x := range form {
		q.Set(k, x)
	}
	status, _, body := v.ask(t, "POST", v.at+"/do", q.Encode(), asJSON)
	var told struct{ Why, Done string }
	if err := json.Unmarshal([]byte(body), &told); err != nil {
		t.Fatalf("%v: %d %.300s", form, status, body)
	}
	return told.Why
}

// open opens the group, and reads off the page what guests type.
func (v hostSite) open(t *testing.T) (address, invitation string) {
	t.Helper()
	if why := v.wish(t, map[string]string{"do": "open", "address": "127.0.0.1:0"}); why != "" {
		t.Fatal(why)
	}
	_, _, body := v.ask(t, "GET", v.at, "", nil)
	wantIn(t, body, "Shut it again")
	at := shownAddress.FindStringSubmatch(body)
	var chunks []string
	for _, m := range shownChunk.FindAllStringSubmatch(body, -1) {
		chunks = append(chunks, m[1])
	}
	if at == nil || len(chunks) != 5 {
		t.Fatalf("no address and invitation to read: %v %v", at, chunks)
	}
	return at[1], strings.Join(chunks, "-")
}

// What a host asks for is done, or refused in a sentence.
func TestHostAsks(t *testing.T) {
	t.Parallel()
	v := hostOf(t)
	_, _, body := v.ask(t, "GET", "/together?course=c1&event=e1", "", nil)
	wantIn(t, body, `<option value="c1" selected>`, `<option value="e1" selected>`, "air drag", "hosted here, nobody is there yet")
	_, _, body = v.ask(t, "GET", v.at, "", nil)
	wantIn(t, body, "Two rooms", "Nobody is here yet", "The gun is not set yet", "Short road", "60\u00a0%", "Open it to the network", "nobody sees watts")
	for _, c := range []struct {
		form map[string]string
		why  string
	}{
		{map[string]string{"do": "count", "value": "soon"}, "0 to 3600"}, {map[string]string{"do": "count", "value": "-3"}, "0 to 3600"}, {map[string]string{"do": "count", "value": "NaN"}, "0 to 3600"},
		{map[string]string{"do": "say"}, "Write what to say"}, {map[string]string{"do": "strength", "strength": "gale"}, "low, middle or high"},
		{map[string]string{"do": "bring", "to": "nobody"}, "."}, {map[string]string{"do": "open"}, "Choose the address"}, {map[string]string{"do": "open", "address": "203.0.113.9"}, "cannot be opened"},
		{map[string]string{"do": "say", "text": "easy"}, ""}, {map[string]string{"do": "keep", "value": "on"}, ""}, {map[string]string{"do": "strength", "strength": "low"}, ""},
	} {
		if why := v.wish(t, c.form); (why == "") != (c.why == "") || !strings.Contains(why, c.why) {
			t.Errorf("%v: %q; want %q", c.form, why, c.why)
		}
	}
	if status, _, body := v.sendRig(t, v.at+"/do", map[string]string{"do": "dance"}); status != 400 || !strings.Contains(body, "cannot ask for that") {
		t.Errorf("a wish there is not: %d", status)
	}
	if status, _, body := v.sendRig(t, v.at+"/ride", map[string]string{"rider": "r1"}); status != 422 || !strings.Contains(body, "Choose a rig.") {
		t.Errorf("a rider without a rig: %d", status)
	}
	_, _, body = v.ask(t, "GET", v.at, "", nil)
	wantIn(t, body, "The group is being kept together", "Stop helping", `<option value="low" selected>`)
	v.open(t)
	if why := v.wish(t, map[string]string{"do": "shut"}); why != "" {
		t.Error(why)
	}
	_, _, body = v.ask(t, "GET", v.at, "", nil)
	if strings.Contains(body, "<dt>Invitation</dt>") {
		t.Error("a group that was shut still shows its invitation")
	}
	_, _, body = v.ask(t, "GET", v.at+"/end", "", nil)
	wantIn(t, body, "End Two rooms?")
	if status, _, _ := v.sendRig(t, v.at+"/end", nil); status != 303 {
		t.Errorf("ending: %d", status)
	}
	_, _, body = v.ask(t, "GET", v.at, "", nil)
	wantIn(t, body, "This group has ended.")
}

// A host and a guest, each their own program: what is typed wrong is said, and
// what is typed untidily is understood; the guest rides.
func TestGuestJoins(t *testing.T) {
	t.Parallel()
	v, w := hostOf(t), liveSite(t)
	address, invitation := v.open(t)
	status, _, body := w.sendRig(t, "/join", map[string]string{"address": address, "invitation": "QK7F-3ZPA-M2XD-6TRB-WY5N"})
	if status != 422 || !strings.Contains(body, "does not know this invitation") {
		t.Errorf("another group's invitation: %d %.2000s", status, body)
	}
	status, h, body := w.sendRig(t, "/join", map[string]string{"address": " HTTPS://" + address + "/ ", "invitation": " " + strings.ToLower(strings.ReplaceAll(invitation, "-", "  ")) + "."})
	joined := h.Get("Location")
	if status != 303 || !strings.HasPrefix(joined, "/join/") {
		t.Fatalf("%d %s: %.2000s", status, joined, body)
	}
	w.companies(t, joined+"/live", 10*time.Second, func(c web.Company) bool { return c.Link == "The host is heard well." })
	_, _, body = w.ask(t, "GET", joined, "", nil)
	wantIn(t, body, "Two rooms", "Short road", "What the others see", "Ride on this machine")
	if status, _, body := w.sendRig(t, joined+"/ride", map[string]string{"rider": "r1", "rig": "g1", "devices": "radio"}); status != 422 || !strings.Contains(body, "no radio") {
		t.Errorf("without a radio: %d %.1500s", status, body)
	}
	status, h, body = w.sendRig(t, joined+"/ride", map[string]string{"rider": "r1", "rig": "g1", "devices": "bench"})
	mine := h.Get("Location")
	if status != 303 {
		t.Fatalf("%d: %.2000s", status, body)
	}
	v.companies(t, v.at+"/live", 10*time.Second, func(c web.Company) bool {
		return len(c.Dots) == 1 && c.Dots[0].Name == "Maren" && c.Dots[0].Mark == "waiting"
	})
	_, _, body = w.ask(t, "GET", mine, "", nil)
	wantIn(t, body, "All well <kbd>1</kbd>", `href="`+joined+`"`, "Start without the host", "Everybody in words")
	_, _, body = w.ask(t, "GET", mine+"/brief", "", nil)
	wantIn(t, body, "The brief this ride was planned by", "Maren")
	if why := v.wish(t, map[string]string{"do": "count", "value": "0"}); why != "" {
		t.Errorf("the gun: %s", why)
	}
	w.views(t, mine+"/live", 20*time.Second, func(x web.RideView) bool { return x.Stage == "riding" && x.Company != nil })
	if status, _, _ := w.sendRig(t, mine+"/key", map[string]string{"key": "phrase", "value": "0"}); status != 303 {
		t.Errorf("a phrase: %d", status)
	}
	v.companies(t, v.at+"/live", 10*time.Second, func(c web.Company) bool { return len(c.Phrases) == 1 && c.Phrases[0].Words == ride.Phrases[0] })
	w.sendRig(t, mine+"/key", map[string]string{"key": "end"})
	v.companies(t, v.at+"/live", 15*time.Second, func(c web.Company) bool { return len(c.Left) == 1 })
	w.sendRig(t, joined+"/leave", nil)
	if status, _, _ := w.ask(t, "GET", joined, "", nil); status != 404 {
		t.Errorf("left and still there: %d", status)
	}
}

// An open page of a group does not keep a program that closes waiting.
func TestGroupPageEndsWithTheProgram(t *testing.T) {
	t.Parallel()
	v, _, rides := checkSite(t)
	_, h, _ := v.sendRig(t, "/together", map[string]string{"course": "c1", "title": "Late", "strength": "high"})
	r, err := v.client.Get(v.URL + h.Get("Location") + "/live")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	go rides.Close()
	stuck := time.AfterFunc(20*time.Second, func() { r.Body.Close() })
	for lines := bufio.NewScanner(r.Body); lines.Scan(); {
	}
	if !stuck.Stop() {
		t.Error("it is still being written to")
	}
}
