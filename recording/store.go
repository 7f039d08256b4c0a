package recording

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// The stored form: gzip around lines of text, described in docs/formats.md.

const (
	storedFirst = "chainline-recording 1"
	// MaxStored is the most bytes of a stored recording, packed.
	MaxStored = 256 << 20
	maxText   = 1 << 30 // unpacked
	maxLine   = 16384
)

// Write stores a recording whole: Read gives the same back, to the bit. The
// same recording gives the same bytes. An invalid one is refused.
func Write(w io.Writer, r *Recording) error {
	if err := r.Validate(); err != nil {
		return err
	}
	zip := gzip.NewWriter(w)
	out := bufio.NewWriter(zip)
	fmt.Fprintf(out, "%s\ntitle %s\nsport %s\nstart %s\nzone %d\nwhole %t\n", storedFirst,
		strconv.Quote(r.Title), strconv.Quote(r.Sport), number(r.StartUnix), r.ZoneSeconds, r.Whole)
	var line []byte
	for _, c := range r.Channels {
		fmt.Fprintf(out, "channel %s %s\n", c.Quantity, strconv.Quote(c.Source))
		for i, s := range c.Seconds {
			line = strconv.AppendFloat(line[:0], s, 'g', -1, 64)
			line = append(line, ' ')
			line = strconv.AppendFloat(line, c.Values[i], 'g', -1, 64)
			_, _ = out.Write(append(line, '\n')) // bufio keeps the error for Flush
		}
	}
	for _, q := range slices.Sorted(maps.Keys(r.Used)) {
		fmt.Fprintf(out, "used %s %s\n", q, strconv.Quote(r.Used[q]))
	}
	for _, m := range r.Marks {
		fmt.Fprintf(out, "mark %s %s %s %s\n", number(m.Seconds), m.Kind, strconv.Quote(m.Source), strconv.Quote(m.Words))
	}
	fmt.Fprintln(out, "end")
	return errors.Join(out.Flush(), zip.Close())
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// Read reads a stored recording. The error is one line with the line's number
// in the unpacked text; whatever is cut short or damaged is refused.
func Read(r io.Reader) (*Recording, error) {
	zip, err := gzip.NewReader(io.LimitReader(r, MaxStored))
	if err != nil {
		return nil, fmt.Errorf("this is no stored recording: %w", err)
	}
	p := &parser{lines: bufio.NewScanner(io.LimitReader(zip, maxText))}
	p.lines.Buffer(make([]byte, 0, 4096), maxLine)
	if err := p.all(); err != nil {
		if fault := p.lines.Err(); fault != nil {
			err = fault // it could not be unpacked
		}
		if errors.Is(err, bufio.ErrTooLong) {
			err = fmt.Errorf("more than %d bytes", maxLine)
		}
		return nil, fmt.Errorf("stored recording: line %d: %w", p.n, err)
	}
	if err := p.rec.Validate(); err != nil {
		return nil, fmt.Errorf("stored recording: %w", err)
	}
	return &p.rec, nil
}

type parser struct {
	lines    *bufio.Scanner
	n        int
	rec      Recording
	readings int
}

// next gives the next line; the text "" is the end of the file.
func (p *parser) next() string {
	p.n++
	if !p.lines.Scan() {
		return ""
	}
	return p.lines.Text()
}

func (p *parser) all() error {
	if first := p.next(); first != storedFirst {
		return fmt.Errorf("expected %q", storedFirst)
	}
	for _, field := range []struct {
		name string
		take func(string) error
	}{
		{"title", func(s string) (err error) { p.rec.Title, err = strconv.Unquote(s); return }},
		{"sport", func(s string) (err error) { p.rec.Sport, err = strconv.Unquote(s); return }},
		{"start", func(s string) (err error) { p.rec.StartUnix, err = strconv.ParseFloat(s, 64); return }},
		{"zone", func(s string) (err error) { p.rec.ZoneSeconds, err = strconv.Atoi(s); return }},
		{"whole", func(s string) (err error) { p.rec.Whole, err = strconv.ParseBool(s); return }},
	} {
		value, ok := strings.CutPrefix(p.next(), field.name+" ")
		if !ok || field.take(value) != nil {
			return fmt.Errorf("expected %s and its value", field.name)
		}
	}
	for {
		line := p.next()
		word, rest, _ := strings.Cut(line, " ")
		var err error
		switch word {
		case "channel":
			err = p.channel(rest)
		case "used":
			err = p.used(rest)
		case "mark":
			err = p.mark(rest)
		case "end":
			if p.lines.Scan() || p.lines.Err() != nil {
				return errors.New("something stands behind the end")
			}
			return nil
		case "":
			return errors.New("it is cut short; expected a last line \"end\"")
		default:
			err = p.reading(line)
		}
		if err != nil {
			return err
		}
	}
}

// quoted takes quoted texts, each behind one space but the first.
func quoted(s string, into ...*string) error {
	for i, target := range into {
		if i > 0 {
			rest, ok := strings.CutPrefix(s, " ")
			if !ok {
				return errors.New("expected another text in quotation marks")
			}
			s = rest
		}
		text, err := strconv.QuotedPrefix(s)
		if err != nil {
			return errors.New("expected a text in quotation marks")
		}
		if *target, err = strconv.Unquote(text); err != nil {
			return errors.New("expected a text in quotation marks")
		}
		s = s[len(text):]
	}
	if s != "" {
		return errors.New("something stands behind the last text")
	}
	return nil
}

func (p *parser) channel(s string) error {
	name, rest, _ := strings.Cut(s, " ")
	if len(p.rec.Channels) >= MaxChannels {
		return fmt.Errorf("more than %d channels", MaxChannels)
	}
	c := Channel{Quantity: Quantity(name)}
	if err := quoted(rest, &c.Source); err != nil {
		return fmt.Errorf("channel: %w", err)
	}
	p.rec.Channels = append(p.rec.Channels, c)
	return nil
}

func (p *parser) reading(line string) error {
	if len(p.rec.Channels) == 0 || p.rec.Used != nil || p.rec.Marks != nil {
		return errors.New("expected channel, used, mark or end")
	}
	if p.readings++; p.readings > MaxReadings {
		return fmt.Errorf("more than %d readings", MaxReadings)
	}
	at, value, ok := strings.Cut(line, " ")
	s, err1 := strconv.ParseFloat(at, 64)
	v, err2 := strconv.ParseFloat(value, 64)
	if !ok || err1 != nil || err2 != nil {
		return errors.New("expected a time and a value, with one space between")
	}
	c := &p.rec.Channels[len(p.rec.Channels)-1]
	c.Seconds, c.Values = append(c.Seconds, s), append(c.Values, v)
	return nil
}

func (p *parser) used(s string) error {
	name, rest, _ := strings.Cut(s, " ")
	var source string
	if err := quoted(rest, &source); err != nil {
		return fmt.Errorf("used: %w", err)
	}
	if _, twice := p.rec.Used[Quantity(name)]; twice || len(p.rec.Used) >= MaxChannels {
		return errors.New("used: a quantity stands twice")
	}
	if p.rec.Used == nil {
		p.rec.Used = map[Quantity]string{}
	}
	p.rec.Used[Quantity(name)] = source
	return nil
}

func (p *parser) mark(s string) error {
	at, rest, _ := strings.Cut(s, " ")
	kind, rest, _ := strings.Cut(rest, " ")
	m := Mark{Kind: MarkKind(kind)}
	var err error
	if m.Seconds, err = strconv.ParseFloat(at, 64); err != nil {
		return errors.New("mark: expected its seconds")
	}
	if err := quoted(rest, &m.Source, &m.Words); err != nil {
		return fmt.Errorf("mark: %w", err)
	}
	if len(p.rec.Marks) >= MaxMarks {
		return fmt.Errorf("more than %d marks", MaxMarks)
	}
	p.rec.Marks = append(p.rec.Marks, m)
	return nil
}
