package cli

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// start runs arguments until it has printed a line, which it gives, and stop
// ends the program and gives its exit code.
func startServing(t *testing.T, s Streams, args ...string) (line string, stop func() int) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	r, w := io.Pipe()
	s.Out, s.Now = w, time.Now
	if s.Err == nil {
		s.Err = io.Discard
	}
	code := make(chan int, 1)
	go func() { code <- Run(ctx, args, s); w.Close() }()
	buf := make([]byte, 4096)
	n, _ := r.Read(buf)
	go io.Copy(io.Discard, r)
	return string(buf[:n]), func() int { cancel(); return <-code }
}

func TestServeSaysWhereItIsAndStops(t *testing.T) {
	dir := t.TempDir()
	line, stop := startServing(t, Streams{}, "serve", "--data", dir, "--listen", "127.0.0.1:0", "--json")
	var said struct{ Schema, Address, Data string }
	if err := json.Unmarshal([]byte(line), &said); err != nil || said.Data != dir || said.Schema != "chainline.serve/1" {
		t.Fatalf("%q: %v", line, err)
	}
	a, err := http.Get(said.Address)
	if err != nil {
		t.Fatal(err)
	}
	a.Body.Close()
	if a.StatusCode != 200 {
		t.Errorf("%d", a.StatusCode)
	}
	if code := stop(); code != 0 {
		t.Errorf("stopped with %d, expected 0", code)
	}
}

func TestServeOpensTheBrowser(t *testing.T) {
	opened := make(chan string, 1)
	s := Streams{Browse: func(at string) error { opened <- at; return nil }}
	line, stop := startServing(t, s, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	if at := <-opened; !strings.Contains(line, at) {
		t.Errorf("opened %s, said %q", at, line)
	}
	stop()
	s.Browse = func(string) error { t.Error("it opened the browser"); return nil }
	_, stop = startServing(t, s, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--no-browser")
	stop()
}

func TestWithoutArguments(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	var out strings.Builder
	if code := Run(t.Context(), nil, Streams{Out: &out, Err: io.Discard, Now: time.Now}); code != 0 || !strings.Contains(out.String(), "serve") {
		t.Errorf("without a screen: %d, %q; expected the help", code, out.String())
	}
	line, stop := startServing(t, Streams{Desktop: true})
	if code := stop(); code != 0 || !strings.Contains(line, "Chainline is at http://127.0.0.1:") {
		t.Errorf("before a screen: %d, %q; expected it to serve", code, line)
	}
}

func TestNetworkWantsAPassphraseFirst(t *testing.T) {
	dir := t.TempDir()
	var errs strings.Builder
	s := Streams{Out: io.Discard, Err: &errs, Now: time.Now}
	if code := Run(t.Context(), []string{"serve", "--data", dir, "--listen", "0.0.0.0:0", "--no-browser"}, s); code != 2 || !strings.Contains(errs.String(), "needs a passphrase") {
		t.Errorf("%d, %q", code, errs.String())
	}
	errs.Reset()
	s.In = strings.NewReader("short\n")
	if code := Run(t.Context(), []string{"passphrase", "--data", dir}, s); code != 2 || strings.Contains(errs.String(), "short\n") {
		t.Errorf("a short one: %d, %q", code, errs.String())
	}
	s.In = strings.NewReader("four words in a row\n")
	if code := Run(t.Context(), []string{"passphrase", "--data", dir}, s); code != 0 {
		t.Fatalf("%d, %q", code, errs.String())
	}
	line, stop := startServing(t, Streams{}, "serve", "--data", dir, "--listen", "0.0.0.0:0", "--no-browser")
	if code := stop(); code != 0 || !strings.Contains(line, "Chainline is at") {
		t.Errorf("with one: %d, %q", code, line)
	}
}
