package browser_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// badCase is a form with answers nobody can mean.
type badCase struct {
	form   string // as in formKey; * is any ID
	path   string // of the page it is on; empty: the page that is open
	button string
	typed  map[string]string // what is typed into the fields of these names
	chosen map[string]string // what is chosen before
	file   string            // "field: filename", of a file that cannot be read
	wrong  []string          // fields that must be said to be wrong; none: the summary says it of the whole
	stays  bool              // the form answers without leaving its page
}

// formKey names a form by its method, its address, and what its hidden fields
// ask for where one address takes several forms.
const formKey = `(f => {
	const wish = f.querySelector("input[type=hidden][name=do], input[type=hidden][name=key]");
	return (f.getAttribute("method") || "get") + " " + new URL(f.getAttribute("action") || location.pathname, location.href).pathname + (wish ? " " + wish.value : "");
})`

// asPattern is a form's key in which * stands for an ID.
func asPattern(key string) string {
	return "^" + strings.ReplaceAll(regexp.QuoteMeta(key), `\*`, `[^/ ]+`) + "$"
}

// theForm is the form of a key on the page, where there are several of them the
// one with a field.
func theForm(key, field string) string {
	return fmt.Sprintf(`(all => all.find(f => !%[2]q || f.elements.namedItem(%[2]q)))([...document.forms].filter(f => new RegExp(%[1]q).test(%[3]s(f))))`, asPattern(key), field, formKey)
}

// answers are all answers of a form as they stand, but for files and secrets.
const answers = `(f => JSON.stringify([...f.elements].filter(e => e.name && !["hidden", "file", "password", "submit", "button"].includes(e.type) && e.tagName !== "BUTTON" && !e.disabled)
	.map(e => e.name + (e.type === "radio" || e.type === "checkbox" ? " " + e.value + ": " + e.checked : ": " + e.value))))`

// into puts text into a field of a form as typing would, in the place of what
// is there. Chromium sends nobody's text into a date: that is set.
func (b *tab) into(form, name, text string) {
	b.Helper()
	state := eval[string](b, fmt.Sprintf(`(() => {
		const f = %s, e = f && f.elements.namedItem(%q);
		if (!e) return "none of " + (f ? [...f.elements].map(e => e.name).join(" ") : [...document.forms].map(%s).join(", "));
		if (["date", "time"].includes(e.type)) {
			e.value = %[4]q;
			for (const kind of ["input", "change"]) e.dispatchEvent(new Event(kind, {bubbles: true}));
			return "set";
		}
		e.focus();
		if (document.activeElement !== e) return "no focus";
		e.select();
		return e.value ? "full" : "empty";
	})()`, form, name, formKey, text))
	switch state {
	case "full":
		b.keys(kb.Backspace)
	case "empty":
	case "set":
		return
	default:
		b.Fatalf("%s: cannot type into %s: %s", b.path(), name, state)
	}
	b.do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, input.InsertText, input.InsertTextParams{Text: text})
		return err
	}))
}

