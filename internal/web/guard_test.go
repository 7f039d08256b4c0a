package web_test

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"chainline/internal/store"
	"chainline/internal/web"
	"chainline/internal/web/gallery"
)

type site struct {
	*httptest.Server
	client *http.Client
	clock  time.Time
	log    bytes.Buffer
}

func start(t *testing.T, c web.Config) *site {
	t.Helper()
	v := &site{clock: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)}
	db, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	now := func() time.Time { return v.clock }
	db.Now = now
	c.Store, c.Now, c.Log = db, now, slog.New(slog.NewTextHandler(&v.log, nil))
	h, err := web.New(c)
	if err != nil {
		t.Fatal(err)
	}
	v.Server = httptest.NewServer(h)
	t.Cleanup(v.Close)
	jar, _ := cookiejar.New(nil)
	v.client = v.Client()
	v.client.Jar = jar
	v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return v
}

// ask sends a request and gives the status, the header and the body.
func (v *site) ask(t testing.TB, method, path, body string, change func(*http.Request)) (int, http.Header, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(context.Background(), method, v.URL+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method == "POST" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if change != nil {
		change(r)
	}
	a, err := v.client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, a.Header, string(b)
}

func TestHostsRefused(t *testing.T) {
	v := start(t, web.Config{Hosts: []string{"bike.lan"}})
	for host, want := range map[string]int{
		"localhost": 200, "LOCALHOST:99": 200, "127.0.0.1:1": 200, "[::1]:8": 200, "bike.lan": 200, "bike.lan:443": 200,
		"evil.example": 421, "localhost.evil.example": 421, "127.0.0.1.evil.example": 421, "192.0.2.7": 421, "evil.example:80": 421,
	} {
		if got, _, _ := v.ask(t, "GET", "/riders", "", func(r *http.Request) { r.Host = host }); got != want {
			t.Errorf("Host %s: %d, expected %d", host, got, want)
		}
	}
}

func TestOtherSitesCannotPost(t *testing.T) {
	v := start(t, web.Config{})
	for _, c := range []struct {
		name, header, value string
		want                int
	}{
		{"fetched across sites", "Sec-Fetch-Site", "cross-site", 403},
		{"fetched across ports", "Sec-Fetch-Site", "same-site", 403},
		{"foreign origin", "Origin", "https://evil.example", 403},
		{"no origin at all", "Origin", "null", 403},
		{"our own page", "Sec-Fetch-Site", "same-origin", 303},
		{"our own origin", "Origin", v.URL, 303},
	} {
		got, _, _ := v.ask(t, "POST", "/settings/theme", "theme=dark&back=/riders", func(r *http.Request) { r.Header.Set(c.header, c.value) })
		if got != c.want {
			t.Errorf("%s: %d, expected %d", c.name, got, c.want)
		}
	}
}

func TestHeaders(t *testing.T) {
	v := start(t, web.Config{})
	for _, path := range []string{"/", "/nothing", "/settings"} {
		_, h, _ := v.ask(t, "GET", path, "", nil)
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			if h.Get(name) != want {
				t.Errorf("%s: %s is %q, expected %q", path, name, h.Get(name), want)
			}
		}
		csp := h.Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "form-action 'self'", "base-uri 'none'", "frame-ancestors 'none'"} {
			if !strings.Contains(csp, part) {
				t.Errorf("%s: the policy lacks %s", path, part)
			}
		}
		if strings.Contains(csp, "unsafe") {
			t.Errorf("%s: the policy allows something unsafe: %s", path, csp)
		}
	}
}

func TestOddPathsRefused(t *testing.T) {
	v := start(t, web.Config{})
	for _, path := range []string{"/assets/..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/riders/..%5c..%5csecret", "/a%00b", "/assets/%2e%2e%2fdoc.go"} {
		if got, _, _ := v.ask(t, "GET", path, "", nil); got != 400 && got != 404 {
			t.Errorf("%s: %d, expected a refusal", path, got)
		}
	}
}

func TestTooLarge(t *testing.T) {
	v := start(t, web.Config{})
	got, _, body := v.ask(t, "POST", "/settings/passphrase", "passphrase="+strings.Repeat("x", 2<<20), nil)
	if got != 413 || !strings.Contains(body, "larger than") {
		t.Errorf("a form of 2 MB: %d; expected 413 in words", got)
	}
}

