package assets

import (
	"strings"

	"chainline/internal/render"
)

// sheetStyle is the brief's style sheet for a brief inside a page of the app:
// every rule counts below .sheet alone. On a screen colours, type scale and
// paper are the app's; printed it is the same sheet as the brief's own page.
func sheetStyle() string {
	screen, print, _ := strings.Cut(render.PageStyle(), "@page")
	margins, print, _ := strings.Cut(print, "}")
	return below(screen, "") + "@page brief" + margins + "}\n" + below(print, ".app .sheet")
}

// below scopes every rule to what is inside .sheet; root is what stands for
// the page itself, nothing where the app's own rules hold.
func below(style, root string) string {
	var out strings.Builder
	for style = strings.TrimSpace(style); style != ""; style = strings.TrimSpace(style) {
		if style[0] == '}' { // of a @media
			out.WriteString("}\n")
			style = style[1:]
			continue
		}
		before, rest, ok := strings.Cut(style, "{")
		if !ok {
			break
		}
		before = strings.TrimSpace(before)
		if strings.HasPrefix(before, "@media") {
			out.WriteString(before + "{\n")
			style = rest
			continue
		}
		body, after, _ := strings.Cut(rest, "}")
		style = after
		var kept []string
		for _, selector := range strings.Split(before, ",") {
			switch selector = strings.TrimSpace(selector); selector {
			case "*", ":root", "html", "body":
				if root != "" {
					kept = append(kept, root)
				}
			default:
				kept = append(kept, ".app .sheet "+selector)
			}
		}
		if len(kept) > 0 {
			out.WriteString(strings.Join(kept, ",") + "{" + body + "}\n")
		}
	}
	return out.String()
}
