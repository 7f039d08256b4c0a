package browser_test

import (
	"context"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"chainline/internal/web/gallery"
)

const ownGPX = "../../demo/harbour-ridge.gpx"

// send tabs to something and presses return on it.
func (b *tab) send(name string) {
	b.Helper()
	b.tabTo(name)
	b.enter()
}

// The whole way from an empty folder to a sheet that can be printed, for an
// own GPX file, with the keyboard alone. Only the choice of the file in the
// system's own window is done for the person.
func TestFirstBriefFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/")
	b.send("Add yourself")
	b.tabTo("What do you weigh?")
	b.keys("10 st 8 lb")
	b.enter()
	b.says("Critical power")
	b.send("Add something you know")
	b.send("The time up a hill you know")
	b.tabTo("How long did it t")
	b.keys("11:10")
	b.tabTo("Length of the hill")
	b.keys("1900")
	b.tabTo("What it rises")
	b.keys("95")
	b.enter()
	b.says("A hill of 1.9 km and 95 m up")
	b.send("Add what you ride on")
	b.send("Go on with this")
	b.tabTo("Name")
	b.keys("Spare room")
	b.enter()
	b.says("Kept: Spare room.")
	b.send("Add a course")
	b.tabTo("GPX or CSV file")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.send("Keep this course")
	b.says("is kept")
	b.send("Make the brief")
	b.send("Make the brief")
	b.says("most likely")
	b.send("The sheet to print")
	b.says("most likely")
}

