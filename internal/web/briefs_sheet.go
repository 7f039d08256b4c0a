package web

import (
	"encoding/xml"
	"errors"
	"html"
	"html/template"
	"io"
	"regexp"
	"strings"
)

// A kept page may have come in an archive from elsewhere, so it is not put
// into a page of ours as it is: only elements and attributes that a brief has
// get through, and nothing that could lead anywhere or send anything.
var (
	sheetElements = words("header main section footer div h2 h3 p ul ol li table thead tbody tr th td small strong b em sup sub span time " +
		"svg g path rect circle ellipse line polyline polygon text tspan defs clipPath title desc")
	sheetAttributes = words("class datetime scope colspan rowspan role aria-label aria-hidden width height viewBox preserveAspectRatio d x y x1 y1 x2 y2 cx cy r rx ry " +
		"dx dy points transform fill stroke stroke-width stroke-dasharray stroke-linecap stroke-linejoin opacity fill-opacity text-anchor dominant-baseline")
	sheetMoment = regexp.MustCompile(`^[0-9T:\-]*$`)
	sheetValue  = regexp.MustCompile(`^[A-Za-z0-9 .,#%()\-+_\n\t]*$`)
)

func words(s string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(s) {
		set[w] = true
	}
	return set
}

var errNoSheet = errors.New("web: this page of a brief cannot be shown inside another")

// BriefSheet is the body of a brief's own page, to be shown inside a page of
// the app below .sheet. Its heading is for paper alone: the page has its own.
func BriefSheet(page []byte) (template.HTML, error) {
	_, body, ok := strings.Cut(string(page), "<body")
	body, _, closed := strings.Cut(body, "</body>")
	density, body, opened := strings.Cut(body, ">")
	if !ok || !closed || !opened {
		return "", errNoSheet
	}
	d := xml.NewDecoder(strings.NewReader("<body>" + body + "</body>"))
	d.Entity = xml.HTMLEntity
	var out strings.Builder
	out.WriteString("<div" + sheetDensity(density) + ">")
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return "", errNoSheet
		}
		switch t := token.(type) {
		case xml.StartElement:
			switch name := t.Name.Local; {
			case name == "body":
			case name == "h1":
				out.WriteString(`<p class="paperhead">`)
			case sheetElements[name]:
				out.WriteString("<" + sheetName(name) + sheetAttrs(t.Attr) + ">")
			default:
				if d.Skip() != nil {
					return "", errNoSheet
				}
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "body":
			case "h1":
				out.WriteString("</p>")
			default:
				out.WriteString("</" + sheetName(t.Name.Local) + ">")
			}
		case xml.CharData:
			out.WriteString(html.EscapeString(string(t)))
		}
	}
	return template.HTML(out.String() + "</div>"), nil
}

var sheetBody = regexp.MustCompile(`class="([a-z -]*)"`)

// sheetDensity is how closely paper is set and what it leaves out, from the
// page's body.
func sheetDensity(attributes string) string {
	if m := sheetBody.FindStringSubmatch(attributes); m != nil {
		return ` class="` + m[1] + `"`
	}
	return ""
}

// sheetName keeps the one <main> of a page the page's.
func sheetName(name string) string {
	if name == "main" {
		return "div"
	}
	return name
}

func sheetAttrs(all []xml.Attr) string {
	var out strings.Builder
	for _, a := range all {
		name, value := a.Name.Local, sheetValue
		if name == "datetime" {
			value = sheetMoment
		}
		if a.Name.Space != "" || !sheetAttributes[name] {
			continue
		}
		if name != "aria-label" && (!value.MatchString(a.Value) || strings.Contains(a.Value, "url(")) {
			continue
		}
		out.WriteString(" " + name + `="` + html.EscapeString(a.Value) + `"`)
	}
	return out.String()
}
