package browser_test

import (
	"bytes"
	"cmp"
	"flag"
	"image"
	"image/color"
	"image/png"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"

	"chainline/internal/web/gallery"
)

// Every state of every page fits phone and laptop, can be used by everybody, by
// keyboard too, and is quiet; and somebody has typed something wrong into each
// of its forms.
func TestEveryState(t *testing.T) {
	states := gallery.States()
	var mu sync.Mutex
	forms, reached := map[string]seenForm{}, 0
	t.Run("", func(t *testing.T) {
		for half := range 2 { // two tabs: two processors
			t.Run("", func(t *testing.T) {
				t.Parallel()
				b := open(t, states...)
				for i := half; i < len(states); i += 2 {
					b.visit("/gallery/" + states[i].Name)
					b.sound()
					n, here := b.reachable(), b.formsHere()
					mu.Lock()
					reached += n
					for _, f := range here {
						forms[f.Key] = f
					}
					mu.Unlock()
				}
			})
		}
	})
	if reached < 500 || len(forms) < 60 {
		t.Errorf("only %d things were reached and %d forms found: this test showed nothing", reached, len(forms))
	}
	remembered(t, forms)
}

// The pages as they are before anything is there.
func TestEmptyPages(t *testing.T) {
	t.Parallel()
	b := open(t)
	for _, path := range []string{"/", "/riders", "/rigs", "/courses", "/roads", "/events", "/briefs", "/settings", "/together", "/join", "/nothing"} {
		b.visit(path)
		b.fits() // TestEveryState looks at them with axe
	}
}

func TestKeyboardReachesEverySection(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/")
	b.tabTo("Skip to the page")
	b.keys("\r")
	if at := eval[string](b, `document.activeElement.id`); at != "main" {
		t.Errorf("skipping leads to %q, expected main", at)
	}
	b.visit("/")
	for _, name := range []string{"Riders", "Rigs", "Courses", "Roads", "Events", "Briefs", "Settings"} {
		b.tabTo(name)
		b.enter()
		if got := eval[string](b, `document.querySelector("nav [aria-current=page]").innerText`); got != name {
			t.Errorf("%s leads to %s", name, got)
		}
	}
}

func TestThemeStays(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.theme("light")
	b.visit("/riders")
	light := eval[string](b, `getComputedStyle(document.documentElement).backgroundColor`)
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Evaluate[chromedp.Void](`(() => { const s = document.getElementById("theme"); s.value = "dark"; s.dispatchEvent(new Event("change")); })()`)); err != nil {
		t.Fatal(err)
	}
	if b.path() != "/riders" {
		t.Errorf("the switch led to %s, expected to stay", b.path())
	}
	if dark := eval[string](b, `getComputedStyle(document.documentElement).backgroundColor`); dark == light {
		t.Errorf("the paper is %s in both themes", dark)
	}
	b.visit("/settings")
	if got := eval[string](b, `document.documentElement.dataset.theme`); got != "dark" {
		t.Errorf("the next page is %q, expected dark", got)
	}
}

func TestMistypedPassphraseIsSaidBesideTheField(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/settings")
	b.fill("passphrase", "short")
	b.press("Keep passphrase")
	b.says("Expected 12 to 200 characters.")
	if !eval[bool](b, `document.getElementById("f-passphrase").getAttribute("aria-describedby").includes("f-passphrase-error")`) {
		t.Error("the error does not belong to its field")
	}
	b.fill("passphrase", "four words in a row")
	b.press("Keep passphrase")
	b.says("The passphrase is kept.")
}

func TestDroppedFileIsSent(t *testing.T) {
	t.Parallel()
	b := open(t, gallery.States()...)
	b.visit("/gallery/every-field")
	_, err := chromedp.RunResponse(b.ctx, chromedp.Evaluate[chromedp.Void](`(() => {
		const data = new DataTransfer();
		data.items.add(new File(["twelve bytes"], "way.gpx"));
		document.querySelector("form[data-drop]").dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
	})()`))
	if err != nil {
		t.Fatal(err)
	}
	b.says("way.gpx has 12 bytes")
}