func own(t *testing.T) string {
	t.Helper()
	at, err := filepath.Abs(ownGPX)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// A GPX file of one's own, dropped onto the page or chosen.
func TestOwnGPX(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(ownGPX)
	if err != nil {
		t.Fatal(err)
	}
	b := open(t)
	b.visit("/courses/new")
	_, err = chromedp.RunResponse(b.ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const bytes = Uint8Array.from(atob(%q), c => c.charCodeAt(0));
		const data = new DataTransfer();
		data.items.add(new File([bytes], "my loop.gpx"));
		document.querySelector("form[data-drop]").dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
	})()`, base64.StdEncoding.EncodeToString(data))))
	if err != nil {
		t.Fatal(err)
	}
	b.says("is kept")
	b.says("24 km")
	b.sound()
	b.visit("/courses/new")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.fill("file_name", "Chosen")
	b.press("Keep this course")
	b.says("Chosen is kept")
	b.visit("/courses/new")
	b.upload("file", "broken.gpx", string(data[:len(data)/2]))
	b.press("Keep this course")
	b.says("needs another look")
	b.amiss("file", "broken.gpx")
}

// With scripts off every form still works, from the empty folder to a brief.
func TestFirstBriefWithoutScript(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	}))
	b.visit("/riders/new")
	b.fill("mass_kg", "70")
	b.press("Keep this rider")
	b.says("Critical power")
	b.visit("/rigs/new")
	b.press("Go on with this")
	b.fill("called", "Spare room")
	b.press("Keep this rig")
	b.visit("/courses/new")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.press("Keep this course")
	b.says("is kept")
	b.visit("/briefs/new")
	b.press("Make the brief")
	b.says("most likely")
}

// First use, timed: with nothing but what anybody knows, and well within three
// minutes of a person's time.
func TestFirstUseAsksForNothingUnknown(t *testing.T) {
	t.Parallel()
	b := open(t)
	began := time.Now()
	asked, steps := 0, 0
	needed := func() {
		b.Helper()
		steps++
		for _, label := range eval[[]string](b, `[...document.querySelectorAll("main input:not([type=hidden]):not([type=radio]):not([type=checkbox]):not([type=file]), main select, main textarea")].filter(e => e.offsetParent).map(e => e.labels && e.labels[0] ? e.labels[0].innerText.trim() : e.name)`) {
			asked++
			_ = label
		}
	}
	b.visit("/")
	b.press("Add yourself")
	needed()
	b.fill("mass_kg", "70")
	b.press("Keep this rider")
	b.visit("/rigs/new")
	needed()
	b.press("Go on with this") // a plain trainer, nothing known
	needed()
	b.fill("called", "Garage")
	b.press("Keep this rig") // everything else is left empty
	b.says("Kept: Garage.")
	b.visit("/courses/new")
	needed()
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{own(t)}))
	b.press("Keep this course")
	b.visit("/briefs/new")
	needed()
	b.press("Make the brief")
	b.says("most likely")
	took := time.Since(began)
	t.Logf("%d pages, %d questions that are typed or chosen, two of them answered; %v", steps, asked, took)
	if took > time.Minute {
		t.Errorf("the program alone took %v of a person's three minutes", took)
	}
}

// amiss checks an answer that was refused: said beside the field, to a screen
// reader too, reached from the summary.
func (b *tab) amiss(name, typed string) {
	b.Helper()
	found := eval[string](b, fmt.Sprintf(`(() => {
		const e = document.getElementsByName(%q)[0];
		if (!e) return "there is no such field";
		const box = e.type === "radio" ? e.closest("fieldset") : e;
		if (e.type !== "radio" && e.getAttribute("aria-invalid") !== "true") return "it is not marked as wrong";
		const says = (box.getAttribute("aria-describedby") || "").split(" ").map(id => document.getElementById(id)).filter(x => x && x.className.includes("error"));
		if (!says.length || says[0].innerText.trim().length < 10) return "nothing beside it says why";
		const summary = document.querySelector("main .wrong[role=alert] a[href='#" + box.id + "']");
		if (!summary) return "the summary does not lead to it";
		if (%q && e.type !== "file" && e.type !== "radio" && e.value !== %[2]q) return "what was typed is lost: " + e.value;
		return "";
	})()`, name, typed))
	if found != "" {
		b.Errorf("%s, field %s: %s", b.path(), name, found)
	}
}

// Every form, with answers nobody can mean.
func TestBadInputInEveryForm(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	for _, f := range []struct {
		path, button string
		typed        map[string]string
		wrong        []string // fields, in the order to be checked
	}{
		{"/riders/new", "Keep this rider", map[string]string{"mass_kg": "heavy"}, []string{"mass_kg"}},
		{"/riders/demo-racer/change", "Keep the answers", map[string]string{"mass_kg": "7000", "birth_year": "soon"}, []string{"mass_kg", "birth_year"}},
		{"/riders/demo-racer/evidence/new?kind=test", "Keep this", map[string]string{"evidence.4.duration_s": "long", "evidence.4.watts": "-3"}, []string{"evidence.4.duration_s", "evidence.4.watts"}},
		{"/riders/demo-racer/evidence/new?kind=hill", "Keep this", map[string]string{"evidence.4.duration_s": "11:10", "evidence.4.length_m": "far"}, []string{"evidence.4.length_m"}},
		{"/riders/demo-racer/evidence/new?kind=threshold", "Keep this", map[string]string{"evidence.4.watts": "99999"}, []string{"evidence.4.watts"}},
		{"/rigs/new/details", "Keep this rig", map[string]string{"called": strings.Repeat("ab", 101), "room.temperature_c": "hot"}, []string{"called", "room.temperature_c"}},
		{"/rigs/demo-racer-rig", "Keep this rig", map[string]string{"room.temperature_c": "600"}, []string{"room.temperature_c"}},
		{"/roads/new", "Keep this road", map[string]string{"name": "", "bike_mass_kg": "none"}, []string{"name", "bike_mass_kg"}},
		{"/roads/demo-road", "Keep this road", map[string]string{"bike_mass_kg": "0.1"}, []string{"bike_mass_kg"}},
		{"/events/new", "Keep this event", map[string]string{"name": "", "laps": "many"}, []string{"name", "laps"}},
		{"/events/demo-hill-race", "Keep this event", map[string]string{"time_zone": "Nowhere/Land", "categories.1.min_w_per_kg": "lots"}, []string{"time_zone", "categories.1.min_w_per_kg"}},
		{"/riders/demo-racer/evidence/1", "Keep this", map[string]string{"evidence.1.date": "last spring"}, []string{"evidence.1.date"}},
		{"/courses/new", "Keep", map[string]string{"distance_km": "short", "ascent_m": "high"}, []string{"distance_km", "ascent_m"}},
		{"/riders/demo-racer/evidence/new?kind=talk", "Keep this", map[string]string{"evidence.4.watts": "easy"}, []string{"evidence.4.watts"}},
		{"/courses/demo-harbour-ridge/edit", "Keep", map[string]string{"name": ""}, []string{"name"}},
		{"/starts/new", "Make the start list", map[string]string{"title": ""}, []string{"title"}},
		{"/riding-together", "Plan it", map[string]string{"hours": "long"}, []string{"hours"}},
		{"/join", "Find the group", map[string]string{"address": "192.0.2.7:7743", "invitation": "qk7f 3zpa"}, []string{"invitation"}},
		{"/courses/demo-reservoir/edit", "Keep", map[string]string{"ascent_m": "lots"}, []string{"ascent_m"}},
	} {
		b.visit(f.path)
		eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true) || true`)
		for name, text := range f.typed {
			if !eval[bool](b, fmt.Sprintf(`!!document.getElementsByName(%q)[0]`, name)) {
				t.Fatalf("%s has no field %s but %s", f.path, name, eval[string](b, `[...document.querySelectorAll("main [name]")].map(e => e.name).join(" ")`))
			}
			b.fill(name, text)
		}
		b.press(f.button)
		if !strings.Contains(b.text(), "another look") {
			t.Errorf("%s: it was taken: %.300s", f.path, b.text())
			continue
		}
		for _, name := range f.wrong {
			b.amiss(name, f.typed[name])
		}
		for name, text := range f.typed {
			if now := eval[string](b, fmt.Sprintf(`document.getElementsByName(%q)[0].value`, name)); now != text {
				t.Errorf("%s: %s was %q and is %q", f.path, name, text, now)
			}
		}
	}
	b.visit("/settings")
	b.upload("archive", "club.zip", "no archive")
	b.press("Add what is in it")
	b.says("another look")
}

