package browser_test

import (
	"context"
	_ "embed"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// do runs steps, or ends the test.
func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.Fatalf("%v, on %s", err, b.path())
	}
}

// eval is the value of an expression of JavaScript on the page.
func eval[V any](b *tab, expression string) V {
	b.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[V](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.Fatalf("%.200s: %v", expression, err)
	}
	return v
}

// visit opens a path of the program.
func (b *tab) visit(path string) {
	b.Helper()
	b.do(chromedp.Navigate(b.base + path))
}

// path is where the tab is.
func (b *tab) path() string {
	at, err := chromedp.Run(b.ctx, chromedp.Location())
	if err != nil {
		return err.Error()
	}
	return strings.TrimPrefix(at, b.base)
}

// text is what can be read on the page.
func (b *tab) text() string {
	b.Helper()
	return eval[string](b, `document.body ? document.body.innerText : ""`)
}

// says waits until the page says something, or fails. A page that is just
// being left cannot be asked; that is no fault.
func (b *tab) says(what string) {
	b.Helper()
	said := fmt.Sprintf(`!!document.body && document.readyState !== "loading" && document.body.innerText.includes(%q)`, what)
	var err error
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(25 * time.Millisecond) {
		var found bool
		if found, err = chromedp.Run(b.ctx, chromedp.Evaluate[bool](said)); found {
			return
		}
	}
	b.Fatalf("the page %s does not say %q (%v) but:\n%.1500s", b.path(), what, err, b.text())
}

