package render

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"chainline/brief"
)

// textWidth is the most columns a line of text takes.
const textWidth = 80

// TextOptions change how text is set. Colour allows bold and dim letters
// (ANSI escapes); nothing is said by them alone.
type TextOptions struct{ Colour bool }

// Text writes the brief for a terminal: UTF-8, no line over 80 characters. An
// error comes from the writer only.
func Text(w io.Writer, b brief.Brief, o TextOptions) error {
	t := &terminal{colour: o.Colour}
	s := newSheet(b)
	t.wrap(bold, 0, s.Title)
	t.wrap(normalFace, 0, s.Who)
	t.wrap(dim, 0, join([]string{sentence(s.Rig), sentence(s.Made)}, " "))
	t.line("")
	for _, h := range s.Heroes {
		t.hero(h)
	}
	t.line("")
	t.strip(NewStrip(b, Columns))
	t.wrap(dim, 2, textStripNote(s, b))
	t.head("Ride it like this")
	t.cues(s)
	t.rules(s)
	for _, n := range s.Notes {
		t.wrap(normalFace, 2, n.Mark+"  "+n.Text)
	}
	t.wrap(dim, 2, s.CueNote)
	for _, c := range s.PlanCautions {
		t.wrap(dim, 2, c)
	}
	t.list("Before you trust it", s.Warnings)
	t.warmUp(s)
	t.room(s)
	t.worth(s)
	t.rests(s)
	t.list("What would change it", s.Changes)
	t.paragraph("How it was planned", s.Plan)
	t.paragraph("Course and road", s.Course)
	t.climbs(s)
	t.wrap(normalFace, 2, join(append(append([]string{}, s.Road...), s.Room), " "))
	if len(s.Cautions) > 0 {
		t.line("")
		for _, c := range s.Cautions {
			t.wrap(dim, 0, c)
		}
	}
	_, err := io.WriteString(w, t.String())
	return err
}

func textStripNote(s sheet, b brief.Brief) string {
	if len(s.Scale) == 0 {
		if s.Sketch && len(b.Course.Plausible) > 1 {
			return s.StripNote + " The denser, the more of them are that high."
		}
		return s.StripNote
	}
	return "Line: the effort. Dots: your critical power, " + whole(b.Rider.CriticalPower.Mean) +
		" W. Numbers on the line: the cues; under it what each asks for, in " + s.Lead + "."
}

// face is how letters look on a terminal that allows it.
type face string

const (
	normalFace face = ""
	bold       face = "\x1b[1m"
	dim        face = "\x1b[2m"
)

type terminal struct {
	strings.Builder
	colour bool
}

// line ends a line that fits; what does not is cut, which no line made here
// needs.
func (t *terminal) line(s string) {
	t.WriteString(strings.TrimRight(cut(clean(s), textWidth), " ") + "\n")
}

func (t *terminal) set(f face, s string) string {
	if !t.colour || f == normalFace || s == "" {
		return s
	}
	return string(f) + s + "\x1b[0m"
}

// clean keeps a name from moving the cursor: control characters become spaces.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || string(r) == nb {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}

// cut shortens to n characters, the last an ellipsis if any was lost.
func cut(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:max(n-1, 0)]) + "…"
}

