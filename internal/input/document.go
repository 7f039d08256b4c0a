// Package input reads the files that people write: rider, rig, road and event
// in YAML, a plan in CSV, and lengths and climbs from the command line. Keys
// are strict. What is wrong is a *problem.Error of kind Misuse, one line that
// says file:line:column, the field, what was found and what was expected.
// docs/formats.md states every key.
package input

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"sort"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"chainline/internal/problem"
)

const (
	maxBytes = 1 << 20 // of a file
	maxDepth = 20      // of nesting
	maxText  = 200     // characters of a text
)

// file is a document being read. The first problem is kept in err, and
// everything read after it yields nothing.
type file struct {
	name string
	err  error
}

// failAt notes a problem at a place (line and column from 1), unless there
// was one before.
func (f *file) failAt(line, column int, field, wrong, expected, hint string) {
	if f.err != nil {
		return
	}
	message := fmt.Sprintf("%s:%d:%d: ", f.name, line, column)
	if field != "" {
		message += field + ": "
	}
	message = problem.OneLine(message + wrong + "; expected " + expected)
	f.err = &problem.Error{Kind: problem.Misuse, Message: message, Hint: hint, Path: field}
}

func (f *file) fail(n *yaml.Node, field, wrong, expected, hint string) {
	f.failAt(n.Line, n.Column, field, wrong, expected, hint)
}

// slurp reads a whole small text file, which must be UTF-8 without control
// characters.
func (f *file) slurp(r io.Reader) []byte {
	data, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		f.err = &problem.Error{Kind: problem.Failed, Message: problem.OneLine(f.name + ": could not be read"), Err: err}
		return nil
	}
	if len(data) > maxBytes {
		f.failAt(1, 1, "", "the file is larger than 1 MB", "a file that a person wrote", "")
		return nil
	}
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		f.failAt(1, 1, "", "the text is UTF-16", "UTF-8", "Save the file again with the encoding UTF-8.")
		return nil
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	f.checkCharacters(data)
	return data
}

func (f *file) checkCharacters(data []byte) {
	line, column := 1, 1
	for len(data) > 0 {
		r, n := utf8.DecodeRune(data)
		switch {
		case r == utf8.RuneError && n == 1:
			f.failAt(line, column, "", fmt.Sprintf("the byte 0x%02x is not UTF-8", data[0]), "text in UTF-8", "")
			return
		case r < ' ' && r != '\t' && r != '\n' && r != '\r', r == 0x7f:
			f.failAt(line, column, "", fmt.Sprintf("the control character 0x%02x", r), "text", "")
			return
		case r == '\n':
			line, column = line+1, 0
		}
		column++
		data = data[n:]
	}
}

// document parses YAML and gives its top, nil on a problem. It holds no
// aliases, anchors, merge keys or tags and is nested at most maxDepth deep.
func (f *file) document(r io.Reader) *yaml.Node {
	data := f.slurp(r)
	if f.err == nil {
		f.checkTabs(data)
	}
	if f.err != nil {
		return nil
	}
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	top, err := decode(decoder)
	if errors.Is(err, io.EOF) || err == nil && len(top.Content) == 0 {
		f.failAt(1, 1, "", "the file is empty", "lines like 'key: value'", "")
		return nil
	}
	if err == nil {
		var second *yaml.Node
		if second, err = decode(decoder); err == nil {
			f.fail(second, "", "a second document begins", "one document in a file, without '---' between", "")
			return nil
		}
	}
	if err != nil && !errors.Is(err, io.EOF) {
		f.syntax(data, err)
		return nil
	}
	f.plain(top.Content[0], "", 1)
	if f.err != nil {
		return nil
	}
	return top.Content[0]
}

// decode reads the next document. A parser of foreign text that panics is its
// own fault, not a reason to take the program down.
func decode(d *yaml.Decoder) (n *yaml.Node, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("yaml: the parser gave up: %v", p)
		}
	}()
	n = new(yaml.Node)
	err = d.Decode(n)
	return n, err
}