// Forms that take files, with files nobody can mean; each says so beside the
// field, and keeps the rest of what was typed.
func TestBadFilesInEveryForm(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.press("Load the invented club")
	for _, f := range []struct {
		path, button, field, file string
		typed                     map[string]string
	}{
		{"/courses/new", "Keep this course", "file", "way.gpx", map[string]string{"file_name": "My way"}},
		{"/settings", "Add what is in it", "archive", "club.zip", nil},
		{"/calendar", "Keep this calendar", "file", "club.ics", nil},
		{"/share/open", "Open it", "file", "ride.zip", nil},
		{"/events/demo-hill-race/results", "Keep the results", "file", "list.csv", nil},
	} {
		b.visit(f.path)
		eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true) || true`)
		for name, text := range f.typed {
			b.fill(name, text)
		}
		b.upload(f.field, f.file, "nothing that could be read\x00")
		b.press(f.button)
		if !strings.Contains(b.text(), "another look") {
			t.Errorf("%s took %s: %.300s", f.path, f.file, b.text())
			continue
		}
		b.amiss(f.field, f.file)
		for name, text := range f.typed {
			if now := eval[string](b, fmt.Sprintf(`document.getElementsByName(%q)[0].value`, name)); now != text {
				t.Errorf("%s: %s was %q and is %q", f.path, name, text, now)
			}
		}
	}
	b.visit("/import")
	b.fill("path", "not/here")
	b.press("Bring them in")
	b.says("There is no such folder")
	if now := eval[string](b, `document.getElementsByName("path")[0].value`); now != "not/here" {
		t.Errorf("the path is %q", now)
	}
	b.sound()
}

// Whatever can be pressed, chosen or typed into on any page can be reached with
// the tab key, in the order of the page, and shows that it has the focus.
func TestKeyboardOnEveryPage(t *testing.T) {
	t.Parallel()
	states := gallery.States()
	b := open(t, states...)
	reached := 0
	for _, st := range states {
		b.visit("/gallery/" + st.Name)
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
		n := 0
		if _, err := fmt.Sscan(wrong[0], &n); err != nil {
			t.Fatal(err)
		}
		reached += n
		for _, w := range wrong[1:] {
			t.Errorf("%s: %s", st.Name, w)
		}
	}
	if reached < 500 {
		t.Errorf("only %d things were reached: this test showed nothing", reached)
	}
}

// What people do most, without a mouse: an event, a road, another weight for a
// brief that is there, and the units.
func TestEverydayFromTheKeyboard(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/events/new")
	b.tabTo("What it is called")
	b.keys("Club night")
	b.enter()
	b.says("Club night is kept.")
	b.visit("/roads/new")
	b.tabTo("Name")
	b.keys("Rough lane")
	b.tabTo("Mass of the bike")
	b.keys("11")
	b.enter()
	b.says("Kept: Rough lane.")
	b.visit("/settings")
	b.tabTo("Kilometres")
	b.keys(kb.ArrowDown)
	b.enter()
	b.says("The units are changed.")
	b.visit("/roads")
	b.says("A bike of 24.3")
}
