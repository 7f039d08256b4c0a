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

// Barlow Semi Condensed, SIL Open Font License 1.1: font/LICENSE; font/build
// says how they were made.
var (
	//go:embed font/barlow-semi-condensed-latin-300-normal.woff
	fontLight []byte
	//go:embed font/barlow-semi-condensed-latin-400-normal.woff
	fontRegular []byte
	//go:embed font/barlow-semi-condensed-latin-600-normal.woff
	fontSemibold []byte
)

// page is what the template sets.
type page struct {
	sheet
	Style                                  template.CSS
	Density                                string
	Wide, Phone, RulesPicture, WarmPicture template.HTML
	Many                                   bool // paper has the cues in two columns
	Left, Right                            []string
	Dropped                                []string // what paper leaves out; the screen shows it
	DropNote                               string
	EvidenceShown                          []string
	EvidenceMore                           string
}

// column is the blocks of one column of a page.
type pageColumn struct {
	Page  *page
	Names []string
}

// InLeft and InRight hand the template its columns.
func (p *page) InLeft() pageColumn  { return pageColumn{p, p.Left} }
func (p *page) InRight() pageColumn { return pageColumn{p, p.Right} }

var pageParsed = template.Must(template.New("page").Funcs(template.FuncMap{
	"interval": func(r rest) template.HTML { return template.HTML(intervalSVG(r)) },
	"nb":       func() string { return nb },
	"bar": func(share float64) template.HTMLAttr {
		return template.HTMLAttr(fmt.Sprintf(`width="%s"`, at(60*share)))
	},
}).Parse(pageTemplate))

// shownEvidence is how many lines of evidence the page lists.
const shownEvidence = 4

// HTML writes the brief as one self-contained page: no script, no request to
// anywhere, light and dark, and one sheet of A4 for up to 30 cues (fit.go says
// what paper leaves out first). An error comes from the writer only.
func HTML(w io.Writer, b brief.Brief) error {
	p := page{sheet: newSheet(b)}
	p.Style = template.CSS(styleSheet())
	p.Wide = template.HTML(NewStrip(b, Wide).SVG("strip wide"))
	p.Phone = template.HTML(NewStrip(b, Phone).SVG("strip phone"))
	if w, ok := NewWarmUp(b); ok {
		p.WarmPicture = template.HTML(w.SVG("warmuppicture"))
	}
	p.RulesPicture = template.HTML(rulesSVG(b, "rulespicture"))
	p.EvidenceShown, p.EvidenceMore = p.Evidence, ""
	if n := len(p.Evidence) - shownEvidence; n > 0 {
		p.EvidenceShown, p.EvidenceMore = p.Evidence[:shownEvidence], "and "+plural(n, "more line")+" of evidence."
	}
	p.fit()
	var out strings.Builder
	if err := pageParsed.Execute(&out, &p); err != nil {
		return err
	}
	_, err := io.WriteString(w, printable(out.String()))
	return err
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

// WhoLine, MadeLine, WarmLine and the i-th EvidenceLine are lines of the sheet
// with their dates marked.
func (p *page) WhoLine() template.HTML  { return dated(p.Who, p.On, momentWords(p.On)) }
func (p *page) MadeLine() template.HTML { return dated(p.Made, p.MadeOn, dateWords(p.MadeOn)) }
func (p *page) WarmLine() template.HTML { return dated(p.WarmHead, clockISO(p.WarmFrom), p.WarmFrom) }
func (p *page) EvidenceLine(i int) template.HTML {
	return dated(p.EvidenceShown[i], p.EvidenceOn[i], dateWords(p.EvidenceOn[i]))
}

// Time is when to do it.
func (d doing) Time() template.HTML {
	if !d.clocked {
		return dated(d.When, "", "")
	}
	return dated(d.When, clockISO(d.When), d.When)
}

// styleSheet is the page's style with its fonts and both sets of colours. On
// paper it is always ink on white.
func styleSheet() string {
	var s strings.Builder
	for _, f := range []struct {
		weight int
		data   []byte
	}{{300, fontLight}, {400, fontRegular}, {600, fontSemibold}} {
		fmt.Fprintf(&s, "@font-face{font-family:Brief;font-weight:%d;src:url(data:font/woff;base64,%s) format('woff')}\n",
			f.weight, base64.StdEncoding.EncodeToString(f.data))
	}
	fmt.Fprintf(&s, ":root{%s}\n@media screen and (prefers-color-scheme:dark){:root{%s}}\n@media print{:root{--paper:#fff}}\n",
		variables(false), variables(true))
	s.WriteString(pageStyle)
	return s.String()
}
