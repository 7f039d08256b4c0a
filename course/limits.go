package course

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strings"
)

// inputError is a sentence for the person whose file is being read. Readers
// below raise it through decoders that would otherwise hide or reword it.
type inputError string

func (e inputError) Error() string { return string(e) }

// cappedReader refuses to hand out more than limit bytes in all and more than
// burst bytes between two calls of mark. The second limit keeps one endless
// tag or text from growing in a decoder's buffer: memory stays bounded by
// burst, whatever the size of the file.
type cappedReader struct {
	r      io.Reader
	limit  int64 // bytes
	burst  int64 // bytes; 0 means no such limit
	total  int64
	marked int64
}

func (c *cappedReader) mark() { c.marked = c.total }

func (c *cappedReader) Read(p []byte) (int, error) {
	if c.total > c.limit {
		return 0, inputError(fmt.Sprintf("the file is larger than %d MB", c.limit/1_000_000))
	}
	if c.burst > 0 && c.total-c.marked > c.burst {
		return 0, inputError(fmt.Sprintf("one tag, text or comment is larger than %d kB", c.burst/1000))
	}
	n, err := c.r.Read(p)
	c.total += int64(n)
	return n, err
}

// withoutMark skips a UTF-8 byte order mark and refuses UTF-16, which no
// decoder here reads and which would otherwise show as an obscure complaint.
func withoutMark(r io.Reader) (*bufio.Reader, error) {
	b := bufio.NewReader(r)
	start, _ := b.Peek(3) // a short file is judged by its decoder
	switch {
	case bytes.HasPrefix(start, []byte{0xEF, 0xBB, 0xBF}):
		b.Discard(3)
	case bytes.HasPrefix(start, []byte{0xFF, 0xFE}), bytes.HasPrefix(start, []byte{0xFE, 0xFF}):
		return nil, inputError("line 1: the file is written in UTF-16; expected UTF-8")
	}
	return b, nil
}

// charset serves the encodings an XML declaration may name.
func charset(label string, input io.Reader) (io.Reader, error) {
	switch strings.ToLower(label) {
	case "us-ascii", "ascii":
		return input, nil // a subset of UTF-8
	case "iso-8859-1", "latin1", "iso8859-1":
		return &latin1Reader{r: input}, nil
	}
	return nil, inputError(fmt.Sprintf("encoding %q is not supported; expected UTF-8 or ISO-8859-1", clip(label)))
}

// latin1Reader turns ISO-8859-1 into UTF-8: every byte is the code point of
// the same number.
type latin1Reader struct {
	r    io.Reader
	rest []byte
}

func (l *latin1Reader) Read(p []byte) (int, error) {
	if len(l.rest) == 0 {
		var raw [512]byte
		n, err := l.r.Read(raw[:])
		if n == 0 {
			return 0, err
		}
		for _, b := range raw[:n] {
			l.rest = append(l.rest, string(rune(b))...)
		}
	}
	n := copy(p, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

// clip makes a piece of somebody's file fit to be quoted on one line of a
// terminal: short, and without control characters.
func clip(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || (r >= 0x7F && r < 0xA0) || r == 0xFFFD {
			return -1
		}
		return r
	}, s)
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
