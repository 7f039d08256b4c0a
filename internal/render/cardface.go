package render

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
	"unicode/utf8"

	"chainline/brief"
)

//go:embed card.html.tmpl
var cardTemplate string

//go:embed card.css
var cardStyle string

var cardParsed = template.Must(template.New("card").Parse(cardTemplate))

// cardPage is what the card's template sets.
type cardPage struct {
	Title, Spine string
	Style        template.CSS
	Lines        []cardLine
	Long         bool // a figure needs smaller letters
}

// Card writes the bar card as one self-contained page: 80 × 50 mm when
// printed, and as large as the screen of a phone. At most seven lines; card.go
// says what gives way first. An error comes from the writer only.
func Card(w io.Writer, b brief.Brief) error {
	return writeCard(w, cardTitle(b), cardLines(b))
}

// CardLine is one line of a card that is made elsewhere: where, what to hold,
// its unit, and a few words.
type CardLine struct{ Place, Hold, Unit, Words string }

// LinesCard writes a card of at most seven given lines; more are left out. An
// error comes from the writer only.
func LinesCard(w io.Writer, title string, given []CardLine) error {
	var lines []cardLine
	for _, l := range given[:min(len(given), cardMost)] {
		lines = append(lines, cardLine{Place: l.Place, Hold: l.Hold, Unit: l.Unit, Words: l.Words, First: -1, Last: -1})
	}
	return writeCard(w, title, lines)
}

func writeCard(w io.Writer, title string, lines []cardLine) error {
	p := cardPage{Title: title, Lines: lines}
	p.Spine = cut(clean(p.Title), 44)
	for i := range p.Lines {
		l := &p.Lines[i]
		l.Words = cut(clean(l.Words), 40)
		p.Long = p.Long || utf8.RuneCountInString(l.Hold) > 5
	}
	var s strings.Builder
	for _, f := range []struct {
		weight int
		data   []byte
	}{{400, fontRegular}, {600, fontSemibold}} {
		fmt.Fprintf(&s, "@font-face{font-family:Brief;font-weight:%d;src:url(data:font/woff;base64,%s) format('woff')}\n",
			f.weight, base64.StdEncoding.EncodeToString(f.data))
	}
	fmt.Fprintf(&s, ":root{%s}\n@media screen and (prefers-color-scheme:dark){:root{%s}}\n@media print{:root{--paper:#fff}}\n", variables(false), variables(true))
	p.Style = template.CSS(s.String() + cardStyle)
	var out strings.Builder
	if err := cardParsed.Execute(&out, p); err != nil {
		return err
	}
	_, err := io.WriteString(w, printable(out.String()))
	return err
}

func cardTitle(b brief.Brief) string {
	title := b.Title
	if title == "" {
		title = b.Course.Name
	}
	if title == "" {
		title = "Bar card"
	}
	likely := ""
	if f := b.Forecast; f.Draws > 0 && len(b.Plan.Cues) > 1 {
		_, median, _ := forecastClock(f.Low80, f.Median, f.High80)
		likely = "likely " + median
	}
	return join([]string{title, likely}, ", ")
}

// cardColumns is the widest line of the card in a terminal.
const cardColumns = 40

// CardText writes the bar card for a terminal: at most seven lines of at most
// 40 characters. An error comes from the writer only.
func CardText(w io.Writer, b brief.Brief) error {
	lines := cardLines(b)
	place, hold := 0, 0
	for _, l := range lines {
		place = max(place, utf8.RuneCountInString(clean(l.Place)))
		if l.Unit != "" {
			hold = max(hold, utf8.RuneCountInString(clean(cardHold(l))))
		}
	}
	place, hold = min(place, 14)+1, min(hold, 13)+1
	var out strings.Builder
	if len(lines) < cardMost {
		out.WriteString(cut(clean(cardTitle(b)), cardColumns) + "\n")
	}
	for _, l := range lines {
		head := ""
		if place > 1 {
			head = padLeft(l.Place, place)
		}
		words := l.Words
		if l.Unit != "" {
			head += padLeft(cardHold(l), hold)
		} else {
			words = join([]string{l.Hold, l.Words}, ", ")
			if short, _, _ := strings.Cut(words, ";"); utf8.RuneCountInString(head+words) > cardColumns {
				words = short
			}
		}
		words = cut(clean(words), cardColumns-utf8.RuneCountInString(head))
		out.WriteString(strings.TrimRight(head+words, " ") + "\n")
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// cardHold is what to hold with its unit.
func cardHold(l cardLine) string {
	if l.Unit == "effort" {
		return join([]string{l.Unit, l.Hold}, " ")
	}
	return join([]string{l.Hold, l.Unit}, " ")
}
