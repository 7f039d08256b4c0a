// Package browser_test uses the program as a person does, in a real Chromium
// without a window. One browser serves all tests; each test has its own
// program on its own empty folder and its own tab, without others' cookies.
//
// Whatever a test does, at its end the tab must have written no error into
// the console and asked nobody but the program.
package browser_test

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"chainline/internal/app"
	"chainline/internal/web"
)

// browser is the one Chromium of this run.
var browser context.Context

func TestMain(m *testing.M) {
	flag.Parse()
	os.Exit(run(m))
}

func run(m *testing.M) int {
	path, err := chromium()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.Flag("disable-background-networking", true))
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox) // Chromium refuses its sandbox to root
	}
	base, stop := chromedp.NewExecAllocator(context.Background(), options...)
	defer stop()
	var end context.CancelFunc
	browser, end = chromedp.NewContext(base)
	defer end()
	if err := chromedp.Do(browser); err != nil {
		fmt.Fprintf(os.Stderr, "The browser tests could not start %s: %v\n", path, err)
		return 1
	}
	return m.Run()
}

// chromium is where the browser is: $CHROMIUM, or on the path. A machine
// without one fails: a gate that is skipped is no gate.
func chromium() (string, error) {
	if path := os.Getenv("CHROMIUM"); path != "" {
		return path, nil
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", fmt.Errorf("The browser tests need Chromium and there is none: install it (on Debian: apt-get install chromium) or name it in CHROMIUM")
}

// tab is one tab of the browser on one program.
type tab struct {
	*testing.T
	ctx  context.Context
	app  *app.App
	base string // without the slash at the end

	mu       sync.Mutex
	problems []string
	foreign  []string
}

// open starts a program on an empty folder, and a tab on it.
func open(t *testing.T, gallery ...web.State) *tab {
	t.Helper()
	return openOn(t, t.TempDir(), "127.0.0.1:0", gallery...)
}

// openOn starts a program on a folder and an address, and a tab on it.
func openOn(t *testing.T, dir, listen string, gallery ...web.State) *tab {
	t.Helper()
	a, err := app.New(t.Context(), app.Config{
		Dir: dir, Listen: listen, Now: time.Now, Version: "test",
		Log: slog.New(slog.NewTextHandler(t.Output(), nil)), Gallery: gallery,
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("the program ended with %v", err)
		}
	})
	b := &tab{T: t, app: a, base: strings.TrimSuffix(a.Address(), "/")}
	b.another()
	t.Cleanup(b.innocent)
	return b
}

// another gives the test a fresh tab on the same program.
func (b *tab) another() {
	b.Helper()
	ctx, end := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	b.Cleanup(end)
	// The tab lives as long as the context of its first use.
	if err := chromedp.Do(ctx); err != nil {
		b.Fatal(err)
	}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		b.Fatal(err)
	}
	var done context.CancelFunc
	b.ctx, done = context.WithTimeout(ctx, 6*time.Minute)
	b.Cleanup(done)
	b.size(1280)
}

// hear notes what no page of ours may do.
func (b *tab) hear(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		if e.Type == "error" || e.Type == "warning" || e.Type == "assert" {
			b.problems = append(b.problems, fmt.Sprintf("console %s: %s", e.Type, remote(e.Args)))
		}
	case *runtime.EventExceptionThrown:
		b.problems = append(b.problems, fmt.Sprintf("exception: %s (%s:%d)", e.ExceptionDetails.Text, e.ExceptionDetails.URL, e.ExceptionDetails.LineNumber))
	case *log.EventEntryAdded:
		if b.refusedForm(e.Entry) {
			return
		}
		if e.Entry.Level == "error" || e.Entry.Level == "warning" {
			b.problems = append(b.problems, fmt.Sprintf("console %s: %s (%s)", e.Entry.Level, e.Entry.Text, e.Entry.URL))
		}
	case *network.EventRequestWillBeSent:
		u, err := url.Parse(e.Request.URL)
		if err != nil || u.Scheme != "data" && u.Scheme != "about" && u.Scheme+"://"+u.Host != b.base {
			b.foreign = append(b.foreign, e.Request.URL)
		}
	}
}

// refusedForm is whether the browser only notes that a page came with a
// status of 4xx: a form shown again with what is wrong, or a page that is not
// there. Assets of ours that are missing are faults all the same.
func (b *tab) refusedForm(e *log.Entry) bool {
	return e.Source == "network" && strings.Contains(e.Text, "status of 4") && !strings.Contains(e.URL, "/assets/")
}

func remote(args []*runtime.RemoteObject) string {
	var all []string
	for _, a := range args {
		all = append(all, strings.TrimSpace(string(a.Value)+" "+a.Description))
	}
	return strings.Join(all, " ")
}

// innocent fails the test for errors in the console and requests to others.
func (b *tab) innocent() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, p := range b.problems {
		b.Error(p)
	}
	for _, u := range b.foreign {
		b.Errorf("a request left the machine: %s", u)
	}
}
