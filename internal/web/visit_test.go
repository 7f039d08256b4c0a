package web_test

import (
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"chainline/internal/web"
)

const phrase = "four words in a row"

func guardedSite(t *testing.T) *site {
	t.Helper()
	hash, err := web.HashPassphrase(phrase)
	if err != nil {
		t.Fatal(err)
	}
	return start(t, web.Config{PassphraseHash: hash})
}

func (v *site) login(t *testing.T, with, to string) (int, http.Header, string) {
	t.Helper()
	return v.ask(t, "POST", "/login", url.Values{"passphrase": {with}, "to": {to}}.Encode(), nil)
}

func TestNobodyIsInWithoutThePassphrase(t *testing.T) {
	v := guardedSite(t)
	for _, path := range []string{"/", "/riders", "/settings", "/gallery", "/nothing"} {
		if got, h, _ := v.ask(t, "GET", path, "", nil); got != 303 || !strings.HasPrefix(h.Get("Location"), "/login") {
			t.Errorf("%s: %d to %q, expected the way to the login", path, got, h.Get("Location"))
		}
	}
	for _, path := range []string{"/settings/passphrase", "/settings/theme"} {
		if got, _, _ := v.ask(t, "POST", path, "passphrase=another+long+one", nil); got != 401 {
			t.Errorf("POST %s: %d, expected 401", path, got)
		}
	}
	if got, _, _ := v.ask(t, "GET", "/api/v1/riders", "", nil); got != 401 {
		t.Errorf("API: %d, expected 401", got)
	}
}

func TestVisit(t *testing.T) {
	v := guardedSite(t)
	got, h, _ := v.login(t, phrase, "/rigs")
	if got != 303 || h.Get("Location") != "/rigs" {
		t.Fatalf("the right passphrase: %d to %q", got, h.Get("Location"))
	}
	cookie := h.Get("Set-Cookie")
	for _, part := range []string{"HttpOnly", "SameSite=Strict", "Path=/", "Expires="} {
		if !strings.Contains(cookie, part) {
			t.Errorf("the cookie %q lacks %s", cookie, part)
		}
	}
	if got, _, _ := v.ask(t, "GET", "/rigs", "", nil); got != 200 {
		t.Errorf("inside: %d", got)
	}
	v.clock = v.clock.Add(8 * 24 * time.Hour)
	if got, _, _ := v.ask(t, "GET", "/rigs", "", nil); got != 303 {
		t.Errorf("after eight days: %d, expected the visit to be over", got)
	}
}

func TestLogOutEndsTheVisit(t *testing.T) {
	v := guardedSite(t)
	_, h, _ := v.login(t, phrase, "/")
	kept := strings.Split(h.Get("Set-Cookie"), ";")[0]
	v.ask(t, "POST", "/logout", "", nil)
	got, _, _ := v.ask(t, "GET", "/rigs", "", func(r *http.Request) { r.Header.Set("Cookie", kept) })
	if got != 303 {
		t.Errorf("with the old token: %d, expected the visit to be over", got)
	}
}

func TestNewPassphraseEndsAllVisitsAtOnce(t *testing.T) {
	v := guardedSite(t)
	v.login(t, phrase, "/")
	if got, _, _ := v.ask(t, "POST", "/settings/passphrase", "passphrase=another+long+phrase", nil); got != 303 {
		t.Fatalf("%d", got)
	}
	if got, _, _ := v.ask(t, "GET", "/rigs", "", nil); got != 303 {
		t.Errorf("the old visit: %d, expected it to be over", got)
	}
	if got, _, _ := v.login(t, phrase, "/"); got != 403 {
		t.Errorf("the old passphrase: %d, expected 403", got)
	}
	if got, _, _ := v.login(t, "another long phrase", "/"); got != 303 {
		t.Errorf("the new passphrase: %d, expected 303", got)
	}
}

func TestAttemptsAreLimited(t *testing.T) {
	v := guardedSite(t)
	for i := range 5 {
		if got, _, body := v.login(t, "wrong", "/"); got != 403 || !strings.Contains(body, "not the passphrase") {
			t.Fatalf("attempt %d: %d", i+1, got)
		}
	}
	if got, h, _ := v.login(t, phrase, "/"); got != 429 || h.Get("Retry-After") == "" {
		t.Errorf("the sixth attempt, even a right one: %d, expected 429 with Retry-After", got)
	}
	v.clock = v.clock.Add(16 * time.Minute)
	v.client.Jar, _ = cookiejar.New(nil)
	if got, _, _ := v.login(t, phrase, "/"); got != 303 {
		t.Errorf("a quarter of an hour later: %d, expected to be let in", got)
	}
}

func TestPassphraseLength(t *testing.T) {
	for _, p := range []string{"", "short", strings.Repeat("x", 201)} {
		if _, err := web.HashPassphrase(p); err == nil {
			t.Errorf("%d characters were taken", len(p))
		}
	}
	a, _ := web.HashPassphrase(phrase)
	b, _ := web.HashPassphrase(phrase)
	if a == b || !strings.Contains(a, "$m=19456,t=2,p=1$") || strings.Contains(a, phrase) {
		t.Errorf("%s, %s: expected salted hashes at 19 MiB, two passes, one lane", a, b)
	}
}
