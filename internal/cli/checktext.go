package cli

import (
	"fmt"
	"strings"

	"chainline/internal/service"
)

// checkWide is the width of the report's lines.
const checkWide = 88

// checkText is a check's report as plain text: verdicts first.
func checkText(c service.CheckSheet) string {
	var b strings.Builder
	b.WriteString("RIG CHECK\n")
	about := []string{}
	for _, part := range []string{c.Rider, c.Rig} {
		if part != "" {
			about = append(about, part)
		}
	}
	about = append(about, c.Begun.Format("2 January 2006, 15:04"), fmt.Sprintf("%.0f min looked at", c.Minutes))
	wrap(&b, "", strings.Join(about, ", "))
	for _, f := range c.From {
		wrap(&b, "", "from "+f)
	}
	state := "the warm state was seen"
	if !c.Warm {
		state = "the warm state was not seen"
	}
	at := fmt.Sprintf("errors are stated at %.0f W, this rider's threshold", c.ThresholdW)
	if c.ThresholdGuessed {
		at = fmt.Sprintf("errors are stated at %.0f W, since no rider's threshold is known", c.ThresholdW)
	}
	wrap(&b, "", at+"; "+state)
	b.WriteString("\n")
	if len(c.Verdicts) == 0 {
		wrap(&b, "", "What the watts are worth cannot be said.")
	}
	for _, v := range c.Verdicts {
		wrap(&b, "", v.Sentence)
		if because := strings.TrimSuffix(v.Because, "."); because != "" && !strings.Contains(v.Sentence, because) {
			wrap(&b, "  ", capitalised(because)+".")
		}
		if k := v.Correction; k != nil {
			wrap(&b, "  ", fmt.Sprintf("Corrected: %s; give or take %.1f %% then.", k.Words(), 196*k.SD))
		}
	}
	checkFindings(&b, c)
	if len(c.Clear) > 0 {
		b.WriteString("\nLOOKED AT AND FOUND RIGHT\n")
		wrap(&b, "  ", strings.Join(c.Clear, ", "))
	}
	if len(c.Unsaid) > 0 {
		b.WriteString("\nCANNOT SAY\n")
		for _, u := range c.Unsaid {
			of := strings.Join(u.Subjects, ", ")
			if u.Source != "" {
				of += " of " + u.Source
			}
			wrap(&b, "  ", of+": because "+strings.TrimSuffix(u.Because, ".")+".")
		}
	}
	return b.String()
}

func checkFindings(b *strings.Builder, c service.CheckSheet) {
	switch {
	case len(c.Findings) == 0 && len(c.Clear) == 0:
		return // nothing could be judged: that is said below
	case len(c.Findings) == 0:
		b.WriteString("\nNothing wrong was found.\n")
		return
	}
	b.WriteString("\nFOUND\n")
	for _, f := range c.Findings {
		of := f.Subject
		if f.Source != "" {
			of += ", " + f.Source
		}
		if f.Against != "" {
			of += " against " + f.Against
		}
		wrap(b, "  ", capitalised(of))
		wrap(b, "    ", f.What)
		var how []string
		if size := f.Size.Words(); size != "" {
			how = append(how, "size "+size)
		}
		if f.Watts != nil {
			how = append(how, fmt.Sprintf("at threshold %s", f.Watts.Words()))
		}
		if sure := f.SureWords(); sure != "" {
			how = append(how, sure)
		}
		if len(how) > 0 {
			wrap(b, "    ", capitalised(strings.Join(how, "; "))+".")
		}
		for _, r := range f.Readings {
			wrap(b, "    ", "It may be read so: "+r)
		}
		for i, d := range f.Do {
			word := "Do: "
			if i > 0 {
				word = "Else: "
			}
			wrap(b, "    ", word+d)
		}
		if f.Prior != "" {
			wrap(b, "    ", "Rests on: "+f.Prior)
		}
	}
}

func capitalised(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// wrap writes words in lines of at most checkWide characters; lines after the
// first are indented by two more.
func wrap(b *strings.Builder, indent, text string) {
	line, first := indent, true
	for _, w := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(w)) > checkWide && !first {
			b.WriteString(line + "\n")
			line, first = indent+"  ", true
		}
		if !first {
			line += " "
		}
		line, first = line+w, false
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}
