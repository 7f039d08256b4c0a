package render

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"

	"chainline/brief"
)

//go:embed page.html.tmpl
var pageTemplate string

//go:embed page.css
var pageStyle string

// Barlow Semi Condensed, SIL Open Font License 1.1: font/LICENSE.
var (
	//go:embed font/barlow-semi-condensed-latin-300-normal.woff2
	fontLight []byte
	//go:embed font/barlow-semi-condensed-latin-400-normal.woff2
	fontRegular []byte
	//go:embed font/barlow-semi-condensed-latin-600-normal.woff2
	fontSemibold []byte
)

// page is what the template sets.
type page struct {
	sheet
	Style                     template.CSS
	Density                   string
	Wide, Phone, RulesPicture template.HTML
	Many                      bool // more cues than one column of one sheet holds: two columns
	CourseLeft                bool
	EvidenceShown             []string
	EvidenceMore              string
}

var pageParsed = template.Must(template.New("page").Funcs(template.FuncMap{
	"prime":    prime,
	"interval": func(r rest) template.HTML { return template.HTML(intervalSVG(r)) },
	"bar": func(share float64) template.HTMLAttr {
		return template.HTMLAttr(fmt.Sprintf(`width="%s"`, at(60*share)))
	},
}).Parse(pageTemplate))

// columnCues is how many cues stand in one column on paper. Our judgement,
// checked against printed pages.
const columnCues = 32

// shownEvidence is how many lines of evidence the page lists.
const shownEvidence = 4

// HTML writes the brief as one self-contained page: no script, no request to
// anywhere, light and dark, and one sheet of A4 for up to 30 cues. An error
// comes from the writer only.
func HTML(w io.Writer, b brief.Brief) error {
	p := page{sheet: newSheet(b)}
	p.Style = template.CSS(styleSheet())
	p.Wide = template.HTML(NewStrip(b, Wide).SVG("strip wide"))
	p.Phone = template.HTML(NewStrip(b, Phone).SVG("strip phone"))
	p.RulesPicture = template.HTML(rulesSVG(b, "rulespicture"))
	p.EvidenceShown, p.EvidenceMore = p.Evidence, ""
	if n := len(p.Evidence) - shownEvidence; n > 0 {
		p.EvidenceShown, p.EvidenceMore = p.Evidence[:shownEvidence], "and "+plural(n, "more line")+" of evidence."
	}
	p.Many = len(p.Cues) > columnCues
	p.balance()
	var out strings.Builder
	if err := pageParsed.Execute(&out, p); err != nil {
		return err
	}
	_, err := io.WriteString(w, printable(out.String()))
	return err
}

// balance decides where the course goes and how close the printed rows must
// stand for the sheet to stay one page. Both are our judgement, by counting
// lines, checked against printed pages.
func (p *page) balance() {
	wrapped := 0
	chars := func(texts []string, width int) int {
		n := 0
		for _, t := range texts {
			n += 1 + len(t)/width
		}
		return n
	}
	for _, r := range p.Cues {
		if len(r.Name)+len(r.Gear) > 30 {
			wrapped++
		}
	}
	left := wrapped + (3*len(p.Cues)+1)/2 + len(p.Rules) + chars(p.Warnings, 85) + len(p.Notes) + 5
	if len(p.Rules) > 0 {
		left += 8
	}
	right := len(p.Rests) + chars(p.EvidenceShown, 50) + chars([]string{p.Model, p.Next, p.RestsNote}, 50) + 2 + len(p.Changes) + 5
	course := chars(p.Course, 85) + len(p.Climbs) + chars(p.Road, 85) + 3
	p.CourseLeft = max(left+course, right) <= max(left, right+course*3/2) && !p.Many
	if p.CourseLeft {
		left += course
	} else {
		right += course * 3 / 2
	}
	p.Density = "tight dense"
	if p.Many {
		return
	}
	foot := chars([]string{strings.Join(p.Cautions, "  ")}, 150)
	switch n := max(left, right) + max(0, foot-2); {
	case n <= 33:
		p.Density = "roomy"
	case n <= 41:
		p.Density = "snug"
	case n <= 46:
		p.Density = "tight"
	}
}

// printable drops control characters that no page may hold, should a name
// carry some.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f {
			return -1
		}
		return r
	}, s)
}

// prime sets W′ without the wide gap this font leaves after the sign.
func prime(s string) template.HTML {
	return template.HTML(strings.ReplaceAll(template.HTMLEscapeString(s), "W′", `W<span class="prime">′</span>`))
}

// styleSheet is the page's style with its fonts and both sets of colours. On
// paper it is always ink on white.
func styleSheet() string {
	var s strings.Builder
	for _, f := range []struct {
		weight int
		data   []byte
	}{{300, fontLight}, {400, fontRegular}, {600, fontSemibold}} {
		fmt.Fprintf(&s, "@font-face{font-family:Brief;font-weight:%d;src:url(data:font/woff2;base64,%s) format('woff2')}\n",
			f.weight, base64.StdEncoding.EncodeToString(f.data))
	}
	fmt.Fprintf(&s, ":root{%s}\n@media screen and (prefers-color-scheme:dark){:root{%s}}\n@media print{:root{--paper:#fff}}\n",
		variables(false), variables(true))
	s.WriteString(pageStyle)
	return s.String()
}
