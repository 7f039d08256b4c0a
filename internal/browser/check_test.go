package browser_test

import (
	"context"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"chainline/internal/web/gallery"
)

// A check on the bench rig from connection to report: the guided page shows one
// instruction and the watts of every source, goes on with each step, and the
// report comes by itself. What was ridden for seconds is not judged.
func TestCheckInTheBrowser(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	b.visit("/check?rider=demo-racer&rig=demo-racer-rig")
	b.choose("rider", "demo-racer")
	b.choose("rig", "demo-racer-rig")
	b.choose("what", "ride")
	b.choose("devices", "bench")
	b.press("Go on")
	b.until("the check to begin", `document.querySelector("[data-check]") && document.querySelector("[data-check]").dataset.stage === "riding"`, 20*time.Second)
	b.says("Warm up: meters and brakes drift")
	b.until("the watts of both sources", `document.querySelectorAll("[data-sources] .n").length === 2 && [...document.querySelectorAll("[data-sources] .n")].every(n => Number(n.textContent) > 20)`, 20*time.Second)
	b.until("the tape", `document.querySelectorAll("[data-tape] path").length === 3 && document.querySelector("[data-tape] .s0").getAttribute("d").length > 30`, 10*time.Second)
	at := b.path()
	b.visit(at) // the tape is there when the page is loaded again
	if n := eval[int](b, `document.querySelector("[data-tape] .s0").getAttribute("d").length`); n < 30 {
		t.Errorf("the tape begins anew with the page: %d characters", n)
	}
	const place = `document.querySelector("[data-y=place]")?.textContent || ""`
	for range 60 {
		was := eval[string](b, place)
		eval[bool](b, `[...document.querySelectorAll("button")].find(x => x.textContent === "This step is done").click() || true`)
		b.until("the next step", `(`+place+`) !== "`+was+`"`, 15*time.Second)
		if strings.Contains(eval[string](b, place), "step ") {
			continue
		}
		break
	}
	b.until("the report", `location.pathname.startsWith("/check/") && document.querySelector(".report")`, 30*time.Second)
	b.says("the guided check, on a simulated rig")
	b.says("Cannot say")
}

// A check ridden at once with a meter that reads too high: its report, the
// correction applied and taken back.
func TestCheckAtOnceInTheBrowser(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	b.visit("/check?rider=demo-racer&rig=demo-racer-rig")
	b.choose("devices", "at once")
	b.choose("fault", "lost-samples")
	eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true) || true`)
	b.fill("wheel", "21")
	b.press("Go on")
	b.says("300 to 5000 mm")
	b.fill("wheel", "2105")
	b.press("Go on")
	b.until("the report", `document.querySelector(".report")`, 60*time.Second)
	b.says("min looked at")
	b.visit("/check")
	b.says("Checks so far")
	b.visit("/rigs/demo-racer-rig")
	b.says("Check what its numbers are worth")
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page[^s]`)

// sheets is how many sheets of paper this page takes.
func (b *tab) sheets() int {
	b.Helper()
	var pdf []byte
	b.do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		yes := true
		r, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &yes})
		pdf = r.Data
		return err
	}))
	return len(pdfPage.FindAll(pdf, -1))
}

// The report prints on one sheet.
func TestCheckReportPrintsOnOneSheet(t *testing.T) {
	t.Parallel()
	oneSheet(t, "check-report", "check-report-applied", "check-report-plain", "check-report-cannot-say")
}

// oneSheet prints states of the gallery and counts their sheets.
func oneSheet(t *testing.T, states ...string) {
	t.Helper()
	b := open(t, gallery.States()...)
	for _, state := range states {
		b.visit("/gallery/" + state)
		if n := b.sheets(); n != 1 {
			t.Errorf("%s prints on %d sheets", state, n)
		}
	}
}
