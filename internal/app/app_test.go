package app

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/problem"
)

func config(dir, listen string) Config {
	return Config{Dir: dir, Listen: listen, Now: time.Now, Log: slog.New(slog.DiscardHandler)}
}

func TestServesAndStops(t *testing.T) {
	dir := t.TempDir()
	a, err := New(t.Context(), config(dir, "127.0.0.1:0"))
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	answer, err := http.Get(a.Address() + "riders")
	if err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(answer.Body)
	answer.Body.Close()
	if answer.StatusCode != 200 || !strings.Contains(string(body), "<h1") {
		t.Errorf("%d %.200s", answer.StatusCode, body)
	}
	if _, err := New(t.Context(), config(dir, "127.0.0.1:0")); err == nil {
		t.Error("a second program shares the folder")
	}
	stop()
	if err := <-done; err != nil {
		t.Errorf("stopped with %v", err)
	}
	again, err := New(t.Context(), config(dir, "127.0.0.1:0"))
	if err != nil {
		t.Fatalf("after a clean end: %v", err)
	}
	if err := again.Close(); err != nil { // without ever having run
		t.Error(err)
	}
}

func TestNetworkNeedsAPassphrase(t *testing.T) {
	dir := t.TempDir()
	_, err := New(t.Context(), config(dir, "0.0.0.0:0"))
	if err == nil {
		t.Fatal("it listens on a network without a passphrase")
	}
	if msg, hint := problem.ForPerson(err); !strings.Contains(msg, "needs a passphrase") || !strings.Contains(hint, "chainline passphrase") {
		t.Errorf("%q, %q", msg, hint)
	}
	if err := SetPassphrase(t.Context(), dir, "four words in a row"); err != nil {
		t.Fatal(err)
	}
	a, err := New(t.Context(), config(dir, "0.0.0.0:0"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if !strings.HasPrefix(a.Address(), "http://127.0.0.1:") {
		t.Errorf("its address for this machine is %s", a.Address())
	}
}

func TestAddressThatCannotBe(t *testing.T) {
	for _, at := range []string{"nonsense", "127.0.0.1:99999", "256.1.1.1:0"} {
		_, err := New(t.Context(), config(t.TempDir(), at))
		if msg, _ := problem.ForPerson(err); !strings.Contains(msg, "--listen") {
			t.Errorf("%s: %q", at, msg)
		}
	}
}

// The API stands behind the guards of the pages.
func TestAPIIsGuarded(t *testing.T) {
	dir := t.TempDir()
	if err := SetPassphrase(t.Context(), dir, "four words in a row"); err != nil {
		t.Fatal(err)
	}
	for _, listen := range []string{"127.0.0.1:0", "0.0.0.0:0"} {
		a, err := New(t.Context(), config(dir, listen))
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- a.Run(ctx) }()
		want := map[string]int{"": 201, "Host": 421, "Origin": 403}
		if listen != "127.0.0.1:0" {
			want[""] = 401
		}
		for with, status := range want {
			q, _ := http.NewRequest("POST", a.Address()+"api/v1/riders", strings.NewReader(`{"name":"x","text":"mass_kg: 70\n"}`))
			q.Header.Set("Content-Type", "application/json")
			switch with {
			case "Host":
				q.Host = "elsewhere.example"
			case "Origin":
				q.Header.Set("Origin", "http://elsewhere.example")
			}
			answer, err := http.DefaultClient.Do(q)
			if err != nil {
				t.Fatal(err)
			}
			answer.Body.Close()
			if got := answer.StatusCode; got != status {
				t.Errorf("listening on %s, a foreign %q: status %d, expected %d", listen, with, got, status)
			}
		}
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}
