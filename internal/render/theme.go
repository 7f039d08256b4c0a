package render

import "strings"

// Font is one weight of the typeface of every page: Barlow Semi Condensed,
// SIL Open Font License 1.1 (font/LICENSE).
type Font struct {
	Weight int // of CSS: 300, 400, 600
	WOFF   []byte
}

// Family is the typeface's name in our style sheets, with what stands in for
// it while or where it cannot be shown.
const Family = `Brief,"Barlow Semi Condensed","Arial Narrow",Arial,sans-serif`

// Fonts are the weights of the typeface. Callers must not change the bytes.
func Fonts() []Font {
	return []Font{{300, fontLight}, {400, fontRegular}, {600, fontSemibold}}
}

// Tokens are the colours of the pages as CSS custom properties
// (--paper:#fbfaf6;…), for light or dark paper.
func Tokens(dark bool) string { return variables(dark) }

// TypeScale is the one type scale of all pages as CSS custom properties, for
// a wide screen and for a phone. It is read from the brief's style sheet, so
// that app and brief cannot drift apart.
func TypeScale() (wide, phone string) {
	return scaleAfter(pageStyle), scaleAfter(afterText(pageStyle, "@media screen and (max-width:640px)"))
}

// PageStyle is the brief's style sheet without fonts and colours, for the
// pages of the app that show a brief.
func PageStyle() string { return pageStyle }

func afterText(s, mark string) string {
	_, rest, ok := strings.Cut(s, mark)
	if !ok {
		panic("render: page.css has no " + mark)
	}
	return rest
}

func scaleAfter(s string) string {
	scale, _, ok := strings.Cut(afterText(s, ":root{"), "}")
	if !ok || !strings.HasPrefix(scale, "--s0:") {
		panic("render: page.css: expected the type scale in its first :root rule")
	}
	return scale
}