// checkTabs refuses tabs in the indentation, which YAML does not allow.
func (f *file) checkTabs(data []byte) {
	for i, line := range bytes.Split(data, []byte("\n")) {
		rest := bytes.TrimLeft(line, " ")
		if len(rest) > 0 && rest[0] == '\t' && len(bytes.TrimSpace(rest)) > 0 {
			f.failAt(i+1, len(line)-len(rest)+1, "", "a tab in the indentation", "spaces", "")
			return
		}
	}
}

// plain walks everything in file order and refuses what a person's file has
// no need of and a malicious one would use.
func (f *file) plain(n *yaml.Node, path string, depth int) {
	const wanted = "the value itself, written out"
	switch {
	case f.err != nil:
		return
	case n.Kind == yaml.AliasNode:
		f.fail(n, path, "the alias *"+clip(n.Value), wanted, "")
	case n.Anchor != "":
		f.fail(n, path, "the anchor &"+clip(n.Anchor), wanted, "")
	case n.Kind == yaml.ScalarNode && n.Tag == "!!merge":
		f.fail(n, path, "the merge key <<", wanted, "")
	case n.Style&yaml.TaggedStyle != 0:
		f.fail(n, path, "the tag "+clip(n.Tag), wanted, "")
	case depth > maxDepth:
		f.fail(n, path, fmt.Sprintf("nested more than %d deep", maxDepth), "a flatter file", "")
	}
	for i, c := range n.Content {
		at := path
		if n.Kind == yaml.MappingNode && i%2 == 1 {
			at = join(path, n.Content[i-1].Value)
		}
		f.plain(c, at, depth+1)
	}
}

func join(path, key string) string {
	key = clip(key)
	if path == "" {
		return key
	}
	if len(path) > 200 {
		return path
	}
	return path + "." + key
}

// clip shortens what a file says so that it fits a message.
func clip(s string) string {
	if utf8.RuneCountInString(s) <= 40 {
		return s
	}
	return string([]rune(s)[:39]) + "…"
}

var yamlError = regexp.MustCompile(`^yaml: (?:line \d+: )?`)

// sentences for what the YAML parser says most often.
var sentences = []struct{ says, wrong, expected string }{
	{"mapping values are not allowed", "a colon where none can stand", "one 'key: value' in a line, keys of one group indented alike, text with ': ' in quotes"},
	{"did not find expected key", "the indentation changes or a colon is missing", "'key: value' lines of one group indented alike"},
	{"did not find expected '-' indicator", "the indentation of a list changes", "every '- ' of one list indented alike"},
	{"could not find expected ':'", "a line without a colon", "'key: value'"},
	{"did not find expected ',' or ']'", "a '[' that is not closed", "']'"},
	{"did not find expected ',' or '}'", "a '{' that is not closed", "'}'"},
	{"found unexpected end of stream", "a quotation mark that is not closed", "a second quotation mark"},
	{"found character that cannot start any token", "a character that cannot begin a value", "text that begins with @, ` or % in quotes"},
}

// syntax reports text that is no YAML. The parser's line numbers are of the
// construct it was in, or off by one, so the line is found anew: the first
// one that makes the text before it and itself fail in the same way.
func (f *file) syntax(data []byte, err error) {
	lines := bytes.SplitAfter(bytes.TrimRight(data, "\r\n"), []byte("\n"))
	says := yamlError.ReplaceAllString(err.Error(), "")
	i := sort.Search(len(lines), func(i int) bool {
		err := parses(bytes.Join(lines[:i+1], nil))
		return err != nil && yamlError.ReplaceAllString(err.Error(), "") == says
	})
	i = min(i, len(lines)-1)
	column := len(lines[i]) - len(bytes.TrimLeft(lines[i], " ")) + 1
	for _, s := range sentences {
		if strings.Contains(says, s.says) {
			f.failAt(i+1, column, "", s.wrong, s.expected, "")
			return
		}
	}
	f.failAt(i+1, column, "", "not readable as YAML ("+clip(says)+")", "lines like 'key: value'", "")
}

// parses tries all documents of a text.
func parses(data []byte) error {
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	for {
		if _, err := decode(decoder); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}
