package web_test

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"chainline/internal/live"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
)

// tenKilometres is the course of the benchmark: two hills and a flat.
func tenKilometres() string {
	var b strings.Builder
	b.WriteString("distance_m,elevation_m\n")
	z := 20.0
	for x := 0; x <= 10000; x += 50 {
		fmt.Fprintf(&b, "%d,%.1f\n", x, z)
		switch {
		case x > 1500 && x < 3500:
			z += 50 * 0.055
		case x >= 3500 && x < 5000:
			z -= 50 * 0.04
		case x > 7000 && x < 8200:
			z += 50 * 0.07
		case x >= 8200 && x < 9400:
			z -= 50 * 0.05
		}
	}
	return b.String()
}

// quantiles of some times, in milliseconds.
func quantiles(b *testing.B, took []time.Duration) {
	b.Helper()
	slices.Sort(took)
	at := func(q float64) float64 {
		return float64(took[min(len(took)-1, int(q*float64(len(took))))].Microseconds()) / 1000
	}
	b.ReportMetric(at(0.5), "p50-ms")
	b.ReportMetric(at(0.99), "p99-ms")
	b.ReportMetric(at(1), "max-ms")
}

// calibrate is a loop whose time says how fast this machine is now.
func calibrate(b *testing.B) {
	b.Helper()
	began, x := time.Now(), 1.0
	for range 20_000_000 {
		x = x*1.0000001 + 1e-9
	}
	if x < 0 {
		b.Fatal(x)
	}
	b.ReportMetric(float64(time.Since(began).Microseconds())/1000, "loop-ms")
}

// BenchmarkBriefChange asks an open brief of a 10 km course for one change of
// room, style or mass after another, no two the same, as its page does: from
// the request to the whole answer.
func BenchmarkBriefChange(b *testing.B) {
	v, at := openBrief(b)
	var took []time.Duration
	n := 0
	for b.Loop() {
		n++
		q := url.Values{"temperature": {fmt.Sprintf("%.2f", 18+float64(n%1300)/100)}, "style": {[]string{"careful", "normal", "bold"}[n%3]}, "mass": {"70"},
			"fans": {[]string{"one desk fan, high", "no fan"}[n%2]}, "airflow": {""}}
		began := time.Now()
		for strings.Contains(v.get(b, at+"?"+q.Encode()), "data-again") { // how far it is, not the answer
		}
		took = append(took, time.Since(began))
	}
	quantiles(b, took)
	calibrate(b)
}

func openBrief(b *testing.B) (*site, string) {
	b.Helper()
	objects := briefObjects()
	objects[2].Original.Bytes = []byte(tenKilometres())
	v, db := rigSiteOf(b, objects...)
	form := url.Values{}
	for k, x := range asked {
		form.Set(k, x)
	}
	v.follow(b, "/briefs/new", form)
	all, err := db.Briefs(b.Context(), "")
	if err != nil || len(all) != 1 {
		b.Fatal(all, err)
	}
	at := "/briefs/" + all[0].ID
	v.get(b, at)
	time.Sleep(2 * time.Second) // a person reads before turning a knob
	return v, at
}

