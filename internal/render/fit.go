package render

import (
	"strings"
	"unicode/utf8"
)

// How the page is fitted to one sheet of A4. Heights are reckoned from the
// number of lines, in points, and were checked against printed pages.

// dropOrder is what paper leaves out when even the smallest letters do not
// fit, first to last; the screen always has everything. Never dropped: the
// numbers at the top, the strip, the cues (or, without any, the rules), the
// warm-up, the room, the list of what is worth doing, warnings and cautions.
var dropOrder = []struct{ name, words string }{
	{"why", "what each gain rests on"},
	{"plan", "how it was planned"},
	{"climbs", "the climbs"},
	{"evidence", "the evidence"},
	{"changes", "what would change it"},
	{"course", "course and road"},
	{"restsnote", "what the bars mean"},
	{"rests", "what it rests on"},
	{"rules", "effort by gradient"},
}

// blocks are the parts of the page that may stand in either column, in the
// order they are read.
var blocks = [...]string{"warnings", "warmup", "room", "worth", "rests", "changes", "plan", "course"}

// setting is how closely print is set: what page.css does for each density.
type setting struct {
	name        string
	line, small float64 // pt, height of a line
	chars       float64 // characters a point of width holds, at the text size
	row         float64 // pt, height of a cue's row
	top, block  float64 // pt: all above the columns but strip and notes; a heading with its space
	mayDrop     int     // how much of dropOrder goes before the next setting is tried
	many        bool    // cues in two columns, the rest in three
	screen      bool    // a screen, which shows all
}

// onScreen shares out blocks where paper has no two columns to share them over.
var onScreen = setting{line: 10.9, small: 9.6, chars: 0.268, row: 18.5, block: 24, screen: true}

const (
	leftWidth, rightWidth = 320.0, 186.0 // pt, as page.css parts the sheet
	sheetWidth            = 527.0        // pt, of A4 without margins
	sheetHeight           = 804.0        // pt; A4 has 794, and the reckoning is some 25 too high
	thirdWidth            = 166.0        // pt, of three columns
	thirdBreaks           = 16.0         // pt, lost where three columns cannot be level
	manyFrom              = 10           // cues from which two columns of them are of use
	threeFrom             = 41           // cues from which paper has three, with less said of each
)

var settings = []setting{
	{name: "roomy", line: 10.9, small: 9.6, chars: 0.268, row: 17.9, top: 146, block: 24},
	{name: "snug", line: 10.9, small: 9.6, chars: 0.268, row: 15.7, top: 146, block: 24, mayDrop: 1},
	{name: "tight", line: 10, small: 9.1, chars: 0.29, row: 11.6, top: 105, block: 18, mayDrop: 2},
	{name: "tight dense", line: 9.1, small: 8.2, chars: 0.305, row: 10.6, top: 104, block: 16, mayDrop: 4},
	{name: "tight dense", line: 9.1, small: 8.2, chars: 0.305, row: 10.6, top: 74, block: 12, mayDrop: len(dropOrder), many: true},
	{name: "tight dense least", line: 8.3, small: 7.5, chars: 0.335, row: 9.6, top: 72, block: 11, mayDrop: len(dropOrder), many: true},
	{name: "tight dense", line: 9.1, small: 8.2, chars: 0.305, row: 10.6, top: 104, block: 16, mayDrop: len(dropOrder)},
}

// fit shares the blocks out over the columns and settles how close the print
// stands and what it leaves out. Settings are tried from the widest on, each
// with as much left out as it may; the last leaves out all that may go.
func (p *page) fit() {
	for _, s := range settings {
		if s.many != (len(p.Cues) >= manyFrom) && (s.many || s.mayDrop == len(dropOrder)) {
			continue
		}
		p.Density, p.Many, p.Dropped, p.DropNote = s.name, s.many, nil, ""
		var words []string
		if p.fits(s) {
			return
		}
		for _, d := range dropOrder[:s.mayDrop] {
			if !p.has(d.name) {
				continue
			}
			p.Dropped, words = append(p.Dropped, d.name), append(words, d.words)
			p.DropNote = "Left out on paper: " + strings.Join(words, ", ") + "."
			if p.Three() {
				p.DropNote = "Left out on paper: gears, heart bands, words for the effort, " + strings.Join(words, ", ") + "."
			}
			if p.fits(s) {
				return
			}
		}
	}
}

