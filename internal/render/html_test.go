package render

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"chainline/brief"
)

var outFolder = flag.String("render.out", "", "folder to write the pages and texts to, for looking at them")

func htmlOf(t *testing.T, b brief.Brief) string {
	t.Helper()
	var s bytes.Buffer
	if err := HTML(&s, b); err != nil {
		t.Fatal(err)
	}
	if *outFolder != "" {
		name := strings.ReplaceAll(strings.TrimPrefix(t.Name(), "TestPages/"), "/", "-")
		if err := os.WriteFile(filepath.Join(*outFolder, name+".html"), s.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return fontData.ReplaceAllString(s.String(), "")
}

// fontData may hold any letters; the tests look at what surrounds it.
var fontData = regexp.MustCompile(`base64,[A-Za-z0-9+/=]+`)

// element is one start tag with what stands in it.
type element struct {
	name  string
	attrs map[string]string
	text  string
}

// elements reads a page as XML: the template writes every tag closed, so that
// a page which does not nest is caught here.
func elements(t *testing.T, page string) []element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Entity = xml.HTMLEntity
	var out []element
	var open []int
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		switch v := token.(type) {
		case xml.StartElement:
			e := element{name: v.Name.Local, attrs: map[string]string{}}
			for _, a := range v.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			open = append(open, len(out))
			out = append(out, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			for _, i := range open {
				out[i].text += string(v)
			}
		}
	}
}

var address = regexp.MustCompile(`(?i)https?:|//[a-z0-9]|url\(([^d]|d[^a])|@import|javascript:`)

func TestPages(t *testing.T) {
	allowed := map[string]bool{}
	for _, n := range strings.Fields(`html head meta title style body header div h1 p main section h2 svg desc path text rect span
		table thead tbody tr th td small b sup ul ol li strong footer time`) {
		allowed[n] = true
	}
	for name, b := range everyBrief() {
		t.Run(name, func(t *testing.T) {
			page := htmlOf(t, b)
			if found := address.FindString(page); found != "" {
				t.Errorf("the page reaches out: %q", found)
			}
			csp, roles := false, 0
			for _, e := range elements(t, page) {
				if !allowed[e.name] {
					t.Errorf("unexpected element %s", e.name)
				}
				for a, v := range e.attrs {
					if strings.HasPrefix(a, "on") || a == "src" || a == "href" {
						t.Errorf("attribute %s on %s", a, e.name)
					}
					if strings.Contains(v, "NaN") || strings.Contains(v, "Inf") {
						t.Errorf("%s has %s=%q", e.name, a, v)
					}
				}
				csp = csp || e.attrs["http-equiv"] == "Content-Security-Policy" && strings.Contains(e.attrs["content"], "default-src 'none'")
				if e.name == "svg" && e.attrs["aria-hidden"] == "" {
					roles++
					if e.attrs["role"] != "img" || e.attrs["aria-label"] == "" {
						t.Errorf("a picture without words: %v", e.attrs)
					}
				}
			}
			if !csp {
				t.Error("no content security policy")
			}
			if roles < 2 {
				t.Errorf("%d pictures, want the wide and the phone strip at least", roles)
			}
		})
	}
}

func TestHostileNamesAreEscaped(t *testing.T) {
	page := htmlOf(t, hostile())
	if strings.Contains(page, "<script") {
		t.Error("a name became an element")
	}
	if !strings.Contains(page, "&lt;script&gt;") {
		t.Error("the name is not shown")
	}
	if strings.Contains(textOf(t, hostile(), TextOptions{}), "\x1b") {
		t.Error("a name can move the cursor")
	}
}

// find is the text of the first element with a class.
func find(t *testing.T, page, class string) string {
	t.Helper()
	for _, e := range elements(t, page) {
		if strings.Contains(" "+e.attrs["class"]+" ", " "+class+" ") {
			return strings.ReplaceAll(e.text, nb, " ")
		}
	}
	t.Fatalf("no element with class %s", class)
	return ""
}

func TestRacerPageSays(t *testing.T) {
	page := htmlOf(t, racer())
	heroes := find(t, page, "heroes")
	for _, want := range []string{"Finish if you rode it alone", "21:52", "four times out of five between 21:20 and 22:31",
		"22:41", "at 252 W", "gains 49 s", "1 in 9", "on cue 7", "6 s", "These nine cues cost"} {
		if !strings.Contains(heroes, want) {
			t.Errorf("the numbers do not say %q: %s", want, heroes)
		}
	}
	cues := find(t, page, "cues")
	for _, want := range []string{"Over the top, keep rolling", "305", "158–170", "16:29", "24 %", "firm"} {
		if !strings.Contains(cues, want) {
			t.Errorf("the cues do not say %q", want)
		}
	}
	plainText := strings.ReplaceAll(page, nb, " ")
	for _, want := range []string{"5 W more all the way: 9 s faster.", "0.01 m² less drag area: 6 s faster.",
		"If the mass you typed is wrong by 1 kg: 7 s.", "as much as a steady 268 W, 115 % of your threshold: a load of 0.48 threshold-hours.", "231–249", "14 firm, short sentences only", `180 s maximal test, 330 W, <time datetime="2026-10-02">2 October 2026</time>`,
		`Ines Calder, <time datetime="2026-12-03T19:30">Thursday 3 December 2026, 19:30</time> (Europe/Dublin)`, `Made <time datetime="2026-12-02">2 December 2026</time>`} {
		if !strings.Contains(plainText, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

func TestCuesSpeakTheRigsLanguage(t *testing.T) {
	cues := find(t, htmlOf(t, plain()), "cues")
	if !strings.Contains(cues, "wheel km/h") || !strings.Contains(cues, "33.8 ± 0.7") || strings.Contains(cues, "watts") {
		t.Errorf("a plain trainer is not told wheel speeds: %s", cues)
	}
	b := plain()
	b.Rig.Speaks = "feel"
	if head := find(t, htmlOf(t, b), "cues"); !strings.Contains(head, "wheel km/h") ||
		!strings.Contains(head, "33.8 ± 0.7") || strings.Contains(head, "watts") {
		t.Errorf("a rig that speaks feel is not told effort: %s", head)
	}
	if !strings.Contains(find(t, htmlOf(t, plain()), "flag"), "More than this trainer can hold") {
		t.Error("what the rig cannot do is not told")
	}
}

func TestSketchPage(t *testing.T) {
	page := htmlOf(t, newcomer())
	rules := find(t, page, "rules")
	for _, want := range []string{"over 5 %", "under −2 %", "32 ± 2", "41 %"} {
		if !strings.Contains(rules, want) {
			t.Errorf("the rules do not say %q: %s", want, rules)
		}
	}
	if strings.Contains(page, `class="cues"`) {
		t.Error("a sketch has cues")
	}
	if !strings.Contains(page, "rulespicture") {
		t.Error("effort by gradient is not drawn")
	}
}

func TestLeftBarFollowsItsNumber(t *testing.T) {
	var widths []string
	for _, e := range elements(t, htmlOf(t, racer())) {
		if e.attrs["class"] == "have" {
			widths = append(widths, e.attrs["width"])
		}
	}
	if len(widths) != 9 || widths[0] != "55.8" || widths[8] != "6" {
		t.Errorf("bars are %v, want 93 %% and 10 %% of 60 first and last", widths)
	}
}
