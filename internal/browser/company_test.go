package browser_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// process is the program as people start it, so that it can be killed.
type process struct {
	path, data, at string
	running        *exec.Cmd
}

// built is the program, compiled for a test.
func built(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "chainline")
	if out, err := exec.Command("go", "build", "-o", path, "chainline/cmd/chainline").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return path
}

// freePort is one that nobody listens on just now.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// begin starts the program and waits until it answers.
func (p *process) begin(t *testing.T) {
	t.Helper()
	var said bytes.Buffer
	p.running = exec.Command(p.path, "serve", "--no-browser", "--data", p.data, "--listen", p.at)
	p.running.Stdout, p.running.Stderr = &said, &said
	if err := p.running.Start(); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if r, err := http.Get("http://" + p.at + "/ride"); err == nil {
			r.Body.Close()
			return
		}
	}
	t.Fatalf("the program at %s does not answer: %s", p.at, said.String())
}

// kill ends it as a power cut would.
func (p *process) kill() {
	if p.running != nil {
		_ = p.running.Process.Kill()
		_ = p.running.Wait()
		p.running = nil
	}
}

// seen is what one ride's page shows of one rider.
type seen struct {
	Key, Gap string
	Since    string // to the one before, on a page where nobody is 'you'
	You      bool
}

// order is everybody on a page, front to back.
func (b *tab) order() []seen {
	b.Helper()
	text := eval[string](b, `JSON.stringify([...document.querySelectorAll("[data-file] > li:not(.is-gone)")].map(e => ({Key: e.dataset.rider, You: e.classList.contains("own"), Gap: e.querySelector("[data-d=says]").textContent, Since: e.querySelector("[data-d=since]").textContent})))`)
	var out []seen
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		b.Fatalf("%v: %s", err, text)
	}
	return out
}

// seconds a rider is behind, by the words of a page; false where it says none.
func (s seen) seconds() (float64, bool) {
	words, _, _ := strings.Cut(s.Gap, ",")
	switch {
	case words == "beside you":
		return 0, true
	case strings.HasSuffix(words, " ahead"):
		n, ok := readSeconds(words)
		return -n, ok
	case strings.HasSuffix(words, " behind"):
		return readSeconds(words)
	}
	return 0, false
}

// readSeconds reads "12 s" or "1:52".
func readSeconds(words string) (float64, bool) {
	var n, m float64
	if k, _ := fmt.Sscanf(words, "%f:%f", &m, &n); k == 2 {
		return 60*m + n, true
	}
	k, _ := fmt.Sscanf(words, "%f s", &n)
	return n, k == 1
}

// fromFirst puts a host's page into the form of a rider's: seconds behind the
// first, added up from one rider to the next.
func fromFirst(all []seen) []seen {
	sum := 0.0
	for i := range all {
		since, _ := readSeconds(all[i].Since) // none: side by side
		sum += since
		all[i].Gap = fmt.Sprintf("%.0f s behind", sum)
	}
	return all
}

// disagree is how two pages differ on who is where; empty if they do not.
// Whole seconds on pages that are sent new ones twice a second may differ by
// two; who is within that may be either way round.
func disagree(a, b []seen) string {
	gap := func(all []seen, key string) (float64, bool) {
		for _, s := range all {
			if s.Key == key && s.You {
				return 0, true
			}
			if s.Key == key {
				return s.seconds()
			}
		}
		return 0, false
	}
	if len(a) != len(b) || len(a) < 4 {
		return fmt.Sprintf("%d and %d riders", len(a), len(b))
	}
	for i := range a {
		for j := range i {
			ai, ok1 := gap(a, a[i].Key)
			aj, ok2 := gap(a, a[j].Key)
			bi, ok3 := gap(b, a[i].Key)
			bj, ok4 := gap(b, a[j].Key)
			if !ok1 || !ok2 || !ok3 || !ok4 {
				return fmt.Sprintf("seconds that are not known: %v %v", a, b)
			}
			if d := (ai - aj) - (bi - bj); d > 2.5 || d < -2.5 {
				return fmt.Sprintf("%s and %s are %.0f s apart on one page, %.0f s on the other", a[i].Key, a[j].Key, ai-aj, bi-bj)
			}
		}
	}
	return ""
}

// forgive takes back what the console says of a program that was killed, and
// requests to the other program of the test.
func (b *tab) forgive(homes ...string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	keep := func(all []string, fine func(string) bool) []string {
		var out []string
		for _, s := range all {
			if !fine(s) {
				out = append(out, s)
			}
		}
		return out
	}
	b.problems = keep(b.problems, func(s string) bool { return strings.Contains(s, "net::ERR_") })
	b.foreign = keep(b.foreign, func(s string) bool {
		for _, h := range homes {
			if strings.HasPrefix(s, h) {
				return true
			}
		}
		return false
	})
}

const shortCourse = "distance_m,elevation_m\n0,10\n400,12\n800,20\n1100,18\n1500,10\n"