func TestChosenFileIsSent(t *testing.T) {
	t.Parallel()
	b := open(t, gallery.States()...)
	b.visit("/gallery/every-field")
	b.upload("file", "way.gpx", "twelve bytes")
	b.press("Send")
	b.says("way.gpx has 12 bytes")
}

// The answer moves while one types; what one types into stays as it is.
func TestLiveForm(t *testing.T) {
	t.Parallel()
	b := open(t, gallery.States()...)
	b.visit("/gallery/every-field")
	b.fill("degrees", "21")
	b.says("/gallery/every-field?degrees=21")
	if at := eval[string](b, `document.activeElement.name + "=" + document.activeElement.value`); at != "degrees=21" {
		t.Errorf("the focus is on %q, expected on the field with what was typed", at)
	}
	if b.path() != "/gallery/every-field?degrees=21" {
		t.Errorf("the address is %s: a bookmark would forget what was typed", b.path())
	}
}

// A harness that hears nothing would find every page innocent.
func TestHarnessHears(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.visit("/riders")
	b.do(chromedp.Evaluate[chromedp.Void](`console.error("on purpose"); const s = document.createElement("style"); s.textContent = "body{margin:9px}"; document.head.append(s); fetch("http://localhost:9/").catch(() => {}); undefined`))
	b.do(chromedp.Evaluate[chromedp.Void](`const i = new Image(); i.alt = "x"; i.src = "/assets/none.png"; document.body.append(i); undefined`))
	if _, err := chromedp.Run(b.ctx, chromedp.Poll[bool](`document.images[0].complete`)); err != nil {
		t.Fatal(err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	all := strings.Join(b.problems, "\n")
	for _, what := range []string{"on purpose", "style", "connect", "none.png"} {
		if !strings.Contains(strings.ToLower(all), what) {
			t.Errorf("it did not hear %q:\n%s", what, all)
		}
	}
	b.problems, b.foreign = nil, nil
}

var screens = flag.String("screens", "", "write pictures of every state into this `folder`")

// TestScreens writes what docs/screens shows, if asked to: `make screenshots`.
func TestScreens(t *testing.T) {
	if *screens == "" {
		return
	}
	if err := os.MkdirAll(*screens, 0o755); err != nil {
		t.Fatal(err)
	}
	states := gallery.States()
	b := open(t, states...)
	for _, st := range states {
		for name, width := range map[string]int64{"phone": 390, "laptop": 1280} {
			b.size(width)
			b.theme("light")
			b.visit("/gallery/" + st.Name)
			shot, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if shot, err = palette(shot); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(*screens, st.Name+"-"+name+".png"), shot, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// palette makes a picture smaller: our pages have few colours, and the 256
// most frequent that differ to the eye stand for the rest, so that shades of
// letters' edges do not crowd out the few squares of a key.
func palette(data []byte) ([]byte, error) {
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	count := map[color.RGBA]int{}
	r := img.Bounds()
	at := func(x, y int) color.RGBA { return color.RGBAModel.Convert(img.At(x, y)).(color.RGBA) }
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	colours := slices.Collect(maps.Keys(count))
	slices.SortFunc(colours, func(a, b color.RGBA) int {
		return cmp.Or(count[b]-count[a], int(a.R)-int(b.R), int(a.G)-int(b.G), int(a.B)-int(b.B))
	})
	var p color.Palette
	for _, c := range colours {
		if !slices.ContainsFunc(p, func(k color.Color) bool { return near(k.(color.RGBA), c) }) {
			p = append(p, c)
		}
		if len(p) == 256 {
			break
		}
	}
	out := image.NewPaletted(r, p)
	known := map[color.RGBA]uint8{}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			c := at(x, y)
			i, ok := known[c]
			if !ok {
				i = uint8(p.Index(c))
				known[c] = i
			}
			out.SetColorIndex(x, y, i)
		}
	}
	var b bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, out)
	return b.Bytes(), err
}

// near is whether two colours look the same.
func near(a, b color.RGBA) bool {
	apart := func(x, y uint8) int { return max(int(x), int(y)) - min(int(x), int(y)) }
	return apart(a.R, b.R)+apart(a.G, b.G)+apart(a.B, b.B) <= 9
}