func (p *page) fits(s setting) bool {
	strip := layouts[Wide].height
	if p.Sketch {
		strip = layouts[Wide].end
	}
	notes := 0.0
	for i, h := range p.Heroes {
		width := 112.0
		if i == 0 {
			width = 140
		}
		notes = max(notes, lines(width, s, h.Note))
	}
	top := s.top + sheetWidth*strip/layouts[Wide].width + s.line*notes
	return top+p.share(s)+p.footHeight(s) <= sheetHeight
}

// Three tells that paper has the cues in three columns: no heart bands, no
// words for the effort, names on one line.
func (p *page) Three() bool { return p.Many && len(p.Cues) >= threeFrom }

// has tells whether there is something to leave out.
func (p *page) has(name string) bool {
	switch name {
	case "why":
		return len(p.before.Worth) > 0
	case "plan":
		return len(p.Plan) > 0
	case "climbs":
		return len(p.Climbs) > 0
	case "evidence":
		return len(p.EvidenceShown) > 0
	case "changes":
		return len(p.Changes) > 0
	case "rules":
		return len(p.Rules) > 0 && len(p.Cues) > 0
	}
	return true
}

func (p *page) dropped(name string) bool {
	for _, d := range p.Dropped {
		if d == name {
			return true
		}
	}
	return false
}

// share puts every block in the column where the taller of the two stays
// least tall, the warm-up always right, and returns that height. Where several
// ways are as good the first found stands: the fewer blocks moved left, the
// earlier.
func (p *page) share(s setting) float64 {
	ride := p.rideHeight(s)
	if s.many {
		p.share(onScreen) // paper takes the blocks from both columns into three
		sum := 0.0
		for _, b := range blocks {
			sum += p.blockHeight(b, thirdWidth, s)
		}
		return ride + sum/3 + thirdBreaks
	}
	var onLeft, onRight [len(blocks)]float64
	for i, b := range blocks {
		onLeft[i], onRight[i] = p.blockHeight(b, leftWidth, s), p.blockHeight(b, rightWidth, s)
	}
	best := -1.0
	for way := range 1 << len(blocks) {
		left, right := ride, 0.0
		for i, b := range blocks {
			switch {
			case way>>i&1 == 0:
				right += onRight[i]
			case b == "warmup":
				left = 1e9
			default:
				left += onLeft[i]
			}
		}
		if tall := max(left, right); best < 0 || tall < best-1 {
			best = tall
			p.Left, p.Right = nil, nil
			for i, b := range blocks {
				if way>>i&1 == 0 {
					p.Right = append(p.Right, b)
				} else {
					p.Left = append(p.Left, b)
				}
			}
		}
	}
	return best
}

// lines is how many lines texts take as one paragraph, or each as its own.
func lines(width float64, s setting, texts ...string) float64 {
	n := 0.0
	for _, t := range texts {
		if t != "" {
			n += 1 + float64(int(float64(utf8.RuneCountInString(t))/(width*s.chars)))
		}
	}
	return n
}