// refuses fills a form with what is wrong, sends it with the return key on its
// button, and looks at the answer: each fault is said beside its field and
// reached from the summary, and every other answer stands as it stood.
func (b *tab) refuses(c badCase) {
	b.Helper()
	if c.path != "" {
		b.visit(c.path)
	}
	eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true) || true`)
	for name, value := range c.chosen {
		b.choose(name, value)
	}
	field, filename, _ := strings.Cut(c.file, ": ")
	some := field
	for name := range c.typed {
		some = name
	}
	form := theForm(c.form, some)
	for name, text := range c.typed {
		b.into(form, name, text)
	}
	if field != "" {
		b.upload(field, filename, "nothing that could be read\x00")
	}
	was := eval[string](b, fmt.Sprintf(`(() => {
		const f = %s;
		if (!f) return "no such form but " + [...document.forms].map(%s).join(", ");
		const button = [...document.querySelectorAll("button")].find(e => e.form === f && e.innerText.trim().startsWith(%q));
		if (!button) return "no such button";
		const was = %s(f);
		button.focus();
		return document.activeElement === button ? was : "the button takes no focus";
	})()`, form, formKey, c.button, answers))
	if !strings.HasPrefix(was, "[") {
		b.Fatalf("%s at %s: %s", c.form, b.path(), was)
	}
	if c.stays {
		b.keys("\r")
		for _, name := range c.wrong { // an answer to what was typed first may come before
			b.until("the fault to be said", fmt.Sprintf(`document.querySelector('main [name=%q][aria-invalid=true]')`, name), 10*time.Second)
		}
	} else {
		b.enter()
		b.until("the fault in "+c.form+" to be said", `document.querySelector("main .wrong[role=alert]")`, 5*time.Second)
	}
	b.standing(c, form, was)
}

// standing looks at a form that was refused.
func (b *tab) standing(c badCase, form, was string) {
	b.Helper()
	for _, name := range c.wrong {
		typed := c.typed[name]
		b.amiss(name, typed)
	}
	if len(c.wrong) == 0 && !eval[bool](b, `document.querySelector("main .wrong[role=alert] li").innerText.length > 10`) {
		b.Errorf("%s: the summary says nothing", c.form)
	}
	now := eval[string](b, fmt.Sprintf(`(f => f ? %s(f) : "the form is gone")(%s)`, answers, form))
	var before, after []string
	if json.Unmarshal([]byte(was), &before) != nil || json.Unmarshal([]byte(now), &after) != nil {
		b.Fatalf("%s: %s, then %s", c.form, was, now)
	}
	kept := map[string]bool{}
	for _, a := range after {
		kept[a] = true
	}
	for _, a := range before {
		if !kept[a] && !strings.HasSuffix(a, ": ") { // a row that was left empty may go
			b.Errorf("%s: %q does not stand any more but %q", c.form, a, after)
		}
	}
}

// amiss checks an answer that was refused: said beside the field, to a screen
// reader too, and led to: by the summary or, by the focus.
func (b *tab) amiss(name, typed string) {
	b.Helper()
	found := eval[string](b, fmt.Sprintf(`(() => {
		const all = [...document.getElementsByName(%q)], e = all.find(e => e.getAttribute("aria-invalid") === "true") || all[0];
		if (!e) return "there is no such field";
		const box = e.type === "radio" ? e.closest("fieldset") : e;
		if (e.type !== "radio" && e.getAttribute("aria-invalid") !== "true") return "it is not marked as wrong";
		const says = (box.getAttribute("aria-describedby") || "").split(" ").map(id => document.getElementById(id)).filter(x => x && x.className.includes("error"));
		if (!says.length || says[0].innerText.trim().length < 10) return "nothing beside it says why";
		if (!says[0].getClientRects().length) return "what is wrong cannot be seen";
		const summary = document.querySelector("main .wrong[role=alert] a[href='#" + box.id + "']");
		if (!summary && document.activeElement !== e) return "neither the summary nor the focus leads to it";
		if (%[2]q && !["file", "radio", "password"].includes(e.type) && e.value !== %[2]q) return "what was typed is lost: " + e.value;
		return "";
	})()`, name, typed))
	if found != "" {
		b.Errorf("%s, field %s: %s", b.path(), name, found)
	}
}

// seenForm is a form of a page of the gallery.
type seenForm struct {
	Key    string
	Typed  []string // names of its fields that one types or drops a file into
	Chosen []string // names of those that one chooses
}

// formsHere are the forms of this page.
func (b *tab) formsHere() []seenForm {
	b.Helper()
	var out []seenForm
	text := eval[string](b, fmt.Sprintf(`JSON.stringify([...document.forms].map(f => {
		const all = [...f.elements].filter(e => e.name && e.tagName !== "BUTTON" && e.type !== "hidden");
		const choice = e => e.tagName === "SELECT" || ["radio", "checkbox"].includes(e.type);
		const names = l => [...new Set(l.map(e => e.name))];
		return {Key: %s(f), Typed: names(all.filter(e => !choice(e))), Chosen: names(all.filter(choice))};
	}))`, formKey))
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		b.Fatal(err)
	}
	return out
}

// nothingWrong are forms in which every answer is all right: one chooses among
// what there is, or gives a name, which may be anything.
var nothingWrong = map[string]string{
	"get /":                        "whose next ride",
	"get /courses":                 "for whom, how long, how hard",
	"get /rides":                   "whose rides",
	"get /rigs/new":                "what can be seen of a rig; it answers while one chooses",
	"get /rides/*/share":           "what is left out",
	"get /ride/*":                  "which sensor is missing",
	"post /settings/theme":         "light or dark",
	"post /settings/units":         "kilometres or miles",
	"post /riders/*/health":        "yes, no, or not known",
	"post /riders/*/first-rides":   "one button",
	"post /rides/*/whose":          "rider, rig, course and brief",
	"post /rides/*/harder":         "one of three",
	"post /events/*/ready":         "the course of the briefs",
	"post /events/*/fields/*":      "rig, course and road",
	"post /together":               "a course, riders and a name",
	"post /together/*/ride":        "rider, rig, devices",
	"post /join/*/ride":            "rider, rig, devices",
	"post /together/*/do strength": "how much shelter",
	"post /together/*/do open":     "one of this machine's addresses",
	"get /gallery/every-field":     "of the gallery itself",
	"post /gallery/upload":         "of the gallery itself",
	"post /":                       "of the gallery itself",
}

// unpictured are forms that no state of the gallery shows.
var unpictured = []string{
	"/logout", // one button, on every page once a passphrase is kept
}

var formTag = regexp.MustCompile(`<form[^>]*\saction="([^"]*)"`)