// crew is the browser's view of a test with two programs: a tab for each page
// that stays open.
type crew struct {
	*tab
	host, guest string // addresses of the two programs
	hosting     string // path of the host's page
	views       []view // of the rides: two on the host's machine, two on the guest's
	watching    view
}

type view struct {
	name, base, path string
	tab              *tab
}

// at has the test's tab be another of its pages.
func (c *crew) at(v view) { c.ctx, c.base = v.tab.ctx, v.base }

// page opens one more tab on a program.
func (c *crew) page(name, base, path string) view {
	c.Helper()
	c.base = base
	c.another()
	c.visit(path)
	return view{name, base, path, &tab{T: c.T, ctx: c.ctx, base: base}}
}

// Two programs, each with its own data folder, ride one course together over
// TLS: two bench rigs each, every page open. All pages agree; words and
// phrases reach everybody; one leaves early; the host's program is killed and
// started again; every ride has its files at the end.
func TestTogetherInTheBrowser(t *testing.T) {
	t.Parallel()
	host := &process{path: built(t), data: t.TempDir(), at: freePort(t)}
	t.Cleanup(host.kill)
	host.begin(t)
	b := open(t)
	c := &crew{tab: b, host: "http://" + host.at, guest: b.base}
	t.Cleanup(func() { c.forgive(c.host, c.guest) })
	c.gather()
	c.agree()
	c.talk()
	c.leaveEarly()
	c.loseTheHost(host)
	c.bringHome()
}

// gather has both programs in one group, four riders at the line.
func (c *crew) gather() {
	c.Helper()
	c.watching = c.page("host", c.host, "/settings")
	c.press("Load the invented club")
	c.visit("/courses/new")
	c.upload("file", "short-way.csv", shortCourse)
	c.press("Keep this course")
	c.visit("/together")
	eval[bool](c.tab, `(() => { const s = document.getElementsByName("course")[0]; s.value = [...s.options].find(o => /short-way|Short way/i.test(o.text)).value; return true; })()`)
	c.fill("title", "Thursday, two rooms")
	for i, who := range []string{"racer", "regular"} {
		c.choose(fmt.Sprintf("rider.%d", i), "demo-"+who)
		c.choose(fmt.Sprintf("rig.%d", i), "demo-racer-rig")
	}
	c.press("Make the group")
	c.until("the host's page with two riders", `document.querySelectorAll("[data-file] > li").length === 2`, 60*time.Second)
	c.watching.path = c.path()
	c.sound()
	// A test's group is open at any port, so that tests beside it have theirs.
	eval[bool](c.tab, `(() => { const s = document.getElementsByName("address")[0]; s.append(new Option("any", "127.0.0.1:0")); s.value = "127.0.0.1:0"; return true; })()`)
	c.press("Open it to the network")
	c.until("the invitation", `document.querySelectorAll(".invited dd").length === 2`, 15*time.Second)
	address := eval[string](c.tab, `document.querySelectorAll(".invited dd")[0].textContent`)
	invitation := eval[string](c.tab, `document.querySelector(".invited .chunks").textContent`)
	mine := eval[[]string](c.tab, `[...document.querySelectorAll(".mine a")].map(a => a.getAttribute("href")).filter(h => /^\/ride\/[^/]*$/.test(h))`)
	if len(mine) != 2 {
		c.Fatalf("the host's page leads to the rides %q", mine)
	}
	theirs := c.join(address, invitation)
	for i, path := range mine {
		c.views = append(c.views, c.page(fmt.Sprintf("host's ride %d", i+1), c.host, path))
	}
	for i, path := range theirs {
		c.views = append(c.views, c.page(fmt.Sprintf("guest's ride %d", i+1), c.guest, path))
	}
	for _, v := range append(c.views, c.watching) {
		c.at(v)
		c.until("four riders at the line on "+v.name, `document.querySelectorAll("[data-file] > li.is-waiting").length === 4`, 20*time.Second)
	}
}

// join finds the group from the second program, once with a wrong invitation,
// and connects two riders; it answers their rides' paths.
func (c *crew) join(address, invitation string) []string {
	c.Helper()
	c.page("guest", c.guest, "/settings")
	c.press("Load the invented club")
	c.visit("/join")
	c.fill("address", address)
	c.fill("invitation", strings.Repeat("AB2C", 5))
	c.press("Find the group")
	c.says("does not know this invitation")
	c.fill("invitation", strings.ToLower(strings.ReplaceAll(invitation, "-", " ")))
	c.press("Find the group")
	c.says("Thursday, two rooms")
	c.until("the host's riders on the guest's page", `document.querySelectorAll("[data-file] > li").length === 2`, 15*time.Second)
	c.sound()
	joined := c.path()
	var theirs []string
	for _, who := range []string{"newcomer", "racer"} {
		c.visit(joined)
		eval[bool](c.tab, `document.querySelectorAll("details").forEach(d => d.open = true) || true`)
		c.choose("rider", "demo-"+who)
		c.choose("rig", "demo-racer-rig")
		c.choose("devices", "bench")
		c.press("Connect")
		c.until("the guest's ride", `document.querySelector("[data-company]")`, 60*time.Second)
		theirs = append(theirs, c.path())
	}
	return theirs
}

