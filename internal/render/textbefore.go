package render

import (
	"strings"
	"unicode/utf8"
)

// The sections of the text about what comes before the start.

// warmUp is a line for every step and every moment, by time.
func (t *terminal) warmUp(s sheet) {
	if len(s.WarmUp) == 0 {
		return
	}
	t.head(s.WarmHead)
	when, lead := 0, 0
	for _, d := range s.WarmUp {
		when = max(when, utf8.RuneCountInString(clean(d.When)))
		lead = max(lead, utf8.RuneCountInString(askWords(d)))
	}
	when, lead = min(when, 9)+1, min(lead, 10)+1
	for _, d := range s.WarmUp {
		at := "  " + padLeft(d.When, when+1) + " "
		if d.Lead == "" {
			t.hanging(at, d.What, d.Gun)
			continue
		}
		what := cut(clean(d.What), 30)
		if d.Exertion != "" {
			what = join([]string{what, "effort " + d.Exertion}, ", ")
		}
		t.WriteString(strings.TrimRight(at+t.set(bold, padLeft(askWords(d), lead+1))+padLeft(d.Lasts, 8)+" "+what, " ") + "\n")
	}
	t.wrap(normalFace, 2, join(append(append([]string{}, s.WarmNote...), s.CoolDown), " "))
}

// askWords is what a step asks for: '110 W', 'effort 8', 'rest'.
func askWords(d doing) string {
	if d.Unit == "effort" {
		return d.Unit + " " + d.Lead
	}
	return join([]string{d.Lead, d.Unit}, " ")
}

// hanging sets a paragraph whose first line starts with head and whose others
// stand under its text.
func (t *terminal) hanging(head, text string, strong bool) {
	indent := utf8.RuneCountInString(head)
	part := &terminal{colour: t.colour}
	f := normalFace
	if strong {
		f = bold
	}
	part.wrap(f, indent, text)
	t.WriteString(head + strings.TrimPrefix(part.String(), strings.Repeat(" ", indent)))
}

func (t *terminal) room(s sheet) {
	if !s.HasRoom {
		return
	}
	t.head("The room")
	var facts []string
	for _, f := range s.RoomFacts {
		facts = append(facts, strings.ToLower(f.Label)+" "+f.Value+nb+f.Unit)
	}
	t.wrap(bold, 2, sentence(strings.Join(facts, "; ")))
	for _, l := range s.RoomLines {
		t.wrap(normalFace, 2, l)
	}
	t.wrap(dim, 2, s.RoomIntro)
	for _, c := range s.RoomCautions {
		t.wrap(dim, 2, c)
	}
}

func (t *terminal) worth(s sheet) {
	if len(s.Worth) == 0 && s.Test == "" {
		return
	}
	t.head("Worth doing before the start")
	for _, g := range s.Worth {
		t.wrap(dim, 2, g.Head+":")
		for _, r := range g.Rows {
			what := r.What
			if r.Range != "" {
				what += " (" + strings.ReplaceAll(r.Range, " ", nb) + ")"
			}
			t.hanging(padLeft(r.Value, 9)+" ", join([]string{sentence(what), r.Why}, " "), false)
		}
	}
	t.wrap(bold, 2, s.Test)
	t.wrap(dim, 2, s.TestNote)
}
