package web_test

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
)

var ridesNow = time.Date(2026, 12, 20, 9, 0, 0, 0, time.UTC)

// rideTable is half an hour with five harder minutes, some days ago, with a
// spike nobody could have ridden.
func rideTable(daysAgo int, hard float64) string {
	var b strings.Builder
	b.WriteString("timestamp,power,heart_rate,cadence\n")
	begun := ridesNow.AddDate(0, 0, -daysAgo)
	for s := range 1800 {
		w := 150 + float64(s%7)
		if s > 1200 && s <= 1500 {
			w = hard + float64(s%5)
		}
		if s == 600 {
			w = 4000
		}
		fmt.Fprintf(&b, "%s,%.0f,%d,%d\n", begun.Add(time.Duration(s)*time.Second).Format(time.RFC3339), w, 130+s%4, 90+s%3)
	}
	return b.String()
}

// rideSite is a site with a library of rides, the racer and her rig.
func rideSite(t *testing.T) *site {
	t.Helper()
	v, _ := rideSiteOf(t)
	return v
}

func rideSiteOf(t *testing.T) (*site, *store.Store) {
	t.Helper()
	dir := t.TempDir()
	db, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	db.Now = func() time.Time { return ridesNow }
	for id, kind := range map[string]store.Kind{"racer": store.Rider, "racer-rig": store.Rig} {
		text, err := os.ReadFile("../../demo/" + id + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Put(t.Context(), store.Object{ID: id, Kind: kind, Name: map[string]string{"racer": "Ilse", "racer-rig": "Cool room"}[id], Text: string(text)}); err != nil {
			t.Fatal(err)
		}
	}
	v := &site{}
	log := slog.New(slog.NewTextHandler(&v.log, nil))
	library := service.NewApp(service.AppConfig{Store: db, Now: func() time.Time { return ridesNow }, Log: log, Workers: 2})
	t.Cleanup(func() { library.Close() })
	h, err := web.New(web.Config{Store: db, Library: library, Now: func() time.Time { return ridesNow }, Log: log, Workers: 2, Version: "test"})
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

// send posts a form of files and fields.
func (v *site) send(t testing.TB, path, field string, files map[string]string, fields map[string]string) (int, string, string) {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, value := range fields {
		m.WriteField(name, value)
	}
	for name, text := range files {
		w, _ := m.CreateFormFile(field, name)
		io.WriteString(w, text)
	}
	m.Close()
	status, head, body := v.ask(t, "POST", path, b.String(), func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
	return status, head.Get("Location"), body
}

// brought waits for an import to end.
func (v *site) brought(t testing.TB, at string) string {
	t.Helper()
	for range 600 {
		_, head, body := v.ask(t, "GET", at, "", nil)
		if head.Get("Refresh") == "" {
			return body
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatal("the import does not end")
	return ""
}

var ridePath = regexp.MustCompile(`href="(/rides/[a-z0-9-]+)"`)

// Files are brought in, looked at, answered, weighed, uncleaned, handed out,
// and deleted; the season and the riders side by side say what came of it.
func TestRidesFromFilesToSeason(t *testing.T) {
	v := rideSite(t)
	_, _, body := v.ask(t, "GET", "/rides", "", nil)
	wantIn(t, body, "No ride is kept yet", "Bring in rides")
	status, _, body := v.send(t, "/import", "files", nil, map[string]string{"rider": "racer", "path": "not/here"})
	if status != 422 {
		t.Errorf("%d", status)
	}
	wantIn(t, body, "There is no such folder", `value="not/here"`, `<option value="racer" selected`)
	folder := t.TempDir()
	os.WriteFile(filepath.Join(folder, "third.csv"), []byte(rideTable(40, 320)), 0o600)
	status, at, body := v.send(t, "/import", "files", map[string]string{"one.csv": rideTable(3, 330), "two.csv": rideTable(9, 300), "notes.fit": "no ride"},
		map[string]string{"rider": "racer", "rig": "racer-rig", "path": folder})
	if status != 303 {
		t.Fatalf("%d %s", status, body)
	}
	body = v.brought(t, at)
	wantIn(t, body, "Rides are in", "3 new rides from 4 files, 1 refused", "notes.fit", "/season/racer")
	_, _, body = v.ask(t, "GET", "/rides", "", nil)
	wantIn(t, body, "December 2026", "November 2026", `<svg class="shape"`, "Could you have gone harder?")
	ride := ridePath.FindStringSubmatch(body)[1]
	_, _, body = v.ask(t, "GET", ride, "", nil)
	wantIn(t, body, "Could you have gone harder?", "What it taught", "Spike taken out", "Take it back", "What was left", `class="pic power wide"`)
	if status, _, body := v.sendRig(t, ride+"/harder", map[string]string{"harder": "perhaps"}); status != 422 || !strings.Contains(body, "Choose one of the three") {
		t.Errorf("%d", status)
	}
	for path, form := range map[string]map[string]string{"/harder": {"harder": "no"}, "/change": {"change": "0", "do": "back"}, "/scales": {"before": "61.6", "after": "61,2", "drunk": "0.3"}} {
		if status, _, body := v.sendRig(t, ride+path, form); status != 303 {
			t.Errorf("%s: %d %s", path, status, body)
		}
	}
	_, _, body = v.ask(t, "GET", ride, "", nil)
	wantIn(t, body, `value="no" checked`, "(taken back)", "You lost", "at most 4000")
	if status, _, body := v.sendRig(t, ride+"/scales", map[string]string{"before": "heavy", "after": "61"}); status != 422 || !strings.Contains(body, "“heavy” is no weight") || !strings.Contains(body, `value="heavy"`) {
		t.Errorf("%d", status)
	}
	for _, kind := range []string{"fit", "csv", "recording", "json", "original"} {
		if status, head, body := v.ask(t, "GET", ride+"/file/"+kind, "", nil); status != 200 || len(body) < 1000 || !strings.HasPrefix(head.Get("Content-Disposition"), "attachment") {
			t.Errorf("%s: %d, %d bytes", kind, status, len(body))
		}
	}
	if status, _, _ := v.ask(t, "GET", ride+"/file/gpx", "", nil); status != 400 {
		t.Errorf("GPX of a ride without places: %d", status)
	}
	v.shared(t, ride)
	_, _, body = v.ask(t, "GET", "/season/racer", "", nil)
	wantIn(t, body, "What Ilse can do", "Most held", "3 rides, 10 November 2026 to 17 December 2026", "Day by day", "The next days", "nine swimmers")
	_, _, body = v.ask(t, "GET", "/coach", "", nil)
	wantIn(t, body, "The rig was never checked", "No brief was handed out", "17 December 2026")
	if strings.Contains(body, "W/kg") {
		t.Error("watts per kilogram are shown without being asked for")
	}
	_, _, body = v.ask(t, "GET", "/coach?per-kg=yes", "", nil)
	wantIn(t, body, "W/kg")
	if status, _, _ := v.sendRig(t, ride+"/delete", nil); status != 303 {
		t.Errorf("delete: %d", status)
	}
	if status, _, _ := v.ask(t, "GET", ride, "", nil); status != 404 {
		t.Errorf("a deleted ride: %d", status)
	}
	for _, path := range []string{"/rides/none", "/season/none", "/season/racer-rig", "/import/none", ride + "/file/exe"} {
		if status, _, _ := v.ask(t, "GET", path, "", nil); status != 404 {
			t.Errorf("%s: %d", path, status)
		}
	}
	if strings.Contains(v.log.String(), "level=ERROR") {
		t.Error(v.log.String())
	}
}

// shared takes the share file of a ride and opens it.
func (v *site) shared(t *testing.T, ride string) {
	t.Helper()
	status, head, file := v.ask(t, "GET", ride+"/share?without-name=yes", "", nil)
	if status != 200 || head.Get("Content-Type") != "application/zip" {
		t.Fatalf("%d %s", status, file)
	}
	z, err := zip.NewReader(strings.NewReader(file), int64(len(file)))
	if err != nil || len(z.File) < 4 {
		t.Fatal(err)
	}
	status, _, body := v.send(t, "/share/open", "file", map[string]string{"ride.zip": file}, nil)
	if status != 200 {
		t.Fatalf("%d %s", status, body)
	}
	wantIn(t, body, "left out of it on purpose: name", "the same numbers", "It is not kept", "What it taught")
	status, _, body = v.send(t, "/share/open", "file", map[string]string{"ride.zip": "no"}, nil)
	if status != 422 {
		t.Errorf("%d", status)
	}
	wantIn(t, body, "is no archive")
}
