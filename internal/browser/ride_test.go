package browser_test

import (
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// until waits for an expression of the page to be true.
func (b *tab) until(what, expression string, limit time.Duration) {
	b.Helper()
	var err error
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		var ok bool
		if ok, err = chromedp.Run(b.ctx, chromedp.Evaluate[bool](`!!document.body && !!(`+expression+`)`)); ok && err == nil {
			return
		}
	}
	b.Fatalf("waited %v for %s on %s (%v):\n%.1200s", limit, what, b.path(), err, b.text())
}

// wire is a way between a tab and the program that can be cut.
type wire struct {
	mu    sync.Mutex
	cut   bool
	conns map[net.Conn]bool
}

// wired puts a wire before the program; the tab asks through it from now on.
func (b *tab) wired() *wire {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { l.Close() })
	w := &wire{conns: map[net.Conn]bool{}}
	to := strings.TrimPrefix(b.base, "http://")
	b.base = "http://" + l.Addr().String()
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			go w.carry(in, to)
		}
	}()
	return w
}

func (w *wire) carry(in net.Conn, to string) {
	defer in.Close()
	out, err := net.Dial("tcp", to)
	if err != nil {
		return
	}
	defer out.Close()
	w.mu.Lock()
	if w.cut {
		w.mu.Unlock()
		return
	}
	w.conns[in] = true
	w.mu.Unlock()
	go func() { _, _ = io.Copy(out, in); out.Close() }()
	_, _ = io.Copy(in, out)
	w.mu.Lock()
	delete(w.conns, in)
	w.mu.Unlock()
}

// set cuts the wire, or mends it.
func (w *wire) set(cut bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = cut
	for c := range w.conns {
		c.Close()
	}
}

func (b *tab) shown(name string) string {
	b.Helper()
	return eval[string](b, fmt.Sprintf(`(document.querySelector("[data-x=%s]") || {}).textContent || ""`, name))
}

const riding = `document.querySelector("[data-ride]") && document.querySelector("[data-ride]").dataset.stage === "riding"`

// endByKey presses the key that ends a ride and, once asked, presses it again;
// on a slow machine the question may have lapsed by then, and is put anew.
func (b *tab) endByKey() {
	b.Helper()
	const ended = `document.body.innerText.includes("FIT activity")`
	for range 4 {
		b.keys("e")
		b.until("the question whether to end", ended+` || document.body.innerText.includes("Once more to end the ride.")`, 15*time.Second)
		b.keys("e")
		for end := time.Now().Add(8 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
			if is, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`!!document.body && `+ended)); is && err == nil {
				return
			}
		}
	}
	b.until("the end", ended, time.Second)
}