// clubSite is a program with everything a program has, the invented club, a
// brief, and three rides of its racer.
func clubSite(b *testing.B) *site {
	b.Helper()
	db, err := store.Open(b.Context(), b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	v := &site{}
	log := slog.New(slog.DiscardHandler)
	library := service.NewApp(service.AppConfig{Store: db, Now: time.Now, Log: log, Workers: 2})
	b.Cleanup(func() { library.Close() })
	rides := live.New(live.Config{Folder: b.TempDir(), Settings: db, Now: time.Now, Log: log})
	b.Cleanup(func() { rides.Close() })
	serve := func() {
		h, err := web.New(web.Config{Store: db, Library: library, Live: rides, Warm: true, Now: time.Now, Log: log})
		if err != nil {
			b.Fatal(err)
		}
		v.Server = httptest.NewServer(h)
		b.Cleanup(v.Close)
		v.client = v.Client()
		v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	}
	serve()
	v.follow(b, "/settings/demo", url.Values{})
	v.follow(b, "/briefs/new", url.Values{"rider": {"demo-racer"}, "rig": {"demo-racer-rig"}, "course": {"demo-two-mills"}, "event": {"demo-hill-race"}})
	files := map[string]string{}
	for i, days := range []int{3, 9, 20} {
		files[fmt.Sprint(i, ".csv")] = rideTable(days, 320)
	}
	status, at, body := v.send(b, "/import", "files", files, map[string]string{"rider": "demo-racer", "rig": "demo-racer-rig"})
	if status != http.StatusSeeOther {
		b.Fatal(status, body)
	}
	v.brought(b, at)
	serve() // as started anew: it remembers nothing
	return v
}

// BenchmarkPages asks for every page of the demo club in turn, in a program
// that has just started and whose first page was read for four seconds. First
// answers are told apart: a program that remembers everything after the first
// time would look fast otherwise.
func BenchmarkPages(b *testing.B) {
	v := clubSite(b)
	v.get(b, "/")
	time.Sleep(4 * time.Second)
	paths, first := v.crawl(b)
	var slowFirst []string
	for i, d := range first {
		if d > 20*time.Millisecond {
			slowFirst = append(slowFirst, fmt.Sprintf("%s %d ms", paths[i], d.Milliseconds()))
		}
	}
	took := slices.Clone(first)
	var slowest time.Duration
	var slow string
	for b.Loop() {
		for _, path := range paths {
			began := time.Now()
			v.get(b, path)
			d := time.Since(began)
			took = append(took, d)
			if d > slowest {
				slowest, slow = d, path
			}
		}
	}
	quantiles(b, took)
	slices.Sort(first)
	b.ReportMetric(float64(first[len(first)*99/100].Microseconds())/1000, "first-p99-ms")
	b.ReportMetric(float64(first[len(first)-1].Microseconds())/1000, "first-max-ms")
	calibrate(b)
	b.Logf("%d pages; slowest of a later time: %s %v; over 20 ms the first time: %s", len(paths), slow, slowest, strings.Join(slowFirst, ", "))
}

var link = regexp.MustCompile(`href="(/[^"#?]*)"`)

// crawl is every page that links lead to, but for downloads and assets, and
// how long each took the first time.
func (v *site) crawl(b *testing.B) (paths []string, took []time.Duration) {
	b.Helper()
	seen := map[string]bool{"/": true}
	queue := []string{"/"}
	for i := 0; i < len(queue); i++ {
		began := time.Now()
		body := v.get(b, queue[i])
		took = append(took, time.Since(began))
		for _, m := range link.FindAllStringSubmatch(body, -1) {
			p := m[1]
			if seen[p] || strings.Contains(p, "/assets/") || strings.HasSuffix(p, ".html") || strings.Contains(p, "export") || strings.HasPrefix(p, "/api/") || strings.Contains(p, "/original") || strings.HasSuffix(p, "/file") || strings.Contains(p, "/file/") {
				continue
			}
			seen[p] = true
			queue = append(queue, p)
		}
	}
	return queue, took
}

func (v *site) get(b *testing.B, path string) string {
	b.Helper()
	r, err := v.client.Get(v.URL + path)
	if err != nil {
		b.Fatal(err)
	}
	return readAll(b, r, path)
}

// follow posts a form and follows it to a page that does not go on.
func (v *site) follow(b *testing.B, path string, form url.Values) {
	b.Helper()
	r, err := v.client.PostForm(v.URL+path, form)
	for range 100 {
		if err != nil {
			b.Fatal(err)
		}
		to := r.Header.Get("Location")
		if r.StatusCode == http.StatusOK && r.Header.Get("Refresh") != "" {
			to = r.Request.URL.Path
		}
		body := readAll(b, r, path)
		if to == "" {
			if r.StatusCode >= 400 {
				b.Fatalf("%s: %d: %s", path, r.StatusCode, body)
			}
			return
		}
		r, err = v.client.Get(v.URL + to)
	}
	b.Fatal(path + " never ends")
}

func readAll(b *testing.B, r *http.Response, path string) string {
	b.Helper()
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode >= 400 {
		b.Fatalf("%s: %d, %v", path, r.StatusCode, err)
	}
	return string(body)
}