// fill puts text into the field of a name, in the place of what is there.
func (b *tab) fill(name, text string) {
	b.Helper()
	field := fmt.Sprintf(`[name=%q]`, name)
	b.do(chromedp.WaitVisible(field))
	eval[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.value = ""; e.focus(); return true; })()`, field))
	if text != "" {
		b.do(chromedp.SendKeys(field, text))
	}
}

// choose takes a value of a select, a group of radios or a box.
func (b *tab) choose(name, value string) {
	b.Helper()
	found := eval[bool](b, fmt.Sprintf(`(() => {
		const all = [...document.getElementsByName(%q)];
		for (const e of all) {
			if (e.tagName === "SELECT" && [...e.options].some(o => o.value === %q)) { e.value = %[2]q; e.dispatchEvent(new Event("input", {bubbles: true})); e.dispatchEvent(new Event("change", {bubbles: true})); return true; }
			if ((e.type === "radio" || e.type === "checkbox") && e.value === %[2]q) { e.click(); return true; }
		}
		return false;
	})()`, name, value))
	if !found {
		b.Fatalf("%s: %s has no choice %q", b.path(), name, value)
	}
}

// press clicks the button or link of a text and waits for the page it leads to.
func (b *tab) press(text string) {
	b.Helper()
	clicked := fmt.Sprintf(`(() => {
		for (const e of document.querySelectorAll("main button, main a, main summary, button, a"))
			if (e.innerText.trim() === %q && e.offsetParent !== null) { e.click(); return true; }
		return false;
	})()`, text)
	found := true
	_, err := chromedp.RunResponse(b.ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		var err error
		found, err = chromedp.Run(ctx, chromedp.Evaluate[bool](clicked))
		if err == nil && !found {
			return fmt.Errorf("no such button")
		}
		return err
	}))
	if err != nil {
		b.Fatalf("%s: pressing %q: %v", b.path(), text, err)
	}
}

// upload puts a file into the file field of a name.
func (b *tab) upload(name, filename, content string) {
	b.Helper()
	at := filepath.Join(b.TempDir(), filename)
	if err := os.WriteFile(at, []byte(content), 0o600); err != nil {
		b.Fatal(err)
	}
	b.do(chromedp.SetUploadFiles(fmt.Sprintf(`[name=%q]`, name), []string{at}))
}

// keys types on the keyboard, into whatever has the focus.
func (b *tab) keys(keys string) { b.Helper(); b.do(chromedp.KeyEvent(keys, asKeyboard)) }

// asKeyboard has a key go down as a keyboard's does: what takes the press
// also takes the character, which else would reach whatever has the focus next.
func asKeyboard(k *input.DispatchKeyEventParams) {
	if k.Type == input.DispatchKeyEventTypeKeyDown {
		k.Type = input.DispatchKeyEventTypeRawKeyDown
	}
}

// focus is the name of what has the focus, as one would read it.
const focus = `(() => {
	const e = document.activeElement;
	if (!e || e === document.body) return "";
	const own = e.labels && e.labels.length ? [...e.labels].map(l => l.innerText).join(" ") : e.innerText;
	return (e.getAttribute("aria-label") || own || e.value || "").trim().replace(/\s+/g, " ");
})()`

// tabTo presses the tab key until what has the focus begins with a name, as a
// person without a mouse would; it must then be seen to have it.
func (b *tab) tabTo(name string) {
	b.Helper()
	b.reach(name, fmt.Sprintf(`name.startsWith(%q)`, name))
}

// reach presses the tab key until something holds for the element e that has
// the focus, and its name.
func (b *tab) reach(what, holds string) {
	b.Helper()
	here := fmt.Sprintf(`(() => {
		const e = document.activeElement, name = %s, s = getComputedStyle(e);
		const seen = s.outlineStyle !== "none" && parseFloat(s.outlineWidth) > 0;
		return [name, %s ? seen ? "seen" : "unseen" : ""];
	})()`, focus, holds)
	var passed []string
	for range 200 {
		b.keys(kb.Tab)
		at := eval[[]string](b, here)
		passed = append(passed, at[0])
		if at[1] == "unseen" {
			b.Errorf("%s: %q has the focus and does not show it", b.path(), at[0])
		}
		if at[1] != "" {
			return
		}
	}
	b.Fatalf("%s: the keyboard does not reach %q; it passed %q", b.path(), what, passed)
}

// skip goes past the menu, as its first link offers.
func (b *tab) skip() {
	b.Helper()
	b.tabTo("Skip to the page")
	b.keys(kb.Enter)
	b.until("the focus to be on the page itself", `document.activeElement.id === "main"`, 10*time.Second)
}

// pick tabs to a select of a label and goes to an option with the arrow keys.
func (b *tab) pick(label, option string) {
	b.Helper()
	b.reach(label, fmt.Sprintf(`e.tagName === "SELECT" && name.startsWith(%q)`, label))
	b.keys(kb.Home)
	b.arrow(option, `document.activeElement.selectedOptions[0].text.trim()`)
}

// take tabs to a group of radios and goes to one with the arrow keys.
func (b *tab) take(option string) {
	b.Helper()
	b.reach(option, fmt.Sprintf(`e.type === "radio" && [...document.getElementsByName(e.name)].some(r => r.labels[0].innerText.trim().startsWith(%q))`, option))
	b.arrow(option, focus)
	if !eval[bool](b, `document.activeElement.checked`) {
		b.keys(" ")
	}
}

// arrow presses the down key until what is shown begins with an option.
func (b *tab) arrow(option, shown string) {
	b.Helper()
	for range 40 {
		if strings.HasPrefix(eval[string](b, shown), option) {
			return
		}
		b.keys(kb.ArrowDown)
	}
	b.Fatalf("%s: the arrow keys do not reach %q", b.path(), option)
}

// enter presses the return key and waits for the page it leads to.
func (b *tab) enter() {
	b.Helper()
	if _, err := chromedp.RunResponse(b.ctx, chromedp.KeyEvent(kb.Enter, asKeyboard)); err != nil {
		b.Fatalf("%s: return: %v", b.path(), err)
	}
}

// size makes the window so many pixels wide.
func (b *tab) size(width int64) { b.Helper(); b.do(chromedp.EmulateViewport(width, 844)) }

// theme is the system's choice of light or dark.
func (b *tab) theme(name string) {
	b.Helper()
	b.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}},
		})
		return err
	}))
}

// fits fails if the page would scroll sideways on a phone or a laptop.
func (b *tab) fits() {
	b.Helper()
	for _, width := range []int64{390, 1280} {
		b.size(width)
		wide := eval[[]string](b, `(() => {
			const room = document.documentElement.clientWidth;
			if (document.documentElement.scrollWidth <= room) return [];
			const out = [...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > room + 1);
			return ["" + document.documentElement.scrollWidth, ...out.slice(0, 4).map(e => e.outerHTML.slice(0, 120))];
		})()`)
		if len(wide) > 0 {
			b.Errorf("%s scrolls sideways at %d pixels: %q", b.path(), width, wide)
		}
	}
}

//go:embed testdata/axe/axe.min.js
var axe string

// inColours are the rules of axe-core that ask how something is painted. The
// others ask what it is, and the theme changes nothing but colours: in dark
// these are enough.
const inColours = `, runOnly: ["color-contrast", "link-in-text-block"]`

// accessible fails for what axe-core finds serious or critical, in light and
// in dark.
func (b *tab) accessible() {
	b.Helper()
	if !eval[bool](b, `typeof window.axe === "object"`) {
		b.do(chromedp.Evaluate[chromedp.Void](axe + ";undefined"))
	}
	for _, look := range [][2]string{{"light", ""}, {"dark", inColours}} {
		theme, only := look[0], look[1]
		b.theme(theme)
		found := eval[[]string](b, `axe.run({resultTypes: ["violations"]`+only+`}).then(r => r.violations
			.filter(v => v.impact === "serious" || v.impact === "critical")
			.map(v => v.impact + " " + v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + " " + n.any.map(a => a.message).join("; ")).join(" | ")))`)
		for _, f := range found {
			b.Errorf("%s in the %s theme: %s", b.path(), theme, f)
		}
	}
}

// sound is what every page has to be.
func (b *tab) sound() { b.Helper(); b.fits(); b.accessible() }

// reachable fails for whatever can be pressed, chosen or typed into and cannot
// be reached with the tab key, in the order of the page, or does not show that
// it has the focus. It answers how many things there are.
func (b *tab) reachable() int {
	b.Helper()
	wrong := eval[[]string](b, `(() => {
		const out = [];
		document.querySelectorAll("details").forEach(d => d.open = true); // its summary is reached, and opens it
		const all = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [onclick], [role=button]")];
		let n = 0;
		for (const e of all) {
			const s = getComputedStyle(e);
			if (!e.getClientRects().length || s.visibility === "hidden" || e.disabled || e.getAttribute("aria-hidden") === "true") continue;
			const said = e.outerHTML.slice(0, 90);
			if (e.tabIndex !== 0) { if (!(e.type === "radio")) out.push("not by tab: " + said); continue; }
			e.focus({focusVisible: true});
			if (document.activeElement !== e) { out.push("takes no focus: " + said); continue; }
			const f = getComputedStyle(e), label = e.closest("label") && getComputedStyle(e.closest("label"));
			const seen = x => x && (x.outlineStyle !== "none" && parseFloat(x.outlineWidth) > 0 || x.boxShadow !== "none");
			if (!seen(f) && !seen(label)) out.push("does not show its focus: " + said);
			n++;
		}
		const flow = [...document.querySelectorAll("[tabindex]")].filter(e => e.tabIndex > 0);
		for (const e of flow) out.push("out of order: " + e.outerHTML.slice(0, 90));
		return ["" + n, ...out];
	})()`)
	for _, w := range wrong[1:] {
		b.Errorf("%s: %s", b.path(), w)
	}
	n, err := strconv.Atoi(wrong[0])
	if err != nil {
		b.Fatal(err)
	}
	return n
}