func TestNothingHere(t *testing.T) {
	v := start(t, web.Config{})
	got, _, body := v.ask(t, "GET", "/nothing", "", nil)
	if got != 404 || !strings.Contains(body, "Nothing here") || !strings.Contains(body, `aria-label="Pages"`) {
		t.Errorf("%d %.200s; expected a page that leads on", got, body)
	}
}

// explodes panics when its template is executed.
type explodes struct{ web.Base }

func (*explodes) Template() string { panic("a fault with a rider's name in it") }

func TestPanicIsAPage(t *testing.T) {
	v := start(t, web.Config{Gallery: append(gallery.States(), web.State{Name: "explodes", Page: &explodes{}})})
	got, _, body := v.ask(t, "GET", "/gallery/explodes", "", nil)
	if got != 500 || !strings.Contains(body, "That went wrong") || strings.Contains(body, "fault with") {
		t.Errorf("%d %.300s; expected the page for faults, without the cause", got, body)
	}
	if !strings.Contains(v.log.String(), "fault with") {
		t.Error("the log does not say why")
	}
	if got, _, _ := v.ask(t, "GET", "/riders", "", nil); got != 200 {
		t.Errorf("afterwards: %d, expected the program to go on", got)
	}
}

func TestAssetsKeptForEver(t *testing.T) {
	v := start(t, web.Config{})
	_, _, page := v.ask(t, "GET", "/riders", "", nil)
	for _, mark := range []string{`href="/assets/`, `src="/assets/`} {
		_, rest, ok := strings.Cut(page, mark)
		if !ok {
			t.Fatalf("the page has no %s", mark)
		}
		name, _, _ := strings.Cut(rest, `"`)
		got, h, body := v.ask(t, "GET", "/assets/"+name, "", nil)
		if got != 200 || !strings.Contains(h.Get("Cache-Control"), "immutable") || body == "" {
			t.Errorf("%s: %d %s", name, got, h.Get("Cache-Control"))
		}
	}
	if got, _, _ := v.ask(t, "GET", "/assets/app.0000000000000000.css", "", nil); got != 404 {
		t.Errorf("a hash that is not ours: %d, expected 404", got)
	}
}

func TestThemeIsInTheFirstByte(t *testing.T) {
	v := start(t, web.Config{})
	_, h, _ := v.ask(t, "POST", "/settings/theme", "theme=dark&back=%2Fsettings", nil)
	if h.Get("Location") != "/settings" {
		t.Errorf("back to %q, expected /settings", h.Get("Location"))
	}
	if _, _, body := v.ask(t, "GET", "/riders", "", nil); !strings.Contains(body, `<html lang="en-GB" data-theme="dark">`) {
		t.Errorf("the page does not say dark: %.80s", body)
	}
	for _, back := range []string{"//evil.example", "https://evil.example/", `/\evil.example`, "x"} {
		if _, h, _ := v.ask(t, "POST", "/settings/theme", "theme=&back="+url.QueryEscape(back), nil); h.Get("Location") != "/" {
			t.Errorf("back to %q led to %q, expected /", back, h.Get("Location"))
		}
	}
}

// TestProgramsAreRefusedAsPrograms: under /api a refusal of the guards is a
// problem as the API's own are (RFC 9457), elsewhere a sentence.
func TestProgramsAreRefusedAsPrograms(t *testing.T) {
	v, _ := rigSite(t)
	for path, media := range map[string]string{"/api/v1/riders": "application/problem+json", "/riders": "text/plain; charset=utf-8"} {
		status, h, body := v.ask(t, "GET", path, "", func(r *http.Request) { r.Host = "elsewhere.example" })
		if status != http.StatusMisdirectedRequest || h.Get("Content-Type") != media {
			t.Errorf("%s: %d, %s: %s", path, status, h.Get("Content-Type"), body)
		}
		if media == "application/problem+json" && !strings.Contains(body, `"status":421`) {
			t.Errorf("%s: %s", path, body)
		}
	}
}
