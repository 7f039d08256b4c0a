package web_test

import (
	"archive/zip"
	"bytes"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"

	"chainline/internal/store"
)

// sendArchive uploads an archive; nil sends no file.
func (v *site) sendArchive(t *testing.T, archive []byte) (int, http.Header, string) {
	t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	if archive != nil {
		f, _ := m.CreateFormFile("archive", "all.zip")
		f.Write(archive)
	}
	m.Close()
	return v.ask(t, "POST", "/settings/import", body.String(), func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
}

func TestUnits(t *testing.T) {
	v, _ := rigSite(t, briefObjects()...)
	v.sendRig(t, "/settings/units", map[string]string{"units": "imperial"})
	_, _, body := v.ask(t, "GET", "/settings", "", nil)
	wantIn(t, body, `value="imperial" checked`, "The units are changed.")
	_, _, body = v.ask(t, "GET", "/courses/c1", "", nil)
	wantIn(t, body, " mi")
	v.sendRig(t, "/settings/units", map[string]string{"units": "cubits"})
	_, _, body = v.ask(t, "GET", "/courses/c1", "", nil)
	wantIn(t, body, " km")
}

func TestArchiveGoesOutAndComesIn(t *testing.T) {
	v, _ := rigSite(t, briefObjects()...)
	v.made(t, "/briefs/new", asked)
	status, h, all := v.ask(t, "GET", "/settings/export", "", nil)
	if status != 200 || h.Get("Content-Type") != "application/zip" || !strings.HasPrefix(h.Get("Content-Disposition"), `attachment; filename="chainline `) {
		t.Fatalf("%d, %v", status, h)
	}
	_, h, one := v.ask(t, "GET", "/settings/export?rider=r1", "", nil)
	if !strings.Contains(h.Get("Content-Disposition"), "Maren") {
		t.Errorf("one rider's: %s", h.Get("Content-Disposition"))
	}
	for _, archive := range []string{all, one} {
		if _, err := zip.NewReader(strings.NewReader(archive), int64(len(archive))); err != nil {
			t.Fatal(err)
		}
	}
	other, db := rigSite(t)
	if status, _, body := other.sendArchive(t, []byte(all)); status != 303 {
		t.Fatalf("%d: %s", status, body)
	}
	_, _, body := other.ask(t, "GET", "/settings", "", nil)
	wantIn(t, body, "Added: 1 rider, 1 rig, 1 road, 1 course, 1 event, 1 brief.")
	if o := onlyOne(t, db, store.Course); o.Original == nil || o.Original.Filename != "s.csv" {
		t.Errorf("the course came as %+v", o)
	}
	briefs, _ := db.Briefs(t.Context(), "")
	_, _, body = other.ask(t, "GET", "/briefs/"+briefs[0].ID, "", nil)
	wantIn(t, body, "Ride it like this", "What would change it")
	other.sendArchive(t, []byte(all))
	_, _, body = other.ask(t, "GET", "/settings", "", nil)
	wantIn(t, body, "Nothing new was in it. 6 were here already.")
}

func TestBadArchivesAreExplained(t *testing.T) {
	v, db := rigSite(t)
	var empty bytes.Buffer
	zip.NewWriter(&empty).Close()
	for name, archive := range map[string][]byte{"none": nil, "no zip": []byte("PK but not really"), "empty": {}, "without a list": empty.Bytes()} {
		status, _, body := v.sendArchive(t, archive)
		if status != 422 {
			t.Errorf("%s: %d; expected 422", name, status)
		}
		wantIn(t, body, `id="f-archive-error"`)
	}
	if status, _, _ := v.sendArchive(t, make([]byte, 52<<20)); status != 413 {
		t.Errorf("52 MB: %d; expected 413", status)
	}
	if all, _ := db.Objects(t.Context(), store.Rider); len(all) != 0 {
		t.Error("something was added")
	}
	if status, _, _ := v.ask(t, "GET", "/settings/export?rider=none", "", nil); status != 404 {
		t.Errorf("an export of nobody: %d; expected 404", status)
	}
}
