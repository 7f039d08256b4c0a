package app

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/session"
)

// mark is a name that stands nowhere else.
const mark = "Krxwquill"

// legible says in which files of the folder a text can be read, or in whose
// names.
func legible(t *testing.T, dir, text string) (where []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if strings.Contains(e.Name(), text) {
			where = append(where, "the name of "+path)
		}
		if e.IsDir() {
			return nil
		}
		b, err := os.ReadFile(path)
		if bytes.Contains(b, []byte(text)) {
			where = append(where, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return where
}

// person asks the program as a browser does.
type person struct {
	*testing.T
	base   string
	client *http.Client
}

func (p person) post(path, media string, body io.Reader) string {
	p.Helper()
	r, err := p.client.Post(p.base+path, media, body)
	if err != nil {
		p.Fatal(err)
	}
	defer r.Body.Close()
	said, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusSeeOther {
		p.Fatalf("%s: %d, %v: %.3000s", path, r.StatusCode, err, said)
	}
	return r.Header.Get("Location")
}

func (p person) send(path string, form map[string]string) string {
	p.Helper()
	q := url.Values{}
	for k, v := range form {
		q.Set(k, v)
	}
	return p.post(path, "application/x-www-form-urlencoded", strings.NewReader(q.Encode()))
}

func (p person) wait(path string, until func(status int, to, body string) bool) string {
	p.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(30 * time.Millisecond) {
		r, err := p.client.Get(p.base + path)
		if err != nil {
			p.Fatal(err)
		}
		body, err := io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil {
			p.Fatal(err)
		}
		if until(r.StatusCode, r.Header.Get("Location"), string(body)) {
			return string(body)
		}
	}
	p.Fatalf("%s never comes to what was waited for", path)
	return ""
}

// brought imports a table of an hour under a name.
func (p person) brought(rider, rig, filename string) {
	p.Helper()
	var table strings.Builder
	table.WriteString("timestamp,power,heart_rate,cadence\n")
	for s := range 900 {
		fmt.Fprintf(&table, "%s,%d,%d,90\n", time.Date(2026, 11, 20, 18, 0, s, 0, time.UTC).Format(time.RFC3339), 150+s%7, 130+s%4)
	}
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	_, _ = m.WriteField("rider", rider), m.WriteField("rig", rig)
	w, err := m.CreateFormFile("files", filename)
	if err == nil {
		_, err = io.WriteString(w, table.String())
	}
	if err = m.Close(); err != nil {
		p.Fatal(err)
	}
	p.wait(p.post("/import", m.FormDataContentType(), &b), func(_ int, _, body string) bool { return strings.Contains(body, "Rides are in") })
}

// lived gives a rider a past in every place that something is kept.
func lived(t *testing.T, a *App, p person, id, name string) {
	t.Helper()
	at := "/riders/" + id
	for _, o := range []store.Object{
		{ID: "cellar", Kind: store.Rig, Name: "Cellar", Text: "trainer: {kind: controllable}\n"},
		{ID: "lane", Kind: store.Course, Name: "Lane", Text: "distance_km: 2\nascent_m: 10\n"},
		{ID: "cup", Kind: store.Event, Name: "Cup", Text: "name: Cup\nkind: mass\n"},
	} {
		if _, err := a.store.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
	}
	p.send(at+"/health", map[string]string{"screening.ill_now": "no"})
	if to := p.send("/briefs/new", map[string]string{"rider": id, "rig": "cellar", "course": "lane"}); strings.HasPrefix(to, "/briefs/making/") {
		p.wait(to, func(status int, _, _ string) bool { return status == http.StatusSeeOther })
	}
	p.brought(id, "cellar", name+".csv")
	rows, err := a.library.Rides(t.Context(), id, service.RideFilter{})
	if err != nil || len(rows) != 1 {
		t.Fatal(rows, err)
	}
	p.send("/rides/"+rows[0].ID+"/harder", map[string]string{"harder": "no"})
	p.wait("/rides/"+rows[0].ID, func(status int, _, _ string) bool { return status == http.StatusOK })
	rode(t, a.rides, id, name)
	report, err := json.Marshal(map[string]string{"rider": name})
	if err == nil {
		_, err = a.store.PutRigCheck(t.Context(), store.RigCheck{Title: "Check of " + name, RiderID: id, RigID: "cellar", Report: report})
	}
	if err != nil {
		t.Fatal(err)
	}
	me := service.ResultRow{Place: 3, Name: name}
	sheet, err := json.Marshal(service.ResultsSheet{Schema: "chainline.results/1", Rows: []service.ResultRow{{Place: 1, Name: "Somebody Else"}, me}, Me: &service.MyResult{ResultRow: me}})
	if err == nil {
		_, err = a.store.PutRaceResults(t.Context(), store.RaceResults{EventID: "cup", Sheet: sheet})
	}
	if err != nil {
		t.Fatal(err)
	}
}

// rode rides twice on a simulated rig: once to the end, and once so that the
// program did not see the end.
func rode(t *testing.T, m *live.Manager, rider, name string) {
	t.Helper()
	s, err := session.Parse("ride 20 s at 150 W\n")
	if err != nil {
		t.Fatal(err)
	}
	scaled, _, err := session.Scale(s, session.View{ThresholdW: 245, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		riding := service.Riding{Setup: ride.Setup{ID: fmt.Sprint("ridden-", i), Title: "Short", Begun: time.Date(2026, 11, 21+i, 18, 0, 0, 0, time.UTC), Way: ride.Controlling, Session: &scaled, Of: ride.Of{Rider: rider, Rig: "cellar"},
			Rider: ride.Rider{Name: name, Mass: 70, Balance: capacity.Balance{CriticalPower: 250, WPrime: 20000}, MaxPower: 900, Threshold: 245}}}
		if _, err := m.Fast(t.Context(), riding, live.Choice{Kind: "bench", Seed: uint64(3 + i)}, nil); err != nil {
			t.Fatal(err)
		}
	}
}

func visitor(t *testing.T, a *App) person {
	return person{t, strings.TrimSuffix(a.Address(), "/"), &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func started(t *testing.T, dir string) (*App, func()) {
	t.Helper()
	c := config(dir, "127.0.0.1:0")
	c.Log = slog.New(slog.DiscardHandler)
	a, err := New(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- a.Run(t.Context()) }()
	return a, func() {
		t.Helper()
		if err := a.Close(); err != nil {
			t.Error(err)
		}
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}

// TestADeletedRiderIsGoneFromTheFolder: rider, health, brief, rides that were
// brought in and ridden, what was said and learnt of them, check, results: in
// no file of the data folder can the name or the ID be read any more.
func TestADeletedRiderIsGoneFromTheFolder(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	a, stop := started(t, dir)
	p := visitor(t, a)
	other := p.send("/riders/new", map[string]string{"name": "Stays here", "mass_kg": "64"})
	id := strings.TrimPrefix(p.send("/riders/new", map[string]string{"name": mark, "mass_kg": "70"}), "/riders/")
	lived(t, a, p, id, mark)
	if where := legible(t, dir, mark); len(where) < 4 {
		t.Fatalf("the name stands in %v only: this test shows little", where)
	}
	p.send("/riders/"+id+"/delete", nil)
	for _, text := range []string{mark, id} {
		if where := legible(t, dir, text); where != nil {
			t.Errorf("%s can still be read in %v", text, where)
		}
	}
	results, err := a.store.RaceResults(t.Context(), "cup")
	if err != nil || len(results) != 1 || !bytes.Contains(results[0].Sheet, []byte("Somebody Else")) {
		t.Errorf("the race's other results: %s, %v", results, err)
	}
	stop()
	for _, text := range []string{mark, id} {
		if where := legible(t, dir, text); where != nil {
			t.Errorf("after the end %s can be read in %v", text, where)
		}
	}
	if legible(t, dir, strings.TrimPrefix(other, "/riders/")) == nil {
		t.Error("somebody else was wiped too")
	}
}

// TestTheDemoClubLeavesNothing: loaded, lived with, and removed again.
func TestTheDemoClubLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	a, stop := started(t, dir)
	p := visitor(t, a)
	p.send("/settings/demo", nil)
	const name = "Ilse Verdonk"
	lived(t, a, p, "demo-racer", name)
	p.send("/briefs/new", map[string]string{"rider": "demo-newcomer", "rig": "demo-newcomer-rig", "course": "lane"})
	if where := legible(t, dir, name); len(where) < 4 {
		t.Fatalf("the name stands in %v only: this test shows little", where)
	}
	p.send("/settings/demo/remove", nil)
	check := func(when string) {
		t.Helper()
		for _, text := range []string{name, "demo-", "Aoife Tallon", "Bram Castelein", "Harbour Ridge"} {
			if where := legible(t, dir, text); where != nil {
				t.Errorf("%s %s can still be read in %v", when, text, where)
			}
		}
	}
	check("removed,")
	for _, kind := range store.Kinds {
		all, err := a.store.Objects(t.Context(), kind)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range all {
			if o.Demo {
				t.Errorf("%s %s is left", o.Kind, o.Name)
			}
		}
	}
	stop()
	check("ended,")
}