func (p *page) rideHeight(s setting) float64 {
	width, rows, many := leftWidth, 0.0, p.Many && !s.screen
	if many {
		width = sheetWidth
	}
	for _, r := range p.Cues {
		rows += s.row
		if utf8.RuneCountInString(r.Name)+utf8.RuneCountInString(r.Gear) > 30 {
			rows += s.line
		}
	}
	switch {
	case many && p.Three():
		rows = s.row * (float64(len(p.Cues))/3 + 2)
	case many:
		rows = rows/2 + s.row
	}
	h := 2*s.line + rows
	if len(p.Rules) > 0 && !p.dropped("rules") {
		h += 1.2*s.row*float64(len(p.Rules)) + 2*s.line
		if len(p.Cues) == 0 {
			h += 112 // the picture of the rules
		} else {
			h += s.small + 6
		}
	}
	for _, n := range p.Notes {
		h += s.small * lines(width*1.1, s, n.Text)
	}
	h += s.small * lines(width*1.1, s, p.CueNote)
	return h + s.small*lines(width*1.1, s, p.PlanCautions...) + 6
}

func (p *page) blockHeight(name string, width float64, s setting) float64 {
	small := width * 1.1 // smaller letters hold more
	h := s.block
	switch name {
	case "warnings":
		if len(p.Warnings) == 0 {
			return 0
		}
		h += s.line * lines(width-9, s, p.Warnings...)
	case "warmup":
		if p.WarmPicture == "" {
			return 0
		}
		h += width*0.49 + s.line*(lines(width, s, strings.Join(p.WarmNote, " ")+p.CoolDown)) + s.small*lines(small, s, strings.Repeat("x", 75))
		for _, d := range p.WarmUp {
			if d.Lead == "" || s.screen {
				h += (s.line + 1) * lines(width-50, s, d.What)
			}
		}
	case "room":
		if !p.HasRoom {
			return 0
		}
		h += 1.5*s.line*float64((len(p.RoomFacts)+1)/2) + 6 + s.line*lines(width, s, strings.Join(p.RoomLines, " ")) +
			s.small*(lines(small, s, p.RoomIntro)+lines(small, s, p.RoomCautions...))
	case "worth":
		if len(p.Worth) == 0 && p.Test == "" {
			return 0
		}
		h += p.worthHeight(width, s)
	case "rests":
		if p.dropped(name) {
			return 0
		}
		h += p.restsHeight(width, s)
	case "changes":
		if len(p.Changes) == 0 || p.dropped(name) {
			return 0
		}
		h += s.line * lines(width, s, p.Changes...)
	case "plan":
		if len(p.Plan) == 0 || p.dropped(name) {
			return 0
		}
		h += s.line * lines(width, s, strings.Join(p.Plan, " "))
	case "course":
		if p.dropped(name) {
			return 0
		}
		h += s.line*lines(width, s, strings.Join(p.Course, " ")) + s.small*lines(small, s, strings.Join(p.Road, " ")+p.Room)
		if len(p.Climbs) > 0 && !p.dropped("climbs") {
			h += (s.line + 1) * float64(len(p.Climbs)+1)
		}
	}
	return h
}

func (p *page) worthHeight(width float64, s setting) float64 {
	h := s.line*lines(width, s, p.Test) + s.small*lines(width*1.1, s, p.TestNote) + 4
	for _, g := range p.Worth {
		h += s.small + 3
		for _, r := range g.Rows {
			h += (s.line + 2) * lines(width-26-5*float64(utf8.RuneCountInString(r.Range)), s, r.What)
			if !p.dropped("why") {
				h += s.small * lines((width-26-4*float64(utf8.RuneCountInString(r.Range)))*1.1, s, r.Why)
			}
		}
	}
	return h
}

func (p *page) restsHeight(width float64, s setting) float64 {
	h := (s.line+4)*float64(len(p.Rests)) + s.line*lines(width, s, p.Model, p.Next)
	if !p.dropped("restsnote") {
		h += s.small * lines(width*1.1, s, p.RestsNote)
	}
	if !p.dropped("evidence") {
		h += s.line * lines(width, s, append(p.EvidenceShown, p.EvidenceMore)...)
	}
	return h
}

func (p *page) footHeight(s setting) float64 {
	return 14 + s.small*lines(sheetWidth*1.1, s, strings.Join(p.Cautions, " ")+p.DropNote)
}