// agree counts down and compares the pages while all ride.
func (c *crew) agree() {
	c.Helper()
	c.at(c.watching)
	eval[bool](c.tab, `(document.getElementById("f-count").value = "4") === "4"`)
	c.touch("Count down")
	for _, v := range c.views {
		c.at(v)
		c.until(v.name+" to ride", riding, 30*time.Second)
	}
	var why string
	agreed := 0
	for end := time.Now().Add(60 * time.Second); agreed < 3; time.Sleep(time.Second) {
		if time.Now().After(end) {
			c.Fatalf("the pages do not agree: %s", why)
		}
		pages := make([][]seen, len(c.views))
		for i, v := range c.views {
			c.at(v)
			pages[i] = c.order()
		}
		c.at(c.watching)
		pages = append(pages, fromFirst(c.order()))
		why = ""
		for i := 1; i < len(pages) && why == ""; i++ {
			why = disagree(pages[0], pages[i])
		}
		if agreed++; why != "" {
			agreed = 0
		}
	}
}

// talk sends words from the host and a phrase from a rider to every page.
func (c *crew) talk() {
	c.Helper()
	c.at(c.watching)
	c.fill("text", "easy to the bridge")
	c.touch("Say it")
	for _, v := range c.views {
		c.at(v)
		c.until("the host's words on "+v.name, `document.querySelector("[data-x=said]").textContent === "easy to the bridge"`, 10*time.Second)
	}
	c.at(c.views[3])
	c.keys("2")
	for _, v := range c.views[:3] {
		c.at(v)
		c.until("a rider's phrase on "+v.name, `document.querySelector("[data-notices]").textContent.includes("Please ease a little")`, 10*time.Second)
	}
	c.at(c.watching)
	c.until("a rider's phrase on the host's page", `document.querySelector("[data-phrases]").textContent.includes("Please ease a little")`, 10*time.Second)
}

// leaveEarly ends one guest's ride; the others see that.
func (c *crew) leaveEarly() {
	c.Helper()
	c.at(c.views[3])
	c.endByKey()
	c.hasFiles(c.views[3])
	for _, v := range append(c.views[:3:3], c.watching) {
		c.at(v)
		c.until("who left early on "+v.name, `document.querySelector("[data-file] > li.is-gone")`, 10*time.Second)
	}
}

// loseTheHost kills the host's program and starts it again: the guest's ride
// goes on, says so, and finds it again.
func (c *crew) loseTheHost(host *process) {
	c.Helper()
	guest := c.views[2]
	host.kill()
	c.at(guest)
	c.until("the guest's page to say that the host is silent", `/has not been heard for/.test(document.querySelector("[data-c=link]").textContent)`, 15*time.Second)
	before := c.shown("place")
	c.until("the guest's ride to go on", riding+` && document.querySelector("[data-x=place]").textContent !== `+fmt.Sprintf("%q", before), 30*time.Second)
	host.begin(c.T)
	c.at(guest)
	c.until("the host to be heard again", `document.querySelector("[data-c=link]").textContent === "The host is heard well."`, 30*time.Second)
	c.at(c.watching)
	c.visit(c.watching.path)
	c.until("the guest on the host's page again", `document.querySelector("[data-file] > li.is-riding, [data-file] > li.is-home")`, 15*time.Second)
	for _, v := range c.views[:2] { // what was cut off on the host's machine is gone on with
		c.at(v)
		c.visit(v.path)
		c.press("Go on with it")
		c.until(v.name+" to go on", riding, 30*time.Second)
		c.until(v.name+" in its group", `document.querySelectorAll("[data-file] > li").length >= 2`, 15*time.Second)
	}
}

// bringHome waits for the ends, and looks for the files.
func (c *crew) bringHome() {
	c.Helper()
	c.at(c.views[2])
	c.until("the guest's ride to be home", `document.body.innerText.includes("FIT activity")`, 3*time.Minute)
	c.hasFiles(c.views[2])
	for _, v := range c.views[:2] {
		c.at(v)
		if !eval[bool](c.tab, `document.body.innerText.includes("FIT activity")`) {
			c.endByKey()
		}
		c.hasFiles(v)
	}
}

// hasFiles fails unless a ride's files are there.
func (c *crew) hasFiles(v view) {
	c.Helper()
	for _, kind := range []string{"fit", "csv", "recording"} {
		r, err := http.Get(v.base + v.path + "/file/" + kind)
		if err != nil {
			c.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK || r.ContentLength == 0 {
			c.Errorf("%s: its %s: %d", v.name, kind, r.StatusCode)
		}
	}
}