// remembered fails the test for a form that nobody has typed anything wrong
// into.
func remembered(t *testing.T, seen map[string]seenForm) {
	t.Helper()
	covered := map[string]bool{}
	for _, c := range slices.Concat(badInClub, badLive, badLogin, badInRaces) {
		covered[c.form] = true
	}
	is := func(key, pattern string) bool { return regexp.MustCompile(asPattern(pattern)).MatchString(key) }
	for key, f := range seen {
		known := len(f.Typed)+len(f.Chosen) == 0 // buttons
		for pattern := range covered {
			known = known || is(key, pattern)
		}
		for pattern := range nothingWrong {
			known = known || is(key, pattern)
		}
		if !known {
			t.Errorf("no test types anything wrong into the form %q (%q, %q): add it to badInClub, badLive or badInRaces, or to nothingWrong", key, f.Typed, f.Chosen)
		}
	}
	pages, err := filepath.Glob("../web/templates/*.html")
	parts, err2 := filepath.Glob("../web/templates/parts/*.html")
	if err != nil || err2 != nil || len(pages) == 0 {
		t.Fatal(err, err2, len(pages))
	}
	for _, page := range append(pages, parts...) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range formTag.FindAllStringSubmatch(string(text), -1) {
			address := regexp.MustCompile(`\{\{[^}]*\}\}`).ReplaceAllString(m[1], "\x00")
			if strings.Trim(address, "\x00/") == "" {
				continue // it is whatever the program says
			}
			pattern := regexp.MustCompile(`^\w+ ` + strings.ReplaceAll(regexp.QuoteMeta(address), "\x00", "[^ ]+") + `( .*)?$`)
			found := false
			for key := range seen {
				found = found || pattern.MatchString(key)
			}
			for _, x := range unpictured {
				found = found || x == address
			}
			if !found {
				t.Errorf("%s: no state of the gallery shows its form %s", page, m[0])
			}
		}
	}
}
