package web_test

import (
	"bytes"
	"encoding/json"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/calendar"
	"chainline/internal/service"
	"chainline/internal/store"
)

// sendTo uploads a file with a form; an empty filename sends none.
func (v *site) sendTo(t *testing.T, path, filename, content string, form map[string]string) (int, http.Header, string) {
	t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	if filename != "" {
		f, _ := m.CreateFormFile("file", filename)
		f.Write([]byte(content))
	}
	for k, x := range form {
		m.WriteField(k, x)
	}
	m.Close()
	return v.ask(t, "POST", path, body.String(), func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
}

const eveningRace = "name: Evening race\nstart: 2031-12-02T19:30\ntime_zone: Europe/Dublin\nkind: mass\n"

func TestCalendarTakenInAskedAndHandedOut(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/calendar", "", nil)
	wantIn(t, body, "Nothing takes place yet", `type="file"`)
	status, _, body := v.sendTo(t, "/calendar", "", "", nil)
	if status != 422 {
		t.Errorf("no file: %d", status)
	}
	status, _, body = v.sendTo(t, "/calendar", "bad.ics", "BEGIN:VCALENDAR\nBEGIN:VEVENT\nSUMMARY:x\nEND:VEVENT\nEND:VCALENDAR\n", nil)
	if status != 422 {
		t.Errorf("a bad one: %d", status)
	}
	wantIn(t, body, "bad.ics:2: VEVENT: found &#34;no DTSTART&#34;; expected a DTSTART")
	if _, err := db.Put(t.Context(), store.Object{Kind: store.Event, Name: "Evening race", Text: eveningRace}); err != nil {
		t.Fatal(err)
	}
	club := "name,date,time,minutes,zone,repeats,kind\nLong race,2031-12-02,20:00,90,Europe/Dublin,weekly,mass\nEasy <b>ride</b>,2031-12-04,18:00,40,Europe/Dublin,,group\n"
	for range 2 { // the second takes the place of the first
		if status, h, _ := v.sendTo(t, "/calendar", `C:\x\club.csv`, club, nil); status != 303 || h.Get("Location") != "/calendar" {
			t.Fatalf("%d %v", status, h)
		}
	}
	kept, err := db.Calendars(t.Context())
	if err != nil || len(kept) != 1 || string(kept[0].Bytes) != club {
		t.Fatalf("%d kept, %v", len(kept), err)
	}
	const asked = "?from=2031-12-01&zone=zurich&minutes=60"
	_, _, body = v.ask(t, "GET", "/calendar"+asked, "", nil)
	wantIn(t, body, "Tuesday 2 December", "20:30", "21:00 to 22:30", "does not fit", "50 min more than there are", "19:30 in Europe/Dublin", "clashes", "Easy &lt;b&gt;ride&lt;/b&gt;", "It takes 40 min with 10 min around it: 10 min are left.", "Week of Monday 1 December", "Tuesday 23 December")
	_, h, file := v.ask(t, "GET", "/calendar.ics"+asked, "", nil)
	if h.Get("Content-Type") != "text/calendar; charset=utf-8" || !strings.Contains(h.Get("Content-Disposition"), "chainline.ics") {
		t.Errorf("%v", h)
	}
	f, err := calendar.Read("out.ics", strings.NewReader(file), time.UTC)
	if err != nil || f.Len() != 2 { // the evening race may fit; the long ones do not
		t.Errorf("%v, %d events\n%s", err, f.Len(), file)
	}
	status, _, body = v.ask(t, "GET", "/calendar?zone=Home&minutes=lots&rider=x&from=2031-12-01", "", nil)
	if status != 422 {
		t.Errorf("bad answers: %d", status)
	}
	wantIn(t, body, "is no time zone", "Write minutes", "It is not there any more", "choose this one too", `value="Home"`)
	if status, _, _ := v.ask(t, "GET", "/calendar?from=someday", "", nil); status != 422 {
		t.Errorf("no day: %d", status)
	}
	if status, _, _ := v.sendRig(t, "/calendar/"+kept[0].ID+"/delete", nil); status != 303 {
		t.Errorf("removed: %d", status)
	}
	if status, _, _ := v.sendRig(t, "/calendar/"+kept[0].ID+"/delete", nil); status != 404 {
		t.Errorf("removed twice: %d", status)
	}
}

func TestReadyAndResultsOfAnEvent(t *testing.T) {
	v, db := rigSite(t, store.Object{Kind: store.Event, Name: "Evening race", Text: eveningRace}, store.Object{Kind: store.Rider, Name: "Maren", Text: courseRider}, store.Object{Kind: store.Rig, Name: "Cellar", Text: courseRig})
	o := onlyOne(t, db, store.Event)
	_, _, body := v.ask(t, "GET", "/events/"+o.ID+"/ready", "", nil)
	wantIn(t, body, "Maren", "never checked", "none yet", "not known", "0 of 1 are ready", "on Cellar", "/briefs/new?rider=")
	_, _, body = v.ask(t, "GET", "/events/"+o.ID, "", nil)
	wantIn(t, body, "/events/"+o.ID+"/ready", "/events/"+o.ID+"/results")
	path := "/events/" + o.ID + "/results"
	list := "place,name,number,time,w/kg\n1,Ada Moss,7,25:00,3.9\n2,Bo Reed,9,25:03,3.7\n3,Maren,11,26:10,3.2\n4,Cy Fen,12,DNF,\n"
	status, _, body := v.sendTo(t, path, "list.csv", list, map[string]string{"me": "nobody"})
	if status != 422 {
		t.Errorf("%d", status)
	}
	wantIn(t, body, "nobody on the list is called", `value="nobody"`)
	if status, _, body = v.sendTo(t, path, "list.csv", list, map[string]string{"me": "11"}); status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	all, err := db.RaceResults(t.Context(), o.ID)
	if err != nil || len(all) != 1 || bytes.Contains(all[0].Sheet, []byte("Ada")) || !bytes.Contains(all[0].Sheet, []byte("Maren")) {
		t.Fatalf("%v %s", err, all)
	}
	var sheet service.ResultsSheet
	if err := json.Unmarshal(all[0].Sheet, &sheet); err != nil || sheet.Me.Place != 3 || len(sheet.Rows) != 4 {
		t.Errorf("%v %+v", err, sheet)
	}
	_, _, body = v.ask(t, "GET", path, "", nil)
	wantIn(t, body, "You came 3rd of 3.", "3 finished, 1 did not")
	if strings.Contains(body, "Bo Reed") {
		t.Error("the page knows another's name")
	}
	if status, _, _ = v.sendRig(t, path+"/"+all[0].ID+"/delete", nil); status != 303 {
		t.Errorf("%d", status)
	}
	if status, _, _ = v.ask(t, "GET", "/events/none/results", "", nil); status != 404 {
		t.Errorf("%d", status)
	}
}

// Briefs for all of a start list are made in one go, in the background; whose
// file is wrong is named, and the others get theirs.
func TestBriefsForAWholeStartList(t *testing.T) {
	v, db := rigSite(t, store.Object{Kind: store.Event, Name: "Evening race", Text: eveningRace}, store.Object{Kind: store.Rider, Name: "Maren", Text: courseRider},
		store.Object{Kind: store.Rider, Name: "Tilda", Text: courseRider}, store.Object{Kind: store.Rig, Name: "Cellar", Text: courseRig},
		store.Object{Kind: store.Course, Name: "Short", Original: &store.Original{Filename: "short.csv", Media: "text/csv", Bytes: []byte(shortRoad)}})
	o, path := onlyOne(t, db, store.Event), ""
	path = "/events/" + o.ID + "/ready"
	_, _, body := v.ask(t, "GET", path, "", nil)
	wantIn(t, body, "Make 2 briefs", "Short")
	if status, _, _ := v.sendRig(t, path, map[string]string{"course": "none"}); status != 303 {
		t.Errorf("%d", status)
	}
	course := onlyOne(t, db, store.Course)
	if status, _, _ := v.sendRig(t, path, map[string]string{"course": course.ID}); status != 303 {
		t.Errorf("%d", status)
	}
	for deadline := time.Now().Add(time.Minute); strings.Contains(body, "briefs are made") || strings.Contains(body, "Make 2 briefs"); {
		if _, _, body = v.ask(t, "GET", path, "", nil); time.Now().After(deadline) {
			t.Fatal("it takes more than a minute")
		}
	}
	briefs, err := db.Briefs(t.Context(), "")
	if err != nil || len(briefs) != 2 || briefs[0].EventID != o.ID || briefs[0].RiderID == briefs[1].RiderID {
		t.Errorf("%v %+v", err, briefs)
	}
	if strings.Contains(body, "none yet") || !strings.Contains(body, "made on") {
		t.Error("the table does not know the briefs")
	}
}
