package calendar

import (
	"strings"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"
)

// property is one content line, with the line of the file it begins at.
type property struct {
	name   string // in capitals
	params map[string][]string
	value  string // with text unescaped
	line   int
}

// param is the first value of a parameter.
func (p property) param(name string) string {
	for k, v := range p.params {
		if len(v) > 0 && strings.EqualFold(k, name) {
			return v[0]
		}
	}
	return ""
}

// ours are the properties that mean something here; whatever else a file says
// is passed over unread.
var ours = map[string]bool{"BEGIN": true, "END": true, "DTSTART": true, "DTEND": true, "DURATION": true, "RRULE": true, "EXRULE": true, "RDATE": true,
	"EXDATE": true, "RECURRENCE-ID": true, "SUMMARY": true, "LOCATION": true, "DESCRIPTION": true, "URL": true, "UID": true, "STATUS": true,
	"SEQUENCE": true, "TZID": true, "TZOFFSETFROM": true, "TZOFFSETTO": true, "X-WR-CALNAME": true, "NAME": true, "CATEGORIES": true}

// properties unfolds the content lines. The library that takes them apart
// does not know the line they stand at, which an error needs.
func properties(file string, data []byte) ([]property, error) {
	var all []property
	number, begun := 0, 0
	var whole strings.Builder
	flush := func() error {
		text := whole.String()
		whole.Reset()
		if strings.TrimSpace(text) == "" {
			return nil
		}
		p, keep, err := parseLine(file, text, begun)
		if err == nil && keep {
			all = append(all, p)
		}
		return err
	}
	for line := range strings.Lines(string(data)) {
		if number++; number > mostLines {
			return nil, bad(file, number, "file", "more lines", "at most 400,000")
		}
		line = strings.TrimRight(line, "\r\n")
		if line != "" && (line[0] == ' ' || line[0] == '\t') && begun > 0 {
			whole.WriteString(line[1:])
			continue
		}
		if err := flush(); err != nil {
			return nil, err
		}
		begun = number
		whole.WriteString(line)
	}
	return all, flush()
}

// parseLine takes one unfolded line apart; keep is false for what is none of
// ours.
func parseLine(file, text string, line int) (p property, keep bool, err error) {
	name := text
	if i := strings.IndexAny(text, ":;"); i >= 0 {
		name = text[:i]
	} else {
		return p, false, bad(file, line, "line", text, "a property like SUMMARY:Hill race")
	}
	name = strings.ToUpper(strings.TrimSpace(name))
	if !ours[name] {
		return p, false, nil
	}
	if !utf8.ValidString(text) {
		return p, false, bad(file, line, name, strings.ToValidUTF8(text, "?"), "text in UTF-8")
	}
	b, err := ics.ParseProperty(ics.ContentLine(name + text[len(name):]))
	if err != nil || b == nil {
		return p, false, bad(file, line, name, text, "a property with its parameters and a value")
	}
	p = property{name: name, params: b.ICalParameters, value: strings.TrimSpace(b.Value), line: line}
	return p, true, nil
}
