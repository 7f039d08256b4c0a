package web_test

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
	"chainline/recording"
)

// checkSite is a site that can ride, with its store and its rides.
func checkSite(t *testing.T) (*site, *store.Store, *live.Manager) {
	t.Helper()
	db, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	for _, o := range briefObjects() {
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
	}
	v := &site{}
	log := slog.New(slog.NewTextHandler(&v.log, nil))
	rides := live.New(live.Config{Folder: t.TempDir(), Settings: db, Now: time.Now, Log: log})
	t.Cleanup(func() { rides.Close() })
	h, err := web.New(web.Config{Store: db, Now: time.Now, Log: log, Live: rides})
	if err != nil {
		t.Fatal(err)
	}
	v.Server = httptest.NewServer(h)
	t.Cleanup(v.Close)
	v.client = v.Client()
	v.client.Jar, _ = cookiejar.New(nil)
	v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return v, db, rides
}

// sent posts a form with files as browsers send it.
func (v *site) sent(t *testing.T, path string, form map[string]string, files map[string][]byte) (int, http.Header, string) {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, value := range form {
		if err := m.WriteField(name, value); err != nil {
			t.Fatal(err)
		}
	}
	for name, data := range files {
		part, err := m.CreateFormFile(name, name+".recording")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := part.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	m.Close()
	return v.ask(t, "POST", path, b.String(), func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
}

func stored(t *testing.T, r *recording.Recording) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := recording.Write(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func someRecording() *recording.Recording {
	r := &recording.Recording{Title: "Evening", StartUnix: 1.7e9, Sport: "indoor cycling", Whole: true}
	c := recording.Channel{Quantity: recording.Power, Source: "hub"}
	for i := range 400 {
		c.Seconds, c.Values = append(c.Seconds, float64(i)), append(c.Values, 150+float64(i%7))
	}
	r.Channels = append(r.Channels, c)
	return r
}

func TestCheckRefusesInWords(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	rider, rig := onlyOne(t, db, store.Rider).ID, onlyOne(t, db, store.Rig).ID
	for says, form := range map[string]map[string]string{
		"Choose a rig.":                      {"rider": rider, "what": "ride", "devices": "bench"},
		"Choose which devices.":              {"rider": rider, "rig": rig, "what": "ride"},
		"Choose what shall be looked at.":    {"rider": rider, "rig": rig},
		"No recording came with it":          {"rider": rider, "rig": rig, "what": "files"},
		"such as example.org:443":            {"rider": rider, "rig": rig, "what": "ride", "devices": "bench", "host": "example.org"},
		"300 to 5000 mm":                     {"rider": rider, "rig": rig, "what": "ride", "devices": "bench", "wheel": "2.1"},
		"simulated, cannot have that fault.": {"rider": rider, "rig": rig, "what": "ride", "devices": "bench", "fault": "rust"},
	} {
		status, _, body := v.sent(t, "/check", form, nil)
		if status != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", says, status)
		}
		wantIn(t, body, says)
	}
	status, _, body := v.sent(t, "/check", map[string]string{"rider": rider, "rig": rig, "what": "files"}, map[string][]byte{"first": []byte("a diary")})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "expected a header that names a time") {
		t.Errorf("%d: a diary was looked at", status)
	}
	for _, path := range []string{"/check/nothing", "/ride/nothing/check", "/check/nothing/json", "/check/nothing/delete"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != http.StatusNotFound {
			t.Errorf("%s: %d", path, status)
		}
	}
}

// Two recordings are looked at, the report is kept, listed, given as data and
// deleted.
func TestCheckOfRecordings(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	rider, rig := onlyOne(t, db, store.Rider).ID, onlyOne(t, db, store.Rig).ID
	status, head, body := v.sent(t, "/check", map[string]string{"rider": rider, "rig": rig, "what": "files"},
		map[string][]byte{"first": stored(t, someRecording()), "second": stored(t, someRecording())})
	at := head.Get("Location")
	if status != http.StatusSeeOther || !strings.HasPrefix(at, "/check/") {
		t.Fatalf("%d %s: %.500s", status, at, body)
	}
	_, _, body = v.ask(t, "GET", at, "", nil)
	wantIn(t, body, "first.recording", "second.recording", "Cannot say", "7 min looked at")
	_, _, body = v.ask(t, "GET", "/check", "", nil)
	wantIn(t, body, "Checks so far", at)
	_, head, body = v.ask(t, "GET", at+"/json", "", nil)
	var sheet service.CheckSheet
	if err := json.Unmarshal([]byte(body), &sheet); err != nil || sheet.Schema != service.CheckSchema || head.Get("Content-Type") != "application/json" {
		t.Errorf("%v: %+v", err, sheet)
	}
	if status, head, _ := v.ask(t, "POST", at+"/delete", "", nil); status != http.StatusSeeOther || head.Get("Location") != "/check" {
		t.Errorf("deleting: %d", status)
	}
	if status, _, _ := v.ask(t, "GET", at, "", nil); status != http.StatusNotFound {
		t.Errorf("deleted, and still %d", status)
	}
}

// kept puts a report with a correction into the store.
func kept(t *testing.T, db *store.Store, rider, rig, key string) store.RigCheck {
	t.Helper()
	sheet := service.CheckSheet{Schema: service.CheckSchema, Made: time.Now(), Begun: time.Now(), ThresholdW: 240, Minutes: 29, Warm: true, Verdicts: []service.CheckVerdict{
		{Source: "crank meter", Key: key, Verdict: "use corrected", Sentence: "Use the watts of crank meter corrected.", Error: &service.CheckValue{Mean: 0.05, Low: 0.04, High: 0.06, Unit: "fraction"},
			ErrorSD: 0.005, Correction: &service.CheckCorrection{Gain: 1.05, OffsetW: 0, SD: 0.006}}}}
	b, err := json.Marshal(sheet)
	if err != nil {
		t.Fatal(err)
	}
	c, err := db.PutRigCheck(t.Context(), store.RigCheck{Title: "Check", RiderID: rider, RigID: rig, Report: b})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A correction is applied on purpose, goes with the next ride and is told
// there, and is gone from the one after it was taken back.
func TestCorrectionGoesWithRides(t *testing.T) {
	t.Parallel()
	v, db, rides := checkSite(t)
	rider, rig := onlyOne(t, db, store.Rider).ID, onlyOne(t, db, store.Rig).ID
	c := kept(t, db, rider, rig, "aa/1818")
	begin := func() ride.Setup {
		t.Helper()
		status, head, body := v.sendRig(t, "/ride", map[string]string{"rider": rider, "rig": rig, "what": "free", "devices": "bench"})
		id := strings.TrimPrefix(head.Get("Location"), "/ride/")
		x, ok := rides.Ride(id)
		if status != http.StatusSeeOther || !ok {
			t.Fatalf("%d %.400s", status, body)
		}
		set := x.Riding.Setup
		_, _, body = v.ask(t, "GET", "/ride/"+id, "", nil)
		if told := strings.Contains(body, "The watts of crank meter are corrected"); told != (len(set.Rig.Corrections) > 0) {
			t.Errorf("told of a correction: %v, corrections %v", told, set.Rig.Corrections)
		}
		x.Engine.Key(ride.Key{Kind: ride.KeyEnd})
		return set
	}
	if got := begin().Rig.Corrections; len(got) > 0 {
		t.Errorf("nobody applied %v", got)
	}
	press := func(what, source string, want int) {
		t.Helper()
		if status, _, _ := v.sendRig(t, "/check/"+c.ID+"/"+what, map[string]string{"source": source}); status != want {
			t.Errorf("%s: %d", what, status)
		}
	}
	press("apply", "trainer", http.StatusBadRequest)
	press("apply", "crank meter", http.StatusSeeOther)
	_, _, body := v.ask(t, "GET", "/check/"+c.ID, "", nil)
	wantIn(t, body, "Applied since", "Take it back", "From now on the watts of crank meter are corrected")
	got := begin().Rig.Corrections["aa/1818"]
	if got.Gain < 0.952 || got.Gain > 0.953 || got.Offset != 0 {
		t.Errorf("%+v", got)
	}
	press("take-back", "crank meter", http.StatusSeeOther)
	_, _, body = v.ask(t, "GET", "/check/"+c.ID, "", nil)
	wantIn(t, body, "Taken back", "Apply this correction")
	if got := begin().Rig.Corrections; len(got) > 0 {
		t.Errorf("taken back, and still %v", got)
	}
}

// The doubt about a rig's watts in a brief is that of its last check; with the
// correction applied it is what stays, and what was measured before is written
// as it would be shown now.
func TestBriefsGoByTheLastCheck(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	brief := func() (accuracy, threshold float64) {
		t.Helper()
		at := v.made(t, "/briefs/new", asked)
		b, err := db.Brief(t.Context(), strings.TrimPrefix(at, "/briefs/"))
		if err != nil {
			t.Fatal(err)
		}
		var r struct {
			Rig struct {
				Accuracy float64 `json:"accuracy_fraction"`
			} `json:"rig"`
			Rider struct {
				Capacity struct {
					Threshold struct {
						Mean float64 `json:"mean"`
					} `json:"threshold_w"`
				} `json:"capacity"`
			} `json:"rider"`
		}
		if err := json.Unmarshal(b.Result, &r); err != nil {
			t.Fatal(err)
		}
		return r.Rig.Accuracy, r.Rider.Capacity.Threshold.Mean
	}
	_, before := brief()
	c := kept(t, db, "r1", "g1", "bb/1826")
	accuracy, same := brief()
	if accuracy < 0.050 || accuracy > 0.0505 { // 5 % wrong, give or take 0.5
		t.Errorf("checked, and the doubt is %g", accuracy)
	}
	if before == 0 || same < 0.97*before || same > 1.03*before {
		t.Errorf("threshold %g W, after a check %g W", before, same)
	}
	if err := db.ApplyCorrection(t.Context(), c.ID, "crank meter"); err != nil {
		t.Fatal(err)
	}
	accuracy, corrected := brief()
	if accuracy < 0.0059 || accuracy > 0.0061 {
		t.Errorf("corrected, and the doubt is %g", accuracy)
	}
	if r := corrected / before; r < 0.93 || r > 0.975 { // 5 % too high it was
		t.Errorf("threshold %g W, by corrected watts %g W", before, corrected)
	}
}