// A short session on the bench rig: connected, ridden, the page loaded again in
// the middle, a second page beside it, the network cut and given back; at its
// end there are files.
func TestRideInTheBrowser(t *testing.T) {
	t.Parallel()
	b := open(t)
	straight := b.base
	network := b.wired()
	b.visit("/settings")
	b.press("Load the invented club")
	b.visit("/ride?rider=demo-racer&rig=demo-racer-rig")
	b.choose("rider", "demo-racer")
	b.choose("rig", "demo-racer-rig")
	b.choose("what", "own")
	eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true) || true`)
	b.fill("own", "ride fast")
	b.press("Connect")
	b.says("another look")
	b.fill("own", "ride 25 s at 150 W\nride 5 min at 200 W\n")
	b.choose("devices", "bench")
	b.press("Connect")
	b.until("the rider to pedal", riding, 20*time.Second)
	at := b.path()
	b.until("watts near the target", `Math.abs(Number(document.querySelector("[data-x=you]").textContent) - 150) < 15`, 15*time.Second)
	if b.shown("big") != "150" || !strings.Contains(b.shown("quiet"), "all well") {
		t.Errorf("asked %q, sensors %q", b.shown("big"), b.shown("quiet"))
	}
	b.until("the strip", `document.querySelector("[data-strip] .ridden") && document.querySelector("[data-strip] .ridden").getAttribute("d").length > 20`, 10*time.Second)
	b.visit(at) // the page loaded again in the middle
	b.until("the ride to go on", riding, 10*time.Second)
	b.until("what was ridden before", `document.querySelector("[data-strip] .ridden").getAttribute("d").split("L").length > 4`, 10*time.Second)
	b.until("the second step", `document.querySelector("[data-x=big]").textContent === "200"`, 40*time.Second)

	first := b.ctx
	cut := b.base
	b.base = straight // a phone beside it, on a way of its own
	b.another()
	second := b.ctx
	b.size(390)
	b.visit(at)
	b.until("the same ride", riding+` && document.querySelector("[data-x=big]").textContent === "200"`, 20*time.Second)
	b.sound()

	b.ctx = first
	b.base = cut
	network.set(true)
	b.until("the page to say it lost the program", `!document.querySelector("[data-gone]").hidden`, 10*time.Second)
	b.ctx = second
	b.until("the other page to see the ride go on", `Number(document.querySelector("[data-x=you]").textContent) > 150`, 10*time.Second)
	b.ctx = first
	network.set(false)
	b.until("the page to find it again", `document.querySelector("[data-gone]").hidden`, 15*time.Second)

	b.keys(" ")
	b.until("a pause by key", `document.querySelector("[data-ride]").dataset.stage === "paused"`, 5*time.Second)
	b.keys(" ")
	b.until("to go on by key", riding, 5*time.Second)
	b.endByKey()
	b.sound()
	b.ctx = second
	b.until("the end on the other page", `document.body.innerText.includes("FIT activity")`, 15*time.Second)
	b.mu.Lock() // being cut off is what was asked for
	var rest []string
	for _, p := range b.problems {
		if !strings.Contains(p, "net::ERR_") {
			rest = append(rest, p)
		}
	}
	b.problems = rest
	for i := len(b.foreign) - 1; i >= 0; i-- { // both ways lead to the one program
		if strings.HasPrefix(b.foreign[i], straight) || strings.HasPrefix(b.foreign[i], cut) {
			b.foreign = slices.Delete(b.foreign, i, i+1)
		}
	}
	b.mu.Unlock()
}

// A group session of four bench rigs with a host: a common countdown, a pause,
// words to one, an end.
func TestGroupInTheBrowser(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	b.visit("/group")
	b.choose("session", "easy-spin")
	for i, who := range []string{"racer", "regular", "newcomer", "racer"} {
		b.choose(fmt.Sprintf("rider.%d", i), "demo-"+who)
		b.choose(fmt.Sprintf("rig.%d", i), "demo-racer-rig")
	}
	b.press("Connect everybody")
	b.until("four riders", `document.querySelectorAll("[data-riders] tr").length === 4`, 10*time.Second)
	b.sound()
	eval[bool](b, `(document.getElementById("f-count").value = "3") === "3"`)
	b.touch("Count down")
	b.until("everybody to ride", `[...document.querySelectorAll("[data-y=step]")].every(e => /step 1, 0:[0-9]*[1-9]/.test(e.textContent))`, 30*time.Second)
	b.until("watts from all", `[...document.querySelectorAll("[data-y=watts]")].every(e => parseInt(e.textContent) > 30)`, 30*time.Second)
	b.fill("text", "smooth circles")
	b.touch("Say it")
	host := b.ctx
	one := eval[string](b, `document.querySelectorAll("[data-riders] a")[1].getAttribute("href")`)
	b.another()
	b.visit(one)
	b.until("the host's words on a rider's page", `document.querySelector("[data-x=said]").textContent === "smooth circles"`, 10*time.Second)
	rider := b.ctx
	b.ctx = host
	b.touch("Pause")
	b.until("everybody to pause", `[...document.querySelectorAll("[data-y=words]")].every(e => e.textContent === "paused")`, 10*time.Second)
	b.ctx = rider
	b.until("the rider's page to pause", `document.querySelector("[data-ride]").dataset.stage === "paused"`, 10*time.Second)
	b.ctx = host
	b.touch("Go on")
	b.until("everybody to go on", `[...document.querySelectorAll("[data-y=words]")].every(e => e.textContent !== "paused")`, 10*time.Second)
	b.touch("End it for all")
	b.until("the end of all", `[...document.querySelectorAll("[data-y=words]")].every(e => e.textContent === "done")`, 15*time.Second)
}

// touch clicks a button that does not lead to another page.
func (b *tab) touch(text string) {
	b.Helper()
	if !eval[bool](b, fmt.Sprintf(`(() => {
		for (const e of document.querySelectorAll("main button"))
			if (e.innerText.trim() === %q && e.offsetParent !== null) { e.click(); return true; }
		return false;
	})()`, text)) {
		b.Fatalf("%s has no button %q", b.path(), text)
	}
}