// wrap sets a paragraph indented by indent. Words longer than a line are broken.
func (t *terminal) wrap(f face, indent int, s string) {
	room := textWidth - indent - 1
	line := ""
	flush := func() {
		if line != "" {
			t.WriteString(strings.Repeat(" ", indent) + t.set(f, line) + "\n")
		}
		line = ""
	}
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }) {
		word = clean(word)
		for utf8.RuneCountInString(word) > room {
			flush()
			runes := []rune(word)
			line, word = string(runes[:room]), string(runes[room:])
		}
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > room {
			flush()
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	flush()
}

func (t *terminal) head(s string) {
	t.line("")
	t.WriteString(t.set(bold, s) + "\n")
}

func (t *terminal) list(head string, lines []string) {
	if len(lines) == 0 {
		return
	}
	t.head(head)
	for _, l := range lines {
		t.wrap(normalFace, 2, l)
	}
}

func (t *terminal) paragraph(head string, lines []string) {
	if len(lines) > 0 {
		t.head(head)
		t.wrap(normalFace, 2, strings.Join(lines, " "))
	}
}

func (t *terminal) hero(h hero) {
	const label, value = 28, 14
	rest := cut(h.Note, 400)
	head := pad(h.Label, label) + t.set(bold, pad(h.Value, value))
	room := textWidth - label - value
	for first := true; first || rest != ""; first = false {
		part := rest
		if utf8.RuneCountInString(rest) > room {
			part = string([]rune(rest)[:room+1])
			if i := strings.LastIndex(part, " "); i > 0 {
				part = part[:i]
			} else {
				part = string([]rune(rest)[:room])
			}
		}
		rest = strings.TrimPrefix(rest[len(part):], " ")
		if !first {
			head = strings.Repeat(" ", label+value)
		}
		t.WriteString(strings.TrimRight(head+clean(part), " ") + "\n")
	}
}

// pad fills to n characters, leaving at least one space; padLeft puts it right.
func pad(s string, n int) string {
	s = cut(clean(s), n-1)
	return s + strings.Repeat(" ", n-utf8.RuneCountInString(s))
}

func padLeft(s string, n int) string {
	s = cut(clean(s), n-1)
	return strings.Repeat(" ", n-1-utf8.RuneCountInString(s)) + s + " "
}

// bar is a share drawn with eighths of a block.
func bar(share float64, n int) string {
	eighths := int(math.Round(share * float64(8*n)))
	s := strings.Repeat("█", eighths/8)
	if k := eighths % 8; k > 0 {
		s += string([]rune(" ▏▎▍▌▋▊▉")[k])
	}
	return s + strings.Repeat("·", n-utf8.RuneCountInString(s))
}

// nameWidth is what the other columns leave for names.
func nameWidth(s sheet, taken int) int {
	if s.HasHeart {
		taken += heartWidth
	}
	return textWidth - 1 - taken
}

const heartWidth = 8

func heartCell(s sheet, v string) string {
	if !s.HasHeart {
		return ""
	}
	return pad(v, heartWidth)
}

// column is the width of a column that holds its head and every row, a space
// included, but not more than most.
func column(rows []row, head string, most int, of func(row) string) int {
	n := utf8.RuneCountInString(head)
	for _, r := range rows {
		n = max(n, utf8.RuneCountInString(clean(of(r))))
	}
	return min(n, most) + 1
}

func leadWords(r row) string { return join([]string{r.Lead, r.PlusMinus}, " ") }

func (t *terminal) cues(s sheet) {
	if len(s.Cues) == 0 {
		return
	}
	const no, km, left = 4, 6, 10
	lead := column(s.Cues, s.Lead, 15, leadWords)
	feel := column(s.Cues, s.FeelHead, 16, effortWords)
	second := secondWidth(s, s.Cues)
	at := column(s.Cues, "at", 7, func(r row) string { return r.At })
	name := nameWidth(s, no+km+lead+1+second+feel+at+1+left)
	t.line(pad("", no) + padLeft("km", km) + pad("", name) + padLeft(s.Lead, lead) + " " + secondCell(s.SecondHead, second) + pad(s.FeelHead, feel) + heartCell(s, "heart") + padLeft("at", at) + " left")
	for _, r := range s.Cues {
		marks := join([]string{r.Gear, r.Mark}, " ")
		if r.Mark != "" && utf8.RuneCountInString(r.Name+marks) > name-2 {
			marks = r.Mark // the note below the table says the rest
		}
		title := r.Name
		if marks != "" {
			title = cut(clean(r.Name), max(name-2-utf8.RuneCountInString(marks), 1)) + " " + marks
		}
		left := ""
		if r.Left != "" {
			left = bar(r.LeftShare, 5) + " " + clean(r.Left)
		}
		t.WriteString(strings.TrimRight(t.set(bold, padLeft(r.Number, no))+padLeft(r.Km, km)+pad(title, name)+
			t.set(bold, padLeft(leadWords(r), lead))+" "+secondCell(r.Second, second)+pad(effortWords(r), feel)+heartCell(s, r.Heart)+
			padLeft(r.At, at)+" "+left, " ") + "\n")
	}
}

func effortWords(r row) string {
	if r.Exertion == "" {
		return r.Feel
	}
	return join([]string{fmt.Sprintf("%2s", r.Exertion), r.Feel}, " ")
}

// secondWidth is the width of the column beside the lead; 0 without one.
func secondWidth(s sheet, rows []row) int {
	if s.SecondHead == "" {
		return 0
	}
	return column(rows, s.SecondHead, 11, func(r row) string { return r.Second }) + 1
}

func secondCell(v string, n int) string {
	if n == 0 {
		return ""
	}
	return padLeft(v, n-1) + " "
}

func (t *terminal) rules(s sheet) {
	if len(s.Rules) == 0 {
		return
	}
	if len(s.Cues) > 0 {
		t.head("Or by gradient")
		t.wrap(dim, 2, s.RulesNote)
	}
	const share = 8
	gradient := column(s.Rules, "gradient", 16, func(r row) string { return r.Km }) + 1
	lead := column(s.Rules, s.Lead, 15, leadWords)
	feel := column(s.Rules, s.FeelHead, 16, effortWords)
	second := secondWidth(s, s.Rules)
	name := nameWidth(s, 2+gradient+lead+1+second+feel+share)
	t.line("  " + pad("gradient", gradient) + pad("", name) + padLeft(s.Lead, lead) + " " + secondCell(s.SecondHead, second) + pad(s.FeelHead, feel) + heartCell(s, "heart") + "of time")
	for _, r := range s.Rules {
		t.WriteString(strings.TrimRight("  "+pad(r.Km, gradient)+pad(join([]string{r.Name, r.Gear, r.Mark}, " "), name)+
			t.set(bold, padLeft(leadWords(r), lead))+" "+secondCell(r.Second, second)+pad(effortWords(r), feel)+heartCell(s, r.Heart)+clean(r.Share), " ") + "\n")
	}
}

func (t *terminal) rests(s sheet) {
	t.head("What it rests on")
	for _, r := range s.Rests {
		t.line("  " + pad(r.Name, 20) + padLeft(r.Value, 8) + pad(r.Unit, 4) + pad(interval(r), 26) + r.Range)
	}
	t.wrap(dim, 2, s.RestsNote)
	t.wrap(normalFace, 2, s.Model)
	for i, e := range s.Evidence {
		if i == shownEvidence && len(s.Evidence) > shownEvidence {
			t.wrap(normalFace, 2, "and "+plural(len(s.Evidence)-shownEvidence, "more line")+" of evidence.")
			break
		}
		t.wrap(normalFace, 2, e)
	}
	t.wrap(bold, 2, s.Next)
}

// interval draws a number's interval: ────━━━┿━━━────.
func interval(r rest) string {
	if !r.Picture {
		return ""
	}
	const n = 23
	out := make([]rune, n)
	for i := range out {
		x := (float64(i) + 0.5) / n
		out[i] = '─'
		if x >= r.Low && x <= r.High {
			out[i] = '━'
		}
	}
	out[n/2] = '┿'
	return string(out)
}

func (t *terminal) climbs(s sheet) {
	for _, c := range s.Climbs {
		t.line("  Climb at " + pad(c.At+":", 10) + pad(c.Length+",", 9) + pad(c.Ascent+" up,", 12) + c.Mean + ", steepest " + c.Steepest)
	}
	t.wrap(normalFace, 2, s.ClimbNote)
}
